"""Measurements whose launch errors the document has taken up already: they were made with the settings of before.

A correction moves the latency of a stage, and with it the setting that is worked out. A measurement made before that
goes on to show the old launch for ever: it must be held against the setting that was in force, or its error is taken
up a second time. A measurement is known by its own figures; one that is not, by its time.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.plan.correction import Correction
from sfn.survey.measurements import Measurement
from sfn.timing import DelayTable

# A clock time without its zone may be meant anywhere on earth.
_ANY_ZONE = timedelta(hours=14)

Sure = Literal["by its figures", "by its time", "not sure"]


@dataclass(frozen=True, slots=True)
class Before:
    """A correction that a measurement was made before, and how that is known."""

    correction: Correction
    sure: Sure


def fingerprint(m: Measurement) -> str:
    """What tells one measurement from another, whatever table it stands in; not the file, the line or its claim."""
    parts = (m.when, m.point, m.lat_deg, m.lon_deg, m.site, m.reference_site, m.delay_difference_us)
    return hashlib.sha256(repr(parts).encode()).hexdigest()[:16]


def made_before(network: Network, measurements: Sequence[Measurement]) -> tuple[Before | None, ...]:
    """The first correction that each measurement was made before; None where it came after all of them.

    A measurement that a correction rests on was made before it. So was one whose time lies before: the new setting did
    not exist yet. Where the time is missing, has no zone, or is a date alone, it may be "not sure": before, then, since
    an error that is taken up twice is worse than one that waits.
    """
    corrections = sorted(network.corrections or (), key=lambda one: one.taken_at)
    marked = {mark: one for one in reversed(corrections) for mark in one.rows}
    return tuple(_before(corrections, marked.get(fingerprint(m)), m.when) for m in measurements)


def _before(corrections: Sequence[Correction], marked: Correction | None, when: str) -> Before | None:
    """By its own figures, else by its time."""
    if marked is not None:
        return Before(marked, "by its figures")
    earliest, latest = _span(when)
    for correction in corrections:
        taken = datetime.fromisoformat(correction.taken_at)
        if latest <= taken:
            return Before(correction, "by its time")
        if earliest <= taken:
            return Before(correction, "not sure")
    return None


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
    now_us = in_force_us(table, as_set=as_set)
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    moved = np.zeros((len(measurements), 2))
    for k, (m, found) in enumerate(zip(measurements, made_before(network, measurements), strict=True)):
        if found is None:
            continue
        then_us = found.correction.set_us
        for side, name in enumerate((m.site, m.reference_site)):
            at: str | None = name
            while at is not None:
                if at in then_us and at in now_us:
                    moved[k, side] += then_us[at] - now_us[at]
                at = parents.get(at)
    return moved


def in_force_us(table: DelayTable, *, as_set: bool) -> dict[str, float]:
    """What the delay fields of each site contribute on the main route, worked out or as set. [us]"""
    rows = (row for row in table.rows if row.route == "main")
    found = {row.site_id: row.now_us if as_set else row.set_us for row in rows}
    return {site: value_us for site, value_us in found.items() if value_us is not None}


def _span(when: str) -> tuple[datetime, datetime]:
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
