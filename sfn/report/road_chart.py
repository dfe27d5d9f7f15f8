"""A road as a chart: levels, delay differences and margin over distance, one beneath the other on one axis.

matplotlib is imported in the functions.
"""

import itertools
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sfn.reception.classes import CLASSES
from sfn.report.colours import class_colours, site_colours
from sfn.report.plots import INK, QUIET, RUST, SHEET, TEAL, PictureFormat, quiet_axes, written

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = NDArray[np.float64]
# Told apart without colour too: letter and hatching of each class, best first.
CLASS_LETTERS = ("", "", "U", "W", "M", "O")
CLASS_HATCHES = ("", "..", "///", "xx", "--", "oo")
MOST_CURVES_N = 10
SITE_DASHES = ("-", "--", "-.", ":")

PLOT_GID = "road-plot"  # in an SVG, the frame whose left and right edges are the road's ends
HEADING_LETTERS, HEADING_INCH = 150, 0.17  # what a line above the chart holds, and its height


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a chart shows: S signals over M samples.

    Parameters
    ----------
    distance_m : ndarray, shape (M,)
    edges_m : ndarray, shape (M + 1,)
        Where the share of each sample begins and ends.
    sites : tuple of str (S,)
        Names.
    site_places : tuple of int (S,)
        Their places in the document, for their colours.
    level_dbuvm, delay_difference_us : ndarray, shape (S, M)
    counts : ndarray of bool, shape (S, M)
        Which signals are significant.
    strongest : ndarray of int, shape (M,)
    usable_dbuvm, tolerance_us : float
    tolerance_said : str
    margin_db, quality_class : ndarray, shape (M,)
    margin_before_db : ndarray, shape (M,), optional
        As planned, where something is tried.
    covered : ndarray of bool, shape (M,)
        Whether the terrain covers the paths from all sites.
    stretches : tuple of (from, to)
        Without adequate service, in the order of their numbers. [m]
    words : tuple of str
        What the classes mean for people, by their codes.
    measured : (distance, level), optional
        [m, dB(uV/m)]
    """

    distance_m: Floats
    edges_m: Floats
    sites: tuple[str, ...]
    site_places: tuple[int, ...]
    level_dbuvm: Floats
    delay_difference_us: Floats
    counts: NDArray[np.bool_]
    strongest: NDArray[np.intp]
    usable_dbuvm: float
    tolerance_us: float
    tolerance_said: str
    margin_db: NDArray[np.floating]
    margin_before_db: NDArray[np.floating] | None
    quality_class: NDArray[np.floating]
    covered: NDArray[np.bool_]
    stretches: tuple[tuple[float, float], ...]
    measured: tuple[Floats, Floats] | None
    words: tuple[str, ...] = ()


def road_profile(drawn: Drawn) -> bytes:
    """Level, margin and class alone, as an SVG narrow enough to stand beside a map, which says the rest.

    Parameters
    ----------
    drawn : Drawn
    """
    from matplotlib.figure import Figure

    figure = Figure(figsize=(4.2, 4.4), facecolor=SHEET, layout="constrained")
    level, margin, strip = figure.subplots(3, 1, sharex=True, gridspec_kw={"height_ratios": [3.2, 2.4, 0.5]})
    for axes in (level, margin, strip):
        quiet_axes(axes)
        for a, b in drawn.stretches[:20]:
            axes.axvspan(a / 1000, b / 1000, color=RUST, alpha=0.07, lw=0)
    _levels(level, drawn)
    _margins(margin, drawn, drawn.distance_m / 1000.0)
    _strip(strip, drawn)
    strip.set_xlabel("distance along the road (km)", fontsize=9, color=INK)
    strip.set_xlim(0.0, float(drawn.distance_m[-1] / 1000.0))
    strip.patch.set_gid(PLOT_GID)
    figure.legend(*level.get_legend_handles_labels(), loc="outside lower center", ncols=2, fontsize=8, frameon=False)
    return written(figure, "svg")


def road_chart(drawn: Drawn, *, said: str, state: str = "", picture: PictureFormat = "svg") -> bytes:
    """The chart as a file.

    Parameters
    ----------
    drawn : Drawn
    said : str
        Network, revision, date.
    state : str
        What is tried; empty where it is the plan.
    picture : {'svg', 'png'}
    """
    from matplotlib.figure import Figure

    title = f"{said}. Rust: without adequate service, by number." if drawn.stretches else said
    heading = [line for text in (state, title) if text for line in textwrap.wrap(text, HEADING_LETTERS)]
    tall = 8.2 + HEADING_INCH * max(len(heading) - 2, 0)
    figure = Figure(figsize=(11.0, tall), facecolor=SHEET, layout="constrained")
    level, delay, margin, strip = figure.subplots(
        4, 1, sharex=True, gridspec_kw={"height_ratios": [3.2, 3.0, 2.4, 0.55]}
    )
    at_km = drawn.distance_m / 1000.0
    for axes in (level, delay, margin, strip):
        quiet_axes(axes)
        for n, (a, b) in enumerate(drawn.stretches[:20], start=1):
            axes.axvspan(a / 1000, b / 1000, color=RUST, alpha=0.07, lw=0)
            if axes is level:
                axes.annotate(
                    str(n), ((a + b) / 2000, 1.0), xycoords=("data", "axes fraction"), ha="center", va="bottom",
                    fontsize=8, color=RUST,
                )  # fmt: skip
    _levels(level, drawn)
    for i, style in _curves(drawn):
        delay.plot(at_km, _differences(drawn, i), lw=1.5, **style)
    _delays(delay, drawn)
    _margins(margin, drawn, at_km)
    _strip(strip, drawn)
    _class_key(strip, drawn)
    strip.set_xlabel("distance along the road (km)", fontsize=9, color=INK)
    strip.set_xlim(0.0, float(at_km[-1]))
    strip.patch.set_gid(PLOT_GID)
    figure.suptitle("\n".join(heading), fontsize=9.5, color=RUST if state else INK, x=0.01, ha="left")
    figure.legend(*level.get_legend_handles_labels(), loc="outside lower center", ncols=6, fontsize=8, frameon=False)
    return written(figure, picture)


def _shown(drawn: Drawn) -> list[int]:
    """The signals worth a curve: those that are significant somewhere, the most present first, in document order."""
    present = drawn.counts.sum(axis=1)
    order = [int(i) for i in np.argsort(-present, kind="stable") if present[i]]
    return sorted(order[:MOST_CURVES_N])


def _curves(drawn: Drawn) -> list[tuple[int, dict[str, Any]]]:
    """The signals that are shown, each with the colour and the dashes of its site."""
    colours = site_colours(max(drawn.site_places, default=0) + 1)
    places = [(i, drawn.site_places[i]) for i in _shown(drawn)]
    return [(i, {"color": colours[place], "ls": SITE_DASHES[place // 10 % 4]}) for i, place in places]


def _levels(axes: "Axes", drawn: Drawn) -> None:
    """Level of every signal, what was measured, and the minimum field."""
    for i, style in _curves(drawn):
        axes.plot(drawn.distance_m / 1000.0, drawn.level_dbuvm[i], label=drawn.sites[i], lw=1.3, **style)
    _left_out(axes, drawn)
    if drawn.measured is not None:
        axes.plot(drawn.measured[0] / 1000, drawn.measured[1], ".", ms=4, color=INK, label="measured", zorder=6)
    axes.axhline(drawn.usable_dbuvm, color=QUIET, lw=0.9, ls=(0, (4, 3)))
    _note(axes, drawn.usable_dbuvm, f"minimum field {drawn.usable_dbuvm:.0f}")
    axes.set_ylabel("level (dBµV/m)", fontsize=9, color=INK)


def _differences(drawn: Drawn, i: int) -> Floats:
    """A signal's delay difference to the strongest; parted where it does not count, is it, or the strongest changes."""
    value = np.where(drawn.counts[i] & (drawn.strongest != i), drawn.delay_difference_us[i], np.nan)
    changes = np.flatnonzero(np.diff(drawn.strongest)) + 1
    value[changes] = np.nan
    return value


def _delays(axes: "Axes", drawn: Drawn) -> None:
    """Delay differences with the band that the service tolerates."""
    axes.axhline(0.0, color=QUIET, lw=0.8)
    axes.axhspan(-drawn.tolerance_us, drawn.tolerance_us, color=TEAL, alpha=0.1, lw=0)
    _note(axes, drawn.tolerance_us, drawn.tolerance_said)
    low, high = axes.get_ylim()
    reach = 1.3 * drawn.tolerance_us
    axes.set_ylim(min(low, -reach), max(high, reach))
    axes.set_ylabel("delay minus that of\nthe strongest (µs)", fontsize=9, color=INK)


def _left_out(axes: "Axes", drawn: Drawn) -> None:
    """Hatching at the foot where the terrain leaves out the path from some site: its curve is missing there."""
    out = np.concatenate(([False], ~drawn.covered, [False])).astype(int)
    edges_km = drawn.edges_m / 1000
    for n, (a, b) in enumerate(zip(np.flatnonzero(np.diff(out) == 1), np.flatnonzero(np.diff(out) == -1), strict=True)):
        said = None if n else "terrain leaves out a site's path"
        axes.axvspan(edges_km[a], edges_km[b], 0, 0.06, fc="none", ec=QUIET, hatch="\\\\\\", lw=0, label=said)


def _margins(axes: "Axes", drawn: Drawn, at_km: Floats) -> None:
    """Margin over adequate service, now and as planned."""
    if drawn.margin_before_db is not None:
        axes.plot(at_km, drawn.margin_before_db, color=QUIET, lw=1.0, ls=(0, (3, 2)))
    axes.plot(at_km, drawn.margin_db, color=INK, lw=1.4)
    axes.axhline(0.0, color=RUST, lw=0.9, ls=(0, (4, 3)))
    _note(axes, 0.0, "adequate" + ("; dashed: as planned" if drawn.margin_before_db is not None else ""))
    axes.set_ylabel("margin (dB)", fontsize=9, color=INK)


def _strip(axes: "Axes", drawn: Drawn) -> None:
    """Classes as a strip with their own hatching and letters."""
    colours = class_colours()
    edges = drawn.edges_m / 1000
    kinds = np.nan_to_num(drawn.quality_class, nan=-1.0).astype(int)
    starts = [0, *(np.flatnonzero(np.diff(kinds)) + 1).tolist(), len(kinds)]
    for a, b in itertools.pairwise(starts):
        if kinds[a] < 0:
            axes.axvspan(edges[a], edges[b], facecolor="none", edgecolor=QUIET, hatch="\\\\", lw=0)
            continue
        axes.axvspan(
            edges[a], edges[b], facecolor=colours[kinds[a]], hatch=CLASS_HATCHES[kinds[a]], edgecolor=SHEET, lw=0
        )
        if CLASS_LETTERS[kinds[a]] and edges[b] - edges[a] > 0.012 * edges[-1]:
            axes.text((edges[a] + edges[b]) / 2, 0.5, CLASS_LETTERS[kinds[a]], ha="center", va="center", fontsize=8)
    axes.set_yticks([])
    axes.set_ylim(0, 1)


def _class_key(axes: "Axes", drawn: Drawn) -> None:
    """What the strip's colours, hatching and letters mean, in words."""
    from matplotlib.patches import Patch

    kinds = np.nan_to_num(drawn.quality_class, nan=-1.0).astype(int)
    key = [
        Patch(facecolor=colour, hatch=hatch, edgecolor=SHEET, label=f"{name} ({letter})" if letter else name)
        for code, (colour, hatch, name, letter) in enumerate(
            zip(class_colours(), CLASS_HATCHES, drawn.words or CLASSES, CLASS_LETTERS, strict=True)
        )
        if code in kinds or code < 2
    ]
    axes.legend(handles=key, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, fontsize=8, frameon=False)


def _note(axes: "Axes", at: float, text: str) -> None:
    """A small sentence on a line, at the right."""
    axes.annotate(
        text, (1.0, at), xycoords=("axes fraction", "data"), ha="right", va="bottom", fontsize=8, color=QUIET, zorder=7,
        bbox={"facecolor": SHEET, "alpha": 0.85, "lw": 0, "pad": 1.0},
    )  # fmt: skip
