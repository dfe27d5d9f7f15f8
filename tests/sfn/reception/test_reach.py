"""How far a default map reaches: to where the network stops being usable."""

from pathlib import Path

import numpy as np
import pytest

from sfn.field.levels import levels_at
from sfn.geodesy.line import direct
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.reception.coverage import transmitters, usual_bounds
from sfn.reception.quality import too_weak_below_dbuvm, yardstick
from sfn.reception.reach import bounds_to_the_edge, reach_m
from sfn.terrain.ground import open_ground

DEMOS = Path(__file__).parents[3] / "demo_sites"
DAB = read_file(DEMOS / "dab_plain.json")
PLACED = place(DAB)
GROUND = open_ground(DAB, folder=DEMOS)


def test_beyond_its_reach_a_site_is_not_usable_and_short_of_it_it_is() -> None:
    """Within the 4 km of the halving, in the direction that reaches furthest; 6 dB lower than one alone may be."""
    usable = too_weak_below_dbuvm(yardstick(DAB), frequency_mhz=DAB.frequency_mhz) - 6.0
    assert usable < yardstick(DAB).counts.usable_dbuvm - 6.0
    for site, one in list(zip(DAB.sites, transmitters(DAB, PLACED), strict=True))[:2]:
        far_m = reach_m(DAB, PLACED, ground=GROUND)[site.id]
        levels = []
        for away_m in (far_m - 4_500.0, far_m + 500.0):
            lat, lon = direct(one.lat_deg, one.lon_deg, azimuth_deg=np.arange(0, 360, 45.0), ground_m=away_m)
            levels.append(float(levels_at(one, lat, lon, rx_height_m=DAB.receiver.height_m).level_dbuvm.max()))
        assert levels[0] >= usable - 0.2
        assert levels[1] <= usable + 0.2


def test_the_map_holds_the_usual_area_and_the_reach_of_every_site_on_air() -> None:
    """And no more than a tenth beyond the furthest; a site off the air widens nothing."""
    whole = bounds_to_the_edge(DAB, PLACED, ground=GROUND)
    least = usual_bounds(PLACED, ground=GROUND)

    assert whole[0] < least[0]
    assert whole[2] > least[2]
    for name, far_m in reach_m(DAB, PLACED, ground=GROUND).items():
        north, _ = direct(PLACED[name].lat_deg, PLACED[name].lon_deg, azimuth_deg=0.0, ground_m=far_m)
        assert float(north) <= whole[2]
    silent = DAB.model_copy(update={"sites": tuple(s.model_copy(update={"on_air": False}) for s in DAB.sites)})
    assert bounds_to_the_edge(silent, PLACED, ground=GROUND) == pytest.approx(least)


def test_terrain_that_holds_all_sites_bounds_the_map() -> None:
    """The ridge demo shows its terrain, no more."""
    ridge = read_file(DEMOS / "fm_ridge.json")
    ground = open_ground(ridge, folder=DEMOS)
    assert ground.terrain is not None
    bounds, edge = bounds_to_the_edge(ridge, place(ridge), ground=ground), ground.terrain.bounds_deg
    assert edge[0] <= bounds[0]
    assert bounds[2] <= edge[2]
    assert edge[1] <= bounds[1]
    assert bounds[3] <= edge[3]
