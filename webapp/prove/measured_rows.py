"""Measurements as records of the network: kept row by row with what was set then, excluded by name, used together."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sfn.chain import MAIN, all_routes
from sfn.errors import PlanError, Problem, at_most
from sfn.plan import Network
from sfn.plan.correction import Measured
from sfn.survey.in_force import InForce, in_force
from sfn.survey.measurements import Measurement
from sfn.survey.taken_up import fingerprint, kept_row, lines_of, measurement_of, span_of
from sfn.timeline.held import Held
from sfn.timing import delay_table
from sfn.units import grouped
from webapp.shell.dependencies import Opened
from webapp.store.entries import Entry
from webapp.store.store import Store
from webapp.store.timeline import DIFFERENCE, EXCLUSION, REPLACED, as_kept, entry_name, held_of

MOST_ROWS_N = 20_000
"""Measurements that one network keeps: what a correction may rest on."""


@dataclass(frozen=True, slots=True)
class Row:
    """One kept measurement: the record, what was set then, and why it is not used, if it is not.

    `excluded` is somebody's reason, `excluded_by` who gave it; `unusable` is why nobody can use it.
    """

    name: str
    measurement: Measurement
    in_force: InForce
    kept_by: str
    kept_at: datetime
    source: str
    excluded: str = ""
    excluded_by: str = ""
    unusable: str = ""

    @property
    def counts(self) -> bool:
        """Whether it is adjusted."""
        return not (self.excluded or self.unusable)


def rows_of(opened: Opened, store: Store) -> tuple[Row, ...]:
    """Every kept measurement, in the order in which they came."""
    kept = store.entries.of(opened.head.id, kind=DIFFERENCE)
    if not kept:
        return ()
    network, out = opened.network, excluded_now(store, opened.head.id)
    there = {site.id for site in network.sites}
    made = [_measurement(entry) for entry in kept]
    usable = [m for m in made if {m.site, m.reference_site} <= there]
    found = iter(in_force(network, delay_table(network), usable))
    over = _Over(opened, store)
    rows = []
    for entry, m in zip(kept, made, strict=True):
        here = {m.site, m.reference_site} <= there
        stood = next(found) if here else InForce({}, {}, {})
        why = "; ".join(stood.unsure.values()) or over.why(m) if here else "a site of it is not in the plan any more"
        reason, by = out.get(fingerprint(m), ("", ""))
        known = replace(m, settings_us=stood.settings_us)
        rows.append(
            Row(entry_name(entry), known, stood, entry.made_by, entry.made_at, str(entry.body.get("source", "")),
                reason, by, why)
        )  # fmt: skip
    return tuple(rows)


def excluded_now(store: Store, network_id: int) -> dict[str, tuple[str, str]]:
    """Why and by whom, by the mark of each measurement that is excluded; the last word counts.

    By marks, not by names: an entry has another name in another store.
    """
    out: dict[str, tuple[str, str]] = {}
    for entry in store.entries.of(network_id, kind=EXCLUSION):
        for mark in entry.body.get("marks", ()):
            if entry.body["excluded"]:
                out[mark] = (str(entry.body["reason"]), entry.made_by)
            else:
                out.pop(mark, None)
    return out


def mark_of(entry: Entry) -> str:
    """What tells a kept measurement from all others, in any store."""
    return fingerprint(_measurement(entry))


def keep_rows(
    opened: Opened, store: Store, measurements: Sequence[Measurement], *, by: str, source: str
) -> tuple[int, int]:
    """Keep measurements as records, each once.

    Parameters
    ----------
    opened : Opened
        What they are kept under: its plan tells the settings that no report does.
    store : Store
    measurements : sequence of Measurement
    by, source : str
        Who keeps them, and where they came from.

    Returns
    -------
    added_n, there_n : int
        How many were new, and how many stood there already.

    Raises
    ------
    PlanError
        If the network would keep more than it may.
    """
    kept = [_measurement(entry) for entry in store.entries.of(opened.head.id, kind=DIFFERENCE)]
    there = {fingerprint(m) for m in kept}
    new: dict[str, Measurement] = {}
    for m in measurements:
        if fingerprint(m) not in there:
            new.setdefault(fingerprint(m), m)
    if len(kept) + len(new) > MOST_ROWS_N:
        what = f"{grouped(len(kept) + len(new))} measurements are more than a network keeps"
        raise PlanError([Problem("rows", what, f"at most {grouped(MOST_ROWS_N)}", code="beyond-a-limit")])
    network, rows = opened.network, list(new.values())
    stood = in_force(network, delay_table(network), rows)
    bodies = [(m.site, _body(m, one, source)) for m, one in zip(rows, stood, strict=True)]
    store.entries.add_many(
        opened.head.id, revision=opened.head.revision.number, kind=DIFFERENCE, made_by=by, rows=bodies
    )
    return len(rows), len(measurements) - len(rows)


def exclude(opened: Opened, store: Store, names: Collection[str], *, excluded: bool, reason: str, by: str) -> None:
    """Exclude measurements by name, or restore them.

    Raises
    ------
    PlanError
        If none is named, one is not kept, or nothing says why.
    """
    known = {entry_name(entry): entry for entry in store.entries.of(opened.head.id, kind=DIFFERENCE)}
    strange = [name for name in names if name not in known]
    problems = []
    if not names or strange:
        what = f"there is no measurement {strange[0][:40]!r}" if strange else "no measurement was chosen"
        problems.append(Problem("row", what, "at least one that is kept", code="no-measurement-chosen"))
    if not reason.strip():
        problems.append(Problem("reason", "nothing says why", "the reason, for the record", code="reason-missing"))
    if problems:
        raise PlanError(problems)
    marks = sorted(mark_of(known[name]) for name in names)
    body = {"measurements": sorted(names), "marks": marks, "excluded": excluded, "reason": reason.strip()[:500]}
    store.entries.add(
        opened.head.id, revision=opened.head.revision.number, site_id="", kind=EXCLUSION, made_by=by, body=body
    )


@dataclass(frozen=True, slots=True)
class Together:
    """What is adjusted: typed measurements and those that are kept, what was excluded, and what must be said of it."""

    measurements: tuple[Measurement, ...]
    excluded: tuple[Measurement, ...]
    doubts: tuple[Problem, ...]


def together(opened: Opened, store: Store, typed: Sequence[Measurement], *, asks: bool = False) -> Together:
    """Typed measurements with all that are kept and count, each with the settings in force at its time.

    Parameters
    ----------
    opened : Opened
    store : Store
    typed : sequence of Measurement
        May be empty.
    asks : bool
        Refuse typed ones that cannot be used, instead of saying so.

    Raises
    ------
    PlanError
        If none counts, or one that is typed cannot be used and `asks`.
    """
    rows, network = rows_of(opened, store), opened.network
    out = tuple(row.measurement for row in rows if row.excluded)
    marks = {fingerprint(m): m for m in typed}
    if not rows and not typed:
        what, expected = "no measurement is kept", "a table of measurements, looked at and kept"
        raise PlanError([Problem("rows", what, expected, code="no-measurement-counts")])
    if not rows and (network.reported is None or not network.reported.reports):
        return Together(tuple(typed), (), ())
    gone = {fingerprint(m) for m in out}
    fresh = [m for mark, m in marks.items() if mark not in gone]
    known, doubts = [], []
    for m, stood in zip(fresh, in_force(network, delay_table(network), fresh), strict=True):
        if stood.unsure:
            doubts.append(_unknown(m, "; ".join(stood.unsure.values())))
        else:
            known.append(replace(m, settings_us=stood.settings_us))
    if asks and doubts:
        raise PlanError(replace(one, severity="error") for one in doubts)
    kept = [row.measurement for row in rows if row.counts and fingerprint(row.measurement) not in marks]
    if kept and typed:
        what = f"{len(kept)} more that are kept are adjusted together with these, each with what was set at its time"
        doubts.append(Problem("rows", what, "nothing", "warning", code="measured-with-records"))
    if len(fresh) < len(marks):
        what = f"{len(marks) - len(fresh)} of these are kept and were excluded by name: not used"
        doubts.append(
            Problem("rows", what, "restored first, if it is to count", "warning", code="measurement-excluded")
        )
    unusable = [_unknown(row.measurement, row.unusable) for row in rows if row.unusable and not row.excluded]
    doubts += at_most(unusable, source="measurements that are kept")
    if not (known or kept):
        told = doubts or [Problem("rows", "no measurement counts", "at least one", code="no-measurement-counts")]
        raise PlanError(replace(one, severity="error") for one in told)
    return Together((*known, *kept), out, tuple(doubts))


def _unknown(m: Measurement, why: str) -> Problem:
    """A measurement that is not used because nobody can tell what it holds for."""
    name = m.where or f"{m.site} against {m.reference_site} at {m.point}, {m.when}"
    what, expected = f"not used: {why}", "a report of what was set, or its time with its zone"
    return Problem(name, what, expected, "warning", code="settings-then-unknown")


class _Over:
    """What made older measurements of a site worthless: its device replaced, firmware or mode of a stage changed."""

    def __init__(self, opened: Opened, store: Store) -> None:
        network = opened.network
        self._lines, self._names = lines_of(network), {site.id: site.name for site in network.sites}
        self._replaced: dict[str, datetime] = {}
        for entry in store.entries.of(opened.head.id, kind=REPLACED):
            at = held_of(entry).at
            self._replaced[entry.site_id] = max(at, self._replaced.get(entry.site_id, at))
        self._changed = _changed(network)

    def why(self, m: Measurement) -> str:
        """Why a measurement says nothing of what is there now; empty where it does."""
        earliest, _ = span_of(m.when)
        for site in dict.fromkeys((*self._lines[m.site], *self._lines[m.reference_site])):
            replaced = self._replaced.get(site)
            if replaced is not None and earliest <= replaced:
                return f"the device of {self._names[site]} was replaced on {replaced:%Y-%m-%d %H:%M} UTC"
            for stage, day in self._changed.get(site, ()):
                if f"{earliest:%Y-%m-%d}" <= day:
                    return f"{stage} of {self._names[site]} changed on {day}"
        return ""


def _changed(network: Network) -> dict[str, list[tuple[str, str]]]:
    """Stages of each site's main route whose firmware or mode changed, with the day."""
    return {
        site_id: [(stage.id, stage.changed) for stage in route.stages if stage.changed]
        for (site_id, name), route in all_routes(network).items()
        if name == MAIN
    }


def _measurement(entry: Entry) -> Measurement:
    """The measurement that an entry keeps."""
    said = {key: value for key, value in entry.body.items() if key in Measured.model_fields}
    return replace(measurement_of(Measured(**said)), where="", name=entry_name(entry))


def _body(m: Measurement, stood: InForce, source: str) -> dict[str, Any]:
    """What is kept of a measurement."""
    row: Mapping[str, Any] = kept_row(replace(m, settings_us=stood.settings_us))
    return {**row, "settings_from": dict(stood.source), "source": source, **as_kept(_held(m))}


def _held(m: Measurement) -> Held:
    """When it was measured, for its place on the timeline."""
    now = datetime.now(UTC)
    earliest, latest = span_of(m.when)
    if earliest == latest:
        return Held.sure(min(earliest, now))
    if earliest.year < 1900 or not m.when.strip():
        return Held(now, earliest.replace(year=1900) if earliest.year < 1900 else earliest, now, "its time is not told")
    middle = min(earliest + (latest - earliest) / 2, now)
    return Held(middle, min(earliest, middle), min(latest, now), "its time says no zone")
