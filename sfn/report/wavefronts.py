"""Meeting wavefronts: the labelled family of equal-delay lines of a pair, and its equal-signal band.

Lines are where arrival of `b` minus arrival of `a` is a multiple of a step; the ribbon about zero is as wide
as what the service tolerates. Where levels match within the band a line counts; elsewhere it is drawn faint.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.field.contours import isolines
from sfn.geodesy.grid import Grid
from sfn.report.scale import round_step

Line = list[tuple[float, float]]
# Rings shorter than this are the speckle of rough ground, not a line that anybody could follow.
LEAST_POINTS_N = 20
RIBBON_RGB = (11, 90, 102)
# More lines than this on one map are a carpet.
MOST_LINES_N = 13


@dataclass(frozen=True, slots=True)
class WavefrontLine:
    """One piece of a line: longitude, latitude pairs, as GeoJSON has them; `strong` inside the equal-signal band."""

    kind: str
    delay_us: float | None
    level_db: float | None
    strong: bool
    line: tuple[tuple[float, float], ...]


def delay_lines(
    delay_us: NDArray[np.float64], level_db: NDArray[np.float64], grid: Grid, *, step_us: float, equal_signal_db: float
) -> tuple[WavefrontLine, ...]:
    """The family of equal-delay lines of a pair.

    Parameters
    ----------
    delay_us : ndarray, shape (rows, columns)
        Arrival of `b` minus arrival of `a`. [us]
    level_db : ndarray, shape (rows, columns)
        Level of `b` minus level of `a`; NaN where either is missing. [dB]
    grid : Grid
    step_us : float
        Distance of the lines; widened so that there are at most `MOST_LINES_N`. [us]
    equal_signal_db : float
        Half-width of the equal-signal band. [dB]
    """
    least, greatest = float(np.nanmin(delay_us)), float(np.nanmax(delay_us))
    near = np.abs(level_db) <= equal_signal_db
    low, high = least, greatest
    if near.any():  # the lines that matter are those that the band meets, and zero
        low, high = float(delay_us[near].min()), float(delay_us[near].max())
    low, high = min(low, max(0.0, least)), max(high, min(0.0, greatest))
    if (high - low) / step_us > MOST_LINES_N:
        step_us = round_step(high - low, most=MOST_LINES_N)
    multiples = np.arange(np.ceil(low / step_us), np.floor(high / step_us) + 1) * step_us
    return tuple(
        WavefrontLine("equal-delay", float(at), None, strong, piece)
        for at in multiples
        for strong, piece in _pieces(delay_us, float(at), grid, near)
    )


def ribbon(
    delay_us: NDArray[np.float64], level_db: NDArray[np.float64], *, tolerance_us: float, equal_signal_db: float
) -> NDArray[np.uint8]:
    """The ribbon where both signals arrive within the tolerance, as RGBA pixels, shape (rows, columns, 4).

    Strong where their levels match within the band, fainter out to three times that, a trace elsewhere.
    """
    off_db = np.abs(level_db)
    alpha = np.select(
        [off_db <= equal_signal_db, off_db <= 3 * equal_signal_db, np.isfinite(off_db)], [205, 110, 45], 0
    )
    out = np.zeros((*delay_us.shape, 4), dtype=np.uint8)
    out[..., :3] = RIBBON_RGB
    out[..., 3] = np.where(np.abs(delay_us) <= tolerance_us, alpha, 0)
    return out


def band_lines(level_db: NDArray[np.float64], grid: Grid, *, equal_signal_db: float) -> tuple[WavefrontLine, ...]:
    """The two edges of a pair's equal-signal band; arguments as `delay_lines`."""
    everywhere = np.ones(level_db.shape, dtype=bool)
    return tuple(
        WavefrontLine("equal-signal", None, edge, True, piece)
        for edge in (-equal_signal_db, equal_signal_db)
        for _, piece in _pieces(level_db, edge, grid, everywhere)
    )


def _pieces(
    values: NDArray[np.float64], at: float, grid: Grid, strong: NDArray[np.bool_]
) -> Iterator[tuple[bool, tuple[tuple[float, float], ...]]]:
    """Contour lines in longitude and latitude, cut where they enter or leave the strong area."""
    for line in isolines(values, grid, at=at):
        column, row = line.at_pixels[:, 0], line.at_pixels[:, 1]
        inside = strong[row.round().astype(int), column.round().astype(int)]
        where = line.lon_lat
        if len(where) < LEAST_POINTS_N and min(values.shape) > 8 * LEAST_POINTS_N:
            continue
        cuts = np.flatnonzero(inside[1:] != inside[:-1]) + 1
        for part in np.split(np.arange(len(where)), cuts):
            last = min(part[-1] + 1, len(where) - 1)
            piece = where[part[0] : last + 1]
            if len(piece) >= 2:
                yield bool(inside[part[0]]), tuple((float(x), float(y)) for x, y in piece)
