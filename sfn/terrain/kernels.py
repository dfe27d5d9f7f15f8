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


@njit(cache=True, nogil=True)
def sample_radials(
    height_m: NDArray[np.float32],
    row: NDArray[np.float64],
    column: NDArray[np.float64],
    node_m: float,
    step_m: float,
    samples: int,
) -> NDArray[np.float32]:
    """Bilinear heights at equal steps along radials whose positions are given at nodes, shape (radials, nodes)."""
    radials, nodes = row.shape
    out = np.empty((radials, samples), dtype=np.float32)
    for a in range(radials):
        for k in range(samples):
            at = k * step_m / node_m
            n = min(int(at), nodes - 2)
            t = at - n
            r = row[a, n] + t * (row[a, n + 1] - row[a, n])
            c = column[a, n] + t * (column[a, n + 1] - column[a, n])
            out[a, k] = _between(height_m, r, c)
    return out


@njit(cache=True, nogil=True)
def bridge_gaps(height_m: NDArray[np.float32], most_samples: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Fill gaps of profiles in place; first missing sample and first sample of a gap too long, of each."""
    profiles, samples = height_m.shape
    first_gap = np.full(profiles, samples)
    first_break = np.full(profiles, samples)
    for p in range(profiles):
        k = 0
        while k < samples:
            if not np.isnan(height_m[p, k]):
                k += 1
                continue
            start = k
            while k < samples and np.isnan(height_m[p, k]):
                k += 1
            first_gap[p] = min(first_gap[p], start)
            crossed = start > 0 and k < samples and k - start <= most_samples
            if not crossed:
                first_break[p] = min(first_break[p], start)
            before = height_m[p, start - 1] if start > 0 else np.float32(0.0)
            after = height_m[p, k] if crossed else before
            for j in range(start, k):
                height_m[p, j] = before + (after - before) * np.float32((j - start + 1) / (k - start + 1))
    return first_gap, first_break
