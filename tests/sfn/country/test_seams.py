"""Heights on and beside the seams of tiles, fetched and laid: right to 0.01 m in every hemisphere, at 180 degrees too."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from sfn.country.gather import Gathered
from sfn.country.made import make
from sfn.country.sets import heights_tile
from sfn.country.shelf import Shelf
from sfn.terrain.dem import heights as heights_at, terrain_from_folder
from tests.sfn.country.small_server import Store
from tests.sfn.country.small_tiles import write_heights

Floats = NDArray[np.float64]
SECOND = 1.0 / 3600.0
PLACES_N = 1500


def wrapped(lon: int) -> int:
    """A longitude of a tile, -180 to 179."""
    return (lon + 180) % 360 - 180


@pytest.mark.parametrize(
    ("lat", "lon", "coarse"),
    [
        (39, -84, ""), (-20, -60, ""), (-33, 20, ""), (47, 11, ""), (0, 0, ""), (10, 180, ""), (-17, 180, ""),
        (50, 10, ""), (-50, -70, ""), (60, 25, ""), (39, -84, "north"), (39, -84, "south"), (-20, 30, "east"),
        (39, -84, "west"), (-17, 180, "west"), (50, 10, "north"),
    ],
)  # fmt: skip
def test_heights_are_right_on_and_beside_every_seam(
    lat: int, lon: int, coarse: str, tmp_path: Path, fetched: Callable[..., Gathered], shelf: Shelf, heights: Store
) -> None:
    """Four tiles that meet in a point, of a slope of 200 m a degree north and 100 m a degree east.

    Half a sample is 0.03 m there. Also where the samples are of unlike width (50 and 60 degrees), and where a side is of
    3 arc-seconds: there, between a coarser file and a finer one, lies a gap of one arc-second that no file covers.
    """

    def slope(at_lat: Floats, at_lon: Floats) -> Floats:
        """Heights, whichever way a longitude is written. [m]"""
        return 800.0 + 200.0 * (at_lat - lat) + 100.0 * ((at_lon - lon + 180.0) % 360.0 - 180.0)

    asked = []
    for south in (lat - 1, lat):
        for west in (lon - 1, lon):
            side = {"north": south == lat, "south": south < lat, "east": west == lon, "west": west < lon}
            write_heights(heights.folder, south, wrapped(west), coarse=side.get(coarse, False), surface=slope)
            asked.append(heights_tile(south, wrapped(west)))
    found = fetched(*asked)
    assert (found.problems, len(found.held)) == ((), 4)
    bounds = (lat - 0.5, lon - 0.5, lat + 0.5, lon + 0.5)
    made = make(found, shelf=shelf, bounds_deg=bounds, place=lambda key: tmp_path / "made" / key, tick=lambda _: None)
    terrain = terrain_from_folder(made.folders["heights"])

    chance = np.random.default_rng(7)
    beside_lat, beside_lon = (chance.uniform(-6.0, 6.0, PLACES_N) * SECOND for _ in range(2))
    beside_lat[:100] = 0.0
    beside_lon[50:150] = 0.0
    away_lat, away_lon = (chance.uniform(-0.45, 0.45, PLACES_N) for _ in range(2))
    for north, east in ((beside_lat, away_lon), (away_lat, beside_lon), (beside_lat, beside_lon), (away_lat, away_lon)):
        for turn in (0.0, 360.0):
            there = lat + north, (lon + east + 180.0 - turn) % 360.0 - 180.0 + turn
            assert heights_at(terrain, *there) == pytest.approx(slope(*there), abs=0.01)
