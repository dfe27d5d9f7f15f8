"""Measurements whose launch errors the document has taken up already: they were made with the settings of before.

What is measured on air is the launch: the true latency and the settings in force, whatever the document says. So a
measurement is held against the settings of its time, and as long as nothing was set anew it shows the same error as
those before it: all of them are adjusted together, against what the document had before the first of them. A
measurement is known by its own figures; one that is not, by its time.
"""

import hashlib
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import isclose, isnan, nan
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.plan.correction import Correction, Measured
from sfn.survey.measurements import Measurement
from sfn.timing import DelayTable
from sfn.timing.failover import fed_through

# A clock time without its zone may be meant anywhere on earth.
_ANY_ZONE = timedelta(hours=14)
# Settings nearer than this are one setting: far below any step.
_SAME_US = 1e-6

# Keys that a program of before does not know: only where they say something.
_LATER = ("instrument", "settings_us", "doubt")

Sure = Literal["by its figures", "by its time", "not sure"]


@dataclass(frozen=True, slots=True)
class Before:
    """A correction that a measurement was made before, and how that is known."""

    correction: Correction
    sure: Sure


@dataclass(frozen=True, slots=True)
class InHand:
    """Measurements to be adjusted together.

    Parameters
    ----------
    measurements : tuple of Measurement
        Those sent, then `kept_n` that the document keeps of earlier corrections.
    repeated, superseded : tuple of Measurement
        Left out: the same measurement a second time; made before a site was set anew and measured again.
    settings_us : mapping of str to float
        What the fields contributed while they were made, by site. [us]
    taken_us : mapping of str to float
        What the document has taken up of these launch errors, by site, with that of its parents. [us]
    refines : Correction or None
        The correction that rests on the same settings.
    refines_older : bool
        All of them are older than it.
    """

    measurements: tuple[Measurement, ...]
    kept_n: int
    repeated: tuple[Measurement, ...]
    superseded: tuple[Measurement, ...]
    settings_us: Mapping[str, float]
    taken_us: Mapping[str, float]
    refines: Correction | None
    refines_older: bool


def fingerprint(m: Measurement) -> str:
    """What tells one measurement from another: the two sites, the place, the value and the minute, however spelled.

    Not the name of the place, who measured, the file, the line or what it claims to be worth.
    """
    there, value_us = (m.site, m.reference_site), m.delay_difference_us
    if there[1] < there[0]:
        there, value_us = (there[1], there[0]), -value_us
    earliest, latest = span_of(m.when)
    minute = f"{earliest:%Y-%m-%dT%H:%M}" if earliest == latest else " ".join(m.when.split())
    # A metre on the ground and a picosecond: a respelled number is still the same one.
    parts = (minute, round(m.lat_deg, 5) + 0.0, round(m.lon_deg, 5) + 0.0, *there, round(value_us, 6) + 0.0)
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


def marks_of(m: Measurement) -> tuple[str, str]:
    """The mark of a measurement, and the one that documents of before have of it."""
    parts = (m.when, m.point, m.lat_deg, m.lon_deg, m.site, m.reference_site, m.delay_difference_us)
    return fingerprint(m), hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


def made_before(network: Network, measurements: Sequence[Measurement]) -> tuple[Before | None, ...]:
    """The first correction that each measurement was made before; None where it came after all of them.

    A measurement that a correction rests on was made before it. So was one whose time lies before: the new setting did
    not exist yet. Where the time is missing, has no zone, or is a date alone, it may be "not sure": before, then, since
    an error that is taken up twice is worse than one that waits.
    """
    corrections = _in_time(network)
    marked = {mark: one for one in reversed(corrections) for mark in one.rows}
    known = (next((marked[mark] for mark in marks_of(m) if mark in marked), None) for m in measurements)
    return tuple(_before(corrections, found, m.when) for m, found in zip(measurements, known, strict=True))


def _before(corrections: Sequence[Correction], marked: Correction | None, when: str) -> Before | None:
    """By its own figures, else by its time."""
    if marked is not None:
        return Before(marked, "by its figures")
    earliest, latest = span_of(when)
    for correction in corrections:
        taken = datetime.fromisoformat(correction.taken_at)
        if latest <= taken:
            return Before(correction, "by its time")
        if earliest <= taken:
            return Before(correction, "not sure")
    return None


def in_hand(
    network: Network, table: DelayTable, measurements: Sequence[Measurement], *, as_set: bool,
    excluded: Collection[str] = (),
) -> InHand:  # fmt: skip
    """What is sent, with what the document keeps: each once, and of every site only what its newest setting showed.

    Where every measurement that is sent says itself which settings it was made with, nothing is left out: the settings
    that it was predicted with are known, however many came after.

    Parameters
    ----------
    network : Network
    table : DelayTable
        Of the same network.
    measurements : sequence of Measurement
    as_set : bool
        As for `settings_then_us`.
    excluded : collection of str
        Fingerprints of those that the document may keep and somebody has excluded.
    """
    corrections, sent, repeated = _in_time(network), {}, []
    for m in measurements:
        mark = fingerprint(m)
        (repeated.append(m) if mark in sent else sent.update({mark: m}))
    sites = {site.id for site in network.sites}
    kept = {fingerprint(m): m for one in corrections for m in map(measurement_of, one.measured or ())}
    joined = [
        m
        for mark, m in kept.items()
        if mark not in sent and mark not in excluded and {m.site, m.reference_site} <= sites
    ]
    rows = [*sent.values(), *joined]
    by_itself = bool(sent) and all(m.settings_us is not None for m in sent.values())

    now_us = settings_now_us(network, table, as_set=as_set)
    founds = made_before(network, rows)
    at = [len(corrections) if found is None else corrections.index(found.correction) for found in founds]
    then_us = [_then_us(m, found, now_us) for m, found in zip(rows, founds, strict=True)]
    lines = lines_of(network)
    moving = [[*lines[m.site], *lines[m.reference_site]] for m in rows]
    newest = dict(now_us)
    for k in sorted(range(len(rows)), key=lambda k: span_of(rows[k].when)[1] if by_itself else at[k]):
        newest |= {site: then_us[k][site] for site in moving[k] if site in then_us[k]}
    good = [by_itself or _same(then_us[k], newest, moving[k]) for k in range(len(rows))]

    own_us: dict[str, float] = defaultdict(float)
    for one in corrections:
        for site, amount_us in one.amounts_us.items():
            own_us[site] += amount_us if by_itself or _same(one.set_us, newest, (site,)) else 0.0
    last = max((at[k] for k in range(len(rows)) if good[k]), default=len(corrections))
    refines = corrections[last] if last < len(corrections) else None
    if refines is None and corrections and _same(corrections[-1].set_us, newest, newest):
        refines = corrections[-1]
    older = last < len(corrections)
    if by_itself:
        refines = corrections[-1] if corrections and _same(corrections[-1].set_us, newest, newest) else None
        older = refines is not None and all(
            span_of(m.when)[1] <= datetime.fromisoformat(refines.taken_at) for m in rows
        )
    return InHand(
        tuple(m for m, stays in zip(rows, good, strict=True) if stays),
        sum(good[len(sent) :]),
        tuple(repeated),
        tuple(m for m, stays in zip(rows[: len(sent)], good, strict=False) if not stays),
        newest,
        {site: sum(own_us[one] for one in line) for site, line in lines.items()},
        refines,
        older,
    )


def settings_then_us(
    network: Network, table: DelayTable, measurements: Sequence[Measurement], *, as_set: bool
) -> NDArray[np.float64]:
    """How much later each launch was, by the settings in force when it was measured, than with the settings of now.

    Parameters
    ----------
    network : Network
    table : DelayTable
        Of the same network.
    measurements : sequence of Measurement (M,)
    as_set : bool
        "Now" is what is set, not what is worked out.

    Returns
    -------
    ndarray (M, 2)
        Of the site and of the reference site; a relay's also moves with its parents'. [us]
    """
    planned_us = in_force_us(table, as_set=as_set)
    now_us = settings_now_us(network, table, as_set=as_set)
    lines = lines_of(network)
    moved = np.zeros((len(measurements), 2))
    for k, (m, found) in enumerate(zip(measurements, made_before(network, measurements), strict=True)):
        then_us = _then_us(m, found, now_us)
        for side, name in enumerate((m.site, m.reference_site)):
            moved[k, side] = sum(then_us[at] - planned_us[at] for at in lines[name] if at in planned_us)
    return moved


def _then_us(m: Measurement, found: Before | None, now_us: Mapping[str, float]) -> Mapping[str, float]:
    """What the fields of each site contributed while it was measured: as it says itself, else by the corrections."""
    known = now_us if found is None else {**now_us, **found.correction.set_us}
    return known if m.settings_us is None else {**known, **m.settings_us}


def settings_now_us(network: Network, table: DelayTable, *, as_set: bool) -> dict[str, float]:
    """What the delay fields of each site contribute now. [us]

    After a correction the plan's new setting is in force only once the document says that it was made: until then it is
    that of the correction.
    """
    now_us, corrections = in_force_us(table, as_set=as_set), _in_time(network)
    if as_set or not corrections:
        return now_us
    made = {row.site_id for row in table.rows if row.route == "main" and row.now_us == row.set_us}
    return now_us | {i: us for i, us in corrections[-1].set_us.items() if i in now_us and i not in made}


def in_force_us(table: DelayTable, *, as_set: bool) -> dict[str, float]:
    """What the delay fields of each site contribute on the main route, worked out or as set. [us]"""
    rows = (row for row in table.rows if row.route == "main")
    found = {row.site_id: row.now_us if as_set else row.set_us for row in rows}
    return {site: value_us for site, value_us in found.items() if value_us is not None}


def measurement_of(kept: Measured) -> Measurement:
    """A measurement as the document keeps it."""
    given = kept.model_dump()
    missing = {key: nan for key in ("rx_ground_m", "shared_uncertainty_us") if given[key] is None}
    return Measurement(**{**given, **missing, "where": "kept in the plan"})


def kept_row(m: Measurement) -> dict[str, object]:
    """A measurement as the document keeps it, as JSON."""
    row = {name: getattr(m, name) for name in Measured.model_fields if name not in _LATER or getattr(m, name)}
    return {name: value for name, value in row.items() if not (isinstance(value, float) and isnan(value))}


def _in_time(network: Network) -> list[Correction]:
    """Corrections, the oldest first."""
    return sorted(network.corrections or (), key=lambda one: one.taken_at)


def lines_of(network: Network) -> dict[str, tuple[str, ...]]:
    """Each site with those that feed it off air: their settings move its launch."""
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    return {site: fed_through(site, parents) for site in parents}


def _same(one: Mapping[str, float], other: Mapping[str, float], sites: Sequence[str] | Mapping[str, float]) -> bool:
    """Whether some sites are set alike."""
    both = (site for site in sites if site in one and site in other)
    return all(isclose(one[site], other[site], rel_tol=0, abs_tol=_SAME_US) for site in both)


def span_of(when: str) -> tuple[datetime, datetime]:
    """The earliest and the latest instant that a written time may mean."""
    text = when.strip()
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is not None:
            return at.astimezone(UTC), at.astimezone(UTC)
        at = at.replace(tzinfo=UTC)
        ends = at + timedelta(days=1) if len(text) <= len("2026-09-14") else at
        return at - _ANY_ZONE, ends + _ANY_ZONE
    except (ValueError, OverflowError):
        return datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC)
