"""The offset that makes two signals meet at a place, against path lengths worked out apart from it."""

import math
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from sfn.check import all_problems
from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.study.crossing import crossing, usual_pair
from sfn.study.point import point_signals
from sfn.study.what_if import WhatIf
from sfn.terrain.ground import open_ground
from sfn.timing import delay_table

RIDGE = Path(__file__).parents[3] / "demo_sites/fm_ridge.json"
AT = (36.3032, -84.2)
C_M_PER_US, N_UNITS = 299.792458, 315.0


@pytest.fixture(scope="module")
def network() -> Network:
    """The ridge demo, over its terrain."""
    return read(RIDGE.read_text(encoding="utf-8"))


def path_m(network: Network, site: str, rx_asl_m: float) -> float:
    """Length of a path, ``sqrt(s^2 + dh^2)``: s by geographiclib, heights as the document has them."""
    there, one = place(network)[site], next(s for s in network.sites if s.id == site)
    s_m = Geodesic.WGS84.Inverse(there.lat_deg, there.lon_deg, *AT)["s12"]
    assert one.ground_m is not None
    return math.hypot(s_m, one.ground_m + one.antenna_m - rx_asl_m)


def test_offset_is_the_difference_of_the_paths_times_n_over_c(network: Network) -> None:
    """`o_f = o_against + (L_against - L_f) n / c`, but for what the other site's own rounding leaves."""
    ground = open_ground(network, folder=None)
    rx = point_signals(network, lat_deg=AT[0], lon_deg=AT[1], ground=ground)
    assert rx.rx_ground_m is not None
    rx_asl_m = rx.rx_ground_m + rx.rx_height_m
    made = crossing(
        network, WhatIf(), lat_deg=AT[0], lon_deg=AT[1], fill_in="gap", against="summit", problems_of=all_problems,
        ground=ground,
    )  # fmt: skip
    longer_m = path_m(network, "summit", rx_asl_m) - path_m(network, "gap", rx_asl_m)
    expected_us = longer_m * (1 + N_UNITS * 1e-6) / C_M_PER_US
    rounding_us = delay_table(network, placed=place(network)).row("summit").rounding_us

    assert made.path_m == pytest.approx(longer_m, abs=0.01)
    assert made.exact_us == pytest.approx(expected_us + rounding_us, abs=1e-4)
    assert made.offset_us == pytest.approx(made.exact_us, abs=0.005 + 1e-9)
    # 5 ns of what is proposed, half a step of 0.1 us of the fill-in's device
    assert abs(made.left_us) <= 0.005 + 0.05 + 1e-6
    assert [field.name for field in made.fields] == [f.name for f in made.now.table.row("gap").fields]
    assert [field.value for field in made.fields] == [f.value for f in made.now.table.row("gap").fields]


def test_with_something_tried_the_difference_is_still_closed(network: Network) -> None:
    """A clock 3 us late at the other site and an offset tried before: both are met."""
    what = WhatIf({"gap": -7.0}, {"summit": 3.0})
    made = crossing(
        network, what, lat_deg=AT[0], lon_deg=AT[1], fill_in="gap", against="summit", problems_of=all_problems,
        ground=open_ground(network, folder=None),
    )  # fmt: skip

    assert made.now_us == -7.0
    assert made.before_us == pytest.approx(0.21 - 10.0, abs=0.06)
    assert abs(made.left_us) <= 0.055 + 1e-6
    assert made.what.offsets_us["gap"] == made.offset_us
    assert made.what.clock_errors_us == {"summit": 3.0}


def test_a_pair_that_moves_together_or_is_not_heard_is_refused(network: Network) -> None:
    """One site twice, a site fed off air by the one that is moved, a site that is off the air."""
    fed = network.model_copy(
        update={
            "sites": tuple(
                s.model_copy(update={"fed_off_air_from": "gap"}) if s.id == "north" else s for s in network.sites
            )
        }
    )
    for of, what, against, code in (
        (network, WhatIf(), "gap", "moves-along"),
        (fed, WhatIf(), "north", "moves-along"),
        (network, WhatIf(off_air=frozenset({"north"})), "north", "no-signal-there"),
    ):
        with pytest.raises(PlanError) as refused:
            crossing(
                of, what, lat_deg=AT[0], lon_deg=AT[1], fill_in="gap", against=against, problems_of=all_problems,
                ground=open_ground(network, folder=None),
            )  # fmt: skip
        assert refused.value.problems[0].code == code


def test_a_held_site_is_not_the_one_that_is_moved(network: Network) -> None:
    """The summit is held: whoever is stronger, the other is proposed."""
    near_gap = point_signals(network, lat_deg=36.40, lon_deg=-84.18, ground=open_ground(network, folder=None))
    assert near_gap.signals[0].site == "gap"
    second = near_gap.signals[1].site
    assert usual_pair(network, near_gap) == (("gap", "summit") if second == "summit" else (second, "gap"))
