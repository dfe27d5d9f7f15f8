"""Plane coordinates about a site, beside PROJ's geodesics."""

import numpy as np
import pytest

from sfn.geodesy.around import site_map
from sfn.geodesy.line import direct

TWO_CENTIMETRES_M = 0.02


@pytest.mark.parametrize(("lat_deg", "lon_deg"), [(0.0, 0.0), (36.2, -84.2), (-51.0, 179.9), (70.0, -179.9)])
@pytest.mark.parametrize("radius_m", [5e3, 50e3, 200e3])
def test_both_ways_meet_the_geodesics(lat_deg, lon_deg, radius_m):
    """Places to distance and bearing, and back, agree with PROJ to two centimetres everywhere inside."""
    rng = np.random.default_rng(1)
    azimuth, ground = rng.uniform(0.0, 360.0, 2000), radius_m * np.sqrt(rng.random(2000))
    lat, lon = direct(lat_deg, lon_deg, azimuth_deg=azimuth, ground_m=ground)
    around = site_map(lat_deg, lon_deg, radius_m=radius_m)
    east, north = around.plane(lat, lon)
    exact = ground * np.sin(np.radians(azimuth)), ground * np.cos(np.radians(azimuth))
    back = around.place(*exact)

    assert np.max(np.hypot(east - exact[0], north - exact[1])) < TWO_CENTIMETRES_M
    assert np.max(np.abs(back[0] - lat)) * 111_000.0 < TWO_CENTIMETRES_M
    turned = np.abs((back[1] - lon + 180.0) % 360.0 - 180.0) * np.cos(np.radians(lat))
    assert np.max(turned) * 111_400.0 < TWO_CENTIMETRES_M


def test_along_is_place_along_an_azimuth():
    """The polynomials of a geodesic give the places that the map gives."""
    around = site_map(48.0, 11.0, radius_m=40_000.0)
    azimuth, t = np.array([0.0, 33.0, 211.5]), np.linspace(0.0, 1.0, 7)
    difference = around.along(azimuth) @ (t[:, None] ** np.arange(around.degree + 1)).T
    ground = t * around.radius_m
    lat, lon = around.place(
        np.sin(np.radians(azimuth))[:, None] * ground, np.cos(np.radians(azimuth))[:, None] * ground
    )

    assert np.max(np.abs(48.0 + difference[:, 0] - lat)) < 1e-12
    assert np.max(np.abs(11.0 + difference[:, 1] - lon)) < 1e-12


@pytest.mark.parametrize(
    ("lat_deg", "radius_m", "text"),
    [(88.0, 50e3, "lat_deg must be from 0 to 85 degrees, with radius"), (50.0, 2e6, "radius_m must be from 100 to")],
)
def test_poles_and_continents_are_refused(lat_deg, radius_m, text):
    """Too near a pole, or too far, is refused by name."""
    with pytest.raises(ValueError, match=text):
        site_map(lat_deg, 0.0, radius_m=radius_m)
