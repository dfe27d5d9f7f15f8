"""What is fetched reaches as far as the map will: people, cover and zones lie under all of it."""

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import TerrainSource, read
from sfn.plan.demos import demo_files
from sfn.reception.coverage import coverage
from sfn.reception.reach import bounds_to_the_edge
from sfn.study.country import area
from sfn.study.zones import zones
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground, open_ground
from sfn.terrain.heights import HeightGrid
from sfn.timing import delay_table
from tests.sfn.networks import example

STEP_DEG = 0.05


@pytest.mark.parametrize("below_m", [0.0, 200.0, 300.0])
def test_the_area_is_that_of_the_network_and_not_of_the_sea_far_below_it(below_m: float) -> None:
    """Sites 560 to 900 m up over level country below the lowest: all that is served lies within, none at an edge."""
    network = example()
    placed = place(network)
    south, west, north, east = area(network, placed)
    area_km2 = (north - south) * (east - west) * 111.195**2 * np.cos(np.radians(36.3))
    assert area_km2 < 30_000.0  # 216,000 over the sea
    size = tuple(int(side / 0.01) + 100 for side in (north - south, east - west))
    valley = HeightGrid(np.full(size, 560.0 - below_m, np.float32), north + 0.5, west - 0.5, 0.01, 0.01)
    there = network.model_copy(update={"terrain": TerrainSource(folder="valley")})
    ground = Ground(terrain_from_grid(valley, name="valley"))
    bounds = bounds_to_the_edge(there, placed, ground=ground)
    wide = (bounds[0] - 0.3, bounds[1] - 0.3, bounds[2] + 0.3, bounds[3] + 0.3)
    found = []
    with ThreadPoolExecutor(2) as executor:
        for shown in (bounds, wide):
            grid = grid_for(shown, pixel_m=2000.0)
            levels = coverage(there, grid, placed=placed, ground=ground, executor=executor)
            found.append(zones(there, levels, delay_table(there).launches()))
    assert found[0].served_edges == ()
    assert found[1].classes.served_km2 == pytest.approx(found[0].classes.served_km2, rel=0.15, abs=12.0)
    assert found[0].classes.served_km2 > 0.0


@pytest.mark.parametrize("name", ["fm_ridge", "dab_plain", "dvbt2_chain"])
@pytest.mark.parametrize("lifted_m", [0.0, 900.0])
def test_the_map_over_terrain_lies_within_what_was_fetched(name: str, lifted_m: float, tmp_path: Path) -> None:
    """Asked before there is a terrain and after, the area is one; the map over a wide terrain lies in it, near its edge."""
    tree = json.loads(next(path for path in demo_files() if path.stem == name).read_text(encoding="utf-8"))
    for key in ("terrain", "cover", "zones"):
        tree.pop(key, None)
    for site in tree["sites"]:
        site["ground_m"] += lifted_m
    bare = read(json.dumps(tree))
    placed = place(bare)
    before = area(bare, placed)
    south, west, north, east = before
    (tmp_path / "wide").mkdir()
    rows_n, columns_n = (int((b - a) / STEP_DEG) + 40 for a, b in ((south, north), (west, east)))
    corner = from_origin(west - 20 * STEP_DEG, north + 20 * STEP_DEG, STEP_DEG, STEP_DEG)
    with rasterio.open(
        tmp_path / "wide" / "a.tif", "w", driver="GTiff", width=columns_n, height=rows_n, count=1, dtype="float32",
        crs="EPSG:4326", transform=corner,
    ) as out:  # fmt: skip
        out.write(np.full((rows_n, columns_n), 100.0 + lifted_m, np.float32), 1)
    there = read(json.dumps(tree | {"terrain": {"folder": "wide"}}))
    over = bounds_to_the_edge(there, placed, ground=open_ground(there, folder=tmp_path))

    assert area(there, placed) == before
    assert before[0] <= over[0] <= before[0] + 0.05
    assert before[1] <= over[1] <= before[1] + 0.05
    assert before[2] - 0.05 <= over[2] <= before[2]
    assert before[3] - 0.05 <= over[3] <= before[3]
