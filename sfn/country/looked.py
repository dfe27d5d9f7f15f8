"""Whether a file that came is the tile that it is called: opened, lying where it is published, readable to its end."""

import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
import rasterio.errors
from numpy.typing import NDArray

from sfn.country.sets import COVER_HEIGHTS_M, Lattice, Wanted
from sfn.terrain.tile import GREATEST_HEIGHT_M, LEAST_HEIGHT_M

# Of a sample: published edges are written with as few as six decimals.
OFF_A_SAMPLE = 0.01
OUTSIDE = "the tile as published"
# Members by which a zip archive of a set is known.
_MEMBERS = {
    "names": (".txt",),
    "coast": (".shp", ".dbf", ".shx"),
    "borders": (".shp", ".dbf", ".shx"),
    "roads": (".shp", ".dbf", ".shx"),
}
MOST_UNPACKED_BYTES = 4_000_000_000
MOST_PEOPLE_IN_A_CELL = 200_000.0
Values = NDArray[Any]
_CLASSES = bytes([0, *COVER_HEIGHTS_M])


class NotTheTileError(Exception):
    """What is wrong with a file that came, and what it should be."""


def look(path: Path, tile: Wanted, *, tick: Callable[[], None]) -> None:
    """Hold a file against what its set publishes.

    Parameters
    ----------
    path : Path
        Whatever it is called.
    tile : Wanted
    tick : callable
        Called every now and then; what it raises ends it.

    Raises
    ------
    NotTheTileError
        If it cannot be opened, lies elsewhere, has another size, holds what its set cannot hold, or is cut off.
    """
    if tile.lattice is None:
        _archive(path, _MEMBERS[tile.of.key], tick)
        return
    with opened(path, tile) as source:
        lies_as_published(source, tile.lattice)
        _values(source, tile, tick)


@contextmanager
def opened(path: Path, tile: Wanted) -> Iterator[rasterio.DatasetReader]:
    """A tile's raster, also inside its archive.

    Raises
    ------
    NotTheTileError
        If there is none.
    """
    place = str(path.resolve())
    if tile.file.endswith(".zip"):
        place = f"/vsizip/{{{place}}}/{_raster_in(path)}"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
        try:
            source = rasterio.open(place, driver="GTiff")
        except rasterio.errors.RasterioError as error:
            raise NotTheTileError("is no GeoTIFF", OUTSIDE) from error
    with source:
        yield source


def lies_as_published(source: rasterio.DatasetReader, lattice: Lattice) -> None:
    """Hold a raster's place and size against what is published.

    Raises
    ------
    NotTheTileError
        If they differ.
    """
    if source.crs is None or source.crs.to_epsg() != 4326:
        raise NotTheTileError("does not lie in WGS84 latitude and longitude (EPSG:4326)", OUTSIDE)
    if (source.height, source.width) != (lattice.rows_n, lattice.columns_n):
        raise NotTheTileError(
            f"has {source.width} x {source.height} samples", f"{lattice.columns_n} x {lattice.rows_n} as published"
        )
    if source.count != 1 or source.dtypes[0] not in lattice.dtypes:
        raise NotTheTileError(
            f"holds {source.count} x {source.dtypes[0]}", f"one band of {' or '.join(lattice.dtypes)}"
        )
    a, b, c, d, e, f = tuple(source.transform)[:6]
    off = (
        abs(a / lattice.step_lon_deg - 1.0) * lattice.columns_n, abs(-e / lattice.step_lat_deg - 1.0) * lattice.rows_n,
        abs(c - lattice.west_deg) / lattice.step_lon_deg, abs(f - lattice.north_deg) / lattice.step_lat_deg,
    )  # fmt: skip
    if b or d or not max(off) < OFF_A_SAMPLE:
        raise NotTheTileError(
            f"lies with its north-west corner at {f:.6f}, {c:.6f} and {a:.9f} degrees a sample",
            f"{lattice.north_deg:.6f}, {lattice.west_deg:.6f} and {lattice.step_lon_deg:.9f} as published",
        )


def _values(source: rasterio.DatasetReader, tile: Wanted, tick: Callable[[], None]) -> None:
    """Read every block: what cannot be unpacked, or cannot be what it says, is found now and not on the map."""
    checks: dict[str, Callable[[Values, float | None], int]] = {"cover": _classes, "people": _people}
    check = checks.get(tile.of.key, _heights)
    known = 0
    try:
        for _, window in source.block_windows(1):
            tick()
            values = source.read(1, window=window)
            known += check(values, source.nodata)
    except rasterio.errors.RasterioError as error:
        raise NotTheTileError("cannot be read to its end: it is damaged, or cut off", "the whole tile") from error
    if not known and tile.of.key != "people":
        raise NotTheTileError("holds no value at all", OUTSIDE)


def _heights(values: Values, nodata: float | None) -> int:
    """Samples that are heights; refuses what cannot be."""
    held = values[np.isfinite(values) & (values != (np.nan if nodata is None else nodata))]
    if held.size and not (held.min() >= LEAST_HEIGHT_M and held.max() <= GREATEST_HEIGHT_M):
        raise NotTheTileError(
            f"holds values from {held.min():.0f} to {held.max():.0f}",
            f"heights of {LEAST_HEIGHT_M:g} to {GREATEST_HEIGHT_M:g} m",
        )
    return int(held.size)


def _classes(values: Values, _nodata: float | None) -> int:
    """Samples that have a class of the table."""
    if strange := values.tobytes().translate(None, _CLASSES):
        raise NotTheTileError(f"holds the class {strange[0]}", f"classes {', '.join(map(str, COVER_HEIGHTS_M))}")
    return int(np.count_nonzero(values))


def _people(values: Values, nodata: float | None) -> int:
    """Cells that say how many live there."""
    held = values[np.isfinite(values) & (values != (np.nan if nodata is None else nodata))]
    if held.size and not (held.min() >= 0.0 and held.max() <= MOST_PEOPLE_IN_A_CELL):
        raise NotTheTileError(
            f"holds {held.min():g} to {held.max():g} people in a cell", f"0 to {MOST_PEOPLE_IN_A_CELL:g}"
        )
    return int(held.size)


def _archive(path: Path, endings: tuple[str, ...], tick: Callable[[], None]) -> None:
    """Whether an archive is whole, and holds what its set holds."""
    try:
        with zipfile.ZipFile(path) as archive:
            held = archive.infolist()
            if sum(one.file_size for one in held) > MOST_UNPACKED_BYTES:
                raise NotTheTileError("unpacks to more than any such file", OUTSIDE)
            missing = [end for end in endings if not any(one.filename.lower().endswith(end) for one in held)]
            if missing:
                raise NotTheTileError(f"holds no file ending in {missing[0]}", f"an archive with {', '.join(endings)}")
            for one in held:
                with archive.open(one) as stream:
                    while stream.read(1 << 20):
                        tick()
    except (OSError, EOFError, zlib.error, zipfile.BadZipFile, RuntimeError, NotImplementedError) as error:
        raise NotTheTileError("is no archive, or a damaged one", "a whole zip archive") from error


def _raster_in(path: Path) -> str:
    """The one raster of an archive."""
    try:
        with zipfile.ZipFile(path) as archive:
            found = [name for name in archive.namelist() if name.lower().endswith(".tif")]
    except (OSError, zipfile.BadZipFile) as error:
        raise NotTheTileError("is no archive, or a damaged one", "a whole zip archive") from error
    if len(found) != 1 or ".." in found[0] or "}" in found[0]:
        raise NotTheTileError(f"holds {len(found)} rasters", "one GeoTIFF")
    return found[0]
