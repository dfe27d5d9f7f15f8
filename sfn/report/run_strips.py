"""Runs of one route as strips over distance: marks by setting, and what was best, ready to be drawn."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.report.numbers import number, us
from sfn.report.scale import round_step
from sfn.survey.runs import SideBySide

_LEFT, _RIGHT, _WIDTH = 84, 12, 900
_ROW, _GAP, _TOP = 22, 6, 8
_CURVE = 120


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a strip: `grade` 1 to 5 of the mark, or 0 where none was noted."""

    x: int
    width: int
    grade: int
    title: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One setting."""

    label: str
    y: int
    pieces: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the planned delay difference, with the pair that it belongs to."""

    points: str
    title: str


@dataclass(frozen=True, slots=True)
class RunStrips:
    """The drawing, in pixels: strips, the best setting's pieces, the planned delay difference beneath, a scale."""

    width: int
    height: int
    row_height: int
    strips: tuple[Strip, ...]
    best: tuple[tuple[int, int, int], ...]
    curve: tuple[Stretch, ...]
    curve_top: int
    curve_bottom: int
    curve_zero: int | None
    curve_high: str
    curve_low: str
    ticks: tuple[tuple[int, str], ...]


def run_strips(found: SideBySide, *, delay_difference_us: NDArray[np.float64], pairs: Sequence[str]) -> RunStrips:
    """Lay marks and the planned delay difference over distance.

    Parameters
    ----------
    found : SideBySide
    delay_difference_us : ndarray (B,)
        Of the two strongest signals at each stretch, as planned; NaN where there are no two. [us]
    pairs : sequence of str (B,)
        Which two these are, in words; where they change the line is parted.
    """
    count = len(found.distance_m)
    step_px = (_WIDTH - _LEFT - _RIGHT) / count
    edges = [round(_LEFT + k * step_px) for k in range(count + 1)]
    strips = []
    for row, setting in enumerate(found.settings_us):
        grades = np.nan_to_num(np.round(found.mark[row])).astype(int).tolist()
        pieces = tuple(
            Piece(edges[a], edges[b] - edges[a], grade, f"{us(setting, signed=True)}: {_says(grade)}")
            for a, b, grade in _runs(grades)
        )
        strips.append(Strip(us(setting, signed=True), _TOP + row * (_ROW + _GAP), pieces))
    best = tuple((edges[a], strips[k].y, edges[b] - edges[a]) for a, b, k in _runs(found.best.tolist()) if k >= 0)
    top = _TOP + len(strips) * (_ROW + _GAP) + 14
    curve, zero, high, low = _curve(delay_difference_us, pairs, edges, top=top)
    length_km = count * float(found.distance_m[0]) * 2 / 1000
    tick_km = round_step(length_km)
    ticks = tuple(
        (round(_LEFT + k * tick_km / length_km * (_WIDTH - _LEFT - _RIGHT)), f"{k * tick_km:g}")
        for k in range(math.floor(length_km / tick_km + 1e-9) + 1)
    )
    return RunStrips(
        width=_WIDTH,
        height=top + _CURVE + 34,
        row_height=_ROW,
        strips=tuple(strips),
        best=best,
        curve=curve,
        curve_top=top,
        curve_bottom=top + _CURVE,
        curve_zero=zero,
        curve_high=high,
        curve_low=low,
        ticks=ticks,
    )


def _says(grade: int) -> str:
    """A mark in words."""
    return f"mark {grade}" if grade else "no mark"


def _runs(values: list[int]) -> list[tuple[int, int, int]]:
    """(first, after last, value) of neighbours that are equal."""
    edges = [0, *(k for k in range(1, len(values)) if values[k] != values[k - 1]), len(values)]
    return [(a, b, values[a]) for a, b in itertools.pairwise(edges)]


def _curve(
    delay_us: NDArray[np.float64], pairs: Sequence[str], edges: list[int], *, top: int
) -> tuple[tuple[Stretch, ...], int | None, str, str]:
    """Lines of points, parted at gaps and where the pair changes; the height of zero if inside; words at both ends."""
    known = delay_us[np.isfinite(delay_us)]
    if not len(known):
        return (), None, "", ""
    high, low = float(known.max()), float(known.min())
    span = max(high - low, 0.1)
    parts: list[tuple[str, list[str]]] = []
    last = ""
    for k, value in enumerate(delay_us.tolist()):
        pair = pairs[k] if math.isfinite(value) else ""
        if pair:
            if pair != last:
                parts.append((pair, []))
            height = round(top + (high - value) / span * _CURVE)
            parts[-1][1].extend((f"{edges[k]},{height}", f"{edges[k + 1]},{height}"))
        last = pair
    zero = round(top + high / span * _CURVE) if low <= 0 <= high else None
    curve = tuple(Stretch(" ".join(points), pair) for pair, points in parts)
    return curve, zero, number(high, 1, signed=True), number(low, 1, signed=True)
