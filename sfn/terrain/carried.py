"""Values of a raster, in its own coordinate system, carried onto samples regular in latitude and longitude.

Where a sample of the target lies in the raster is worked out by PROJ at every 32nd and lies straight between (30 m
samples: within 3 cm), and the value there is interpolated once. GDAL's own warping, as rasterio offers it, lets places
slip by an eighth of a sample, whatever tolerance is asked for: 3 m of 30, and 0.3 m of height in ridge country.
"""

import math

import numpy as np
import rasterio
import rasterio.crs
import rasterio.warp
from numpy.typing import NDArray

from sfn.terrain.kernels import bilinear, cubic, nearest

WGS84 = "EPSG:4326"
# Samples of the target between places that are worked out.
TABLE_SAMPLES = 32
# Rows of the target at a time.
STRIP_ROWS = 256
# How often a finer target is mended by what it misses. Fractal ground of 100 m rms over 15 km, at its own samples of
# 30 m: 0.81 m rms as carried, 0.20 after once, 0.06 after twice; chance of 20 m at each sample: 3.9, 1.2 and 0.4.
MENDED_N = 2
# Samples that lie so near to the target's own, in steps, are taken as they are.
ON_A_SAMPLE, WIDEST_COPIED_DEG = 1e-3, 90.0

Singles = NDArray[np.float32]
Floats = NDArray[np.float64]


def carried(
    values: Singles,
    lain: rasterio.Affine,
    crs: rasterio.crs.CRS,
    place: rasterio.Affine,
    *,
    shape: tuple[int, int],
    blended: bool,
    beyond: float = 0.5,
) -> Singles:
    """Values of a raster on the samples of a target, NaN beyond it and beside its voids.

    Parameters
    ----------
    values : ndarray, shape (rows, columns)
        NaN where there is none.
    lain : Affine
        From columns and rows of the values (corners of their cells) to coordinates of `crs`.
    crs : CRS
    place : Affine
        From columns and rows of the target to longitude and latitude on WGS84. [degrees]
    shape : tuple of int
        Rows and columns of the target.
    blended : bool
        Between samples (cubic; bilinear beside voids and edges), or the value of the nearest sample.
    beyond : float
        How far beyond the outermost samples there is a value, in samples, where it is blended: straight on from the
        last two, so that files of unlike steps join without a stair.
    """
    rows, columns = shape
    out = np.full(shape, np.nan, dtype=np.float32)
    at_row, at_column = _table_places(rows), _table_places(columns)
    column, row = (at - 0.5 for at in _within(lain, crs, place, at_column, at_row, 0.5 * values.shape[1]))
    if _copied(values, row, column, out, wide=columns * place.a > WIDEST_COPIED_DEG or not crs.is_geographic):
        return out
    values = np.ascontiguousarray(values)
    taken = cubic if blended else nearest
    for first in range(0, rows, STRIP_ROWS):
        own = np.arange(first, min(first + STRIP_ROWS, rows), dtype=np.float64)
        down, across = (_between(table, at_row, at_column, own, columns) for table in (row, column))
        laid = taken(values, down.ravel(), across.ravel()).reshape(down.shape)
        if blended:
            _straight_on(values, down, across, laid, beyond)
        out[first : first + own.size] = laid
    return out


def _straight_on(values: Singles, row: Floats, column: Floats, laid: Floats, beyond: float) -> None:
    """Values just beyond the outermost samples, straight on from the last two, in place; held where one is void."""
    rows, columns = values.shape
    out = (row < 0.0) | (row > rows - 1.0) | (column < 0.0) | (column > columns - 1.0)
    out &= (row >= -beyond) & (row <= rows - 1.0 + beyond) & (column >= -beyond) & (column <= columns - 1.0 + beyond)
    if min(rows, columns) < 2 or not out.any():
        return
    r, c = row[out], column[out]
    i, j = (np.clip(np.floor(at).astype(np.int64), 0, n - 2) for at, n in ((r, rows), (c, columns)))
    u, v = r - i, c - j
    upper = (1.0 - v) * values[i, j] + v * values[i, j + 1]
    lower = (1.0 - v) * values[i + 1, j] + v * values[i + 1, j + 1]
    found = (1.0 - u) * upper + u * lower
    laid[out] = np.where(np.isnan(found), laid[out], found)


def fitted(
    values: Singles, lain: rasterio.Affine, crs: rasterio.crs.CRS, place: rasterio.Affine, *, shape: tuple[int, int]
) -> Singles:
    """Heights on the samples of a finer target such that, taken straight between them, they pass through the file's.

    Straight lines between samples of a surface that passes through the file's heights cut its tops and fill its
    hollows. What is missing at the file's samples is carried onto the target and added, `MENDED_N` times.

    Parameters
    ----------
    values, lain, crs, place, shape
        As in `carried`; a place of the target hangs on what lies within `reach_n` samples of it.

    Returns
    -------
    ndarray, `shape`
        [m] NaN as in `carried`.
    """
    laid = carried(values, lain, crs, place, shape=shape, blended=True)
    at_row, at_column = (_table_places(count, TABLE_SAMPLES // 4) for count in values.shape)
    x, y = lain * (at_column[None, :] + 0.5 + 0.0 * at_row[:, None], at_row[:, None] + 0.5 + 0.0 * at_column[None, :])
    lon, lat = (np.asarray(v).reshape(x.shape) for v in rasterio.warp.transform(crs, WGS84, x.ravel(), y.ravel()))
    middle = place.c + place.a * shape[1] / 2.0
    across, down = (at - 0.5 for at in ~place * (middle + (lon - middle + 180.0) % 360.0 - 180.0, lat))
    missing = np.empty_like(values)
    for _ in range(MENDED_N):
        for first in range(0, len(values), STRIP_ROWS):
            own = np.arange(first, min(first + STRIP_ROWS, len(values)), dtype=np.float64)
            r, c = (_between(table, at_row, at_column, own, values.shape[1]) for table in (down, across))
            part = slice(first, first + own.size)
            missing[part] = values[part] - bilinear(laid, r.ravel(), c.ravel()).reshape(r.shape)
        laid += carried(np.nan_to_num(missing, nan=0.0), lain, crs, place, shape=shape, blended=True)
    return laid


def reach_n(cells: float) -> int:
    """How many samples of a target away a file's sample may still move one, by samples of the target to one of it."""
    # Cubic over two samples each way, whichever way round they run, then one of the target; each time it is mended.
    return math.ceil(MENDED_N * (2.0 * math.sqrt(2.0) * cells + 1.0)) + 2


def _table_places(count: int, every: int = TABLE_SAMPLES) -> Floats:
    """Samples that are worked out: every 32nd, and the last."""
    return np.append(np.arange(0.0, count - 1, every), count - 1.0)


def _within(
    lain: rasterio.Affine, crs: rasterio.crs.CRS, place: rasterio.Affine, column: Floats, row: Floats, middle: float
) -> tuple[Floats, Floats]:
    """Columns and rows of the raster, from corners of cells, at samples of the target."""
    lon, lat = place * (column[None, :] + 0.5 + 0.0 * row[:, None], row[:, None] + 0.5 + 0.0 * column[None, :])
    x, y = (np.asarray(v).reshape(lon.shape) for v in rasterio.warp.transform(WGS84, crs, lon.ravel(), lat.ravel()))
    if crs.is_geographic:
        # As the raster counts, whichever way round the earth.
        x = lon + (x - lon + 180.0) % 360.0 - 180.0
        x = x + 360.0 * np.round((lain.c + lain.a * middle - np.mean(x)) / 360.0)
    across, down = ~lain * (x, y)
    return np.asarray(across), np.asarray(down)


def _copied(values: Singles, row: Floats, column: Floats, out: Singles, *, wide: bool) -> bool:
    """Copy values whose samples are the target's own, in place; False where they are not."""
    ends = np.array([[row[0, 0], row[0, -1], row[-1, 0]], [column[0, 0], column[0, -1], column[-1, 0]]])
    if wide or not np.isfinite(ends).all():
        return False
    (top, top_2, low), (left, right, left_2) = np.round(ends)
    off = np.abs(ends - np.round(ends)).max()
    steps = (abs(low - top), abs(right - left))
    if off > ON_A_SAMPLE or top != top_2 or left != left_2 or steps != (out.shape[0] - 1, out.shape[1] - 1):
        return False
    first_row, first_column = int(top), int(left)
    if low < top:
        values, first_row = values[::-1], len(values) - 1 - first_row
    if right < left:
        values, first_column = values[:, ::-1], values.shape[1] - 1 - first_column
    into = out[max(-first_row, 0) : max(len(values) - first_row, 0)]
    into = into[:, max(-first_column, 0) : max(values.shape[1] - first_column, 0)]
    into[...] = values[max(first_row, 0) :, max(first_column, 0) :][: into.shape[0], : into.shape[1]]
    return True


def _between(table: Floats, at_row: Floats, at_column: Floats, row: Floats, columns: int) -> Floats:
    """A table's values at rows of the target and at all its columns, straight between."""
    i = np.clip(np.searchsorted(at_row, row, side="right") - 1, 0, max(at_row.size - 2, 0))
    part = ((row - at_row[i]) / TABLE_SAMPLES)[:, None]
    if at_row.size > 1:
        length = at_row[i + 1] - at_row[i]
        part = ((row - at_row[i]) / length)[:, None]
        lines = table[i] + part * (table[i + 1] - table[i])
    else:
        lines = table[i]
    if at_column.size == 1:
        return lines
    column = np.arange(columns, dtype=np.float64)
    j = np.clip(np.searchsorted(at_column, column, side="right") - 1, 0, at_column.size - 2)
    share = (column - at_column[j]) / (at_column[j + 1] - at_column[j])
    out = (lines[:, 1:] - lines[:, :-1]).take(j, axis=1)
    out *= share
    out += lines.take(j, axis=1)
    return np.asarray(out)
