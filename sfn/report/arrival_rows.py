"""Arrival rows: a row for each site, its segments chain, added delay and travel, ending at arrival.

One picture used everywhere (delays, point, sheet). A chain takes a hundred thousand microseconds and the
differences that matter are a few: so each row has a coarse part, true to scale from the reference instant,
and a fine part that shows where it ends against the others, with what the service tolerates as a band.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from sfn.plan import Network
from sfn.reception.signals import PointSignals
from sfn.report.numbers import number, us
from sfn.report.scale import Tick, ticks
from sfn.systems.service import Service
from sfn.timing import DelayRow, DelayTable

SegmentKind = Literal["feed", "chain", "assumed", "added", "travel"]


@dataclass(frozen=True, slots=True)
class Segment:
    """One part of a row's coarse scale, from and to as parts of its length."""

    kind: SegmentKind
    from_ratio: float
    to_ratio: float
    says: str


@dataclass(frozen=True, slots=True)
class ArrivalRow:
    """One site's row. `end_ratio` is its place on the fine scale; `before_ratio` where it ends with what is set now."""

    site_id: str
    name: str
    route: str
    segments: tuple[Segment, ...]
    end_ratio: float
    before_ratio: float | None
    end_says: str
    inside: bool
    counts: bool


@dataclass(frozen=True, slots=True)
class ArrivalRows:
    """The whole picture. The band is what the service tolerates, on the fine scale."""

    rows: tuple[ArrivalRow, ...]
    coarse_ticks: tuple[Tick, ...]
    fine_ticks: tuple[Tick, ...]
    band_from_ratio: float
    band_to_ratio: float
    band_says: str
    fine_says: str


@dataclass(frozen=True, slots=True)
class _End:
    """Where one row ends on the fine scale, in us from the reference of the picture."""

    row: DelayRow
    travel_us: float
    end_us: float
    before_us: float | None
    says: str
    counts: bool


def launch_rows(table: DelayTable, network: Network, service: Service) -> ArrivalRows:
    """Every route's launch against the common delay, and where it would be with what is set now.

    Parameters
    ----------
    table : DelayTable
    network : Network
    service : Service
        Whose tolerance is drawn as the band.
    """
    common = table.common_delay_us
    ends = [
        _End(
            row,
            0.0,
            row.launch_us - common,
            None if row.launch_now_us is None else row.launch_now_us - common,
            f"launch {us(row.launch_us, 4)}, {us(row.launch_us - common, 4, signed=True)} against the common delay",
            row.on_air,
        )
        for row in table.rows
    ]
    tolerance = service.tolerance_us
    band = (0.0, tolerance) if service.kind == "ofdm" else (-tolerance, tolerance)
    return _picture(ends, network, band, f"{service.name} tolerates {us(tolerance)}", "launch minus common delay")


def point_rows(point: PointSignals, table: DelayTable, network: Network, service: Service) -> ArrivalRows:
    """Every signal's arrival at a receiving point against the strongest, strongest first.

    Parameters
    ----------
    point : PointSignals
    table : DelayTable
    network : Network
    service : Service
        Whose tolerance is drawn as the band: to either side of the strongest signal, and for OFDM the guard
        interval from the first significant one.
    """
    ends = [
        _End(
            table.row(signal.site),
            signal.travel_us,
            signal.delay_difference_us,
            None,
            f"{us(signal.delay_difference_us, 2, signed=True)}, {number(signal.level_difference_db)} dB",
            signal.significant,
        )
        for signal in point.signals
    ]
    tolerance = service.tolerance_us
    first = min((end.end_us for end in ends if end.counts), default=0.0)
    band = (first, first + tolerance) if service.kind == "ofdm" else (-tolerance, tolerance)
    return _picture(
        ends, network, band, f"{service.name} tolerates {us(tolerance)}", "arrival minus that of the strongest"
    )


def _picture(
    ends: Sequence[_End], network: Network, band: tuple[float, float], band_says: str, fine_says: str
) -> ArrivalRows:
    """The rows on both scales."""
    longest = max((end.row.launch_us + end.travel_us for end in ends), default=1.0) or 1.0
    shown = [end.end_us for end in ends if end.counts] or [0.0]
    low, high = min(*shown, band[0], 0.0), max(*shown, band[1], 0.0)
    room = 0.12 * max(high - low, 1e-3)
    low, high = low - room, high + room

    def fine(value_us: float) -> float:
        """Place on the fine scale, kept inside it."""
        return min(1.0, max(0.0, (value_us - low) / (high - low)))

    rows = tuple(
        ArrivalRow(
            end.row.site_id,
            end.row.site_name,
            end.row.route,
            _segments(end, longest),
            fine(end.end_us),
            None if end.before_us is None or not low <= end.before_us <= high else fine(end.before_us),
            end.says,
            band[0] - 1e-9 <= end.end_us <= band[1] + 1e-9,
            end.counts,
        )
        for end in ends
    )
    return ArrivalRows(
        rows,
        ticks(0.0, longest, refractivity_n=network.refractivity_n, most=5),
        ticks(low, high, refractivity_n=network.refractivity_n, signed=True, most=5),
        fine(band[0]),
        fine(band[1]),
        band_says,
        fine_says,
    )


def _segments(end: _End, longest: float) -> tuple[Segment, ...]:
    """The coarse part of a row: what the signal waits for, in the order it happens."""
    row = end.row
    assumed = set(row.assumed_stages)
    parts: list[tuple[SegmentKind, float, str]] = [
        ("feed" if i < len(row.feed) else "assumed" if term.label in assumed else "chain", term.signed_us, term.label)
        for i, term in enumerate(row.latency_terms)
    ]
    parts.append(("added", row.set_us, "added delay"))
    if end.travel_us:
        parts.append(("travel", end.travel_us, "travel"))
    made, at = [], 0.0
    for kind, length_us, label in parts:
        low, high = sorted((at, at + length_us))
        made.append(Segment(kind, max(0.0, low / longest), max(0.0, high / longest), f"{label} {us(length_us, 4)}"))
        at += length_us
    return tuple(made)
