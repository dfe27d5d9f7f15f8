"""What is made of tiles: folders and files that a network names, so that everything else reads them as any others.

| made | how | what is lost |
|---|---|---|
| heights | the tiles as they came; sea where there is none | nothing |
| cover | one raster, every fourth sample each way (37 m) | classes narrower than that may be missed |
| people | one raster; cells added up where there would be too many to count on a map | nothing of the sums |
| names | a table of places | districts of towns (feature code PPLX), places without inhabitants |
"""

import csv
import io
import os
import shutil
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window

from sfn.country.gather import Gathered
from sfn.country.looked import opened
from sfn.country.sets import COVER_HEIGHTS_M, COVER_WATER, SETS, Bounds, Lattice, Wanted, corner
from sfn.country.shelf import Note, Shelf
from sfn.errors import PlanError, Problem
from sfn.geodesy.extent import extent_says
from sfn.in_one_step import in_one_step
from sfn.plan.formula import guarded
from sfn.terrain.coast import source_document, write_zones, zones_of_classes
from sfn.terrain.credits import keep_credits, keep_file_credits
from sfn.terrain.dem import terrain_from_folder
from sfn.terrain.meaning import CLASSES, HOLDS_TAG
from sfn.terrain.told import Told, keep_told
from sfn.units import grouped

COPYRIGHT_TAG = "TIFFTAG_COPYRIGHT"
COVER_EVERY_N = 4
COVER_VOID = 0
# `sfn.reception.listeners.from_raster` counts four million cells on a map at most.
MOST_PEOPLE_CELLS_N = 3_500_000
ROWS_AT_ONCE_N = 1200
PLACES_FILE = "GeoNames-places.csv"
PEOPLE_FILE = "GHS-POP-2020.tif"
Tick = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Made:
    """Folders and files that were made.

    Parameters
    ----------
    folders : mapping of str to Path
        ``heights``, ``cover``, ``zones``: what is there.
    files : mapping of str to Path
        ``people``, ``names``.
    says : tuple of str
        What was done and assumed.
    """

    folders: Mapping[str, Path]
    files: Mapping[str, Path]
    says: tuple[str, ...]


def make(gathered: Gathered, *, shelf: Shelf, bounds_deg: Bounds, place: Callable[[str], Path], tick: Tick) -> Made:
    """Make folders and files of tiles that are on the shelf.

    Parameters
    ----------
    gathered : Gathered
        A set with problems is left out whole: half a country is taken for all of it too easily.
    shelf : Shelf
    bounds_deg : tuple of float
        South, west, north and east of the area. [degrees]
    place : callable(str)
        The folder for ``heights``, ``cover``, ``zones``, ``people`` and ``names``; made where need be.
    tick : callable(str)
        Told what is being done; what it raises ends it.

    Raises
    ------
    PlanError
        If a tile is not as it came any more; every such tile is named, and forgotten.
    OSError
        If something cannot be written.
    """
    broken = {problem.values.get("set") for problem in gathered.problems}
    broken |= {"heights"} if "heights-coarse" in broken else set()
    by_set: dict[str, list[tuple[Wanted, Note]]] = {}
    for tile, note in gathered.held:
        by_set.setdefault("heights" if tile.of.key == "heights-coarse" else tile.of.key, []).append((tile, note))
    by_set = {key: held for key, held in by_set.items() if key not in broken}
    _unchanged(by_set, shelf, tick)
    absent: dict[str, list[Wanted]] = {}
    for tile in gathered.absent:
        absent.setdefault(tile.of.key, []).append(tile)
    folders: dict[str, Path] = {}
    files: dict[str, Path] = {}
    says: list[str] = []
    if "heights" in by_set:
        tick("heights")
        folders["heights"] = place("heights")
        says += _heights(by_set["heights"], absent.get("heights", []), shelf, folders["heights"])
    if "cover" in by_set:
        folders["cover"] = place("cover")
        says += _cover(by_set["cover"], absent.get("cover", []), shelf, bounds_deg, folders["cover"], tick)
        tick("sea and coast")
        says += _zones(folders, place("zones"), bounds_deg)
    if "people" in by_set:
        files["people"] = place("people") / PEOPLE_FILE
        says += _people(by_set["people"], shelf, bounds_deg, files["people"], tick)
    if "names" in by_set:
        tick("place names")
        files["names"] = place("names") / PLACES_FILE
        says += _names(shelf.path(by_set["names"][0][0]), bounds_deg, files["names"])
    for key, path in files.items():
        keep_file_credits(path, [SETS[key].attribution], _about(by_set[key]))
    return Made(folders, files, tuple(says))


def document_keys(made: Made, *, named: Callable[[Path], str]) -> dict[str, Any]:
    """What a network's document says to stand on it; `named` is how it names a folder or file."""
    keys: dict[str, Any] = {}
    if "heights" in made.folders:
        keys["terrain"] = {"folder": named(made.folders["heights"]), "heights_of": "surface"}
    if "cover" in made.folders:
        classes = [{"number": number, "height_m": height_m} for number, height_m in COVER_HEIGHTS_M.items()]
        keys["cover"] = {"folder": named(made.folders["cover"]), "classes": classes}
    if "zones" in made.folders:
        keys["zones"] = source_document(named(made.folders["zones"]))
    listed = made.files.get("people", made.files.get("names"))
    if listed is not None:
        keys["listeners"] = {"file": named(listed)}
    return keys


def _unchanged(by_set: Mapping[str, Sequence[tuple[Wanted, Note]]], shelf: Shelf, tick: Tick) -> None:
    """Hold every tile against its checksum before anything is made of it."""
    problems = []
    for tile, note in (one for held in by_set.values() for one in held):
        tick(f"{tile.file}: its checksum")
        if not shelf.whole(tile, note):
            shelf.drop(tile)
            what = "is not as it came: its checksum differs"
            problems.append(Problem(tile.file, what, "the tile fetched again", code="tile-damaged"))
    if problems:
        raise PlanError(problems)


def _heights(held: Sequence[tuple[Wanted, Note]], sea: Sequence[Wanted], shelf: Shelf, folder: Path) -> list[str]:
    """Tiles beside each other in a folder, and level sea where there are none."""
    folder.mkdir(parents=True, exist_ok=True)
    told = Told(unit="m", surface=True)
    for tile, _ in held:
        _placed(shelf.path(tile), folder / tile.file)
        (folder / _sea_name(tile)).unlink(missing_ok=True)
    for tile in sea:
        assert tile.lattice is not None
        with _writing(folder / _sea_name(tile), tile.lattice, "float32", None, SETS["heights"].attribution) as out:
            zeros = np.zeros((tile.lattice.rows_n, tile.lattice.columns_n), dtype=np.float32)
            out.write(zeros, 1)
    keep_told(folder, dict.fromkeys((*(t.file for t, _ in held), *(_sea_name(t) for t in sea)), told))
    keep_credits(folder, [SETS["heights"].attribution], _about(held))
    coarse = sum(tile.of.key == "heights-coarse" for tile, _ in held)
    says = ["Heights are those of treetops and roofs; what the land cover says stands there is taken off them."]
    if sea:
        says.append(f"{len(sea)} of {len(sea) + len(held)} squares have no tile of heights: level sea, height 0.")
    if coarse:
        says.append(f"{coarse} squares have heights every 3 arc-seconds only: 1 arc-second is not published there.")
    return says


def _cover(
    held: Sequence[tuple[Wanted, Note]], sea: Sequence[Wanted], shelf: Shelf, bounds: Bounds, folder: Path, tick: Tick
) -> list[str]:
    """One raster of classes over the area, every fourth sample each way."""
    folder.mkdir(parents=True, exist_ok=True)
    step = COVER_EVERY_N / 12_000.0
    south, west, north, east = bounds
    top, left = int(np.ceil(north / step)), int(np.floor(west / step))
    rows, columns = top - int(np.floor(south / step)), int(np.ceil(east / step)) - left
    lattice = Lattice(top * step, left * step, step, step, rows, columns, ("uint8",))
    known = 0
    with _writing(folder / "cover.tif", lattice, "uint8", COVER_VOID, SETS["cover"].attribution) as out:
        out.update_tags(**{HOLDS_TAG: CLASSES})
        for tile in (*(t for t, _ in held), *sea):
            for at, r0, r1, c0, c1 in _parts(tile, COVER_EVERY_N, lattice):
                tick(tile.file)
                size = r1 - r0, c1 - c0
                if tile in sea:
                    classes = np.full(size, COVER_WATER, dtype=np.uint8)
                else:
                    classes = _every_fourth(shelf.path(tile), tile, r0 - at[0], c0 - at[1], size)
                known += int(np.count_nonzero(classes))
                out.write(classes, 1, window=Window(c0, r0, c1 - c0, r1 - r0))
    keep_credits(folder, [SETS["cover"].attribution], _about(held))
    says = [
        "Land cover: every fourth sample each way was taken (37 m); woods 15 m, built-up land 10 m, all else 0 m high "
        "(ITU-R P.1812, Table 2, from memory): change them where you know better."
    ]
    if sea:
        says.append(f"{len(sea)} squares of 3 degrees have no land cover: taken for sea.")
    void_pct = 100.0 * (1.0 - known / (rows * columns))
    if void_pct >= 0.05:
        says.append(f"{void_pct:.1f} % of the area has no class of land cover: it counts as bare ground inland.")
    return says


def _every_fourth(path: Path, tile: Wanted, row: int, column: int, shape: tuple[int, int]) -> NDArray[np.uint8]:
    """Part of a tile of classes, in cells of four samples a side, out of its overviews where it has them."""
    n = COVER_EVERY_N
    part = Window(column * n, row * n, shape[1] * n, shape[0] * n)
    with opened(path, tile) as source:
        return np.asarray(source.read(1, window=part, out_shape=shape), dtype=np.uint8)


def _parts(tile: Wanted, every_n: int, into: Lattice) -> Iterator[tuple[tuple[int, int], int, int, int, int]]:
    """Where a tile, in cells of so many samples a side, lies within a raster, some rows at a time.

    Yields the tile's first row and column, which may lie outside, then rows from and to, columns from and to; also
    where it lies once round the earth.
    """
    assert tile.lattice is not None
    rows, columns = tile.lattice.rows_n // every_n, tile.lattice.columns_n // every_n
    for turn_deg in (-360.0, 0.0, 360.0):
        row = round((into.north_deg - tile.lattice.north_deg) / into.step_lat_deg)
        column = round((tile.lattice.west_deg + turn_deg - into.west_deg) / into.step_lon_deg)
        left, right = max(column, 0), min(column + columns, into.columns_n)
        if left >= right:
            continue
        for top in range(max(row, 0), min(row + rows, into.rows_n), ROWS_AT_ONCE_N):
            yield (row, column), top, min(top + ROWS_AT_ONCE_N, row + rows, into.rows_n), left, right


def _zones(folders: dict[str, Path], folder: Path, bounds: Bounds) -> list[str]:
    """Zones of sea and coast by the land cover's water, in a folder of their own."""
    heights = folders.get("heights")
    try:
        made = zones_of_classes(
            terrain_from_folder(folders["cover"], blended=False), water=(COVER_WATER,),
            terrain=None if heights is None else terrain_from_folder(heights), bounds_deg=bounds,
        )  # fmt: skip
    except PlanError as refused:
        if any(problem.code != "no-water-class" for problem in refused.problems):
            raise
        return ["The land cover has no water here: all is inland."]
    write_zones(made, folder)
    keep_credits(folder, [SETS["cover"].attribution], {})
    folders["zones"] = folder
    beyond = (
        "Zones of sea and coast reach as far as the area: beyond it all counts as inland, and so does land near its "
        "edge whose sea lies beyond; signals over that sea come out too weak for 1 % of the time."
    )
    return [*made.says, beyond]


def _people(held: Sequence[tuple[Wanted, Note]], shelf: Shelf, bounds: Bounds, path: Path, tick: Tick) -> list[str]:
    """One raster of people over the area; cells added up by whole numbers a side, so that the sums stay."""
    path.parent.mkdir(parents=True, exist_ok=True)
    first = held[0][0].lattice
    assert first is not None
    step, zero_north, zero_west = first.step_lat_deg, first.north_deg, first.west_deg
    south, west, north, east = bounds
    top, left = int(np.floor((zero_north - north) / step)), int(np.floor((west - zero_west) / step))
    rows, columns = int(np.ceil((zero_north - south) / step)) - top, int(np.ceil((east - zero_west) / step)) - left
    n = max(1, int(np.ceil((rows * columns / MOST_PEOPLE_CELLS_N) ** 0.5)))
    rows, columns = n * -(-rows // n), n * -(-columns // n)
    total = np.zeros((rows // n, columns // n))
    cut = Lattice(zero_north - top * step, zero_west + left * step, step, step, rows, columns, ("float64",))
    for tile, _ in held:
        for at, r0, r1, c0, c1 in _parts(tile, 1, cut):
            tick(tile.file)
            with opened(shelf.path(tile), tile) as source:
                part = Window(c0 - at[1], r0 - at[0], c1 - c0, r1 - r0)
                read = source.read(1, window=part, masked=True).astype(np.float64).filled(0.0)
            _add(total, np.where(np.isfinite(read) & (read > 0.0), read, 0.0), r0, c0, n)
    lattice = Lattice(cut.north_deg, cut.west_deg, n * step, n * step, rows // n, columns // n, ("float32",))
    written = total.astype(np.float32)
    with _writing(path, lattice, "float32", None, SETS["people"].attribution) as out:
        out.write(written, 1)
    side = f" in cells of {3 * n} arc-seconds, {n} x {n} of the source added up" if n > 1 else ""
    count, over = grouped(written.sum(dtype=np.float64), ".0f"), extent_says(lattice.bounds_deg)
    return [
        f"People: {count} live in the cells that lie in the area or reach into it, {over}, by 2020{side}. A map counts "
        "those within its own frame, and says how large that is."
    ]


def _add(total: NDArray[np.float64], people: NDArray[np.float64], row: int, column: int, n: int) -> None:
    """Add cells to those, n times as wide and high, that they lie in; the first lies at a row and column."""
    into_rows, into_columns = (
        np.arange(row, row + people.shape[0]) // n,
        np.arange(column, column + people.shape[1]) // n,
    )
    starts = [np.flatnonzero(np.diff(into, prepend=-1)) for into in (into_rows, into_columns)]
    summed = np.add.reduceat(np.add.reduceat(people, starts[0], axis=0), starts[1], axis=1)
    total[into_rows[0] : into_rows[-1] + 1, into_columns[0] : into_columns[-1] + 1] += summed


def _names(archive: Path, bounds: Bounds, path: Path) -> list[str]:
    """A table of the area's places with inhabitants."""
    path.parent.mkdir(parents=True, exist_ok=True)
    kept = districts = 0
    with in_one_step(path) as fresh, fresh.open("w", encoding="utf-8", newline="") as out:
        table = csv.writer(out)
        table.writerow(("name", "lat", "lon", "people"))
        for name, lat, lon, people, code in named_places(archive, bounds):
            if people <= 0:
                continue
            if code == "PPLX":
                districts += 1
                continue
            table.writerow((guarded(name), f"{lat!r}", f"{lon!r}", f"{people:.0f}"))
            kept += 1
    left_out = f"; {districts} districts are left out, for they count with their town" if districts else ""
    return [f"Place names: {kept} places with inhabitants{left_out}."]


def named_places(archive: Path, bounds_deg: Bounds) -> Iterator[tuple[str, float, float, float, str]]:
    """Name, latitude, longitude, inhabitants (0: not known) and feature code of GeoNames' places in an area."""
    south, west, north, east = bounds_deg
    for cells in _places(archive):
        lat, lon = float(cells[4]), float(cells[5])
        if south <= lat <= north and (lon - west) % 360.0 <= east - west:
            yield cells[1][:120], lat, lon, float(cells[14] or 0), cells[7]


def _places(archive: Path) -> Iterator[list[str]]:
    """Lines of GeoNames' table, 19 columns apart by tabs; a line of another shape is passed over."""
    with zipfile.ZipFile(archive) as held:
        name = next(one for one in held.namelist() if one.lower().endswith(".txt"))
        with held.open(name) as stream:
            for line in io.TextIOWrapper(stream, encoding="utf-8"):
                cells = line.rstrip("\n").split("\t")
                if len(cells) == 19:
                    yield cells


def _about(held: Sequence[tuple[Wanted, Note]]) -> dict[str, dict[str, str]]:
    """Source, date and checksum of tiles."""
    return {
        tile.file: {"source": note.source, "fetched": note.fetched, "sha256": note.sha256} for tile, note in held
    }  # fmt: skip


def _placed(tile: Path, path: Path) -> None:
    """A tile in a folder: the same file where the disk allows, else a copy."""
    with in_one_step(path) as fresh:
        try:
            os.link(tile, fresh)
        except OSError:
            shutil.copyfile(tile, fresh)


def _sea_name(tile: Wanted) -> str:
    """The file of level sea in the place of a tile of heights."""
    south, west = corner(tile)
    return f"sea_{'N' if south >= 0 else 'S'}{abs(south):02d}{'E' if west >= 0 else 'W'}{abs(west):03d}.tif"


@contextmanager
def _writing(path: Path, lattice: Lattice, dtype: str, nodata: float | None, credit: str) -> Iterator[Any]:
    """A tiled GeoTIFF that bears its credit."""
    with (
        in_one_step(path) as fresh,
        rasterio.open(
            fresh, "w", driver="GTiff", width=lattice.columns_n, height=lattice.rows_n, count=1, dtype=dtype,
            crs="EPSG:4326", nodata=nodata, compress="deflate", tiled=True, blockxsize=512, blockysize=512,
            transform=rasterio.transform.from_origin(
                lattice.west_deg, lattice.north_deg, lattice.step_lon_deg, lattice.step_lat_deg
            ),
        ) as out,
    ):  # fmt: skip
        out.update_tags(**{COPYRIGHT_TAG: credit})
        yield out
