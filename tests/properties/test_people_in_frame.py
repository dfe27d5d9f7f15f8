"""People within a map's frame are those that rasterio reads there, and what is left lives beyond it; both say where."""

import re
from pathlib import Path

import numpy as np
import pytest
import rasterio
from hypothesis import HealthCheck, given, settings, strategies as st
from pyproj import Geod
from rasterio.transform import from_origin

from sfn.geodesy.extent import area_km2, sides_km
from sfn.geodesy.grid import grid_for
from sfn.reception.listeners import listeners
from tests.sfn.networks import example

STEP, NORTH, WEST, ROWS, COLUMNS = 0.01, 37.0, -85.0, 80, 100
WGS84 = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A raster of people, 80 x 100 cells of a hundredth of a degree, a third of them empty."""
    made = tmp_path_factory.mktemp("people")
    drawn = np.random.default_rng(21)
    people = drawn.uniform(0.0, 400.0, (ROWS, COLUMNS)) * (drawn.uniform(size=(ROWS, COLUMNS)) > 0.33)
    with rasterio.open(
        made / "p.tif", "w", driver="GTiff", width=COLUMNS, height=ROWS, count=1, dtype="float64", crs="EPSG:4326",
        transform=from_origin(WEST, NORTH, STEP, STEP),
    ) as out:  # fmt: skip
        out.write(people, 1)
    return made


def by_rasterio(path: Path, bounds: tuple[float, float, float, float]) -> tuple[float, float, float]:
    """People within, in cells that the frame cuts, and in all; a cell counts by the part of it that lies within."""
    south, west, north, east = bounds
    with rasterio.open(path) as source:
        read, place = source.read(1), source.transform
    tops, lefts = place.f + place.e * np.arange(ROWS), place.c + place.a * np.arange(COLUMNS)
    rows = np.clip(np.minimum(tops, north) - np.maximum(tops + place.e, south), 0.0, None) / -place.e
    columns = np.clip(np.minimum(lefts + place.a, east) - np.maximum(lefts, west), 0.0, None) / place.a
    part = rows[:, None] * columns[None, :]
    cut = (part > 1e-9) & (part < 1 - 1e-9)
    return float((read * part).sum()), float(read[cut].sum()), float(read.sum())


def figures(text: str) -> list[float]:
    """Numbers of a sentence."""
    return [float(one.replace("\u202f", "")) for one in re.findall(r"\d[\d\u202f]*(?:\.\d+)?", text)]


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    south=st.floats(36.0, 36.4), high=st.floats(0.15, 0.7), west=st.floats(-85.2, -84.6), wide=st.floats(0.15, 0.9),
    pixel_m=st.sampled_from([150.0, 400.0, 1500.0]),
)  # fmt: skip
def test_people_in_the_frame_and_beyond_it(
    folder: Path, south: float, high: float, west: float, wide: float, pixel_m: float
) -> None:
    """Of cells that the frame cuts each counts to half a pixel; the sentence's two figures make the file's whole."""
    grid = grid_for((south, west, south + high, west + wide), pixel_m=pixel_m)
    network = example(lambda tree: tree.update(listeners={"file": "p.tif"}))
    heard = listeners(network, grid, folder=folder)
    within, cut, whole = by_rasterio(folder / "p.tif", grid.bounds_deg)

    assert heard.total_people is not None
    assert heard.total_people == pytest.approx(within, abs=0.5 * cut + 1e-6)
    if pixel_m == 150.0:
        # Four points and more along a side of a cell, so that what is cut counts to an eighth of it.
        assert heard.total_people == pytest.approx(within, abs=0.13 * cut + 1e-6)
    counted = heard.said[heard.said.index("people within the frame") - 12 :]
    (people,) = figures(counted.partition(" people within")[0].rpartition("; ")[2])
    assert people == pytest.approx(heard.total_people, abs=0.5)
    wide_km, high_km, km2 = figures(counted.partition("this map, ")[2].partition("; ")[0])
    s, w, n, e = grid.bounds_deg
    (_, _, along), (_, _, up) = WGS84.inv(w, (s + n) / 2, e, (s + n) / 2), WGS84.inv(w, s, w, n)
    assert (wide_km, high_km) == (pytest.approx(along / 1000, abs=0.06), pytest.approx(up / 1000, abs=0.06))
    meridians = np.linspace(w, e, 300)
    area_m2, _ = WGS84.polygon_area_perimeter(
        np.r_[meridians, meridians[::-1]], np.r_[np.full(300, s), np.full(300, n)]
    )
    assert km2 == pytest.approx(area_m2 / 1e6, abs=0.6)
    assert km2 == pytest.approx(float(grid.pixel_area_km2.sum() * grid.columns_n), abs=0.6)
    if heard.total_people < whole - 1.0:
        told = figures(heard.said.rpartition(" has ")[2])
        assert told == [pytest.approx(whole, abs=0.5), pytest.approx(whole - heard.total_people, abs=0.5)]


def test_the_extent_of_the_whole_earth_and_of_a_square_degree() -> None:
    """510 065 622 km2 (GRS 80's and WGS84's ellipsoid, as published); a degree of the equator is 111.32 km."""
    assert area_km2((-90.0, -180.0, 90.0, 180.0)) == pytest.approx(510_065_622, abs=1)
    assert sides_km((-0.5, 10.0, 0.5, 11.0)) == (pytest.approx(111.319, abs=0.002), pytest.approx(110.574, abs=0.002))
