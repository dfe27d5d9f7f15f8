"""The open sets: where each lies, under which licence, and the names and georeferencing of its tiles as published.

| set | read or from memory |
|---|---|
| heights, heights-coarse | the readme of the Copernicus DEM's public bucket |
| cover | the pages of ESA WorldCover 2021 v200 |
| people | secondary: georeferencing that a public tool's own tests quote from the tiles |
| names, coast, borders, roads | from memory; what an address really answers is said when it is asked |

Sizes in MB are from memory, for the question that is asked before anything is fetched, and nothing else.
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

Bounds = tuple[float, float, float, float]
SetKey = Literal["heights", "heights-coarse", "cover", "people", "names", "coast", "borders", "roads"]

_COPERNICUS = (
    "(c) DLR e.V. 2010-2014 and (c) Airbus Defence and Space GmbH 2014-2018 provided under COPERNICUS by the European "
    "Union and ESA; all rights reserved"
)
_NATURAL_EARTH = "https://naciscdn.org/naturalearth/10m/"
# Heights above ground by class: P.1812, Table 2 (from memory), woods and built-up land 15 and 10 m; the rest is low.
COVER_HEIGHTS_M: Mapping[int, float] = {
    10: 15.0, 20: 0.0, 30: 0.0, 40: 0.0, 50: 10.0, 60: 0.0, 70: 0.0, 80: 0.0, 90: 0.0, 95: 15.0, 100: 0.0,
}  # fmt: skip
COVER_WATER = 80
ARC_SECONDS = 3600.0


@dataclass(frozen=True, slots=True)
class OpenSet:
    """One set of open data.

    Parameters
    ----------
    key : str
        As in ``--what``.
    label : str
        For people.
    variable : str
        The setting that holds its base address.
    base : str
        Where it is published.
    licence, attribution : str
        What must be shown wherever its data are.
    """

    key: SetKey
    label: str
    variable: str
    base: str
    licence: str
    attribution: str


SETS: Mapping[str, OpenSet] = {
    one.key: one
    for one in (
        OpenSet(
            "heights", "heights: Copernicus DEM, 1 arc-second, of treetops and roofs", "SFN_DELAYS_SOURCE_HEIGHTS",
            "https://copernicus-dem-30m.s3.amazonaws.com/", "free of charge with its notice", _COPERNICUS,
        ),
        OpenSet(
            "heights-coarse", "heights where 1 arc-second is not published: Copernicus DEM, 3 arc-seconds",
            "SFN_DELAYS_SOURCE_HEIGHTS_COARSE", "https://copernicus-dem-90m.s3.amazonaws.com/",
            "free of charge with its notice", _COPERNICUS,
        ),
        OpenSet(
            "cover", "land cover: ESA WorldCover 2021, 10 m", "SFN_DELAYS_SOURCE_COVER",
            "https://esa-worldcover.s3.eu-central-1.amazonaws.com/v200/2021/map/", "CC BY 4.0",
            "(c) ESA WorldCover project / Contains modified Copernicus Sentinel data (2021) processed by ESA "
            "WorldCover consortium",
        ),
        OpenSet(
            "people", "people: GHS-POP R2023A, 2020, 3 arc-seconds", "SFN_DELAYS_SOURCE_PEOPLE",
            "https://jeodpp.jrc.ec.europa.eu/ftp/jrc-opendata/GHSL/GHS_POP_GLOBE_R2023A/"
            "GHS_POP_E2020_GLOBE_R2023A_4326_3ss/V1-0/tiles/",
            "free with its source named",
            "European Commission, JRC: GHS-POP R2023A, Schiavina et al. 2023, doi 10.2905/2FF68A52-5B5B-4A22-8F40-"
            "C41DA8332CFE",
        ),
        OpenSet(
            "names", "place names with inhabitants: GeoNames, 500 and more", "SFN_DELAYS_SOURCE_NAMES",
            "https://download.geonames.org/export/dump/", "CC BY 4.0", "GeoNames, CC BY 4.0",
        ),
        OpenSet(
            "coast", "coast lines: Natural Earth 1:10m", "SFN_DELAYS_SOURCE_COAST", f"{_NATURAL_EARTH}physical/",
            "public domain", "Made with Natural Earth",
        ),
        OpenSet(
            "borders", "borders on land: Natural Earth 1:10m", "SFN_DELAYS_SOURCE_BORDERS",
            f"{_NATURAL_EARTH}cultural/", "public domain", "Made with Natural Earth",
        ),
        OpenSet(
            "roads", "roads: Natural Earth 1:10m", "SFN_DELAYS_SOURCE_ROADS", f"{_NATURAL_EARTH}cultural/",
            "public domain", "Made with Natural Earth",
        ),
    )
}  # fmt: skip
# heights-coarse is no choice of its own: it stands in for heights.
CHOICES: tuple[SetKey, ...] = ("heights", "cover", "people", "names", "coast", "borders", "roads")
# One file for the whole world, with about so many MB.
_WORLD_FILES: Mapping[str, tuple[str, float]] = {
    "names": ("cities500.zip", 12.0),
    "coast": ("ne_10m_coastline.zip", 2.0),
    "borders": ("ne_10m_admin_0_boundary_lines_land.zip", 1.0),
    "roads": ("ne_10m_roads.zip", 9.0),
}
_CORNER = r"([NS])(\d\d)_00_([EW])(\d\d\d)_00_DEM\.tif"
_NAMED: Mapping[str, str] = {
    "heights": rf"Copernicus_DSM_COG_10_{_CORNER}",
    "heights-coarse": rf"Copernicus_DSM_COG_30_{_CORNER}",
    "cover": r"ESA_WorldCover_10m_2021_v200_([NS])(\d\d)([EW])(\d\d\d)_Map\.tif",
    "people": r"GHS_POP_E2020_GLOBE_R2023A_4326_3ss_V1_0_R(\d{1,2})_C(\d{1,2})\.zip",
}


@dataclass(frozen=True, slots=True)
class Lattice:
    """A raster tile as published: where its outer edges lie, and how many samples it has.

    Parameters
    ----------
    north_deg, west_deg : float
        Outer edge of its first row and column. [degrees]
    step_lat_deg, step_lon_deg : float
    rows_n, columns_n : int
    dtypes : tuple of str
        What its samples may be.
    """

    north_deg: float
    west_deg: float
    step_lat_deg: float
    step_lon_deg: float
    rows_n: int
    columns_n: int
    dtypes: tuple[str, ...]

    @property
    def bounds_deg(self) -> Bounds:
        """South, west, north and east of its outer edges. [degrees]"""
        south = self.north_deg - self.rows_n * self.step_lat_deg
        return south, self.west_deg, self.north_deg, self.west_deg + self.columns_n * self.step_lon_deg


@dataclass(frozen=True, slots=True)
class Wanted:
    """One file of a set.

    Parameters
    ----------
    of : OpenSet
    address : str
        Under the set's base address: all that leaves the machine.
    file : str
        Under which it is kept.
    about_mb : float
        How large it may be, from memory.
    lattice : Lattice or None
        As published; None for files that are no raster.
    """

    of: OpenSet
    address: str
    file: str
    about_mb: float
    lattice: Lattice | None = None


def wanted(keys: tuple[str, ...], bounds_deg: Bounds) -> tuple[Wanted, ...]:
    """Every file that an area takes, by set and then from the south-west.

    Parameters
    ----------
    keys : tuple of str
        Some of `CHOICES`.
    bounds_deg : tuple of float
        South, west, north, east; east may lie beyond 180. [degrees]
    """
    makers = {"heights": _heights, "cover": _cover, "people": _people}
    out: list[Wanted] = []
    for key in CHOICES:
        if key not in keys:
            continue
        if key in makers:
            out += makers[key](bounds_deg)
        else:
            name, mb = _WORLD_FILES[key]
            out.append(Wanted(SETS[key], name, name, mb))
    return tuple(out)


def tile_named(key: str, file: str) -> Wanted | None:
    """The tile of a set that is kept under a name; None where the set has none of that name."""
    if key in _WORLD_FILES and file == _WORLD_FILES[key][0]:
        return Wanted(SETS[key], file, file, _WORLD_FILES[key][1])
    found = re.fullmatch(_NAMED.get(key, ""), file)
    if found is None:
        return None
    if key == "people":
        row, column = map(int, found.groups())
        return people_tile(row, column) if 1 <= row <= 18 and 1 <= column <= 36 else None
    (up, lat, along, lon) = found.groups()
    south, west = int(lat) * (1 if up == "N" else -1), int(lon) * (1 if along == "E" else -1)
    if not (-90 <= south <= 89 and -180 <= west <= 179):
        return None
    tile = cover_tile(south, west) if key == "cover" else heights_tile(south, west, coarse=key == "heights-coarse")
    return tile if tile.file == file else None


def coarse_of(fine: Wanted) -> Wanted:
    """The tile of 3 arc-seconds that stands in for one of 1 arc-second.

    Examples
    --------
    >>> coarse_of(heights_tile(36, -85)).file
    'Copernicus_DSM_COG_30_N36_00_W085_00_DEM.tif'
    """
    south, west = corner(fine)
    return heights_tile(south, west, coarse=True)


def heights_tile(south: int, west: int, *, coarse: bool = False) -> Wanted:
    """The tile of the Copernicus DEM whose south-west corner lies there, in whole degrees.

    Samples stand on whole arc-seconds, and the rows and columns that neighbours would share in the south and the east
    are left out: the outer edge is half a sample north and west of the square degree.

    Examples
    --------
    >>> heights_tile(36, -85).address
    'Copernicus_DSM_COG_10_N36_00_W085_00_DEM/Copernicus_DSM_COG_10_N36_00_W085_00_DEM.tif'
    >>> heights_tile(60, 10).lattice.columns_n
    1800
    """
    step = (3.0 if coarse else 1.0) / ARC_SECONDS
    narrow = _narrower(min(abs(south), abs(south + 1)))
    rows = round(1 / step)
    lattice = Lattice(
        south + 1 + step / 2, west - narrow * step / 2, step, narrow * step, rows, round(rows / narrow), ("float32",)
    )
    north_south, east_west = ("N" if south >= 0 else "S"), ("E" if west >= 0 else "W")
    name = (
        f"Copernicus_DSM_COG_{30 if coarse else 10}_{north_south}{abs(south):02d}_00_{east_west}{abs(west):03d}_00_DEM"
    )
    about_mb = (4.0 if coarse else 36.0) / narrow
    return Wanted(
        SETS["heights-coarse" if coarse else "heights"], f"{name}/{name}.tif", f"{name}.tif", about_mb, lattice
    )


def cover_tile(south: int, west: int) -> Wanted:
    """The tile of ESA WorldCover whose south-west corner lies there, on multiples of 3 degrees.

    Examples
    --------
    >>> cover_tile(36, -87).file
    'ESA_WorldCover_10m_2021_v200_N36W087_Map.tif'
    """
    step = 1.0 / 12_000.0
    north_south, east_west = ("N" if south >= 0 else "S"), ("E" if west >= 0 else "W")
    name = f"ESA_WorldCover_10m_2021_v200_{north_south}{abs(south):02d}{east_west}{abs(west):03d}_Map.tif"
    return Wanted(
        SETS["cover"], name, name, 70.0, Lattice(float(south + 3), float(west), step, step, 36_000, 36_000, ("uint8",))
    )


def people_tile(row: int, column: int) -> Wanted:
    """The tile of GHS-POP in a row from the north and a column from the west, both from 1.

    Examples
    --------
    >>> tile = people_tile(6, 6)
    >>> tile.file, [f"{edge:.5f}" for edge in tile.lattice.bounds_deg]
    ('GHS_POP_E2020_GLOBE_R2023A_4326_3ss_V1_0_R6_C6.zip', ['29.09958', '-130.00792', '39.09958', '-120.00792'])
    """
    step = 3.0 / ARC_SECONDS
    north, west = _PEOPLE_NORTH_DEG - 10.0 * (row - 1), _PEOPLE_WEST_DEG + 10.0 * (column - 1)
    name = f"GHS_POP_E2020_GLOBE_R2023A_4326_3ss_V1_0_R{row}_C{column}.zip"
    return Wanted(
        SETS["people"], name, name, 25.0, Lattice(north, west, step, step, 12_000, 12_000, ("float32", "float64"))
    )


# Half a sample and nine samples west of 180, as the quoted edges have it: -130.007916 for column 6.
_PEOPLE_WEST_DEG = -180.0 - 9.5 / 1200.0
_PEOPLE_NORTH_DEG = 89.0 + 119.5 / 1200.0


def _narrower(lat_deg: int) -> float:
    """How many times as wide as high a sample of the Copernicus DEM is at a latitude."""
    bands = ((50, 1.0), (60, 1.5), (70, 2.0), (80, 3.0), (85, 5.0), (90, 10.0))
    return next(narrow for below, narrow in bands if lat_deg < below)


def corner(tile: Wanted) -> tuple[int, int]:
    """South-west corner of a tile of heights, in whole degrees."""
    assert tile.lattice is not None
    south, west, _, _ = tile.lattice.bounds_deg
    return round(south), round(west + tile.lattice.step_lon_deg / 2)


def _heights(bounds_deg: Bounds) -> list[Wanted]:
    """Tiles of heights. A lattice that ends half a sample beyond a whole degree needs no more than these."""
    return [heights_tile(south, west) for south, west in _squares(bounds_deg, 1, least=-90, greatest=89)]


def _cover(bounds_deg: Bounds) -> list[Wanted]:
    """Tiles of land cover; published from 60 south to 84 north."""
    return [cover_tile(south, west) for south, west in _squares(bounds_deg, 3, least=-60, greatest=81)]


def _people(bounds_deg: Bounds) -> list[Wanted]:
    """Tiles of people."""
    south, west, north, east = bounds_deg
    rows = range(
        max(1, math.floor((_PEOPLE_NORTH_DEG - north) / 10.0) + 1),
        min(18, math.floor((_PEOPLE_NORTH_DEG - south) / 10.0) + 1) + 1,
    )
    columns = range(math.floor((west - _PEOPLE_WEST_DEG) / 10.0), math.floor((east - _PEOPLE_WEST_DEG) / 10.0) + 1)
    found = sorted({(row, column % 36 + 1) for row in rows for column in columns})
    return [people_tile(row, column) for row, column in found]


def _squares(bounds_deg: Bounds, side: int, *, least: int, greatest: int) -> Iterator[tuple[int, int]]:
    """South-west corners of all squares of so many degrees that an area touches, west from -180 to below 180."""
    south, west, north, east = bounds_deg
    for lat in range(side * math.floor(south / side), math.ceil(north), side):
        if least <= lat <= greatest:
            columns = range(side * math.floor(west / side), math.ceil(east), side)
            yield from sorted({(lat, (lon + 180) % 360 - 180) for lon in columns})
