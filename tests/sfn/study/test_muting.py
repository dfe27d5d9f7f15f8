"""Which site falls silent first."""

import json
from math import inf, isinf
from pathlib import Path

import numpy as np
import pytest

from sfn.clock.holdover import Clock, time_to_limit
from sfn.geodesy.grid import grid_for
from sfn.plan import read
from sfn.reception.coverage import Coverage
from sfn.study.muting import muting_order

EXAMPLE = Path(__file__).parents[1] / "example-network.json"
SITES = ("north", "south", "gap")
STRONG, WEAK = 80.0, 20.0


@pytest.fixture
def network():
    """The example, its south released at a time stamp too, so that it drifts without its reference."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    (north,) = [stage for stage in document["stages"] if stage["id"] == "north-release"]
    document["stages"].append(north | {"id": "south-release", "inside": []})
    document["sites"][1]["chains"][0]["stages"].insert(1, "south-release")
    return read(json.dumps(document))


def coverage(levels):
    """A small grid; `levels` gives each site's level by the part of the width, all arriving together."""
    grid = grid_for((36.2, -84.3, 36.4, -84.1), pixel_m=400, most_pixels_n=10_000)
    pixels_n = grid.rows_n * grid.columns_n
    across = np.tile(np.linspace(0, 1, grid.columns_n), grid.rows_n)
    level = np.stack([levels[site](across) for site in SITES]).astype(np.float32)
    return Coverage(
        grid, SITES, level, level + 3, np.zeros((3, pixels_n)), np.zeros(pixels_n, np.float32),
        np.ones(pixels_n, bool), True,
    )  # fmt: skip


def step(low, high, at):
    """A level that falls from one figure to another."""
    return lambda across: np.where(across < at, low, high)


HALVES = {
    "north": step(STRONG, STRONG - 3, 0.6),  # serves the left part alone, overlaps with the south on the right
    "south": step(WEAK - 40, STRONG, 0.6),
    "gap": step(-60.0, -60.0, 0.5),
}
TOGETHER = dict.fromkeys(SITES, 0.0)
CLOCK = Clock(frequency_offset_ratio=1e-9)


def test_the_site_that_only_disturbs_is_silenced_first(network):
    """The south serves what the north would serve as well: late, it only disturbs, and goes first."""
    south, north = muting_order(network, coverage(HALVES), TOGETHER, clocks={"north": CLOCK, "south": CLOCK}).order

    assert ("south", "north") == (south.site_id, north.site_id)
    assert south.silent_km2 >= 0.9 * south.in_step_km2
    assert north.silent_km2 < 0.6 * north.in_step_km2
    assert south.after_h < north.after_h
    assert isinf(north.after_h)


def test_time_follows_from_error_and_clock(network):
    """With a better clock the same error comes later; a site that gives nothing is silenced at once."""
    levels = HALVES | {"south": step(STRONG, STRONG, 0.95)}
    (poor,) = muting_order(network, coverage(levels), TOGETHER, clocks={"south": CLOCK}).order
    better = {"south": Clock(frequency_offset_ratio=1e-10)}
    (good,) = muting_order(network, coverage(levels), TOGETHER, clocks=better).order

    assert poor.error_us == good.error_us
    assert poor.after_h == (0.0 if poor.error_us == 0 else time_to_limit(CLOCK, limit_us=poor.error_us))
    assert good.after_h >= poor.after_h


def test_a_lone_site_is_never_silenced(network):
    """Where nobody else is heard, being late harms nobody."""
    alone = {"north": step(STRONG, STRONG, 0.5), "south": step(-60.0, -60.0, 0.5), "gap": step(-60.0, -60.0, 0.5)}
    (north,) = muting_order(network, coverage(alone), TOGETHER, clocks={"north": CLOCK}).order

    assert inf == north.after_h
    assert 0.0 == north.silent_km2


def test_a_site_fed_off_air_goes_with_its_parent(network):
    """The fill-in has no turn of its own; with its parent silent it serves nobody either."""
    levels = {
        "north": step(WEAK - 40, WEAK - 40, 0.5),
        "south": step(-60.0, -60.0, 0.5),
        "gap": step(STRONG, STRONG, 0.5),
    }
    order = muting_order(network, coverage(levels), TOGETHER, clocks={"north": CLOCK, "gap": CLOCK}).order

    assert ["north"] == [one.site_id for one in order]
    assert 0.0 == order[0].silent_km2 < order[0].in_step_km2


def test_a_site_that_harms_in_step_has_no_turn_and_is_named(network):
    """100 us out of step as planned: the south serves less than its silence, so the plan is called wrong, not ranked."""
    order = muting_order(
        network, coverage(HALVES), TOGETHER | {"south": 100.0}, clocks={"north": CLOCK, "south": CLOCK}
    )

    assert ["south"] == [one.site_id for one in order.harmful]
    assert order.harmful[0].silent_km2 > order.harmful[0].in_step_km2
    assert ["north"] == [one.site_id for one in order.order]


def test_a_site_whose_launch_no_clock_times_has_no_turn(network):
    """On the microwave alone the south does not drift: silence is no matter of hours there; harm in step still is one."""
    plain = read(EXAMPLE.read_text(encoding="utf-8"))
    both = {"north": CLOCK, "south": CLOCK}
    late = muting_order(plain, coverage(HALVES), TOGETHER | {"south": 100.0}, clocks=both)

    assert ["north"] == [one.site_id for one in muting_order(plain, coverage(HALVES), TOGETHER, clocks=both).order]
    assert ["south"] == [one.site_id for one in late.harmful]


def test_the_document_is_the_example():
    """The sites of these tests are those of the example."""
    assert list(SITES) == [s["id"] for s in json.loads(EXAMPLE.read_text(encoding="utf-8"))["sites"]]
