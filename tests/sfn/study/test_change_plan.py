"""The change plan: what changes, in which order, and how bad it is on the way."""

import json
from copy import deepcopy
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest

from sfn.check.review import review
from sfn.errors import Problem, Touch
from sfn.geodesy.sites import place
from sfn.pairs import wished_difference
from sfn.plan import read
from sfn.reception.equal_level import equal_level
from sfn.study.change_plan import change_plan
from sfn.timing import delay_table
from tests.sfn.study.test_muting import HALVES, STRONG, WEAK, coverage, step

EXAMPLE = Path(__file__).parents[1] / "example-network.json"


@pytest.fixture
def document():
    """The example with a fixed common delay and every field set as planned."""
    made = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    made["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    table = delay_table(network(made))
    for site in made["sites"]:
        for field, setting in zip(site["delay_fields"], table.row(site["id"]).fields, strict=True):
            field["set"] = setting.value
    return made


def network(document):
    """As the engine reads it."""
    return read(json.dumps(document))


def moved(document, **offsets):
    """The document with other offsets."""
    made = deepcopy(document)
    for site in made["sites"]:
        site["offset_us"] = offsets.get(site["id"], site["offset_us"])
    return made


def test_nothing_changes_where_all_is_set(document):
    """A plan that stands has no steps."""
    plan = change_plan(network(document))

    assert () == plan.changes
    assert plan.worst is None
    assert ("North ridge", "South ridge", "Gap") == plan.unchanged


def test_old_and_new_values_with_the_way_back(document):
    """The south moved by 20 us: its exciter goes 20 us up, and the old value is what is set now."""
    (change,) = change_plan(network(moved(document, south=7.5))).changes
    (route,) = change.routes
    codec, exciter = route.fields
    stood = document["sites"][1]["delay_fields"]

    assert "south" == change.site.id
    assert codec.value == codec.before == stood[0]["set"]
    assert exciter.before == stood[1]["set"]
    assert 20.0 == exciter.change == route.shift_us
    assert route.row.launch_us == route.planes[-1].passes_us


def test_against_an_older_revision_its_computed_settings_are_the_way_back(document):
    """What is set now says nothing then: the older revision's settings stand on the air."""
    old, new = network(document), moved(document, south=-2.5)
    new["sites"][1]["delay_fields"][1]["set"] = 4000.0
    (change,) = change_plan(network(new), old=old).changes

    assert delay_table(old).row("south").fields[1].value == change.routes[0].fields[1].before
    assert 10.0 == change.routes[0].shift_us
    assert () == change.routes[0].unknown_before


def test_a_field_the_older_revision_lacks_is_said(document):
    """Another unit is another device: the value set now is the way back, and that is named."""
    old = deepcopy(document)
    old["sites"][1]["delay_fields"][1] |= {"unit": "100ns", "step": 1, "greatest": 50000, "set": 0}
    (change,) = change_plan(network(moved(document, south=0.0)), old=network(old)).changes

    assert ("exciter delay",) == change.routes[0].unknown_before
    assert document["sites"][1]["delay_fields"][1]["set"] == change.routes[0].fields[1].before


def test_the_worst_moment_is_the_least_of_all_orders(document):
    """North and south go 400 us later: worked out by hand for every order, no order is better."""
    new = network(moved(document, north=400.0, south=380.0, gap=450.0))
    plan = change_plan(new)
    placed, table = place(new), delay_table(new)
    sites = {site.id: site for site in new.sites}

    def beyond(done):
        """Greatest difference beyond 5 us with some sites changed; the gap hangs on the north."""
        late = {c.site.id: 0.0 if c.site.id in done else -c.routes[0].shift_us for c in plan.changes}
        launch = {s: table.row(s).launch_us + late.get(s, 0.0) for s in sites}
        launch["gap"] += late.get("north", 0.0)
        found = [0.0]
        for a, b in (("north", "south"), ("north", "gap"), ("south", "gap")):
            point = equal_level(sites[a], sites[b], new, placed=placed).point
            above_m = (sites[a].ground_m + sites[b].ground_m) / 2 + 1.5
            wish = wished_difference(
                sites[a], sites[b], point, placed=placed, refractivity_n=315.0, rx_above_sea_m=above_m
            )
            found.append(abs(launch[b] - launch[a] - wish) - 5.0)
        return max(found)

    ids = [change.site.id for change in plan.changes]
    best = min(max(beyond(set(o[:n])) for n in range(1, len(o))) for o in permutations(ids))

    assert len(ids) > 1
    assert beyond(set(ids[: plan.order.worst_at])) == pytest.approx(plan.worst.excess_us)
    assert best == pytest.approx(plan.worst.excess_us)
    assert plan.order.proven


def test_a_parent_that_waits_makes_its_child_wait(document):
    """Only the north changes: the gap is fed off air, moves with it and is no step of its own."""
    new = moved(document, north=30.0, gap=90.0)
    plan = change_plan(network(new))

    assert ["north"] == [change.site.id for change in plan.changes]
    assert 30.0 == plan.changes[0].routes[0].shift_us
    assert 2 == len(plan.moments)


def test_with_levels_the_area_served_decides(document):
    """Two sites that overlap: the area is judged at every moment, and muting who disturbs wins area back."""
    new = network(moved(document, north=400.0, south=400.0, gap=60.0))
    plan = change_plan(new, coverage=coverage(HALVES))

    assert "area" == plan.measure
    assert plan.worst.served_km2 < plan.moments[-1].served_km2
    assert "South ridge" == plan.muted.site_name
    assert plan.muted.value > plan.muted.before == pytest.approx(plan.worst.served_km2)
    assert plan.muted.gain == pytest.approx(plan.muted.won_km2 - plan.muted.lost_km2)


def test_nobody_is_muted_for_a_hair(document):
    """A quarter of the width is upset, and the one site alone serves nearly as much: silence would win a hair, so none.

    Each share counted from the levels by hand: north alone 0.19, both 0.24 more, south alone the rest.
    """
    levels = {
        "north": step(STRONG, WEAK - 40, 0.43),
        "south": step(WEAK - 40, STRONG, 0.19),
        "gap": step(-60.0, -60.0, 0.5),
    }
    new = network(moved(document, north=400.0, south=400.0, gap=60.0))
    made = coverage(levels)
    plan = change_plan(new, coverage=made)

    assert plan.muted is None
    best = plan.not_muted
    assert best is not None
    assert "North ridge" == best.site_name
    # A quarter won for a fifth lost, to the columns of the grid.
    width = made.area_km2().sum()
    assert (0.24, 0.19) == (
        pytest.approx(best.won_km2 / width, abs=0.03),
        pytest.approx(best.lost_km2 / width, abs=0.03),
    )
    assert best.gain > 0


def test_people_lost_weigh_more_than_area_won(document):
    """The area says mute; a town in what would be lost says no."""
    new = network(moved(document, north=400.0, south=400.0, gap=60.0))
    levels = HALVES | {
        "south": lambda across: np.where(across < 0.05, STRONG + 40, np.where(across < 0.6, WEAK - 40, STRONG))
    }
    levels |= {"north": lambda across: np.where(across < 0.05, -60.0, np.where(across < 0.6, STRONG, STRONG - 3))}
    made = coverage(levels)
    assert change_plan(new, coverage=made).muted.site_name == "South ridge"
    across = np.tile(np.linspace(0, 1, made.grid.columns_n), made.grid.rows_n)
    plan = change_plan(new, coverage=made, people=np.where(across < 0.05, 1000.0, 1.0))

    assert plan.muted is None
    assert plan.not_muted.lost_people > plan.not_muted.won_people


def test_without_field_strengths_nobody_is_muted(document):
    """Delay alone does not say whom silence would cost."""
    plan = change_plan(network(moved(document, north=400.0, south=400.0, gap=60.0)))

    assert plan.order.worst_at
    assert (None, None) == (plan.muted, plan.not_muted)


def test_other_differences_are_remarked(document):
    """A site off the air is no change of settings, but is said."""
    new = deepcopy(document)
    new["sites"][1]["on_air"] = False

    assert ("South ridge stops transmitting",) == change_plan(network(new), old=network(document)).remarks


def test_a_withheld_step_stands_under_its_own_site_with_whose_doubt_it_is(document):
    """A doubt about the gap filler alone holds back the south, which moves with it: each under its own place."""
    new = network(moved(document, south=7.5, gap=70.0))
    doubt = Problem(
        "stages[9]", "site Gap oscillates", "more isolation", code="relay-oscillates", touches=(Touch("gap"),)
    )
    plan = change_plan(new, reviewed=review(new, problems=(doubt,)))

    told = {(p.where, p.code): (p.values["whose"], p.values["doubt_at"], p.sites[0]) for p in plan.problems}
    assert told == {
        ("sites[1]", "release-withheld"): ("gap", "stages[9]", "south"),
        ("sites[2]", "relay-oscillates"): ("gap", "stages[9]", "gap"),
    }
