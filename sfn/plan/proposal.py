"""Proposals to be corrected: a site like another, a route like another, where a new stage goes, a device by its unit.

What is copied is what equal equipment has in common; what belongs to one place alone is left out, so that it is asked
for. All of it is common practice, a beginning to be changed, and nothing of it is a figure of a device.
"""

import re
from collections.abc import Iterable, Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

Entry = dict[str, Any]

# Upstream of the fork: one for all sites.
_SHARED = ("encoder", "packetising", "loss protection", "processing", "stereo generator")
# On the way to the site: another route has its own.
_WAY = ("network", "fibre", "microwave", "time-stamped section", "buffer", "loss protection")
# By kind the key that belongs to one place: how long the feeder is, how far the link goes.
_OF_THE_PLACE = {"network": "latency_us", "other": "latency_us", "fibre": "length_m", "feeder": "length_m"} | {
    "microwave": "path_km"
}
_LATENCIES = ("latency_us", "length_m", "path_km", "equipment_us", "release_delay_us")
_OF_ONE_READING = ("date", "measured_with", "changed", "note", "stream_plan")
_OF_ONE_DEVICE = ("set", "transmitter_id")
_AT_ALL_SITES = ("time_reference", "lock", "without_reference")
_PLACE_HELD = ("crs",)


@dataclass(frozen=True, slots=True)
class DeviceStart:
    """Where a device may begin that counts in a unit; its limits are read off the device."""

    key: str
    words: str
    """What people call it: ``whole milliseconds``."""
    unit: str
    step: float
    means: str
    """What one step is worth."""


DEVICE_STARTS = (
    DeviceStart("ms", "whole milliseconds", "ms", 1, "one step is 300 km of air: a finer field must follow"),
    DeviceStart("us", "whole microseconds", "us", 1, "one step is 300 m of air"),
    DeviceStart("0.1us", "microseconds in steps of 0.1", "us", 0.1, "one step is 30 m of air"),
    DeviceStart("100ns", "counts of 100 ns", "100ns", 1, "the number on the device is ten times the microseconds"),
    DeviceStart("48k", "samples at 48 kHz", "samples@48000", 1, "one sample is 20.83 us: too coarse for FM alone"),
    DeviceStart("192k", "samples at 192 kHz", "samples@192000", 1, "one sample is 5.21 us"),
    DeviceStart("16M", "counts of 1/16.384 MHz", "1/16.384MHz", 1, "one count is 0.061 us, 18 m of air"),
)  # fmt: skip


def site_like(document: Mapping[str, Any], index: int, *, name: str) -> tuple[Entry, list[Entry]]:
    """A new site with chain and devices as another has them, and the stages that are its own.

    Parameters
    ----------
    document : mapping
        The network; it is not changed.
    index : int
        The site that is copied.
    name : str
        Id of the new site; its own stages begin with it.

    Returns
    -------
    site : dict
        Without name, heights, power, settings and addresses: these are asked for.
    stages : list of dict
        Its own, each without what belongs to one place. Stages of several sites, and those of a kind that stands
        upstream of the fork, are shared instead.
    """
    other = document["sites"][index]
    known = {stage.get("id"): stage for stage in document["stages"]}
    users = _users(document)
    made: dict[str, Entry] = {}
    taken = set(known)

    def own(stage_id: str) -> str:
        """The id of the stage that stands there at the new site."""
        stage = known.get(stage_id)
        if stage is None or len(users.get(stage_id, ())) > 1 or (stage.get("kind") in _SHARED):
            return stage_id
        if stage_id not in made:
            made[stage_id] = copied = _elsewhere(stage)
            copied["id"] = _free(_renamed(stage_id, str(other.get("id", "")), name), taken)
            taken.add(copied["id"])
            if copied.get("inside"):
                copied["inside"] = [own(one) for one in copied["inside"]]
        return str(made[stage_id]["id"])

    chains = [
        {"route": chain.get("route", "main"), "stages": [own(stage) for stage in chain.get("stages") or ()]}
        for chain in other.get("chains") or ()
    ]
    fields = [{k: v for k, v in field.items() if k not in _OF_ONE_DEVICE} for field in other.get("delay_fields") or ()]
    position = {"text": ""} | {k: v for k, v in (other.get("position") or {}).items() if k in _PLACE_HELD}
    if "easting_m" in (other.get("position") or {}) or "easting_ft" in (other.get("position") or {}):
        position = {"text": "", "crs": "EPSG:4326"}
    site: Entry = {
        "id": name,
        "name": "",
        "position": position,
        "erp_kw": {},
        "on_air": True,
        "offset_us": 0,
        "fed_off_air_from": None,
        "delay_fields": deepcopy(fields),
        "chains": chains,
    }
    site |= {key: deepcopy(other[key]) for key in _AT_ALL_SITES if other.get(key)}
    return site, list(made.values())


def route_like(document: Mapping[str, Any], index: int, *, route: str) -> tuple[Entry, list[Entry]]:
    """Another chain of a site: as its first, with a way of its own from the studio, and the stages of that way.

    The figures of that way are left out, to be asked for; where the first chain has no stage of such a kind, its
    first stage that no other site shares stands for it.
    """
    site = document["sites"][index]
    known = {stage.get("id"): stage for stage in document["stages"]}
    users, taken = _users(document), set(known)
    first = list((site.get("chains") or [{}])[0].get("stages") or ())
    own = [one for one in first if one in known and len(users.get(one, ())) < 2]
    differs = [one for one in own if known[one].get("kind") in _WAY] or own[:1]
    made: dict[str, Entry] = {}

    def another(stage_id: str) -> str:
        """A stage of the same kind whose figures nobody has typed."""
        stage = known.get(stage_id)
        if stage is None:
            return stage_id
        copied = _elsewhere(stage)
        for key in (*_LATENCIES, "tolerance_us", "tolerance_kind"):
            copied.pop(key, None)
        copied["id"] = _free(f"{stage_id}-{_plain(route)}", taken)
        taken.add(copied["id"])
        made[stage_id] = copied
        if copied.get("inside"):
            copied["inside"] = [another(one) for one in copied["inside"]]
        return str(copied["id"])

    return {"route": route, "stages": [another(one) if one in differs else one for one in first]}, list(made.values())


def place_in_chain(kinds: Iterable[str]) -> int:
    """Where a new stage goes: before the feeder, which stands last; at the end where there is none.

    Examples
    --------
    >>> place_in_chain(["encoder", "network", "modulator", "filter", "feeder"]), place_in_chain(["network"])
    (4, 1)
    """
    every = list(kinds)
    return len(every) - 1 - every[::-1].index("feeder") if "feeder" in every else len(every)


def asked_at_place(kind: str) -> str:
    """The key of a stage that every place has its own of: of a feeder its length; empty where equal equipment is alike.

    Examples
    --------
    >>> asked_at_place("feeder"), asked_at_place("network"), asked_at_place("modulator")
    ('length_m', 'latency_us', '')
    """
    return _OF_THE_PLACE.get(kind, "")


def device_start(key: str) -> Entry | None:
    """The keys of a delay field that counts so; its greatest setting is asked for."""
    found = next((one for one in DEVICE_STARTS if one.key == key), None)
    return None if found is None else {"unit": found.unit, "step": found.step, "least": 0, "sign": "later"}


def name_for(words: str, taken: Iterable[str]) -> str:
    """A short name out of a name for people.

    Examples
    --------
    >>> name_for("East hill", []), name_for("East hill", ["east-hill"])
    ('east-hill', 'east-hill-2')
    """
    plain = re.sub(r"[^a-z0-9]+", "-", words.lower()).strip("-")[:40].strip("-")
    return _free(plain or "site", set(taken))


def _elsewhere(stage: Mapping[str, Any]) -> Entry:
    """A stage as equal equipment at another place has it: without what belongs to the place, measured no more."""
    copied = {key: deepcopy(value) for key, value in stage.items() if key not in _OF_ONE_READING}
    place = _OF_THE_PLACE.get(str(stage.get("kind")))
    if place is not None:
        for key in (place, "latency_us", "tolerance_us", "tolerance_kind"):
            copied.pop(key, None)
    if copied.get("source") in ("measured", "computed") or place is not None:
        copied["source"] = "assumed"
    return copied


def _users(document: Mapping[str, Any]) -> dict[str, set[int]]:
    """By a stage's id the sites whose chains pass it, inside a section too."""
    inside = {stage.get("id"): stage.get("inside") or () for stage in document["stages"]}
    users: dict[str, set[int]] = {}
    for number, site in enumerate(document["sites"]):
        passed = [one for chain in site.get("chains") or () for one in chain.get("stages") or ()]
        for one in (*passed, *(deeper for held in passed for deeper in inside.get(held, ()))):
            users.setdefault(one, set()).add(number)
    return users


def _renamed(stage_id: str, before: str, after: str) -> str:
    """``north-link`` of north at south: ``south-link``; any other name behind the new site's."""
    if before and stage_id.startswith(f"{before}-"):
        return f"{after}-{stage_id.removeprefix(f'{before}-')}"
    return f"{after}-{stage_id}"


def _plain(route: str) -> str:
    return re.sub(r"[^A-Za-z0-9]+", "-", route).strip("-")


def _free(stem: str, taken: Iterable[str]) -> str:
    """The stem, or the stem with the first number that nobody has, in 64 characters."""
    known, stem = set(taken), re.sub(r"[^A-Za-z0-9._-]", "", stem)[:60] or "new"
    if stem not in known:
        return stem
    return next(name for n in range(2, len(known) + 3) if (name := f"{stem}-{n}") not in known)
