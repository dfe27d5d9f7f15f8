"""The fast lengths, directions and travel times beside the exact ones, over random grids everywhere on Earth."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.line import direct, inverse, path_length, travel_time
from sfn.geodesy.travel import Points, azimuths, ground_distances, path_lengths, travel_times

ONE_PICOSECOND_US = 1e-6
ONE_NANOSECOND_US = 1e-3
SERIES_AT_300_KM_M = 2e-4
SERIES_AT_1000_KM_M = 0.15
NANOMETRES_M = 2e-8  # two numbers of 6 million metres taken from each other
SEEDS = range(12)


def area_of(seed: int, *, reach_m: float) -> tuple[Grid, np.ndarray, np.ndarray]:
    """A random grid (every third one above 70 degrees) and sites within reach of its centre, two inside."""
    rng = np.random.default_rng(seed)
    lat = rng.uniform(70, 82) * rng.choice([-1, 1]) if seed % 3 == 0 else rng.uniform(-70, 70)
    lon = rng.uniform(-179, 176)
    tall = rng.uniform(0.2, 1.5)
    wide = min(tall / np.cos(np.radians(lat)), 10.0)
    grid = grid_for((lat, lon, lat + tall, lon + wide), pixel_m=2_500)
    middle = lat + tall / 2, lon + wide / 2
    away_m = np.concatenate([[1_000.0, 9_000.0], rng.uniform(0, reach_m - 90_000, 4)])
    sites = direct(*middle, azimuth_deg=rng.uniform(0, 360, away_m.size), ground_m=away_m)
    return grid, *sites


def exact(grid: Grid, lat: np.ndarray, lon: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ground distances and azimuths by PROJ for every pair."""
    ground_m, azimuth_deg, _ = inverse(lat[:, None, None], lon[:, None, None], *grid.points_deg)
    return ground_m, azimuth_deg


@pytest.mark.parametrize("seed", SEEDS)
def test_series_is_good_to_a_fraction_of_a_millimetre_up_to_300_km(seed: int) -> None:
    """The bound: 0.2 mm, under a picosecond of travel time, on any grid, sites inside and outside."""
    grid, lat, lon = area_of(seed, reach_m=300e3)

    theirs_m, theirs_deg = exact(grid, lat, lon)
    ours_m = ground_distances(grid, lat_deg=lat, lon_deg=lon)

    near = theirs_m < 300e3
    assert near[:2].all()
    assert np.abs(ours_m - theirs_m)[near].max() < SERIES_AT_300_KM_M
    assert np.abs(travel_time(ours_m) - travel_time(theirs_m))[near].max() < ONE_PICOSECOND_US
    turn = (azimuths(grid, lat_deg=lat, lon_deg=lon) - theirs_deg + 180) % 360 - 180
    assert np.abs(turn[near & (theirs_m > 1)]).max() < 1e-4


def test_error_of_the_series_grows_with_the_fifth_power() -> None:
    """0.2 mm at 300 km, a micrometre at 100 km, and so on: everywhere on Earth, in every direction."""
    rng = np.random.default_rng(11)
    for lat in (*rng.uniform(-85, 85, 20), 0.0, 84.9):
        away_m = rng.uniform(1e3, 3e5, 2_000)
        points = Points(*direct(lat, 30.0, azimuth_deg=rng.uniform(0, 360, away_m.size), ground_m=away_m))

        wrong_m = np.abs(ground_distances(points, lat_deg=lat, lon_deg=30.0)[0] - away_m)

        assert (wrong_m / (SERIES_AT_300_KM_M * (away_m / 3e5) ** 5 + NANOMETRES_M)).max() < 1


@pytest.mark.parametrize("seed", SEEDS)
def test_any_length_is_good_to_a_nanosecond(seed: int) -> None:
    """From 300 to 1 600 km: the series up to 1 000 km, PROJ beyond, and no step between them."""
    rng = np.random.default_rng(seed)
    lat, lon = rng.uniform(-89, 89, 4), rng.uniform(-180, 180, 4)
    to_lat, to_lon = direct(lat[0], lon[0], azimuth_deg=rng.uniform(0, 360, 500), ground_m=rng.uniform(3e5, 1.6e6, 500))
    points = Points(to_lat, to_lon)

    ours_m = ground_distances(points, lat_deg=lat, lon_deg=lon)
    theirs_m, theirs_deg, _ = inverse(lat[:, None], lon[:, None], to_lat, to_lon)

    assert np.abs(ours_m - theirs_m).max() < SERIES_AT_1000_KM_M
    assert np.abs(travel_time(ours_m) - travel_time(theirs_m)).max() < ONE_NANOSECOND_US
    far = theirs_m > 1_001e3
    assert far.any()
    assert np.array_equal(ours_m[far], theirs_m[far])
    turn = (azimuths(points, lat_deg=lat, lon_deg=lon) - theirs_deg + 180) % 360 - 180
    assert np.abs(turn[theirs_m < 1e6]).max() < 1e-3


def test_near_the_site_nothing_is_lost() -> None:
    """The distance has a cusp at the site: a pixel on the mast is 0 m away, and metres round it are right to nanometres."""
    for lat in (0.0, 36.37, -54.8, 69.6, 84.9):
        ring_lat, ring_lon = direct(lat, 20.0, azimuth_deg=np.arange(0, 360, 7.5), ground_m=np.geomspace(1e-3, 2e3, 48))
        points = Points(np.append(ring_lat, lat), np.append(ring_lon, 20.0))

        ours_m = ground_distances(points, lat_deg=lat, lon_deg=20.0)[0]

        assert np.abs(ours_m[:-1] - inverse(lat, 20.0, ring_lat, ring_lon)[0]).max() < NANOMETRES_M
        assert 0.0 == ours_m[-1]


def test_site_at_a_pixel_centre() -> None:
    """A site exactly at the centre of a pixel: that pixel is at 0 m, its neighbours one pixel away."""
    grid = grid_for((36.16, -84.414, 36.446, -84.078), pixel_m=100)
    row, column = 150, 140

    ours_m = ground_distances(grid, lat_deg=grid.lat_deg[row], lon_deg=grid.lon_deg[column])[0]

    assert ours_m[row, column] < NANOMETRES_M
    assert 100.0 == pytest.approx(ours_m[row, column + 1], abs=0.1)


def test_paths_and_times_are_those_of_line() -> None:
    """Heights come in as in `line.path_length`, one a site and one a pixel; times as in `line.travel_time`."""
    grid, lat, lon = area_of(4, reach_m=300e3)
    rng = np.random.default_rng(0)
    antenna_asl_m, receiver_asl_m = rng.uniform(0, 2_000, lat.size), rng.uniform(0, 1_500, grid.shape)
    ground_m, _ = exact(grid, lat, lon)

    theirs_m = path_length(ground_m, height_difference_m=receiver_asl_m - antenna_asl_m[:, None, None])
    heights = {"antenna_asl_m": antenna_asl_m, "receiver_asl_m": receiver_asl_m}
    ours_m = path_lengths(grid, lat_deg=lat, lon_deg=lon, **heights)
    ours_us = travel_times(grid, lat_deg=lat, lon_deg=lon, refractivity_n=330.0, **heights)

    assert np.abs(ours_m - theirs_m).max() < SERIES_AT_300_KM_M
    assert np.abs(ours_us - travel_time(theirs_m, refractivity_n=330.0)).max() < ONE_PICOSECOND_US


def test_points_and_pixels_are_one() -> None:
    """The pixels of a grid given as points have the lengths and directions of the grid, also across the date line."""
    grid = grid_for((-18, 179, -17, 181), pixel_m=3_000)
    lat, lon = grid.points_deg
    points = Points(lat.ravel(), np.where(lon > 180, lon - 360, lon).ravel())
    sites = {"lat_deg": [-17.5, -17.2], "lon_deg": [-179.9, 179.2]}

    for of in (ground_distances, azimuths):
        assert of(grid, **sites).reshape(2, -1) == pytest.approx(of(points, **sites), abs=1e-6)


def test_threads_change_nothing() -> None:
    """The same numbers to the last bit, with threads and without."""
    grid, lat, lon = area_of(7, reach_m=300e3)
    heights = {"antenna_asl_m": 500.0, "receiver_asl_m": 1.5}

    with ThreadPoolExecutor(3) as threads:
        shared = travel_times(grid, lat_deg=lat, lon_deg=lon, executor=threads, **heights)
        assert np.array_equal(shared, travel_times(grid, lat_deg=lat, lon_deg=lon, **heights))
        directions = azimuths(grid, lat_deg=lat, lon_deg=lon, executor=threads)
        assert np.array_equal(directions, azimuths(grid, lat_deg=lat, lon_deg=lon))


def test_unknown_ground_stays_unknown() -> None:
    """Where the receiver's height is not known, neither is the length; elsewhere nothing changes."""
    points = Points(np.array([50.0, 50.1]), np.array([8.0, 8.1]))

    ours_m = path_lengths(
        points, lat_deg=50.2, lon_deg=8.2, antenna_asl_m=300.0, receiver_asl_m=np.array([np.nan, 100.0])
    )

    assert [[True, False]] == np.isnan(ours_m).tolist()


@pytest.mark.parametrize(
    ("lat", "lon", "words"),
    [
        (91.0, 8.0, r"a site's lat_deg must be from -90 to 90 degrees, got 91\.0"),
        (np.nan, 8.0, "a site's lat_deg must be from -90 to 90 degrees, got nan"),
        (50.0, 361.0, "a site's lon_deg must be from -360 to 360 degrees"),
    ],
)
def test_coordinates_off_the_globe_are_refused(lat: float, lon: float, words: str) -> None:
    """A site or point off the globe, or none at all, is refused by name."""
    points = Points(np.array([50.0]), np.array([8.0]))
    with pytest.raises(ValueError, match=words):
        ground_distances(points, lat_deg=lat, lon_deg=lon)
    with pytest.raises(ValueError, match="a point's lat_deg must be"):
        azimuths(Points(np.array([95.0]), np.array([8.0])), lat_deg=50.0, lon_deg=8.0)
    with pytest.raises(ValueError, match="refractivity_n must be from 200 to 500"):
        travel_times(points, lat_deg=50, lon_deg=8, antenna_asl_m=0, receiver_asl_m=0, refractivity_n=1.000315)
