"""Near a site: free space goes over to the model without a step, whichever way a level is computed."""

import numpy as np
import pytest

from sfn.field.levels import levels_at
from sfn.field.losses import losses
from sfn.field.path import path_levels
from sfn.field.transmitter import Transmitter
from sfn.geodesy.line import direct
from sfn.terrain.ground import GroundWindow
from sfn.terrain.heights import HeightGrid

LAT_DEG, LON_DEG = 36.05, -84.0
# A metre of free space is 0.17 dB at 50 m; 20 dB of ground evenly over 125 m is 0.16 dB a metre more.
GREATEST_STEP_DB = 0.3


def site(antenna_m: float) -> Transmitter:
    """A transmitter of 10 W over the sea."""
    return Transmitter(
        id="t", lat_deg=LAT_DEG, lon_deg=LON_DEG, ground_m=0.0, antenna_m=antenna_m, erp_h_kw=0.01, erp_v_kw=0.0,
        frequency_mhz=98.3, delta_n=45.0, surface_refractivity_n0=325.0,
    )  # fmt: skip


def places(distance_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places to the south-east."""
    return direct(LAT_DEG, LON_DEG, azimuth_deg=np.full(distance_m.size, 140.0), ground_m=distance_m)


@pytest.mark.parametrize("antenna_m", [1.5, 10.0, 30.0, 150.0])
def test_no_step_between_50_m_and_2_km(antenna_m: float) -> None:
    """Path, and table over a smooth earth (the map's), metre by metre."""
    distance_m = np.arange(50.0, 2001.0)
    lat, lon = places(distance_m)
    one = site(antenna_m)
    table = levels_at(one, lat, lon, rx_height_m=1.5).level_dbuvm
    near = distance_m <= 500.0
    path = np.array(
        [
            path_levels(one, a, b, ground=GroundWindow(), rx_height_m=1.5, time_pct=(50.0,)).level_dbuvm[0]
            for a, b in zip(lat[near], lon[near], strict=True)
        ]
    )

    assert np.max(np.abs(np.diff(path))) < GREATEST_STEP_DB
    assert np.max(np.abs(np.diff(table))) < GREATEST_STEP_DB
    assert np.abs(table[near] - path).max() < 0.15


@pytest.mark.parametrize("step_m", [50.0, 100.0, 400.0])
def test_radials_have_no_step_either(step_m: float) -> None:
    """Level ground swept radial by radial, with coarse steps, beside the paths."""
    distance_m = np.arange(50.0, 2001.0)
    lat, lon = places(distance_m)
    flat = HeightGrid(np.zeros((21, 21), dtype=np.float32), LAT_DEG + 0.05, LON_DEG - 0.05, 0.005, 0.005)
    found, _ = losses(
        site(30.0), lat, lon, ground=GroundWindow(terrain=flat), rx_height_m=1.5, rx_ground_m=None,
        receiver_polarisation=None, step_m=step_m, pixel_m=10.0,
    )  # fmt: skip
    smooth, _ = losses(
        site(30.0), lat, lon, ground=GroundWindow(), rx_height_m=1.5, rx_ground_m=None,
        receiver_polarisation=None, step_m=step_m, pixel_m=10.0,
    )  # fmt: skip

    assert np.max(np.abs(np.diff(found.loss_db[0]))) < GREATEST_STEP_DB
    assert np.max(np.abs(found.loss_db[0] - smooth.loss_db[0])) < 0.15
