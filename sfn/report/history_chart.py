"""A site over time as a chart: what its fields were set to, and measured minus planned launch."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from sfn.report.plots import INK, QUIET, RUST, SHEET, TEAL, PictureFormat, quiet_axes, written

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Point = tuple[str, float]


def history_chart(
    *,
    name: str,
    set_us: list[Point],
    off_us: list[Point],
    set_off_us: list[Point],
    as_set_us: list[Point],
    tolerated_us: float,
    until: str,
    picture: PictureFormat = "svg",
    narrow: bool = False,
) -> bytes:
    """The chart as a file.

    Parameters
    ----------
    name : str
        Of the site.
    set_us : list of (time, value)
        What all fields of the main route were planned to give together, from that time on.
    off_us, set_off_us : list of (time, value)
        Measured minus planned launch, and as set minus planned, at visits.
    as_set_us : list of (time, value)
        What the fields were found to give together, at visits.
    tolerated_us : float
        Band that is drawn about zero.
    until : str
        Time of the right edge.
    picture : {'svg', 'png'}
    narrow : bool
        Drawn for a telephone held upright: as wide as that, its words no smaller.
    """
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
    from matplotlib.figure import Figure

    figure = Figure(figsize=(3.8, 5.6) if narrow else (9.0, 5.2), facecolor=SHEET, layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True)
    for axes in (upper, lower):
        quiet_axes(axes)
    times = [_time(at) for at, _ in set_us] + [_time(until)]
    values = [value for _, value in set_us]
    upper.step(times, [*values, values[-1]], where="post", color=TEAL, lw=1.6)
    upper.plot(times[:-1], values, "o", ms=4, color=TEAL)
    _visits(upper, as_set_us, "s", RUST, "as set")
    if as_set_us:
        upper.legend(fontsize=8, frameon=False, loc="upper left")
    upper.ticklabel_format(axis="y", useOffset=False, style="plain")
    upper.set_ylabel("fields together (µs)", fontsize=9, color=INK)
    lower.axhspan(-tolerated_us, tolerated_us, color=TEAL, alpha=0.1, lw=0)
    lower.axhline(0.0, color=QUIET, lw=0.8)
    _visits(lower, off_us, "o", INK, "launch, measured minus planned")
    _visits(lower, set_off_us, "s", RUST, "fields, as set minus planned")
    low, high = lower.get_ylim()
    lower.set_ylim(min(low, -1.5 * tolerated_us), max(high, 1.5 * tolerated_us))
    lower.set_ylabel("difference (µs)", fontsize=9, color=INK)
    if off_us or set_off_us:
        lower.legend(fontsize=8, frameon=False, loc="upper left")
    else:
        lower.text(0.5, 0.85, "nothing was read at the site yet", transform=lower.transAxes, ha="center", color=QUIET)
    lower.xaxis_date()
    shown = AutoDateLocator(minticks=2, maxticks=4 if narrow else 9)  # type: ignore[no-untyped-call, unused-ignore]
    lower.xaxis.set_major_locator(shown)
    lower.xaxis.set_major_formatter(ConciseDateFormatter(shown))  # type: ignore[no-untyped-call, unused-ignore]
    title = f"band: ±{tolerated_us:g} µs tolerated" if narrow else f"{name}; band: ±{tolerated_us:g} µs tolerated"
    upper.set_title(title, loc="left", fontsize=10, color=INK)
    return written(figure, picture)


def _visits(axes: "Axes", points: list[Point], marker: str, colour: str, label: str) -> None:
    """Points over time."""
    if points:
        # Squares are hollow and larger: a dot at the same place stays in sight.
        looks = {"ms": 8, "mfc": "none", "mew": 1.4} if marker == "s" else {"ms": 5}
        times, values = [_time(at) for at, _ in points], [v for _, v in points]
        axes.plot(times, values, marker, color=colour, label=label, **looks)


def _time(text: str) -> float:
    """A time as 2026-09-14 08:30, in matplotlib's days."""
    from matplotlib.dates import date2num

    at = datetime.fromisoformat(text).replace(tzinfo=UTC)
    return float(date2num(at))  # type: ignore[no-untyped-call, unused-ignore]
