"""Runs of one route over distance, ready to be drawn: marks by setting, what was best, remarks, levels, the plan."""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.reception.classes import CLASSES
from sfn.report.numbers import km, number, us
from sfn.report.scale import round_step
from sfn.survey.runs import SideBySide

_LEFT, _RIGHT, _WIDTH = 84, 12, 900
_ROW, _GAP, _TOP, _UNDER = 22, 6, 12, 8
_PANEL, _BETWEEN = 110, 30

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a strip: `grade` 1 to 5 of the mark, or 0 where none was noted; or the place of a class."""

    x: int
    width: int
    grade: int
    title: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One setting: marks, the class predicted for it beneath (empty without), and where remarks were made."""

    label: str
    y: int
    pieces: tuple[Piece, ...]
    predicted: tuple[Piece, ...]
    remarks: tuple[tuple[int, str], ...]


@dataclass(frozen=True, slots=True)
class Stretch:
    """An unbroken part of a line: ``measured`` or ``planned``, and what it is."""

    points: str
    title: str
    kind: str


@dataclass(frozen=True, slots=True)
class Panel:
    """Lines over distance with the amounts at top and bottom, and the height of zero where that lies inside."""

    title: str
    top: int
    bottom: int
    zero: int | None
    high: str
    low: str
    lines: tuple[Stretch, ...]


@dataclass(frozen=True, slots=True)
class RunStrips:
    """The drawing, in pixels: strips, the best setting's pieces, panels beneath, and a scale of kilometres."""

    width: int
    height: int
    row_height: int
    under_height: int
    strips: tuple[Strip, ...]
    best: tuple[tuple[int, int, int], ...]
    panels: tuple[Panel, ...]
    ticks: tuple[tuple[int, str], ...]


def run_strips(
    found: SideBySide,
    *,
    level_dbuvm: Floats,
    delay_difference_us: Floats,
    pairs: Sequence[str],
    predicted_class: Floats | None = None,
    words: Sequence[str] = CLASSES,
) -> RunStrips:
    """Lay marks, remarks, levels and the plan over distance.

    Parameters
    ----------
    found : SideBySide
    level_dbuvm : ndarray (B,)
        Of all sites on air together, as predicted; NaN where none is known. [dB(uV/m)]
    delay_difference_us : ndarray (B,)
        Of the two strongest signals at each stretch, as planned; NaN where there are no two. [us]
    pairs : sequence of str (B,)
        Which two these are, in words; where they change the line is parted.
    predicted_class : ndarray (R, B), optional
        Place in `sfn.reception.classes.CLASSES` at each setting; NaN where nothing is known.
    words : sequence of str
        What the service calls these.
    """
    count = len(found.distance_m)
    step_px = (_WIDTH - _LEFT - _RIGHT) / count
    edges = [round(_LEFT + k * step_px) for k in range(count + 1)]
    length_m = count * float(found.distance_m[0]) * 2
    pitch = _ROW + _GAP + (0 if predicted_class is None else _UNDER)
    strips = tuple(
        Strip(
            us(setting, signed=True),
            _TOP + row * pitch,
            _pieces(found.mark[row], edges, setting, ()),
            () if predicted_class is None else _pieces(predicted_class[row] + 1, edges, setting, words),
            tuple(
                (round(_LEFT + r.distance_m / length_m * (_WIDTH - _LEFT - _RIGHT)), f"{km(r.distance_m, 1)}: {r.text}")
                for r in found.remarks
                if r.setting_us == setting
            ),
        )
        for row, setting in enumerate(found.settings_us)
    )
    best = tuple((edges[a], strips[k].y, edges[b] - edges[a]) for a, b, k in _runs(found.best.tolist()) if k >= 0)
    labels = [strip.label for strip in strips]
    top = _TOP + len(strips) * pitch + 26
    panels = []
    for title, measured, planned, decimals in (
        ("Quality as logged, dB", found.quality_db, None, 0),
        ("Level, dB(µV/m)", found.level_dbuvm, level_dbuvm, 0),
        ("Delay difference as planned, µs", None, delay_difference_us, 1),
    ):
        # A prediction of levels alone, with nothing logged beside it, is for the map.
        if measured is not None and not np.isfinite(measured).any():
            continue
        rows = [] if measured is None else list(zip(measured, labels, strict=True))
        made = _panel(title, rows, planned, pairs if measured is None else None, edges, top=top, decimals=decimals)
        if made is not None:
            panels.append(made)
            top = made.bottom + _BETWEEN
    tick_km = round_step(length_m / 1000)
    ticks = tuple(
        (round(_LEFT + k * tick_km / (length_m / 1000) * (_WIDTH - _LEFT - _RIGHT)), f"{k * tick_km:g}")
        for k in range(math.floor(length_m / 1000 / tick_km + 1e-9) + 1)
    )
    return RunStrips(_WIDTH, top + 20, _ROW, _UNDER, strips, best, tuple(panels), ticks)


def _pieces(values: Floats, edges: list[int], setting_us: float, words: Sequence[str]) -> tuple[Piece, ...]:
    """Neighbours that are equal, put together; 0 stands for nothing known."""
    grades = np.nan_to_num(np.round(values)).astype(int).tolist()
    return tuple(
        Piece(edges[a], edges[b] - edges[a], grade, f"{us(setting_us, signed=True)}: {_says(grade, words)}")
        for a, b, grade in _runs(grades)
    )


def _says(grade: int, words: Sequence[str]) -> str:
    """A class in its words, a mark where there are none."""
    if words:
        return f"predicted {words[grade - 1]}" if grade else "nothing predicted"
    return f"mark {grade}" if grade else "no mark"


def _runs(values: list[int]) -> list[tuple[int, int, int]]:
    """(first, after last, value) of neighbours that are equal."""
    edges = [0, *(k for k in range(1, len(values)) if values[k] != values[k - 1]), len(values)]
    return [(a, b, values[a]) for a, b in itertools.pairwise(edges)]


def _panel(
    title: str,
    measured: Sequence[tuple[Floats, str]],
    planned: Floats | None,
    pairs: Sequence[str] | None,
    edges: list[int],
    *,
    top: int,
    decimals: int,
) -> Panel | None:
    """Lines between the least and the greatest of all; None where nothing is known."""
    every = np.concatenate([*(values for values, _ in measured), *([] if planned is None else [planned])])
    known = every[np.isfinite(every)]
    if not len(known):
        return None
    high, low = float(known.max()), float(known.min())

    def height(value: float) -> int:
        return round(top + (high - value) / max(high - low, 0.1) * _PANEL)

    lines = [
        Stretch(points, f"measured at {name}", "measured")
        for values, name in measured
        for points, _ in _parted(values.tolist(), [name] * len(values), edges, height)
    ]
    if planned is not None:
        names = pairs or ["as predicted"] * len(planned)
        lines += [Stretch(p, name, "planned") for p, name in _parted(planned.tolist(), names, edges, height)]
    zero = height(0.0) if low <= 0 <= high else None
    signed = pairs is not None
    ends = (number(high, decimals, signed=signed), number(low, decimals, signed=signed))
    return Panel(title, top, top + _PANEL, zero, *ends, tuple(lines))


def _parted(
    values: list[float], names: Sequence[str], edges: list[int], height: Callable[[float], int]
) -> list[tuple[str, str]]:
    """Points of a line with the name of each part; parted at gaps and where the name changes."""
    parts: list[tuple[list[str], str]] = []
    last = ""
    for k, value in enumerate(values):
        name = names[k] if math.isfinite(value) else ""
        if name:
            if name != last:
                parts.append(([], name))
            at = height(value)
            parts[-1][0].extend((f"{edges[k]},{at}", f"{edges[k + 1]},{at}"))
        last = name
    return [(" ".join(points), name) for points, name in parts]
