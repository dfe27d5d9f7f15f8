"""A site whose way runs over ground that is not known: point, route, map and search say whose signal they lack.

Ground: the ridge with its eastern half cut away, so that the eastern site of the demo stands on nothing.
"""

import json
from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

import sfn
from sfn.library.opened import Opened
from sfn.study.road_plan import planned_road
from sfn.study.what_if import WhatIf
from sfn.survey.track import track_of
from sfn.terrain.ground import open_ground
from sfn.terrain.ridge import ridge


@pytest.fixture(scope="module")
def half(tmp_path_factory: pytest.TempPathFactory) -> Opened:
    """The FM demo over the western part of its ridge, written by rasterio."""
    folder: Path = tmp_path_factory.mktemp("half")
    grid = ridge().grids[0]
    keep = int((-84.22 - grid.west_deg) / grid.step_lon_deg)
    ground = np.asarray(grid.height_m[:, :keep], dtype=np.float32)
    corner = from_origin(
        grid.west_deg - grid.step_lon_deg / 2, grid.north_deg + grid.step_lat_deg / 2, grid.step_lon_deg,
        grid.step_lat_deg,
    )  # fmt: skip
    (folder / "west").mkdir()
    with rasterio.open(
        folder / "west/west.tif", "w", driver="GTiff", width=keep, height=ground.shape[0], count=1, dtype="float32",
        crs="EPSG:4326", transform=corner,
    ) as file:  # fmt: skip
        file.write(ground, 1)
    document = sfn.load_demo("fm_ridge").network.model_dump(mode="json", exclude_unset=True, by_alias=True)
    document["listeners"]["places"].append({"name": "West", "lat": 36.30, "lon": -84.30, "people": 1200})
    document["terrain"] = {"folder": "west"}
    (folder / "half.json").write_text(json.dumps(document))
    return sfn.load(folder / "half.json")


def missing_at(plan: Opened, lat: float, lon: float) -> list[str]:
    """Sites that the point does without, by the answer's own list of uncovered ones."""
    return list(sfn.point(plan, lat, lon).document["uncovered"])


def test_a_point_that_lacks_a_signal_says_so_beside_its_class_and_advises_nothing(half: Opened) -> None:
    """With all signals the same place has advice; without one it names whom it lacks."""
    where = (36.3, -84.3)
    whole = sfn.point(sfn.load_demo("fm_ridge"), *where)
    assert whole.quality is not None
    assert whole.document["quality"]["judged_without"] == []
    assert whole.document["quality"]["judged_without_says"] is None
    found = sfn.point(half, *where)
    lacks = missing_at(half, *where)
    assert lacks
    quality = found.document["quality"]
    assert quality["judged_without"] == lacks
    assert all(name in quality["judged_without_says"] for name in lacks)
    assert quality["fixes"] == []
    assert any(quality["judged_without_says"] == one for one in found.says)


def test_map_and_route_judge_the_same_places(half: Opened) -> None:
    """Where the map knows nothing for want of a signal, the route has no class, and both name the site."""
    found = sfn.coverage(half, pixel_m=500.0)
    lost = found.document["uncovered_by"]
    # The mast that stands off the terrain is unknown wherever there is ground; beyond the terrain's end all are.
    assert [one["site"] for one in lost] == ["gap"]
    computed = found.found.coverage
    area_km2 = computed.area_km2()
    for one in lost:
        row = computed.level_dbuvm[computed.sites.index(one["site"])]
        assert np.isnan(row).all()
        assert one["area_km2"] == pytest.approx(area_km2[np.isfinite(computed.rx_ground_m)].sum())
        assert one["area_km2"] <= found.document["uncovered_km2"] + 1e-9
    assert sum(one["area_km2"] for one in found.document["classes"]) < 1e-9
    assert np.isnan(found.found.quality.quality_class).all()
    drawn = found.found.layer("quality_class")
    assert drawn is not None
    assert np.isnan(drawn.values).all()
    names = {site.id: site.name for site in half.network.sites}
    assert all(names[one["site"]] in found.document["uncovered_says"] for one in lost)
    assert found.document["overlap"]["delay_spread_us"]["max"] is None
    places = [(36.2 + 0.03 * n, -84.35 + 0.03 * n) for n in range(9)]
    found_along = planned_road(
        half.network, track_of(places, source="line"), tries=WhatIf(), spacing_m=500.0,
        ground=open_ground(half.network, folder=half.folder), folder=half.folder,
    ).found  # fmt: skip
    assert found_along.served_m == 0.0
    assert found_along.unknown_m == pytest.approx(found_along.samples.length_m)
    assert "Long gap" in found_along.unknown_says
    assert found_along.unknown_says in found_along.beside_says
    assert not found_along.stretches
    whole = sfn.coverage(sfn.load_demo("fm_ridge"), pixel_m=500.0).document
    assert whole["uncovered_by"] == []
    assert not any(site.name in (whole["uncovered_says"] or "") for site in half.network.sites)
    # Nobody is lost between the classes and what is not judged: all live off the part that has terrain, or where a signal is not known.
    for document, people in ((found.document, 18_918), (whole, 17_718)):
        judged = sum(one["people"] for one in document["classes"])
        assert judged + document["uncovered_people"] == pytest.approx(people)
    assert "with 18\u202f918 people are not judged" in found.document["uncovered_says"]


def test_a_search_where_nothing_is_judged_says_why(half: Opened) -> None:
    """Not that the signals do not overlap."""
    answer = sfn.optimise(half, budget_s=1.0, pixel_m=1000.0, objective="area")
    assert answer.found.nothing_to_find is not None
    assert "terrain" in answer.found.nothing_to_find
    assert "do not overlap" not in answer.found.nothing_to_find
