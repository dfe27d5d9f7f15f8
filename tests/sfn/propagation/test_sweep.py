"""The sweep: the same answer as the exact path, places, voids, threads, progress."""

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from sfn.geodesy.line import direct, inverse
from sfn.propagation import sweep
from sfn.propagation.batch import LANES
from sfn.propagation.horizons import ZONES
from sfn.propagation.link import LatLonRaster, Link, SweepCancelled, Terrain
from sfn.propagation.p1812 import path_loss
from sfn.propagation.sweep import losses_around, losses_on_radials

SAME_DB = 1e-9
LINK = Link(
    tx_ground_m=100.0, tx_height_m=150.0, rx_height_m=10.0, frequency_mhz=600.0, polarisation="H", time_pct=(50.0, 1.0)
)
LAT_DEG, LON_DEG = 48.0, 11.0
EARTH_KM = 6371.0


def centre_latitude(lat_deg, azimuth_deg, distance_km):
    """Latitude half-way, on a sphere."""
    half, lat = distance_km / 2.0 / EARTH_KM, math.radians(lat_deg)
    s = math.sin(lat) * math.cos(half) + math.cos(lat) * math.sin(half) * math.cos(math.radians(azimuth_deg))
    return math.degrees(math.asin(s))


def exact(link, time_pct, d, h, c, z, latitude_deg, obstacle=None):
    """The exact path with a sweep's link."""
    return path_loss(
        d, h, cover_m=c, obstacle=obstacle, zone=[ZONES[k] for k in z], frequency_mhz=link.frequency_mhz, tx_height_m=link.tx_height_m,
        rx_height_m=link.rx_height_m, polarisation=link.polarisation, time_pct=time_pct, latitude_deg=latitude_deg,
        delta_n=link.delta_n, surface_refractivity_n0=link.surface_refractivity_n0,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(24))
def test_same_profile_same_answer(random_path, seed):
    """At every receiver of a random radial the sweep gives what the exact path gives: loss, sight, elevation."""
    path = random_path(seed, regular=True, points=int(np.random.default_rng(seed).integers(6, 600)))
    rng = np.random.default_rng(1000 + seed)
    d, h, c = path["distance_km"], path["ground_m"], path["cover_m"]
    z, step_km, count = np.array([ZONES.index(name) for name in path["zone"]]), d[1], 25
    link = Link(
        float(h[0]), path["tx_height_m"], path["rx_height_m"], path["frequency_mhz"], path["polarisation"],
        path["delta_n"], path["surface_refractivity_n0"], (50.0, 1.0, float(rng.uniform(1.0, 50.0))),
    )  # fmt: skip
    distance_km = rng.uniform(0.1 * step_km, (len(d) + 0.4) * step_km, count)
    ground_m = np.interp(distance_km, d, h) + rng.normal(size=count) * 5.0
    zone, azimuth_deg = rng.integers(0, 3, count), float(rng.uniform(0.0, 360.0))
    swept = losses_on_radials(
        h[None], cover_m=c[None], zone=z[None], step_km=step_km, lat_deg=path["latitude_deg"],
        rx_distance_km=distance_km, rx_azimuth_deg=azimuth_deg, rx_ground_m=ground_m, rx_zone=zone, link=link,
    )  # fmt: skip
    for j in range(count):
        points = max(int((distance_km[j] - 0.5 * step_km) / step_km), 0) + 1
        profile = [
            np.append(along[:points], own)
            for along, own in ((d, distance_km[j]), (h, ground_m[j]), (c, 0.0), (z, zone[j]))
        ]
        latitude_deg = centre_latitude(path["latitude_deg"], azimuth_deg, distance_km[j])
        for k, p in enumerate(link.time_pct):
            one = exact(link, p, *profile, latitude_deg)
            assert abs(one.loss_db - swept.loss_db[k, j]) < SAME_DB
            assert one.line_of_sight == swept.line_of_sight[j]
            assert abs(one.tx_elevation_deg - swept.tx_elevation_deg[j]) < 1e-9


@pytest.mark.parametrize("delta_n", [104.0, 106.0, 120.0, 150.0])
def test_an_earth_flatter_than_the_ducts_gives_what_the_exact_path_gives(delta_n):
    """From 104.7 N-units per km on, what is clear of the median's earth need not be clear of beta0's, eq. (7)."""
    steps, step_km, rng = 700, 0.05, np.random.default_rng(5)
    d = step_km * np.arange(steps)
    h = 300.0 + np.cumsum(rng.normal(0.0, 6.0, steps))
    none, inland = np.zeros(steps), np.full(steps, ZONES.index("inland"))
    link = replace(
        LINK, tx_ground_m=float(h[0]), tx_height_m=50.0, rx_height_m=1.5, frequency_mhz=30.0, delta_n=delta_n
    )
    at = np.arange(60, steps, 8)
    swept = losses_on_radials(
        h[None], cover_m=none[None], zone=inland[None], step_km=step_km, lat_deg=48.0, rx_distance_km=d[at],
        rx_azimuth_deg=0.0, rx_ground_m=h[at], rx_zone=inland[at], link=link,
    )  # fmt: skip
    for j, i in enumerate(at):
        profile, latitude_deg = (
            (d[: i + 1], h[: i + 1], none[: i + 1], inland[: i + 1]),
            centre_latitude(48.0, 0.0, d[i]),
        )
        alone = [exact(link, p, *profile, latitude_deg).loss_db for p in link.time_pct]
        assert swept.loss_db[:, j] == pytest.approx(alone, abs=SAME_DB)


@pytest.mark.parametrize("seed", range(12))
def test_cover_ends_before_the_receiver_as_on_the_exact_path(random_path, seed):
    """With own cover and its own clutter distance at every receiver: nearer points bare, one more point there."""
    rng = np.random.default_rng(2000 + seed)
    step_km, count, points = float(rng.choice([0.01, 0.015, 0.03, 0.045, 0.09])), 40, 700
    d = np.arange(points) * step_km
    h = np.cumsum(rng.normal(size=points)) * 20.0 * step_km**0.5 + 100.0
    c = rng.choice([0.0, 8.0, 20.0], points) * (rng.random() < 0.8)
    link = Link(float(h[0]), float(rng.choice([5.0, 60.0, 200.0])), float(rng.choice([1.5, 10.0])), 600.0, "V")
    distance_km = np.concatenate([rng.uniform(0.05, 0.5, 10), rng.uniform(0.0, (points + 0.4) * step_km, count - 10)])
    distance_km = np.minimum(distance_km, (points + 0.4) * step_km)
    ground_m = np.interp(distance_km, d, h) + rng.normal(size=count) * 2.0
    own_m, clear_m = rng.choice([0.0, 5.0, 15.0], count), rng.choice([9.0, 27.0, 100.0], count)
    swept = losses_on_radials(
        h[None], cover_m=c[None], step_km=step_km, lat_deg=50.0, rx_distance_km=distance_km, rx_azimuth_deg=33.0,
        rx_ground_m=ground_m, rx_cover_m=own_m, rx_clutter_m=clear_m, link=link,
    )  # fmt: skip
    for j in range(count):
        far_km, near_km = distance_km[j], distance_km[j] - clear_m[j] / 1000.0
        n = max(int((far_km - 0.5 * step_km) / step_km), 0) + 1
        along, heights = np.append(d[:n], far_km), np.append(h[:n], ground_m[j])
        cover = np.append(np.where(d[:n] <= near_km, c[:n], 0.0), 0.0)
        obstacle = None
        if own_m[j] > 0.0 and near_km > 0.0:
            obstacle = (near_km, float(np.interp(near_km, along, heights)) + own_m[j])
        latitude_deg = centre_latitude(50.0, 33.0, far_km)
        for k, p in enumerate(link.time_pct):
            one = exact(link, p, along, heights, cover, np.zeros(n + 1, dtype=int), latitude_deg, obstacle)
            assert abs(one.loss_db - swept.loss_db[k, j]) < 1e-8, (j, far_km)


def waves(lat_deg, lon_deg):
    """Smooth hills as a function of the place."""
    return 200.0 + 90.0 * np.sin(90.0 * lat_deg) * np.cos(70.0 * lon_deg) + 60.0 * np.sin(31.0 * (lat_deg + lon_deg))


def plain(lat_deg, lon_deg):
    """A sampler of smooth hills without cover, inland."""
    return waves(lat_deg, lon_deg), 0.0, 0


def raster(function, *, lat_deg=LAT_DEG, lon_deg=LON_DEG, half_deg=0.4, step_deg=1 / 1200):
    """A grid of a function of the place, row 0 in the north."""
    count = int(2 * half_deg / step_deg) + 1
    lats = lat_deg + half_deg - step_deg * np.arange(count)
    lons = lon_deg - half_deg + step_deg * np.arange(count)
    values = np.asarray(function(lats[:, None], lons[None, :]), dtype=np.float32)
    return LatLonRaster(values, float(lats[0]), float(lons[0]), -step_deg, step_deg)


def around(terrain, *, lat_deg=LAT_DEG, lon_deg=LON_DEG, **changes):
    """Losses at 21 by 21 receivers within 20 km."""
    rows, columns = np.linspace(-0.17, 0.17, 21), np.linspace(-0.25, 0.25, 21)
    arguments = {
        "rx_lat_deg": lat_deg + rows[:, None], "rx_lon_deg": lon_deg + columns[None, :], "link": LINK,
        "terrain": terrain, "step_m": 90.0, "pixel_m": 25.0,
    }  # fmt: skip
    return losses_around(lat_deg, lon_deg, **arguments | changes)


def test_places_are_those_of_geodesics():
    """Over smooth hills every receiver meets the exact path along its own geodesic."""
    swept = around(plain, pixel_m=10.0)
    azimuth, distance, loss = swept.azimuth_deg.ravel(), swept.distance_km.ravel(), swept.loss_db.reshape(2, -1)
    for j in range(0, 441, 11):
        points = max(int((distance[j] - 0.045) / 0.09), 0) + 1
        d = np.append(np.arange(points) * 0.09, distance[j])
        if len(d) < 6:
            continue
        lat, lon = direct(LAT_DEG, LON_DEG, azimuth_deg=azimuth[j], ground_m=d * 1000.0)
        h = waves(lat, lon)
        h[0] = LINK.tx_ground_m
        nothing = np.zeros(len(d), dtype=int)
        one = exact(LINK, 50.0, d, h, 0.0 * d, nothing, centre_latitude(LAT_DEG, azimuth[j], distance[j]))
        assert abs(one.loss_db - loss[0, j]) < 0.05


def test_a_raster_and_its_function_agree():
    """Bilinear heights, and nearest cover and zones, of a fine raster give what the function gives."""

    def kinds(lat_deg, lon_deg):
        return np.where(lon_deg > LON_DEG + 0.1, 2, np.where(lat_deg > LAT_DEG, 1, 0)) + 0.0 * lat_deg

    def wood(lat_deg, lon_deg):
        return 15.0 * (lat_deg > LAT_DEG + 0.05) + 0.0 * lon_deg

    gridded = around(Terrain(raster(waves), raster(wood), raster(kinds)))
    sampled = around(lambda lat, lon: (waves(lat, lon), wood(lat, lon), kinds(lat, lon)))
    difference = np.abs(gridded.loss_db - sampled.loss_db)

    assert np.median(difference) < 0.05
    assert np.quantile(difference, 0.95) < 0.5
    assert np.quantile(np.abs(gridded.loss_db - around(plain).loss_db), 0.9) > 1.0


def test_flat_ground_looks_the_same_all_round():
    """Over flat ground the loss depends on distance alone, but for the latitude behind beta0."""
    azimuth_deg = np.arange(0.0, 360.0, 7.3)
    swept = losses_on_radials(
        np.full((360, 400), 50.0), step_km=0.1, lat_deg=0.0, rx_distance_km=np.full(azimuth_deg.size, 37.2),
        rx_azimuth_deg=azimuth_deg, rx_ground_m=50.0, link=replace(LINK, tx_ground_m=50.0),
    )  # fmt: skip

    assert np.ptp(swept.loss_db[0]) < SAME_DB
    assert np.ptp(swept.loss_db[1]) < 0.02


def test_rarer_is_stronger():
    """The loss not exceeded for 1 % of time is never greater than the median."""
    swept = around(plain)

    assert np.all(swept.loss_db[1] <= swept.loss_db[0])


def test_no_terrain_is_flagged_and_never_zero():
    """Receivers on a void, behind one, or off the raster have no level; those before it have."""
    ground = raster(waves, half_deg=0.21)
    holed = ground.values.copy()
    lons = ground.lon_deg + ground.lon_step_deg * np.arange(holed.shape[1])
    holed[:, (lons > LON_DEG + 0.11) & (lons < LON_DEG + 0.12)] = np.nan
    swept = around(Terrain(replace(ground, values=holed)))
    columns = LON_DEG + np.linspace(-0.25, 0.25, 21)
    known = np.isfinite(swept.loss_db).all(axis=(0, 1))

    assert list(known) == list((columns > LON_DEG - 0.21) & (columns < LON_DEG + 0.11))
    assert not swept.line_of_sight[:, ~known].any()
    assert np.array_equal(np.isnan(swept.tx_elevation_deg), np.isnan(swept.loss_db[0]))


def test_own_ground_height_counts():
    """A receiver's ground is the one given; where none is given, the terrain's."""
    rows, columns = np.linspace(-0.17, 0.17, 21)[:, None], np.linspace(-0.25, 0.25, 21)[None, :]
    given = waves(LAT_DEG + rows, LON_DEG + columns)
    given[3, 4] = np.nan
    half = around(plain, rx_ground_m=given)
    raised = around(plain, rx_ground_m=given + 80.0)

    assert np.array_equal(around(plain).loss_db, half.loss_db)
    assert np.nanmean(raised.loss_db[0] - half.loss_db[0]) < -2.0


def test_the_date_line_is_no_edge():
    """A site beside the date line gets what it would get elsewhere."""
    here = around(Terrain(raster(lambda lat, lon: waves(lat, lon - LON_DEG))))
    there = around(Terrain(raster(lambda lat, lon: waves(lat, lon - 179.95), lon_deg=179.95)), lon_deg=179.95)
    wrapped = around(Terrain(raster(lambda lat, lon: waves(lat, lon + 180.05), lon_deg=-180.05)), lon_deg=179.95)

    assert np.nanmax(np.abs(here.loss_db - there.loss_db)) < 0.2
    assert np.nanmax(np.abs(wrapped.loss_db - there.loss_db)) < 0.2


@pytest.mark.parametrize("count", [1, 7, 8, 9, LANES - 1, LANES, LANES + 1, 2 * LANES + 5])
def test_a_receiver_alone_and_among_others_gets_the_same(count):
    """However many receivers a radial has, each gets what it would get alone: those beside it in a batch do not matter."""
    chance = np.random.default_rng(count)
    ground, step_km = 200.0 + 150.0 * chance.random((1, 400)), 0.09
    zone = np.repeat(chance.integers(0, 3, 20), 20)[None].astype(np.int8)
    distance_km, height_m = chance.uniform(0.05, 35.0, count), 200.0 + 150.0 * chance.random(count)

    def swept(which):
        return losses_on_radials(
            ground, zone=zone, step_km=step_km, lat_deg=50.0, rx_distance_km=distance_km[which],
            rx_azimuth_deg=np.zeros(len(distance_km[which])), rx_ground_m=height_m[which], link=LINK,
        )  # fmt: skip

    together = swept(np.arange(count))
    for j in chance.permutation(count)[:12]:
        alone = swept(np.array([j]))
        assert alone.loss_db[:, 0] == pytest.approx(together.loss_db[:, j], abs=1e-10)
        assert alone.line_of_sight[0] == together.line_of_sight[j]
        assert alone.tx_elevation_deg[0] == pytest.approx(together.tx_elevation_deg[j], abs=1e-10)


def test_receivers_in_any_order_are_found_where_they_are():
    """Distance and azimuth hold for rows of one latitude, for columns, and for receivers in no order at all."""
    chance = np.random.default_rng(6)
    lat_deg, lon_deg = LAT_DEG + chance.uniform(-0.1, 0.1, 60), LON_DEG + chance.uniform(-0.1, 0.1, 60)
    lat_deg[20:40], lon_deg[30:50] = lat_deg[20], lon_deg[30]
    swept = around(plain, rx_lat_deg=lat_deg, rx_lon_deg=lon_deg)
    ground_m, azimuth_deg, _ = inverse(LAT_DEG, LON_DEG, lat_deg, lon_deg)

    assert np.max(np.abs(swept.distance_km * 1000.0 - ground_m)) < 0.02
    assert np.max(np.abs((swept.azimuth_deg - azimuth_deg + 180.0) % 360.0 - 180.0)) < 1e-3


def test_threads_give_the_same_and_progress_counts():
    """With two threads every number is the same, and progress ends at the number of receivers."""
    seen = []
    with ThreadPoolExecutor(2) as threads:
        swept = around(plain, executor=threads, progress=lambda done, total: seen.append((done, total)))

    assert np.array_equal(around(plain).loss_db, swept.loss_db)
    assert seen[-1] == (441, 441)
    assert seen == sorted(seen)


def test_a_cancel_is_heard():
    """Asked to stop, the sweep stops before the next block of radials."""
    asked = []
    with pytest.raises(SweepCancelled):
        around(plain, cancelled=lambda: asked.append(1) or len(asked) > 3)

    assert len(asked) == 4


def test_out_of_reach_has_no_level():
    """Receivers beyond the radius get no level."""
    swept = around(plain, radius_km=10.0)

    assert np.array_equal(np.isfinite(swept.loss_db[0]), swept.distance_km <= 10.0)
    assert 0 < np.isfinite(swept.loss_db[0]).sum() < 441


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"tx_height_m": 0.5}, "tx_height_m must be from 1 to 3000 m, got 0.5"),
        ({"frequency_mhz": 10.0}, "frequency_mhz must be from 30 to 6000 MHz, got 10.0"),
        ({"time_pct": (50.0, 0.1)}, "time_pct must be from 1 to 50 %, got 0.1"),
        ({"delta_n": -1.0}, "delta_n must be from 0 to 150 N-units/km, got -1.0"),
        ({"polarisation": "h"}, "polarisation must be 'H' (horizontal) or 'V' (vertical), got 'h'"),
        ({"tx_ground_m": float("nan")}, "tx_ground_m must be from -500 to 9000 m, got nan"),
    ],
)
def test_out_of_range_is_refused_by_name(change, text):
    """A quantity outside its range is refused with name, range, unit and value."""
    with pytest.raises(ValueError) as refused:  # noqa: PT011 - the text is compared whole below
        replace(LINK, **change)

    assert text == str(refused.value)


def test_a_receiver_between_two_radials_gets_what_lies_straight_between_them(monkeypatch):
    """Of few receivers each asks the radial on either side: each radial's loss is that of the exact path along it."""
    monkeypatch.setattr(sweep, "USUAL_RADIALS", 360)  # one a degree
    lat, lon, step_m = 46.5, 7.5, 30.0
    link = Link(310.0, 80.0, 10.0, 600.0, "H")

    def terrain(a, b):
        ground = 300.0 + 120.0 * np.sin(700.0 * a) * np.cos(500.0 * b)
        return ground, np.zeros(a.shape), np.zeros(a.shape, dtype=np.int8)

    azimuth_deg, distance_m = (
        np.array([12.25, 99.9, 200.5, 359.7, 300.4]),
        np.array([2900.0, 2500.0, 1810.0, 2222.0, 900.0]),
    )
    rx_lat, rx_lon = (
        np.array(v)
        for v in zip(*(direct(lat, lon, azimuth_deg=a, ground_m=s) for a, s in zip(azimuth_deg, distance_m, strict=True)), strict=True)
    )  # fmt: skip
    swept = losses_around(
        lat, lon, rx_lat_deg=rx_lat, rx_lon_deg=rx_lon, link=link, terrain=terrain, step_m=step_m, pixel_m=200.0
    )
    for j, (azimuth, far_m) in enumerate(zip(azimuth_deg, distance_m, strict=True)):
        points = max(int((far_m - 0.5 * step_m) / step_m), 0) + 1
        along_m = np.append(np.arange(points) * step_m, far_m)
        loss = []
        for radial in (np.floor(azimuth), np.floor(azimuth) + 1.0):
            heights = terrain(*direct(lat, lon, azimuth_deg=radial, ground_m=along_m))[0]
            heights[0], heights[-1] = link.tx_ground_m, terrain(rx_lat[j], rx_lon[j])[0]
            flat = np.zeros(points + 1)
            middle = centre_latitude(lat, azimuth, far_m / 1000.0)
            loss.append(
                [
                    exact(link, p, along_m / 1000.0, heights, flat, flat.astype(int), middle).loss_db
                    for p in link.time_pct
                ]
            )
        part = azimuth % 1.0
        expected = (1.0 - part) * np.array(loss[0]) + part * np.array(loss[1])
        assert swept.loss_db[:, j] == pytest.approx(expected, abs=1e-4)  # the map about the site: millimetres


def test_compiled_code_is_compiled_once():
    """What cannot be written to, or lies otherwise in memory, is no other type: each costs half a minute at first use."""
    around(Terrain(raster(waves, step_deg=1 / 600)))
    before = len(sweep.kernels.walk.signatures)
    h = np.broadcast_to(np.full(40, 200.0), (4, 40))
    losses_on_radials(
        h, cover_m=np.asfortranarray(np.zeros((4, 40))), zone=np.broadcast_to(np.int8(0), (4, 40)), step_km=0.09,
        lat_deg=50.0, rx_distance_km=[2.0], rx_azimuth_deg=[90.0], rx_ground_m=[200.0], link=LINK,
    )  # fmt: skip
    around(plain)
    around(lambda lat, lon: (np.broadcast_to(200.0, lat.shape), np.zeros(1), np.int8(0)))

    assert before == len(sweep.kernels.walk.signatures)
