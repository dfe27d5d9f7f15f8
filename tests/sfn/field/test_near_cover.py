"""Cover before the receiver: no rings, the same at any spacing of the terrain, and by P.1812's equations written anew."""

import math
from dataclasses import replace

import numpy as np
import pytest

from sfn.field.levels import levels_at
from sfn.field.losses import losses
from sfn.field.path import path_ground, path_levels
from sfn.field.transmitter import Transmitter
from sfn.geodesy.line import direct
from sfn.propagation.p1812 import path_loss
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground, GroundWindow
from sfn.terrain.heights import HeightGrid

GROUND_M, MAST_M, MHZ = 100.0, 100.0, 600.0
SITE = Transmitter(
    id="a", lat_deg=47.0, lon_deg=9.0, ground_m=GROUND_M, antenna_m=MAST_M, erp_h_kw=1.0, erp_v_kw=0.0,
    frequency_mhz=MHZ, delta_n=45.0, surface_refractivity_n0=325.0,
)  # fmt: skip


def grid(per_degree: int, value: float) -> HeightGrid:
    """One value over 25 km, samples so many to a degree."""
    count = int(0.35 * per_degree)
    return HeightGrid(np.full((count, count), value, dtype=np.float32), 47.1, 8.9, 1.0 / per_degree, 1.0 / per_degree)


def wooded(per_degree: int, cover_m: float, clutter_m: float | None = None) -> GroundWindow:
    """Flat ground under one cover."""
    clutter = None if clutter_m is None else grid(per_degree, clutter_m)
    return GroundWindow(grid(per_degree, GROUND_M), grid(per_degree, cover_m), clutter=clutter)


def diffraction_db(distance_km: float, cover_m: float, clutter_m: float, rx_m: float) -> float:
    """Bullington loss over level cover that ends before the receiver, eq. (13) to (21), on a fine scale."""
    wavelength_m, bulge = 0.2998 / 0.6, 500.0 / (6371.0 * 157.0 / (157.0 - 45.0))
    near_km = distance_km - clutter_m / 1000.0
    x = np.linspace(0.03, near_km, 20_001)
    top = cover_m + bulge * x * (distance_km - x)
    rise = float(np.max((top - MAST_M) / x))
    if rise < (rx_m - MAST_M) / distance_km:
        line = (MAST_M * (distance_km - x) + rx_m * x) / distance_km
        nu = float(np.max((top - line) * np.sqrt(0.002 * distance_km / (wavelength_m * x * (distance_km - x)))))
    else:
        fall = float(np.max((top - rx_m) / (distance_km - x)))
        b = (rx_m - MAST_M + fall * distance_km) / (rise + fall)
        height = MAST_M + rise * b - (MAST_M * (distance_km - b) + rx_m * b) / distance_km
        nu = height * math.sqrt(0.002 * distance_km / (wavelength_m * b * (distance_km - b)))
    edge = 0.0 if nu <= -0.78 else 6.9 + 20.0 * math.log10(math.sqrt((nu - 0.1) ** 2 + 1.0) + nu - 0.1)
    return edge + (1.0 - math.exp(-edge / 6.0)) * (10.0 + 0.02 * distance_km)


@pytest.mark.parametrize(("cover_m", "clutter_m"), [(15.0, None), (15.0, 60.0), (4.0, None)])
def test_level_cover_gives_a_level_that_knows_no_steps(cover_m: float, clutter_m: float | None) -> None:
    """Sweep and path over 2 to 12 km: ripple below 0.3 dB, alike at 1 and 3 arc-seconds, loss by the equations."""
    ground_m = np.arange(2000.0, 12_000.0, 11.3)
    lat, lon = direct(47.0, 9.0, azimuth_deg=np.full(ground_m.size, 37.0), ground_m=ground_m)
    swept = {}
    for per_degree in (1200, 3600):
        window = wooded(per_degree, cover_m, clutter_m)
        found, covered = losses(
            SITE, lat, lon, ground=window, rx_height_m=10.0, rx_ground_m=None, receiver_polarisation=None,
            step_m=None, pixel_m=10.0,
        )  # fmt: skip
        assert covered.all()
        swept[per_degree] = found.loss_db
        for j in range(0, ground_m.size, 177):
            one = path_levels(SITE, float(lat[j]), float(lon[j]), ground=window, rx_height_m=10.0)
            assert [p.loss_db for p in one.loss] == pytest.approx(found.loss_db[:, j].tolist(), abs=0.02)
            assert one.loss[0].intermediates["Lbulla50"] == pytest.approx(
                diffraction_db(ground_m[j] / 1000.0, cover_m, clutter_m or 27.0, 10.0), abs=0.15
            )

    assert np.abs(swept[1200] - swept[3600]).max() < 0.1
    for loss in (*swept[1200], *swept[3600]):
        # What is left of a stretch of 300 m beside its own straight line.
        parts = loss[: loss.size // 26 * 26].reshape(-1, 26)
        along = np.linspace(-1.0, 1.0, 26)
        slope = parts @ along / (along @ along)
        left = parts - parts.mean(axis=1)[:, None] - slope[:, None] * along
        assert np.ptp(left, axis=1).max() < 0.3


def test_the_obstacle_is_a_point_of_the_profile_that_anybody_can_put_in() -> None:
    """P.1812 over the profile that the path page gives out, with one more point, is the same within 0.1 dB."""
    window = wooded(3600, 15.0)
    lat, lon = direct(47.0, 9.0, azimuth_deg=80.0, ground_m=9321.0)
    levels = path_levels(SITE, float(lat), float(lon), ground=window, rx_height_m=10.0)
    laid = path_ground(SITE, float(lat), float(lon), ground=window)
    assert laid.obstacle_m is not None
    at = int(np.searchsorted(laid.distance_m, laid.obstacle_m[0]))
    d = np.insert(laid.distance_m, at, laid.obstacle_m[0]) / 1000.0
    cover = np.insert(laid.cover_m, at, 15.0)
    whole = path_loss(
        d, np.full(d.size, GROUND_M), cover_m=cover, frequency_mhz=MHZ, tx_height_m=MAST_M, rx_height_m=10.0,
        polarisation="H", time_pct=50.0, latitude_deg=47.0,
    )  # fmt: skip

    assert laid.obstacle_m == pytest.approx((9294.0, 115.0), abs=0.05)
    assert levels.loss[0].loss_db == pytest.approx(whole.loss_db, abs=0.1)
    assert not laid.cover_m[laid.distance_m > 9295.0].any()
    assert laid.cover_m[3:-4].min() == pytest.approx(15.0)


def test_points_and_paths_agree_also_where_a_wood_begins() -> None:
    """Many points by the sweep, a few by their paths, across the edge of a wood: within 0.3 dB."""
    half = grid(3600, 0.0)
    half.height_m[:, half.height_m.shape[1] // 2 :] = 15.0
    window = GroundWindow(grid(3600, GROUND_M), half)
    ground_m = np.linspace(5500.0, 8500.0, 60)
    lat, lon = direct(47.0, 9.0, azimuth_deg=np.full(60, 60.0), ground_m=ground_m)
    many = levels_at(SITE, lat, lon, rx_height_m=1.5, ground=window).level_dbuvm
    few = np.concatenate(
        [levels_at(SITE, a, b, rx_height_m=1.5, ground=window).level_dbuvm for a, b in zip(
            np.split(lat, 4), np.split(lon, 4), strict=True)]
    )  # fmt: skip

    assert np.ptp(many) > 10.0
    assert np.abs(many - few).max() < 0.3


def test_trees_of_a_surface_model_count_once() -> None:
    """Heights of treetops with the cover named give what the bare ground with the cover gives."""
    wood = grid(3600, 0.0)
    wood.height_m[:, 540:756] = 15.0  # 9.05 to 9.11 degrees east
    tops = replace(wood, height_m=wood.height_m + np.float32(GROUND_M))
    cover = terrain_from_grid(wood, name="wood", blended=False)
    bare, seen = (terrain_from_grid(one, name="t") for one in (grid(3600, GROUND_M), tops))
    known, surface, twice = (
        path_levels(SITE, 47.02, 9.12, ground=ground, rx_height_m=10.0).level_dbuvm[0]
        for ground in (Ground(bare, cover), Ground(seen, cover, surface=True), Ground(seen, cover))
    )

    assert surface == pytest.approx(known, abs=0.05)
    assert abs(twice - known) > 0.5
    assert Ground(seen, cover).digest != Ground(seen, cover, surface=True).digest


def test_no_ring_stands_where_free_space_ends() -> None:
    """Behind a wall, levels go over from free space to the model without a step from 100 to 300 m."""
    wall = grid(3600, GROUND_M)
    lons = wall.west_deg + wall.step_lon_deg * np.arange(wall.height_m.shape[1])
    wall.height_m[:, np.abs((lons - 9.0) * 75_900.0 - 60.0) < 15.0] = 230.0
    at_m = np.arange(100.0, 300.0, 4.0)
    lat, lon = direct(47.0, 9.0, azimuth_deg=np.full(at_m.size, 90.0), ground_m=at_m)
    level = levels_at(SITE, lat, lon, rx_height_m=10.0, ground=GroundWindow(wall)).level_dbuvm

    assert level[0] - level[-1] > 15.0
    assert np.abs(np.diff(level)).max() < 2.5
