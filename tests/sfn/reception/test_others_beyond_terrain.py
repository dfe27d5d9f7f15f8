"""A transmitter of another programme beyond the terrain still disturbs: its field comes over a smooth earth, and is named."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sfn.geodesy.grid import grid_for
from sfn.geodesy.line import inverse
from sfn.geodesy.sites import place
from sfn.plan import Network, OtherTransmitter, read_file
from sfn.reception.along import line_signals
from sfn.reception.classes import OTHER_STATION
from sfn.reception.coverage import coverage
from sfn.reception.others import needed_along, needed_at, others_says
from sfn.reception.signals import signals_at
from sfn.reception.significance import criteria
from sfn.study.zones import zones
from sfn.systems.of_network import service_of
from sfn.terrain.ground import Ground
from sfn.terrain.ridge import ridge
from sfn.timing import delay_table

NETWORK = read_file(Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json")
AT = (36.30, -84.12)
OVER = "over a smooth earth where the terrain does not cover the path: Other co"


def beside(lon_deg: float) -> Network:
    """The demo with 50 kW in either plane on its channel, 660 m above sea level, at 36.30 degrees north."""
    other: dict[str, Any] = {
        "id": "co", "name": "Other co", "position": {"text": f"36.30, {lon_deg}"}, "ground_m": 600.0,
        "antenna_m": 60.0, "erp_kw": {"h": 50.0, "v": 50.0},
    }  # fmt: skip
    return NETWORK.model_copy(update={"other_transmitters": (OtherTransmitter.model_validate(other),)})


def test_beyond_the_terrain_it_counts_on_point_line_and_map_and_is_named() -> None:
    """East of the file: near free space (100 kW in all at 15 km less what the earth costs), with 45 dB of protection."""
    network, ground = beside(-83.95), Ground(terrain=ridge())
    carried, launches = service_of(network), delay_table(network).launches()
    lat, lon = (np.array([one]) for one in AT)
    away_km = float(inverse(AT[0], AT[1], 36.30, -83.95)[0]) / 1e3
    free_dbuvm = 106.9 + 10 * np.log10(50.0) - 20 * np.log10(away_km)  # either plane alone; ITU-R P.525 and dipole

    line = line_signals(network, lat, lon, ground=ground)
    asked = needed_along(network, line, np.arange(len(NETWORK.sites)), carried)
    assert asked is not None
    assert line.others is not None
    assert free_dbuvm + 45.0 - 20.0 < asked.level_dbuvm[0] <= free_dbuvm + 45.0 + 3.1
    assert OVER in others_says(network, carried, line.others)

    point = signals_at(
        network, launches, lat_deg=AT[0], lon_deg=AT[1], placed=place(network), counts=criteria(network, carried),
        ground=ground,
    )  # fmt: skip
    at_point = needed_at(network, point, carried)
    assert at_point is not None
    assert at_point.level_dbuvm[0] == pytest.approx(asked.level_dbuvm[0], abs=0.01)
    assert OVER in others_says(network, carried, point.others)

    grid = grid_for((36.29, -84.14, 36.31, -84.10), pixel_m=1000.0)
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(network, grid, placed=place(network), ground=ground, executor=executor)
    assert computed.others is not None
    assert np.isfinite(computed.others.level_dbuvm).all()
    on_map = zones(network, computed, launches)
    assert (on_map.quality.quality_class == OTHER_STATION).any()
    assert OVER in on_map.others_says


def test_within_the_terrain_nothing_is_said_of_a_smooth_earth() -> None:
    """Inside the file its field comes over the terrain."""
    network, ground = beside(-84.16), Ground(terrain=ridge())
    line = line_signals(network, np.array([AT[0]]), np.array([AT[1]]), ground=ground)
    assert line.others is not None
    assert line.others.beyond_terrain == ()
    assert "smooth earth" not in others_says(network, service_of(network), line.others)
