"""What levels rest on is doubted by the check: averaged terrain, treetops without cover, usual air in warm countries."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.answer.contours import document, features
from sfn.check import all_problems
from sfn.check.doubts import consequence_of
from sfn.check.ground import ground_basis_problems
from sfn.geodesy.sites import place
from sfn.study.contours import Contours
from sfn.terrain.dem import terrain_from_folder, terrain_from_grid
from sfn.terrain.ground import Ground, ground_window, window_averaged
from sfn.terrain.heights import HeightGrid
from tests.sfn.networks import example


def fine(step_deg: float) -> Ground:
    """Ground of a few samples so close together."""
    return Ground(terrain_from_grid(HeightGrid(np.zeros((4, 4), np.float32), 48.0, 11.0, step_deg, step_deg), name="t"))


def test_a_network_too_large_for_its_terrain_is_remarked() -> None:
    """Over samples of a third of a metre the usual map averages, and the check says how much; over 30 m it does not."""
    network = example()
    found, none = (all_problems(network, ground=fine(step)) for step in (1.0 / 360_000.0, 1.0 / 3600.0))
    averaged = [p for p in found if p.code == "terrain-averaged"]

    assert len(averaged) == 1
    assert "samples. Ridges count too low" in averaged[0].what
    assert {t.site for t in averaged[0].touches} == {s.id for s in network.sites}
    assert consequence_of(averaged[0], tolerated_us=1.0) == "remark"
    assert not [p for p in none if p.code == "terrain-averaged"]


def test_terrain_finer_than_profiles_step_is_remarked() -> None:
    """Five metres are, twenty-one are not."""
    network = example()
    finer, usual = (
        [p for p in ground_basis_problems(network, place(network), fine(step)) if p.code == "terrain-finer-than-steps"]
        for step in (5.0 / 111_195.0, 1.0 / 3600.0)
    )

    assert len(finer) == 1
    assert "one every 20 m" in finer[0].what
    assert usual == []


@pytest.mark.parametrize("side_deg", [0.001, 0.4, 2.0])
def test_what_is_said_beforehand_is_what_is_read(side_deg: float) -> None:
    """How much coarser a window becomes is told without reading it."""
    ground, bounds = fine(1.0 / 1200.0), (48.0, 11.0, 48.0 + side_deg, 11.0 + side_deg)
    read = ground_window(
        ground, south_deg=bounds[0], west_deg=bounds[1], north_deg=bounds[2], east_deg=bounds[3], most_samples=50_000
    )

    assert read.averaged == window_averaged(ground, bounds, most_samples=50_000)


def test_files_of_contours_say_it() -> None:
    """GeoJSON and answer alike; nothing where terrain is as it is."""
    plain = Contours(at_dbuvm=60.0, smooth=False, sites=(), insides=())
    coarse = replace(plain, averaged=(3, 1, 1))

    assert "properties" not in features(plain)
    assert "mean of 3 x 3 samples" in features(coarse)["properties"]["terrain_averaged"]
    assert "mean of 3 x 3 samples" in document(coarse, file=None)["terrain_averaged"]


def test_treetops_without_cover_and_usual_air_near_the_equator() -> None:
    """Each with its own code; none where the plan says better."""
    network = example()
    placed = place(network)
    warm = {key: replace(at, lat_deg=12.0, lon_deg=20.0) for key, at in placed.items()}
    surface = replace(fine(1.0 / 1200.0), surface=True)
    told = network.model_copy(update={"delta_n": 60.0})

    def codes(*about: object) -> set[str]:
        """What is found."""
        return {p.code for p in ground_basis_problems(*about)}  # type: ignore[arg-type]

    assert "surface-without-cover" in codes(network, placed, surface)
    assert "surface-without-cover" not in codes(network, placed, replace(surface, cover=surface.terrain))
    assert "refractivity-usual" in codes(network, warm, Ground())
    assert "refractivity-usual" not in codes(told, warm, Ground()) | codes(network, placed, Ground())


def test_one_low_site_that_lowers_the_whole_country_is_asked_about() -> None:
    """Without terrain the plain lies at the lowest site's ground: 499 m below the others is let pass, 500 m is not."""
    network = example()  # 850, 900 and 560 m
    for low_m, expected in ((401.0, set()), (400.0, {"south"}), (350.0, {"north", "south"})):
        sites = [s.model_copy(update={"ground_m": low_m}) if s.id == "gap" else s for s in network.sites]
        found = [
            p
            for p in all_problems(network.model_copy(update={"sites": tuple(sites)}))
            if p.code == "far-above-the-plain"
        ]
        assert {t.site for p in found for t in p.touches} == expected
        assert all("the ground of Gap, the lowest site" in p.what for p in found)
        assert all(consequence_of(p, tolerated_us=1.0) == "remark" for p in found)
    level = fine(1.0 / 3600.0)
    assert not [p for p in all_problems(network, ground=level) if p.code == "far-above-the-plain"]


def written(path: Path, heights: np.ndarray, step_deg: float) -> None:
    """A GeoTIFF whose north-western corner stands at 37.4 N, 85.2 W."""
    rows, columns = heights.shape
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=1, dtype="float32", crs="EPSG:4326",
        nodata=-9999.0, transform=from_origin(-85.2, 37.4, step_deg, step_deg),
    ) as file:  # fmt: skip
        file.write(heights.astype(np.float32), 1)


def test_a_void_on_the_usual_map_is_remarked_unless_something_lies_below_it(tmp_path: Path) -> None:
    """A tenth of a file void is said with its share; whole, elsewhere, or over a coarser file without voids it is not."""
    network = example()
    placed = place(network)
    assert all(36.0 < at.lat_deg < 37.0 and -85.0 < at.lon_deg < -84.0 for at in placed.values())
    folders = {name: tmp_path / name for name in ("whole", "holed", "underlaid")}
    for folder in folders.values():
        folder.mkdir()
    ground_m = np.full((200, 300), 500.0)
    written(folders["whole"] / "a.tif", ground_m, 0.01)
    holed_m = ground_m.copy()
    holed_m[:20] = -9999.0  # 20 of 200 rows: 10 %
    written(folders["holed"] / "a.tif", holed_m, 0.01)
    written(folders["underlaid"] / "a.tif", holed_m, 0.01)
    written(folders["underlaid"] / "below.tif", np.full((50, 75), 500.0), 0.04)
    found = {}
    for name, folder in folders.items():
        ground = Ground(terrain_from_folder(folder))
        found[name] = [p for p in ground_basis_problems(network, placed, ground) if p.code == "terrain-voids"]

    assert found["whole"] == found["underlaid"] == []
    assert [p.values for p in found["holed"]] == [{"void_pct": pytest.approx(10.0, abs=0.5), "files_n": 1.0}]
    assert "most a.tif (about 10." in found["holed"][0].what
    assert {t.site for t in found["holed"][0].touches} == {s.id for s in network.sites}
    assert consequence_of(found["holed"][0], tolerated_us=1.0) == "remark"
