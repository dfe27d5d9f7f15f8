"""Compiled loops of the terrain: samples between grid points. Nothing outside `sfn.terrain` imports them.

Rows run southwards, columns eastwards, both as fractions of a step from sample [0, 0].
"""

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True, inline="always")
def _between(height_m: NDArray[np.float32], row: float, column: float) -> float:
    """Bilinear height at one place; NaN outside, or when a sample that has weight is void."""
    rows, columns = height_m.shape
    if not (-0.5 <= row <= rows - 0.5 and -0.5 <= column <= columns - 0.5):
        return np.nan
    # Half a step beyond the outermost samples is still their cell: hold the edge value there.
    r = min(max(row, 0.0), rows - 1.0)
    c = min(max(column, 0.0), columns - 1.0)
    i, j = int(r), int(c)
    u, v = r - i, c - j
    # Round-off of a degree over its step is near 1e-9 of a step: a place that close to a sample is on it.
    if u < 1e-7:
        u = 0.0
    elif u > 1.0 - 1e-7:
        i, u = i + 1, 0.0
    if v < 1e-7:
        v = 0.0
    elif v > 1.0 - 1e-7:
        j, v = j + 1, 0.0
    total = 0.0
    if u < 1.0 and v < 1.0:
        total += (1.0 - u) * (1.0 - v) * height_m[i, j]
    if v > 0.0:
        total += (1.0 - u) * v * height_m[i, j + 1]
    if u > 0.0:
        total += u * (1.0 - v) * height_m[i + 1, j]
        if v > 0.0:
            total += u * v * height_m[i + 1, j + 1]
    return total


@njit(cache=True, nogil=True)
def bilinear(
    height_m: NDArray[np.float32], row: NDArray[np.float64], column: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Bilinear heights at fractional rows and columns."""
    out = np.empty(row.size)
    for k in range(row.size):
        out[k] = _between(height_m, row[k], column[k])
    return out


@njit(cache=True, nogil=True, inline="always")
def _weights(t: float) -> tuple[float, float, float, float]:
    """Of four samples in a row by Keys' cubic (a = -0.5), at `t` between the middle two."""
    return (
        t * (-0.5 + t * (1.0 - 0.5 * t)),
        1.0 + t * t * (1.5 * t - 2.5),
        t * (0.5 + t * (2.0 - 1.5 * t)),
        t * t * (0.5 * t - 0.5),
    )


@njit(cache=True, nogil=True)
def cubic(height_m: NDArray[np.float32], row: NDArray[np.float64], column: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cubic heights at fractional rows and columns; bilinear ones where one of the sixteen samples is missing."""
    rows, columns = height_m.shape
    out = np.empty(row.size)
    for k in range(row.size):
        total = np.nan
        if 1.0 <= row[k] < rows - 2.0 and 1.0 <= column[k] < columns - 2.0:
            i, j = int(row[k]), int(column[k])
            a, b, c, d = _weights(column[k] - j)
            e, f, g, h = _weights(row[k] - i)
            total = 0.0
            for n, weight in ((-1, e), (0, f), (1, g), (2, h)):
                total += weight * (
                    a * height_m[i + n, j - 1]
                    + b * height_m[i + n, j]
                    + c * height_m[i + n, j + 1]
                    + d * height_m[i + n, j + 2]
                )
        out[k] = total if total == total else _between(height_m, row[k], column[k])
    return out


@njit(cache=True, nogil=True)
def nearest(
    height_m: NDArray[np.float32], row: NDArray[np.float64], column: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Values of the nearest samples at fractional rows and columns."""
    rows, columns = height_m.shape
    out = np.full(row.size, np.nan)
    for k in range(row.size):
        if -0.5 <= row[k] <= rows - 0.5 and -0.5 <= column[k] <= columns - 0.5:
            i = min(int(np.floor(row[k] + 0.5)), rows - 1)
            j = min(int(np.floor(column[k] + 0.5)), columns - 1)
            out[k] = height_m[i, j]
    return out
