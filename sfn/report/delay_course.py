"""The delay found in each section of a recording, over time: whether the clocks hold together, at a glance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sfn.report.numbers import number, us

_WIDTH, _HEIGHT, _LEFT, _RIGHT, _TOP, _BOTTOM = 640, 200, 96, 16, 16, 34


@dataclass(frozen=True, slots=True)
class DelayCourse:
    """Points of the drawing in pixels, and the words at its edges."""

    width: int
    height: int
    points: tuple[tuple[int, int], ...]
    top_text: str
    bottom_text: str
    first_text: str
    last_text: str
    left: int
    right: int
    top: int
    bottom: int


def delay_course(sections_s: ArrayLike, sections_us: ArrayLike) -> DelayCourse | None:
    """Lay the delays of sections over time; None for fewer than two.

    Parameters
    ----------
    sections_s, sections_us : array_like (N,)
        Middle of each section and the delay found in it. [s, us]
    """
    time_s, delay_us = np.asarray(sections_s, dtype=np.float64), np.asarray(sections_us, dtype=np.float64)
    if len(time_s) < 2 or not np.all(np.isfinite(delay_us)):
        return None
    middle, half = float((delay_us.max() + delay_us.min()) / 2), max(float(np.ptp(delay_us)) * 0.6, 1e-3)
    x = _LEFT + (time_s - time_s[0]) / (time_s[-1] - time_s[0]) * (_WIDTH - _LEFT - _RIGHT)
    y = _TOP + (middle + half - delay_us) / (2 * half) * (_HEIGHT - _TOP - _BOTTOM)
    decimals = int(np.clip(2 - np.floor(np.log10(half)), 1, 5))
    return DelayCourse(
        width=_WIDTH,
        height=_HEIGHT,
        points=tuple((round(float(a)), round(float(b))) for a, b in zip(x, y, strict=True)),
        top_text=us(middle + half, decimals, signed=True),
        bottom_text=us(middle - half, decimals, signed=True),
        first_text=f"{number(float(time_s[0]), 1)} s",
        last_text=f"{number(float(time_s[-1]), 1)} s",
        left=_LEFT,
        right=_WIDTH - _RIGHT,
        top=_TOP,
        bottom=_HEIGHT - _BOTTOM,
    )
