"""What a form shows: fields with label, unit, help, what was typed, and the problems that belong there."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from sfn.errors import Problem
from sfn.plan import Network
from webapp.forms.places import Kind, Leaf, anchor, leaf, leaf_at, name_of, path_of, record_shown

# Where a key alone, without its unit, would not read as a label.
LABELS = {
    "id": "short name",
    "erp_kw": "radiated power",
    "lock": "lock sheet",
    "h": "horizontal",
    "v": "vertical",
    "text": "position as written",
    "crs": "datum or projection",
    "easting_ft": "easting in feet",
    "northing_ft": "northing in feet",
    "ground_m": "ground height",
    "antenna_m": "antenna height",
    "offset_us": "timing offset",
    "offset_held": "held offset",
    "fed_off_air_from": "fed off air from",
    "insertion_us": "insertion delay at zero",
    "set": "set to now",
    "remote": "can be set from a distance",
    "menu": "menu of the device",
    "own_sign": "the device's own words for the sign",
    "interrupts": "changing it interrupts the programme",
    "entered_at": "entered at",
    "transmitter_id": "transmitter identifier in the stream",
    "mast": "mast it shares with another site",
    "without_reference": "without its reference the exciter",
    "measured_with": "measured with",
    "heights_of": "heights are those of",
    "indoors": "indoors, in a building",
    "indoor_places_pct": "indoor places that count",
    "delta_n": "refractivity gradient",
    "surface_refractivity_n0": "surface refractivity",
    "frequency_mhz": "frequency",
    "model": "device model",
    "adapts": "delay adapts or wanders",
    "identical": "identical at all sites",
    "value_us": "fixed common delay",
    "margin_us": "margin",
    "multiplex_dbr": "multiplex power",
    "usable_dbuvm": "usable field strength",
    "significant_db": "significant signal",
    "equal_signal_db": "equal-signal band, half-width",
    "source": "how the figure is known",
    "off_air": "how it hears its parent",
    "receiving_height_m": "receiving antenna height",
    "receiving_bearing_deg": "receiving antenna points to",
    "receiving_gain_dbd": "receiving antenna gain",
    "front_to_back_db": "its front-to-back ratio",
    "received_dbuvm": "field of the parent",
    "transmitting_gain_dbd": "transmitting antenna gain",
    "separation_m": "distance of the two antennas",
    "separation_direction": "the two antennas stand",
    "margin_db": "gain margin wanted",
    "cancelled_db": "echo canceller takes away",
    "window_us": "its window",
    "echo_us": "longest echo of its own signal",
    "parent_margin_db": "parent above all others",
    "scale": "time scale",
    "cable_m": "antenna cable of its receiver",
    "cable_velocity_factor": "its velocity factor",
    "entered_ns": "compensation entered",
    "language": "the crew's language",
}
# Where a choice's own text would not read as words.
CHOICES = {"language": {"en": "English", "de": "German (Deutsch)"}}
SUGGESTIONS = {
    "crs": ("EPSG:4326", "EPSG:4269", "EPSG:4267", "EPSG:4230", "EPSG:4277", "EPSG:27700", "EPSG:25832", "EPSG:25833"),
    "unit": ("us", "ms", "100ns", "1/16.384MHz", "samples@48000"),
    "route": ("main", "standby", "spare"),
    "reference_plane": ("exciter input", "exciter output", "coupler after the filter", "antenna"),
}
# Where people at a form are helped by other words than readers of the document.
HELPS = {
    "service": "Broadcast system and mode: type words of its name, a country, or the guard interval in us, and choose.",
    "unit": "µs, ms, 100 ns, 1/16.384 MHz, samples at 48 kHz; unknown: to be read off the device first.",
}
# Kinds of stage that a key is for; a script hides it from the others while it is empty.
ONLY_FOR = {
    "length_m": ("feeder", "fibre"),
    "velocity_factor": ("feeder",),
    "group_index": ("fibre",),
    "path_km": ("microwave",),
    "equipment_us": ("microwave",),
    "release_delay_us": ("time-stamped section",),
    "jitter_margin_us": ("time-stamped section",),
    "least_processing_us": ("time-stamped section",),
}
UNIT_ENDINGS = ("_us", "_mhz", "_m", "_ft", "_km", "_db", "_dbuvm", "_deg", "_khz", "_pct", "_s", "_kw", "_n", "_n0")


LONGEST_MENU = 100


@dataclass(frozen=True, slots=True)
class Field:
    """One input."""

    name: str
    label: str
    kind: Kind
    value: str
    """As it was typed or saved; ``yes`` or ``no`` for a box."""
    unit: str
    help: str
    required: bool
    default: str
    """What holds when it is left empty."""
    choices: tuple[tuple[str, str], ...]
    """Value and words of each choice."""
    suggestions: tuple[str, ...]
    problems: tuple[Problem, ...]
    only_for: tuple[str, ...] = ()
    """Kinds of stage it is for; empty for all."""
    needed: bool = False
    """Whether something must stand here and nothing does yet."""
    find: str = ""
    """The address that finds what to type here; empty where none does."""


@dataclass(frozen=True, slots=True)
class Group:
    """The inputs of one record."""

    name: str
    title: str
    help: str
    fields: tuple[Field, ...]
    groups: tuple["Group", ...]
    problems: tuple[Problem, ...]
    """Those of the record itself."""
    filled: bool
    """Whether the document says anything here."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A document with its problems, out of which groups are taken."""

    document: Mapping[str, Any]
    problems: Sequence[Problem] = ()
    ids: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)
    """Choices of the keys that refer to something: key -> value and words."""
    suggestions: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Texts offered for a key, beside those that every form offers."""
    needed: frozenset[str] = frozenset()
    """Names of fields that must still be filled in, beside those that their record requires."""
    finds: Mapping[str, str] = field(default_factory=dict)
    """By key: the address that finds what to type."""

    def group(self, path: str, *, title: str = "", leave_out: Iterable[str] = ()) -> Group:
        """The fields of the record at `path` (a field name, empty for the network itself)."""
        at = path_of(path) if path else ()
        stands = leaf_at(at) if at else None
        model = stands.model if stands else Network
        assert model is not None, path
        values = self._at(at)
        return self._record(at, model, values if isinstance(values, Mapping) else {}, title, set(leave_out), stands)

    def choice(self, path: str, *, key: str, label: str) -> Field:
        """One entry of a list of ids, chosen among `ids[key]`; typed, where these are too many for a menu."""
        value = self._at(path_of(path))
        shown = "" if value is None else str(value)
        few = len(self.ids[key]) <= LONGEST_MENU
        kind: Kind = "choice" if few else "id"
        return Field(
            path, label, kind, shown, "", "", False, "", self.ids[key] if few else (), (), self._problems(path)
        )

    def named(self, path: str, *, key: str, label: str, unit: str) -> Field:
        """One number of a record of numbers by name, as a field of its own."""
        value = self._at((*path_of(path)[:-1], key))
        return Field(path, label, "number", _shown(value), unit, "", False, "", (), (), self._problems(path))

    def elsewhere(self, shown: Iterable[Group]) -> tuple[Problem, ...]:
        """Problems that none of the shown groups has a place for."""
        placed = {id(problem) for group in shown for problem in all_problems(group)}
        return tuple(p for p in self.problems if id(p) not in placed)

    def _record(
        self,
        path: tuple[str | int, ...],
        model: type[BaseModel],
        values: Mapping[str, Any],
        title: str,
        leave_out: set[str],
        stands: Leaf | None,
    ) -> Group:
        leaves = [found for key in model.model_fields if key not in leave_out and (found := leaf(model, key))]
        name = name_of(path)
        groups = []
        for inner in leaves:
            if inner.kind == "record" and inner.model is not None:
                inside = values.get(inner.key)
                held = inside if isinstance(inside, Mapping) else {}
                groups.append(self._record((*path, inner.key), inner.model, held, label_of(inner.key), set(), inner))
        plain = ("text", "long text", "number", "yes or no", "choice")
        return Group(
            name=name,
            title=title,
            help=stands.help if stands else "",
            fields=tuple(self._field((*path, f.key), f, values) for f in leaves if f.kind in plain),
            groups=tuple(g for g in groups if g.fields or g.groups),
            problems=self._problems(name),
            filled=any(found.key in values for found in leaves),
        )

    def _field(self, path: tuple[str | int, ...], found: Leaf, values: Mapping[str, Any]) -> Field:
        name, value = name_of(path), values.get(found.key)
        words = CHOICES.get(found.key, {})
        kind, choices = found.kind, tuple((str(c), words.get(str(c), str(c))) for c in found.choices)
        if found.key in self.ids:
            kind, choices = "choice", self.ids[found.key]
        if kind == "yes or no":
            shown = "yes" if (found.default if value is None else value) is True else "no"
        else:
            shown = _shown(value)
        return Field(
            name=name,
            label=label_of(found.key),
            kind=kind,
            value=shown,
            unit=found.unit,
            help=HELPS.get(found.key, found.help),
            required=found.required,
            default=_shown(found.default),
            choices=choices,
            suggestions=self.suggestions.get(found.key) or SUGGESTIONS.get(found.key, ()),
            problems=self._problems(name),
            only_for=ONLY_FOR.get(found.key, ()),
            needed=not shown and not self._problems(name) and (found.required or name in self.needed),
            find=self.finds.get(found.key, ""),
        )

    def _problems(self, name: str) -> tuple[Problem, ...]:
        return tuple(p for p in self.problems if anchor(p.where) == name) if name else ()

    def _at(self, path: Iterable[str | int]) -> Any:
        value: Any = self.document
        for piece in path:
            try:
                value = value[piece]
            except (KeyError, IndexError, TypeError):
                return None
        return value


def label_of(key: str) -> str:
    """A key as people read it: without its unit, which stands beside the field."""
    if key in LABELS:
        return LABELS[key]
    for ending in UNIT_ENDINGS:
        if key.endswith(ending):
            return key.removesuffix(ending).replace("_", " ")
    return key.replace("_", " ")


def _shown(value: Any) -> str:
    """A value as one would type it: numbers with every digit they were given with."""
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, Mapping):
        return record_shown(value)
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, bool | int | float):
        return json.dumps(value)
    return ""


def all_problems(group: Group) -> Iterable[Problem]:
    """The problems shown in a group and the groups inside it."""
    yield from group.problems
    for shown in group.fields:
        yield from shown.problems
    for inner in group.groups:
        yield from all_problems(inner)
