"""What is made of tiles: a height at a known place, sums of people, classes, sea and coast, places."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio

from sfn.country.gather import Gathered
from sfn.country.made import Made, document_keys, make
from sfn.country.sets import Bounds, Wanted, cover_tile, heights_tile, people_tile, tile_named
from sfn.country.shelf import Shelf
from sfn.errors import PlanError
from sfn.geodesy.grid import grid_for
from sfn.plan.listeners import ListenerSource
from sfn.reception.listeners import from_raster, read_places
from sfn.terrain.credits import credits_of
from sfn.terrain.dem import heights as heights_at, terrain_from_folder
from tests.sfn.country.small_server import Store
from tests.sfn.country.small_tiles import (
    places_line,
    slope,
    write_cover,
    write_heights,
    write_people,
    write_places,
)

Fetched = Callable[..., Gathered]
Ready = Callable[..., Made]


@pytest.fixture
def ready(tmp_path: Path, fetched: Fetched, shelf: Shelf) -> Ready:
    """Fetch tiles and make what can be made of them."""

    def run(*tiles: Wanted, bounds: Bounds) -> Made:
        found = fetched(*tiles)
        assert found.problems == ()
        return make(
            found, shelf=shelf, bounds_deg=bounds, place=lambda key: tmp_path / "made" / key, tick=lambda _: None
        )

    return run


def test_a_height_at_a_known_place_is_right(ready: Ready, heights: Store) -> None:
    """To 0.01 m, over a slope on which half a sample is 0.03 m: within a tile, between two, and at sea."""
    write_heights(heights.folder, 36, -84)
    made = ready(heights_tile(35, -85), heights_tile(36, -85), heights_tile(36, -84), bounds=(35.9, -84.6, 36.9, -83.5))

    lat = np.array([36.5, 36.123456, 36.9999, 36.654321, 36.4])
    lon = np.array([-84.5, -84.987654, -84.2, -84.0 - 0.5 / 3600, -83.2])
    terrain = terrain_from_folder(made.folders["heights"])
    assert heights_at(terrain, lat, lon) == pytest.approx(slope(lat, lon), abs=0.01)
    assert heights_at(terrain, 35.5, -84.5) == 0.0
    assert heights_at(terrain, 36.0 + 0.4 / 3600, -84.5) == pytest.approx(
        0.4 * slope(np.array(36 + 1 / 3600), np.array(-84.5)), abs=0.01
    )
    assert terrain.surface
    assert all(tile.unit_known for tile in terrain.tiles)
    assert "Copernicus" in credits_of(made.folders["heights"])[0].title()
    assert document_keys(made, named=lambda p: p.name)["terrain"] == {"folder": "heights", "heights_of": "surface"}


def test_heights_of_the_coarser_set_are_right(ready: Ready, heights: Store) -> None:
    """Where 1 arc-second is not published; half a sample would be 0.08 m."""
    write_heights(heights.folder, 35, -85, coarse=True)
    made = ready(heights_tile(35, -85), heights_tile(36, -85), bounds=(35.2, -84.6, 36.4, -84.2))

    lat, lon = np.array([35.3, 35.777777, 36.2]), np.array([-84.5, -84.123456, -84.4])
    assert heights_at(terrain_from_folder(made.folders["heights"]), lat, lon) == pytest.approx(
        slope(lat, lon), abs=0.01
    )
    assert any("3 arc-seconds only" in said for said in made.says)


def test_people_are_kept_to_the_last(ready: Ready, heights: Store) -> None:
    """Over two tiles, with cells added up or not, counted on a map: the sum is that of the cells, to 0.1 %."""
    random = np.random.default_rng(3)
    # Row 3000 of R6 is 39.099583 - 2.5 = 36.5996 N; the border of C10 and C11 lies at -80.007917.
    west_people, east_people = random.uniform(0.0, 50.0, (300, 400)), random.uniform(0.0, 50.0, (300, 200))
    write_people(heights.folder, 6, 10, {(3000, 11_600): west_people})
    write_people(heights.folder, 6, 11, {(3000, 0): east_people})
    total = west_people.sum() + east_people.sum()

    for bounds, n in (((36.3, -80.5, 36.7, -79.7), 1), ((33.0, -84.0, 38.5, -76.0), 5)):
        made = ready(people_tile(6, 10), people_tile(6, 11), bounds=bounds)
        with rasterio.open(made.files["people"]) as source:
            held = source.read(1).astype(np.float64)
            assert source.transform.a == pytest.approx(n / 1200.0, rel=1e-9)
            assert "GHS-POP" in source.tags()["TIFFTAG_COPYRIGHT"]
        assert held.sum() == pytest.approx(total, rel=1e-6)
        counted = from_raster(made.files["people"], grid_for((36.2, -80.6, 36.8, -79.6), pixel_m=700.0))
        assert counted.sum() == pytest.approx(total, rel=1e-3)


def test_a_cell_of_people_lies_where_it_is_published(ready: Ready, heights: Store) -> None:
    """One cell, 1,000 people: row 3000, column 11600 of R6_C10 is at 36.5996 - 36.5988 N, 80.3413 - 80.3404 W."""
    write_people(heights.folder, 6, 10, {(3000, 11_600): np.array([[1000.0]])})
    made = ready(people_tile(6, 10), bounds=(36.3, -80.5, 36.7, -80.1))

    grid = grid_for((36.55, -80.40, 36.65, -80.28), pixel_m=60.0)
    counted = from_raster(made.files["people"], grid).reshape(grid.shape)
    assert counted.sum() == pytest.approx(1000.0, rel=1e-6)
    lat = (counted.sum(axis=1) * grid.lat_deg).sum() / counted.sum()
    lon = (counted.sum(axis=0) * grid.lon_deg).sum() / counted.sum()
    assert lat == pytest.approx(39.0995833 - 3000.5 / 1200, abs=0.0004)
    assert lon == pytest.approx(-90.0079167 + 11_600.5 / 1200, abs=0.0004)


def test_classes_lie_where_they_are_published_and_what_is_missing_is_sea(ready: Ready, heights: Store) -> None:
    """Woods of 0.1 degrees in a tile of grass; no tile to the west. Sea, coast and inland are made of it."""
    write_cover(heights.folder, 36, -87, {(16_800, 0, 8_400, 9_600): 30, (20_400, 1_200, 1200, 1200): 10})
    made = ready(cover_tile(36, -87), cover_tile(36, -90), bounds=(36.95, -87.6, 37.55, -86.25))

    cover = terrain_from_folder(made.folders["cover"], blended=False)
    # Rows 20,400 to 21,600 of 12,000 a degree below 39: 37.3 to 37.2 N; columns 1,200 to 2,400: 86.9 to 86.8 W.
    lat = np.array([37.2999, 37.3002, 37.25, 37.25, 37.2003, 37.1997, 37.5, 37.5])
    lon = np.array([-86.85, -86.85, -86.8998, -86.9002, -86.85, -86.85, -86.95, -87.2])
    assert heights_at(cover, lat, lon).tolist() == [10.0, 30.0, 10.0, 30.0, 10.0, 30.0, 30.0, 80.0]
    zones = terrain_from_folder(made.folders["zones"], blended=False)
    assert heights_at(zones, [37.3, 37.3, 37.3], [-87.3, -86.8, -86.3]).tolist() == [2.0, 1.0, 0.0]
    keys = document_keys(made, named=lambda p: p.name)
    assert {c["number"]: c["height_m"] for c in keys["cover"]["classes"]}[10] == 15.0
    assert keys["zones"]["folder"] == "zones"
    assert any("1 squares of 3 degrees have no land cover" in said for said in made.says)


def test_places_become_a_table_that_is_read(ready: Ready, heights: Store) -> None:
    """Those of the area with inhabitants; districts count with their town; no name runs as a formula."""
    write_places(
        heights.folder,
        [
            places_line("Ridgeway", 36.3, -84.2, 4200),
            places_line("=Upper", 36.31, -84.1, 700),
            places_line("Ridgeway East", 36.3, -84.19, 900, code="PPLX"),
            places_line("Empty", 36.3, -84.2, 0),
            places_line("Far", 40.0, -84.2, 9000),
            "a line of another shape",
        ],
    )
    names = tile_named("names", "cities500.zip")
    assert names is not None
    made = ready(names, bounds=(36.0, -85.0, 37.0, -84.0))

    assert [(p.name, p.lat, p.lon, p.people) for p in read_places(made.files["names"])] == [
        ("Ridgeway", 36.3, -84.2, 4200.0),
        ("=Upper", 36.31, -84.1, 700.0),
    ]
    keys = document_keys(made, named=lambda p: p.name)
    assert ListenerSource(**keys["listeners"]).file == "GeoNames-places.csv"


def test_a_set_of_which_a_tile_failed_is_left_out(
    tmp_path: Path, fetched: Fetched, shelf: Shelf, heights: Store
) -> None:
    """Half a country is taken for all of it too easily; the other sets are made."""
    write_places(heights.folder, [places_line("Ridgeway", 36.3, -84.2, 4200)])
    names = tile_named("names", "cities500.zip")
    assert names is not None
    heights.faults[heights_tile(36, -84).file] = "403"
    found = fetched(heights_tile(36, -85), heights_tile(36, -84), names)
    made = make(
        found, shelf=shelf, bounds_deg=(36.0, -85.0, 37.0, -83.0), place=lambda key: tmp_path / key, tick=lambda _: None
    )

    assert len(found.held) == 2
    assert made.folders == {}
    assert list(made.files) == ["names"]


def test_a_tile_that_changed_on_the_disk_is_noticed(tmp_path: Path, fetched: Fetched, shelf: Shelf) -> None:
    """Its checksum stands beside it; it is forgotten, so that the next run fetches it."""
    found = fetched(heights_tile(36, -85))
    path = shelf.path(heights_tile(36, -85))
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(bytes(content))

    with pytest.raises(PlanError) as refused:
        make(
            found,
            shelf=shelf,
            bounds_deg=(36.0, -85.0, 37.0, -84.0),
            place=lambda key: tmp_path / key,
            tick=lambda _: None,
        )
    assert [problem.code for problem in refused.value.problems] == ["tile-damaged"]
    assert fetched(heights_tile(36, -85)).fetched_n == 1
