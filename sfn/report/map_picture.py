"""A layer as a picture to put into a report: legend, scale, unit, network, revision and date are in it.

A try bears its name across the top and a dashed frame, so that the picture is never taken for the plan.
matplotlib is imported in the functions.
"""

import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.grid import Grid
from sfn.reception.classes import CLASSES
from sfn.report.colours import Scale, gradient, named_colours, painted
from sfn.report.legend import FLAG_SAYS, beyond
from sfn.report.letters import BRACKETS_SAY, letters_wide, set_in_fonts, unknown_in, written_out
from sfn.report.numbers import number
from sfn.report.over import Over, credits_of, lines_of, points_of
from sfn.report.plots import INK, PNG_DOTS, QUIET, RUST, SHEET
from sfn.report.scale import round_step
from sfn.report.stamp import Stamp
from sfn.units import SPEED_OF_LIGHT_M_PER_US, refractive_index

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Inches: the picture, the map in it, a line of text, the bar of a scale.
WIDTH, MAP_WIDE, TALLEST = 10.0, 6.6, 12.0
LINE_INCH, BAR_INCH = 0.19, 3.2
# More names than these cover the map.
MOST_NAMES_N = 25
LETTER_INCH, NAME_INCH = 0.068, 0.15
NOTE_LETTERS = 150  # of the small lines beneath


@dataclass(frozen=True, slots=True)
class Mark:
    """A site on the picture: its tick points right where it launches later, left where earlier."""

    name: str
    lat_deg: float
    lon_deg: float
    offset_us: float
    on_air: bool


def map_picture(
    values: NDArray[np.float32],
    grid: Grid,
    *,
    label: str,
    scale: Scale,
    covered: NDArray[np.bool_],
    marks: tuple[Mark, ...],
    stamp: Stamp,
    note: str,
    clear: str,
    refractivity_n: float,
    over: tuple[Over, ...] = (),
) -> bytes:
    """A layer as a PNG with all that is needed to read it.

    Parameters
    ----------
    values : ndarray of float32, shape (rows, columns)
        NaN is left clear.
    grid : Grid
    label : str
        Of the layer.
    scale : Scale
    covered : ndarray of bool, shape (rows, columns)
        Where False, grey strokes say "not covered".
    marks : tuple of Mark
        The sites; their order is that of a layer of sites.
    stamp : Stamp
    note : str
        How it was worked out, and what classes are.
    clear : str
        What a place without a colour means.
    refractivity_n : float
        For the microseconds beneath the scale of kilometres. [N-units]
    over : tuple of Over
        Lines and names that lie over it; whose data they are stands beneath.

    Returns
    -------
    content : bytes
    """
    from matplotlib.figure import Figure

    wide = min(MAP_WIDE, TALLEST * grid.columns_n / grid.rows_n)
    tall = wide * grid.rows_n / grid.columns_n
    says = _wrapped([said for said in (stamp.state if stamp.is_try else "", stamp.left_out, stamp.cut) if said])
    below = _wrapped([f"{note} {_over_says(over)} {_letters_say(stamp, marks, over, grid)}".strip()], NOTE_LETTERS)
    head, foot = 0.75 + LINE_INCH * len(says), 0.9 + 0.17 * (len(below) + 1)
    whole = head + max(tall, BAR_INCH + 1.0, LINE_INCH * (len(marks) + 3)) + foot
    figure = Figure(figsize=(WIDTH, whole), facecolor=SHEET)
    axes = figure.add_axes((0.07, 1 - (head + tall) / whole, wide / WIDTH, tall / whole), facecolor="#efe9d8")
    _map(axes, values, grid, scale, covered)
    _over(axes, over)
    _sites(axes, marks, over, wide)
    _ruler(axes, grid, refractivity_n, tall)
    _legend(figure, scale, label, marks, whole, head)
    colour = RUST if stamp.is_try else INK
    figure.text(0.07, 1 - 0.33 / whole, f"{stamp.network}: {label}", fontsize=15, family="serif", color=INK)
    figure.text(0.07, 1 - 0.55 / whole, f"{stamp.of}, {stamp.checksum}, {stamp.date}", fontsize=9, color=QUIET)
    for n, line in enumerate(says):
        at = 1 - (0.55 + LINE_INCH * (n + 1)) / whole
        figure.text(0.07, at, line, fontsize=10, fontweight="bold" if n == 0 else "normal", color=RUST)
    for n, line in enumerate([*below, f"Grey strokes: not covered by the terrain. No colour: {clear}."]):
        figure.text(0.07, (0.17 * (len(below) - n) + 0.08) / whole, line, fontsize=8, color=QUIET)
    for side in axes.spines.values():
        side.set(color=colour, linewidth=2.2 if stamp.is_try else 0.8, linestyle="--" if stamp.is_try else "-")
    set_in_fonts(figure)
    out = io.BytesIO()
    figure.savefig(
        out,
        format="png",
        dpi=PNG_DOTS,
        metadata={
            "Title": label,
            "Description": "; ".join((stamp.state, *stamp.remarks)),
            "Source": f"{stamp.network}, {stamp.of}",
            "Copyright": "; ".join(filter(None, (stamp.credits, credits_of(over)))),
        },
    )
    return out.getvalue()


def _map(axes: "Axes", values: NDArray[np.float32], grid: Grid, scale: Scale, covered: NDArray[np.bool_]) -> None:
    """The layer in its place, degrees at its edges."""
    a, _, west, _, e, north = grid.transform
    east, south = west + a * grid.columns_n, north + e * grid.rows_n
    axes.imshow(painted(values, scale, covered=covered), extent=(west, east, south, north), interpolation="nearest")
    south_deg, west_deg, north_deg, east_deg = grid.bounds_deg
    for low, high, axis, letters in (
        (west_deg, east_deg, axes.xaxis, ("E", "W")),
        (south_deg, north_deg, axes.yaxis, ("N", "S")),
    ):
        step = round_step(high - low, most=5)
        decimals = max(0, -math.floor(math.log10(step)))
        at = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
        east_of = axis is axes.xaxis
        places = [_mercator(0.0, v)[0] if east_of else _mercator(v, 0.0)[1] for v in at]
        axis.set_ticks(places, [f"{abs(v):.{decimals}f}° {letters[int(v < 0)]}" for v in at])
    axes.tick_params(labelsize=8, colors=QUIET)
    axes.grid(color=INK, alpha=0.18, linewidth=0.5)


def _over_says(over: tuple[Over, ...]) -> str:
    """What lies over the layer, and whose data that is."""
    if not over:
        return ""
    credit = credits_of(over)
    return f"Over it: {', '.join(one.name for one in over)}{f' ({credit})' if credit else ''}."


def _letters_say(stamp: Stamp, marks: tuple[Mark, ...], over: tuple[Over, ...], grid: Grid) -> str:
    """The names on the picture with letters that no font of this machine has, as they stand there."""
    south, west, north, east = grid.bounds_deg
    shown = [
        name
        for one in over
        for name, lon, lat in points_of(one.document)
        if west <= lon <= east and south <= lat <= north
    ]
    names = list(dict.fromkeys((stamp.network, *(mark.name for mark in marks), *(one.name for one in over), *shown)))
    unknown = unknown_in(names)
    said = [written_out(name, unknown) for name in names if not unknown.isdisjoint(name)]
    return f"{BRACKETS_SAY}: {', '.join(said)}." if said else ""


def _over(axes: "Axes", over: tuple[Over, ...]) -> None:
    """Lines that lie over the layer; what is outside the map is cut at its edge."""
    from matplotlib.collections import LineCollection

    for one in over:
        lines = [_projected(line) for line in lines_of(one.document)]
        drawn = LineCollection(lines, colors=one.ink, linewidths=one.width, linestyles=[one.dashes], zorder=3)
        axes.add_collection(drawn, autolim=False)


def _projected(line: NDArray[np.float64]) -> NDArray[np.float64]:
    """Longitudes and latitudes on the map, shape (N, 2). [m, projected]"""
    from sfn.geodesy.grid import WEB_MERCATOR_RADIUS_M

    lon, lat = np.radians(line[:, 0]), np.radians(line[:, 1])
    return np.column_stack([lon, np.arcsinh(np.tan(lat))]) * WEB_MERCATOR_RADIUS_M


def _sites(axes: "Axes", marks: tuple[Mark, ...], over: tuple[Over, ...], wide: float) -> None:
    """A circle with a tick, right for later, left for earlier; names where there is room for them."""
    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    inch = wide / (east - west)
    shown: list[tuple[Mark, float, float]] = []
    for mark, colour in zip(marks, named_colours(Scale("sites", 0, len(marks), "")), strict=True):
        x, y = _mercator(mark.lat_deg, mark.lon_deg)
        if not (west <= x <= east and south <= y <= north):
            continue
        axes.plot([x], [y], "o", ms=8, mfc=colour if mark.on_air else "none", mec=INK, mew=1.2, zorder=5)
        if not mark.on_air:
            axes.plot([x], [y], "x", ms=7, mec=INK, mew=1.2, zorder=5)
        shown.append((mark, (x - west) * inch, (y - south) * inch))
        if mark.offset_us:
            away = (9 if mark.offset_us > 0 else -9, 0)
            tick = {"arrowstyle": "-", "color": INK, "lw": 2}
            axes.annotate("", (x, y), away, textcoords="offset points", arrowprops=tick, zorder=6)
    taken = [(x - 0.06, y - 0.06, x + 0.06, y + 0.06) for _, x, y in shown]
    if len(marks) <= MOST_NAMES_N:
        _names(axes, shown, wide, taken)
    _places(axes, over, wide, taken)


def _places(axes: "Axes", over: tuple[Over, ...], wide: float, taken: list[tuple[float, float, float, float]]) -> None:
    """Points that lie over the map, and the names that there is room for beside what stands there already."""
    from matplotlib import patheffects

    (west, east), (south, north) = axes.get_xlim(), axes.get_ylim()
    inch, halo = wide / (east - west), [patheffects.withStroke(linewidth=2.0, foreground=SHEET)]
    for one in over:
        for name, lon, lat in points_of(one.document):
            at_x, at_y = _mercator(lat, lon)
            if not (west <= at_x <= east and south <= at_y <= north):
                continue
            axes.plot([at_x], [at_y], "o", ms=3, color=one.ink, zorder=4)
            x, y = (at_x - west) * inch, (at_y - south) * inch
            box = (
                x + 0.06,
                y - NAME_INCH / 2,
                x + 0.06 + 0.9 * LETTER_INCH * letters_wide(written_out(name, unknown_in([name]))),
                y + NAME_INCH / 2,
            )
            if name and box[2] < wide and not any(_meet(box, other) for other in taken):
                taken.append(box)
                at = (west + box[0] / inch, at_y)
                axes.text(*at, name, fontsize=7, va="center", color=one.ink, path_effects=halo, zorder=6)


def _names(
    axes: "Axes",
    shown: list[tuple[Mark, float, float]],
    wide: float,
    taken: list[tuple[float, float, float, float]],
) -> None:
    """Names beside the circles, each in the first place that nothing else has; positions in inches."""
    from matplotlib import patheffects

    halo = [patheffects.withStroke(linewidth=2.4, foreground=SHEET)]
    (west, east), (south, _) = axes.get_xlim(), axes.get_ylim()
    for mark, x, y in shown:
        text = f"{mark.name}, {number(mark.offset_us, 1, signed=True)} µs{'' if mark.on_air else ', not transmitting'}"
        long, high = LETTER_INCH * letters_wide(written_out(text, unknown_in([text]))), NAME_INCH
        lefts = (x + 0.13, x - 0.13 - long, x - long / 2)
        places = [(lefts[0], y + 0.03), (lefts[1], y + 0.03), (lefts[0], y - 0.03 - high), (lefts[1], y - 0.03 - high)]
        places += [(lefts[2], y + 0.09), (lefts[2], y - 0.09 - high)]
        boxes = [(left, low, left + long, low + high) for left, low in places]
        free = (box for box in boxes if box[0] > 0 and box[2] < wide and not any(_meet(box, t) for t in taken))
        box = next(free, boxes[0])
        taken.append(box)
        at = (west + box[0] * (east - west) / wide, south + box[1] * (east - west) / wide)
        axes.text(*at, text, fontsize=8, color=INK, path_effects=halo, zorder=7)


def _meet(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    """Whether two boxes (left, bottom, right, top) overlap."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _ruler(axes: "Axes", grid: Grid, refractivity_n: float, tall: float) -> None:
    """Kilometres, and the microseconds that the signal takes for them."""
    span_km = grid.pixel_m * grid.columns_n / 1000
    long_km = round_step(span_km, most=5)
    share, low = long_km / span_km, -0.42 / tall
    us = long_km * 1000 / SPEED_OF_LIGHT_M_PER_US * refractive_index(refractivity_n)
    axes.plot([0.0, share], [low, low], transform=axes.transAxes, color=INK, lw=2, clip_on=False)
    text = f"{number(long_km, 0 if long_km >= 1 else 1)} km = {number(us, 1)} µs of travel"
    axes.text(share + 0.015, low, text, transform=axes.transAxes, fontsize=9, va="center", color=INK)


def _legend(figure: "Figure", scale: Scale, label: str, marks: tuple[Mark, ...], whole: float, head: float) -> None:
    """What the colours mean, at the right."""
    from matplotlib.colors import LinearSegmentedColormap

    left, top = 0.77, 1 - (head + 0.1) / whole
    figure.text(left, top, "\n".join(_wrapped([label], 24)), fontsize=10, fontweight="bold", color=INK, va="top")
    top -= (0.12 + LINE_INCH * len(_wrapped([label], 24))) / whole
    names: dict[str, tuple[str, ...]] = {
        "sites": tuple(mark.name for mark in marks), "classes": scale.words or CLASSES, "flag": ("", *FLAG_SAYS)
    }  # fmt: skip
    if scale.kind in names:
        every = list(zip(names[scale.kind], named_colours(scale), strict=False))
        for n, (name, colour) in enumerate([every[code] for code in scale.shown] or every):
            if name:
                at = top - LINE_INCH * (n if scale.kind != "flag" else 0) / whole
                figure.text(left, at, "■", fontsize=11, color=colour, va="top")
                figure.text(
                    left + 0.022,
                    at - 0.02 / whole,
                    name if len(name) <= 34 else f"{name[:33]}…",
                    fontsize=8.5,
                    color=INK,
                    va="top",
                )
        return
    colours = gradient(scale, 32)
    table = LinearSegmentedColormap.from_list("layer", colours)
    bar = figure.add_axes((left, top - BAR_INCH / whole, 0.025, BAR_INCH / whole))
    bar.imshow(np.linspace(1, 0, 256)[:, None], aspect="auto", cmap=table, extent=(0, 1, scale.low, scale.high))
    bar.set_xticks([])
    bar.yaxis.tick_right()
    bar.tick_params(labelsize=8.5, colors=INK)
    figure.text(left, top - (BAR_INCH + 0.1) / whole, scale.unit, fontsize=9, color=INK, va="top")
    figure.text(
        left,
        top - (BAR_INCH + 0.3) / whole,
        beyond(scale).replace("right", "upper").replace("left", "lower"),
        fontsize=8,
        color=QUIET,
        va="top",
    )


def _wrapped(lines: list[str], width: int = 112) -> list[str]:
    """Lines no longer than the picture is wide."""
    import textwrap

    return [part for line in lines for part in textwrap.wrap(line, width)]


def _mercator(lat_deg: float, lon_deg: float) -> tuple[float, float]:
    """Projected place of a point. [m, projected]"""
    from sfn.geodesy.grid import WEB_MERCATOR_RADIUS_M

    y = WEB_MERCATOR_RADIUS_M * math.asinh(math.tan(math.radians(lat_deg)))
    return math.radians(lon_deg) * WEB_MERCATOR_RADIUS_M, y
