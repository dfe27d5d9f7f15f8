"""Zones made of water classes and of coastlines: against distances and heights that were laid out."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sfn.check.ground import ground_basis_problems
from sfn.errors import PlanError
from sfn.field.path import path_levels
from sfn.field.transmitter import Transmitter
from sfn.geodesy.sites import place
from sfn.terrain.coast import source_document, write_zones, zones_of_classes, zones_of_polygons
from sfn.terrain.dem import Terrain, terrain_from_folder, terrain_from_grid
from sfn.terrain.ground import Ground
from sfn.terrain.heights import HeightGrid, sample_nearest
from sfn.terrain.sea import sea_km
from tests.sfn.networks import example

WATER, LAND = 80, 30
# 1.4 x 2 degrees at 45 N; the shore runs along 10 degrees east, sea in the west.
SOUTH, WEST, NORTH, EAST = 44.3, 9.4, 45.7, 11.4
STEP = 1.0 / 240.0
KM_EAST = 78.85  # a degree of longitude at 45 N


def laid() -> tuple[Terrain, Terrain]:
    """Land cover and heights: sea, a river out of the inland, a lake above the sea, a pond, high land by the shore."""
    rows, columns = round((NORTH - SOUTH) / STEP), round((EAST - WEST) / STEP)
    lat = NORTH - STEP / 2 - STEP * np.arange(rows)[:, None]
    lon = WEST + STEP / 2 + STEP * np.arange(columns)[None, :]
    classes = np.full((rows, columns), LAND, dtype=np.float32)
    height = np.full((rows, columns), 40.0, dtype=np.float32)
    sea = np.broadcast_to(lon < 10.0, classes.shape)
    river = (np.abs(lat - 45.0) < 0.006) & (lon < 10.8)
    lake = (np.abs(lat - 44.6) < 0.1) & (np.abs(lon - 10.4) < 0.12)
    pond = (np.abs(lat - 45.4) < 0.015) & (np.abs(lon - 10.3) < 0.02)
    classes[sea | river | lake | pond] = WATER
    height[sea | river] = 0.0
    height[lake] = 65.0
    height[(lat > 45.5) & (lon > 10.1)] = 180.0

    def grid(values: np.ndarray) -> HeightGrid:
        """On the lattice."""
        return HeightGrid(values, NORTH - STEP / 2, WEST + STEP / 2, STEP, STEP)

    return terrain_from_grid(grid(classes), name="cover", blended=False), terrain_from_grid(grid(height), name="dem")


PLACES = {
    "open sea": (44.9, 9.6, 2), "by the shore": (44.9, 9.99, 2), "10 km from the shore": (44.9, 10.13, 1),
    "45 km from it": (44.9, 10.0 + 45.0 / KM_EAST, 1), "55 km from it": (44.9, 10.0 + 55.0 / KM_EAST, 0),
    "10 km, but high": (45.6, 10.2, 0), "in the river, 40 km up": (45.0, 10.5, 1),
    "beside the river, 58 km up": (45.01, 10.74, 0), "in the lake": (44.6, 10.4, 1), "in the pond": (45.4, 10.3, 1),
}  # fmt: skip


def test_water_classes_give_sea_coast_and_inland() -> None:
    """Neither river nor pond nor a lake above the sea is sea; coast ends at 50 km and at 100 m."""
    cover, terrain = laid()
    made = zones_of_classes(cover, water=(WATER,), terrain=terrain, bounds_deg=(SOUTH, WEST, NORTH, EAST))
    found = {name: int(sample_nearest(made.grid, lat, lon)) for name, (lat, lon, _) in PLACES.items()}

    assert {name: zone for name, (_, _, zone) in PLACES.items()} == found
    assert sum(made.shares_pct.values()) == pytest.approx(100.0)
    assert any("P.1812" in said for said in made.says)


def test_what_is_not_there_is_said() -> None:
    """No water class, and no terrain."""
    cover, _ = laid()
    bounds = (SOUTH, WEST, NORTH, EAST)
    with pytest.raises(PlanError, match="no sample of cover is of class 11"):
        zones_of_classes(cover, water=(11,), terrain=None, bounds_deg=bounds)
    made = zones_of_classes(cover, water=(WATER,), terrain=None, bounds_deg=bounds)
    assert any("no terrain is named" in said for said in made.says)
    assert int(sample_nearest(made.grid, 44.6, 10.4)) == 2, "a lake of 400 square kilometres"


@pytest.mark.parametrize("of", ["land", "sea"])
def test_a_coastline_gives_the_same_and_is_kept(tmp_path: Path, of: str) -> None:
    """Polygons of either side; the file that is kept, named in a document, reads as it was made; and a path feels it."""
    west, east = (10.0, 20.0) if of == "land" else (0.0, 10.0)
    ring = [[west, 40.0], [east, 40.0], [east, 50.0], [west, 50.0], [west, 40.0]]
    file = tmp_path / "coast.geojson"
    shape = {"type": "Polygon", "coordinates": [ring]}
    feature = {"type": "Feature", "properties": {}, "geometry": shape}
    file.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    _, terrain = laid()
    made = zones_of_polygons(file, of=of, terrain=terrain, bounds_deg=(SOUTH, WEST, NORTH, EAST))
    write_zones(made, tmp_path / "zones")
    named = source_document("zones")
    kept = Ground(
        zones=terrain_from_folder(tmp_path / "zones", blended=False),
        zone_classes=tuple((c["number"], c["zone"]) for c in named["classes"]),
    )
    site = Transmitter(
        id="a", lat_deg=45.2, lon_deg=9.9, ground_m=0.0, antenna_m=30.0, erp_h_kw=1.0, erp_v_kw=0.0,
        frequency_mhz=600.0, delta_n=45.0, surface_refractivity_n0=325.0,
    )  # fmt: skip
    rare = [
        path_levels(site, 44.85, 9.9, ground=ground, rx_height_m=10.0).level_dbuvm[1] for ground in (Ground(), kept)
    ]

    for name, (lat, lon, zone) in PLACES.items():
        if "lake" not in name and "pond" not in name and "river" not in name:
            assert int(sample_nearest(made.grid, lat, lon)) == zone, name
    assert rare[1] - rare[0] > 8.0, "39 km of sea, 1 % of the time"


@pytest.mark.parametrize(
    "text",
    [
        "", "{}", '{"type": "FeatureCollection", "features": []}', '{"type": "Point"}', "[1]", "[" * 5000,
        '{"type": "Polygon", "coordinates": [[["a", 1], [2, 3], [4, 5], ["a", 1]]]}',
        '{"type": "Polygon", "coordinates": [[[NaN, 1], [2, 3], [4, 5], [NaN, 1]]]}',
        '{"type": "Polygon", "coordinates": [[[1, 1], [2, 3]]]}', '{"type": "Polygon", "coordinates": 7}',
    ],
)  # fmt: skip
def test_what_is_no_coastline_is_refused(tmp_path: Path, text: str) -> None:
    """In words, with the file's name."""
    file = tmp_path / "shore.json"
    file.write_text(text)
    with pytest.raises(PlanError, match=r"shore\.json is no GeoJSON with polygons"):
        zones_of_polygons(file, of="land", terrain=None, bounds_deg=(SOUTH, WEST, NORTH, EAST))


@pytest.mark.parametrize(
    ("lat_deg", "lon_deg", "least_km", "most_km"),
    [
        (43.29, 5.37, 0.0, 8.0),  # Marseille
        (48.14, 11.58, np.inf, np.inf),  # Munich
        (52.09, 5.12, 10.0, 55.0),  # Utrecht
        (53.87, 10.69, 0.0, 25.0),  # Lübeck
        (-16.8, 179.95, 0.0, 12.0),  # Fiji, at the date line
        (40.0, -100.0, np.inf, np.inf),
    ],
)
def test_seas_are_where_they_are(lat_deg: float, lon_deg: float, least_km: float, most_km: float) -> None:
    """Distances from towns to the sea, from an atlas."""
    found = sea_km(lat_deg, lon_deg)
    assert least_km <= found <= most_km
    assert sea_km(lat_deg, lon_deg - 360.0) == pytest.approx(found)


def test_a_coastal_network_without_zones_is_warned() -> None:
    """By the check, for the sites that stand there alone; with zones no more."""
    network = example()
    placed = place(network)
    at = next(iter(placed.values()))
    first = network.sites[0].id
    shore = {key: replace(one, lat_deg=43.5, lon_deg=5.2) if key == first else one for key, one in placed.items()}
    cover, _ = laid()
    inland, coastal, zoned = (
        [p for p in ground_basis_problems(network, where, ground) if p.code == "sea-without-zones"]
        for where, ground in ((placed, Ground()), (shore, Ground()), (shore, Ground(zones=cover)))
    )

    assert at.lat_deg > 35.0
    assert (inland, zoned) == ([], [])
    assert [t.site for t in coastal[0].touches] == [first]
