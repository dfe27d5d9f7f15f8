"""A smooth earth's raster, read off a table, beside the exact path of every receiver."""

import numpy as np
import pytest

from sfn.propagation.horizons import centre_latitude
from sfn.propagation.link import Link
from sfn.propagation.p1812 import path_loss
from sfn.propagation.smooth_table import smooth_losses_around

STEP_KM = 0.1
CASES = [
    # latitude of the site, MHz, antennas, km
    (50.0, 98.0, 150.0, 1.5, 90.0),
    (36.0, 600.0, 300.0, 10.0, 200.0),
    (-0.3, 200.0, 1000.0, 10.0, 150.0),
    (69.9, 600.0, 60.0, 10.0, 100.0),
    (48.0, 3000.0, 20.0, 1.5, 40.0),
]


@pytest.mark.parametrize(("lat_deg", "frequency_mhz", "tx_m", "rx_m", "reach_km"), CASES)
def test_the_table_meets_exact_paths(
    lat_deg: float, frequency_mhz: float, tx_m: float, rx_m: float, reach_km: float
) -> None:
    """Loss, line of sight and elevation of receivers near, far and at any bearing; and the equator, and 70 degrees."""
    chance = np.random.default_rng(int(frequency_mhz))
    count = 150
    km = np.concatenate([chance.uniform(0.01, 2.0, 30), reach_km * np.sqrt(chance.random(count - 30))])
    azimuth = chance.uniform(0.0, 2.0 * np.pi, count)
    lat = lat_deg + km * np.cos(azimuth) / 111.2
    lon = 8.0 + km * np.sin(azimuth) / 111.2 / np.cos(np.radians(lat_deg))
    link = Link(120.0, tx_m, rx_m, frequency_mhz, "V")
    found = smooth_losses_around(
        lat_deg, 8.0, rx_lat_deg=lat, rx_lon_deg=lon, link=link, step_m=100.0, radius_km=reach_km * 1.1
    )
    apart, flags, turned = np.empty((2, count)), 0, []
    for j, distance in enumerate(found.distance_km):
        points = max(int((distance - 0.5 * STEP_KM) / STEP_KM), 0) + 1
        d = np.append(np.arange(points) * STEP_KM, distance)
        if distance < 0.25 or points < 4:
            free = 92.4 + 20 * np.log10(frequency_mhz / 1000) + 10 * np.log10(distance**2 + ((tx_m - rx_m) / 1000) ** 2)
            apart[:, j] = found.loss_db[:, j] - free
            continue
        for k, p in enumerate(link.time_pct):
            one = path_loss(
                d, np.full(d.size, 120.0), frequency_mhz=frequency_mhz, tx_height_m=tx_m, rx_height_m=rx_m,
                polarisation="V", time_pct=p,
                latitude_deg=centre_latitude(lat_deg, 8.0, lat[j], lon[j], distance_km=distance),
            )  # fmt: skip
            apart[k, j] = found.loss_db[k, j] - one.loss_db
        flags += one.line_of_sight != found.line_of_sight[j]
        turned.append(abs(one.tx_elevation_deg - found.tx_elevation_deg[j]))

    assert np.quantile(np.abs(apart), 0.98) < 0.03
    assert np.max(np.abs(apart)) < 0.15
    assert flags <= 1
    assert max(turned) < 1e-3
    assert (found.ground_m == 120.0).all()


def test_out_of_reach_and_off_any_place_is_nothing() -> None:
    """Beyond the radius, and where a place is not a number, there is no loss; shapes are kept."""
    lat = np.array([[50.0, 50.5, np.nan], [50.01, 51.9, 50.2]])
    found = smooth_losses_around(
        50.0,
        8.0,
        rx_lat_deg=lat,
        rx_lon_deg=8.0,
        link=Link(0.0, 100.0, 10.0, 600.0, "H"),
        step_m=100.0,
        radius_km=100.0,
    )

    assert (2, 2, 3) == found.loss_db.shape
    assert [[True, True, False], [True, False, True]] == np.isfinite(found.loss_db[1]).tolist()
    assert not found.line_of_sight[0, 2]
