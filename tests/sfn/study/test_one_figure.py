"""Area and people served are one figure: on the map, in the change plan, on the clocks' page and beside the offsets."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from sfn.clock.holdover import Clock
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network, read_file
from sfn.reception.coverage import Coverage, coverage, usual_bounds
from sfn.study.compared import compared
from sfn.study.effect import effect
from sfn.study.moments import area_measure
from sfn.study.muting import fed_by, muting_order
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.served import served_summary, state
from sfn.study.silence import muting_tried
from sfn.study.zones import zones
from sfn.terrain.ground import open_ground
from sfn.timing import delay_table

DEMOS = Path(__file__).parents[3] / "demo_sites"
ADEQUATE = 2  # the first two classes
CLEAR_MONO = 4  # its code
EXECUTOR = ThreadPoolExecutor(1)


@cache
def demo(name: str) -> tuple[Network, Coverage, np.ndarray]:
    """A demo, levels over its usual area on a coarse grid with a gap in the terrain, and made-up people."""
    network = read_file(DEMOS / name)
    placed, ground = place(network), open_ground(network, folder=DEMOS)
    bounds = usual_bounds(placed, ground=ground)
    across_m = (bounds[2] - bounds[0]) * 111_000
    computed = coverage(
        network, grid_for(bounds, pixel_m=across_m / 40), placed=placed, ground=ground, executor=EXECUTOR
    )
    covered = computed.covered.reshape(computed.grid.shape).copy()
    covered[: covered.shape[0] // 3, covered.shape[1] // 2 :] = False
    rng = np.random.default_rng(1)
    return network, replace(computed, covered=covered.ravel()), rng.uniform(0, 50, covered.size)


@pytest.mark.parametrize("name", ["fm_ridge.json", "dab_plain.json"])
def test_one_plan_has_one_area_and_one_number_of_people(name: str) -> None:
    """Counted once more from the map's classes: what is known, and nothing where a site's level is not."""
    network, computed, people = demo(name)
    launches = delay_table(network).launches()
    found = zones(network, computed, launches, people=people)
    kinds = found.quality.quality_class
    counts = computed.covered & ((kinds < ADEQUATE) | (kinds == CLEAR_MONO))
    area_km2, heard = float(computed.area_km2()[counts].sum()), float(people[counts].sum())
    assert 0 < area_km2 < float(computed.area_km2().sum())

    classes = compared(found, found).classes[: ADEQUATE + (1 if found.carried.kind == "fm" else 0)]
    what = network_objective(network, computed, Asked(people=people), executor=None)
    offsets = state(network, computed, what, launches, people=people, executor=None)
    by_hand = effect(network, computed, what, launches, launches, people=people)
    areas = {
        "map": found.classes.served_km2,
        "map, by class": sum(row.planned.area_km2 for row in classes),
        "map, by site": sum(row.planned.area_km2 for row in compared(found, found).sites),
        "offsets": offsets.classes.served_km2,
        "offsets by hand": by_hand.after.classes.served_km2,
        "change plan": area_measure(network, computed, changes_n=3).served_km2(launches),
    }
    clocks = {site.id: Clock(frequency_offset_ratio=1e-9) for site in network.sites[:1]}
    order = muting_order(network, computed, launches, clocks=clocks)
    areas |= {f"clocks, {one.site_id}": one.in_step_km2 for one in (*order.order, *order.harmful)}
    assert areas == pytest.approx(dict.fromkeys(areas, area_km2), rel=1e-9)

    crowds = {
        "map": found.classes.served_people,
        "map, by class": sum(row.planned.people or 0.0 for row in classes),
        "offsets": offsets.classes.served_people,
        "offsets by hand": by_hand.after.classes.served_people,
    }
    assert crowds == pytest.approx(dict.fromkeys(crowds, heard), rel=1e-9)


def test_a_silent_site_is_the_map_without_it() -> None:
    """What the clocks' page says of silence is the map's figure with the site, and what it feeds, off the air."""
    network, computed, _ = demo("fm_ridge.json")
    launches = delay_table(network).launches()
    clocks = {site.id: Clock(frequency_offset_ratio=1e-9) for site in network.sites}
    order = muting_order(network, computed, launches, clocks=clocks)

    for one in (*order.order, *order.harmful):
        silent = {one.site_id} | {s.id for s in network.sites if s.fed_off_air_from == one.site_id}
        sites = tuple(s.model_copy(update={"on_air": s.on_air and s.id not in silent}) for s in network.sites)
        rest = zones(network.model_copy(update={"sites": sites}), computed, launches)
        assert one.silent_km2 == pytest.approx(rest.classes.served_km2, rel=1e-9)


@pytest.mark.parametrize("name", ["fm_ridge.json", "dab_plain.json"])
def test_silence_is_weighed_by_the_maps_figures(name: str) -> None:
    """What muting wins and loses leads from the map's area to the map's area without the site and what it feeds."""
    network, computed, people = demo(name)
    launches = delay_table(network).launches()
    whole = served_summary(network, computed, launches, people=people)
    ids = {site.name: site.id for site in network.sites}
    tried = muting_tried(network, computed, launches, [site.id for site in network.sites], people=people)
    assert {one.site_name for one in tried} == set(ids)
    for one in tried:
        off = {ids[one.site_name], *fed_by(network, ids[one.site_name])}
        silent = served_summary(network, computed, launches, off=off, people=people)
        assert (one.before, one.value) == pytest.approx((whole.served_people, silent.served_people))
        assert whole.served_km2 + one.won_km2 - one.lost_km2 == pytest.approx(silent.served_km2)
