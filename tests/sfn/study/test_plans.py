"""Plans of change over a small network: beside every plan there is, as documents computed from nothing."""

import copy
import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import product
from typing import Any

import numpy as np
import pytest

from sfn.answer.plans_document import plans_document
from sfn.errors import PlanError
from sfn.field.contours import Area
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.plan.may_change import ChangeCosts, SiteChanges
from sfn.reception.classes import is_served
from sfn.reception.coverage import Coverage, coverage
from sfn.reception.quality import service_quality, yardstick
from sfn.study.optimised import Asked
from sfn.study.plan_saved import with_plan
from sfn.study.plan_scene import Licence
from sfn.study.plans import plans
from sfn.study.plans_found import AskedPlans, Plans
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from tests.sfn.networks import EXAMPLE_PATH

BOX = [[a, (0.0 if abs((a + 180) % 360 - 180) <= 60 else 14.0)] for a in range(0, 360, 30)]
TILTED = [[-90, 20], [-3, 8], [0, 0], [3, 8], [90, 20]]
LINES = [
    {"sites": ["north"], "power_db": {"least": -6, "greatest": 6, "step": 6}},
    {"sites": ["south"], "azimuth_deg": {"least": 0, "greatest": 180, "step": 90}, "patterns": ["south", "-"]},
]


def small(*, more: dict[str, Any] | None = None) -> dict[str, Any]:
    """The example with its relay off the air, an antenna at one site, and bounds."""
    tree: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    tree["sites"][1]["antenna"] = {"horizontal": BOX, "vertical": TILTED}
    tree["sites"][2]["on_air"] = False
    tree["may_change"] = {"lines": LINES, "costs": {"visit": 1, "rigging_day": 4, "licence_change": 2, "unit": "days"}}
    return tree | (more or {})


def over(network: Network, *, grid: Grid | None = None) -> Coverage:
    """Levels from nothing, coarse."""
    placed = place(network)
    lats, lons = [at.lat_deg for at in placed.values()], [at.lon_deg for at in placed.values()]
    wide = grid or grid_for((min(lats) - 0.2, min(lons) - 0.2, max(lats) + 0.2, max(lons) + 0.2), pixel_m=2500.0)
    with ThreadPoolExecutor(2) as executor:
        return coverage(network, wide, placed=placed, ground=Ground(), executor=executor)


def served_km2(network: Network, *, grid: Grid) -> float:
    """What a network as its document has it serves: levels, delays and classes from nothing, no line of the search."""
    levels = over(network, grid=grid)
    launches = delay_table(network).launches()
    on_air = [i for i, site in enumerate(network.sites) if site.on_air]
    found = service_quality(
        levels.level_dbuvm[on_air],
        levels.travel_us[on_air] + np.array([launches[network.sites[i].id] for i in on_air])[:, None],
        yardstick(network), frequency_mhz=network.frequency_mhz, level_1pct_dbuvm=levels.level_1pct_dbuvm[on_air],
        sites=[network.sites[i].id for i in on_air],
    )  # fmt: skip
    return float(levels.area_km2()[is_served(found.quality_class)].sum())


def search(tree: dict[str, Any], levels: Coverage, *, vary: str, budget_s: float = 300.0, **asked: Any) -> Plans:
    """Plans by area."""
    network = read(json.dumps(tree))
    held = frozenset(asked.pop("held", ()))
    counted = Asked(by_area=True, held=held, seed=3, budget_s=budget_s)
    with ThreadPoolExecutor(2) as executor:
        return plans(
            network, levels, AskedPlans(counted, frozenset(vary.split(",")), **asked), placed=place(network),
            executor=executor,
        )  # fmt: skip


@pytest.fixture(scope="module")
def levels() -> Coverage:
    """Of the small network as planned."""
    return over(read(json.dumps(small())))


def every_document() -> Iterator[tuple[float, dict[str, Any]]]:
    """Each plan of power, direction, pattern and silence there is, written into the document by hand, and its cost."""
    for power_db, azimuth, bare, silent in product((0.0, -6.0, 6.0), (0, 90, 180), (False, True), (False, True)):
        if silent and (azimuth or bare):
            continue
        tree, cost = small(), 0.0
        north, south = tree["sites"][0], tree["sites"][1]
        if power_db:
            north["erp_kw"] = {plane: kw * 10 ** (power_db / 10) for plane, kw in north["erp_kw"].items()}
            cost += 1 + 2
        if azimuth or bare:
            south["antenna"]["azimuth_deg"] = azimuth
            cost += 4 + 2
        if bare:
            for table in ("horizontal", "vertical"):
                del south["antenna"][table]
        if silent:
            south["on_air"] = False
            cost += 1 + 2
        yield cost, tree


def test_the_front_is_that_of_every_document(levels: Coverage) -> None:
    """Each plan's figure is that of its document computed from nothing, and no document serves more for its cost."""
    lines = [LINES[0], {**LINES[1], "on_air": True}]
    tree = small(more={"may_change": {**small()["may_change"], "lines": lines}})
    found = search(tree, levels, vary="power,azimuth,pattern,on-off")
    now = served_km2(read(json.dumps(small())), grid=levels.grid)
    best: dict[float, float] = {0.0: now}
    for cost, made in every_document():
        best[cost] = max(best.get(cost, 0.0), served_km2(read(json.dumps(made)), grid=levels.grid))
    expected: list[tuple[float, float]] = []
    for cost in sorted(best):
        if best[cost] > (expected[-1][1] if expected else now) + 1e-6:
            expected.append((cost, best[cost]))

    assert len(expected) >= 2
    answer = plans_document(found)
    assert answer["served_now"] == pytest.approx(now, rel=1e-6)
    assert [(one["cost"], one["served"]) for one in answer["plans"]] == [
        (cost, pytest.approx(served, rel=1e-6)) for cost, served in expected
    ]


def test_a_plan_taken_up_serves_what_it_says(levels: Coverage) -> None:
    """Saved into the document, read and computed from nothing; offsets go through the devices' steps."""
    tree = small()
    found = search(tree, levels, vary="offset,power,azimuth,pattern", budget_s=20.0)
    answer = plans_document(found)

    assert len(answer["plans"]) >= 2
    for plan in answer["plans"]:
        kept = copy.deepcopy(tree)
        saved = with_plan(tree, found.network, plan)
        assert tree == kept
        assert served_km2(read(json.dumps(saved)), grid=levels.grid) == pytest.approx(plan["served"], rel=1e-6)
        assert plan["gain"] == pytest.approx(plan["gained"] - plan["lost"], abs=1e-6)
        assert plan["gain"] == pytest.approx(plan["served"] - answer["served_now"], abs=1e-6)
        assert plan["cost"] == pytest.approx(sum(one["cost"] for one in plan["changes"]))


def test_a_licence_holds_in_every_plan(levels: Coverage) -> None:
    """No site reaches out of its contour where it does not as planned; what it does already is told."""
    line = {"sites": ["north"], "power_db": {"least": 0, "greatest": 9, "step": 3}}
    tree = small(more={"may_change": {"lines": [line]}})
    free = search(tree, levels, vary="power", budget_s=30.0)
    assert {one.fields["power_db"] for plan in free.plans for one in plan.changes} - {3.0}
    # the contour of 3 dB more at 70 dB(uV/m), as a box of all its pixels
    north = levels.level_dbuvm[0].reshape(levels.grid.shape)
    rows, columns = np.nonzero(north + 3.0 >= 70.0)
    half = abs(float(levels.grid.lat_deg[1] - levels.grid.lat_deg[0])) / 2
    wide = abs(float(levels.grid.lon_deg[1] - levels.grid.lon_deg[0])) / 2
    lat, lon = levels.grid.lat_deg[rows], levels.grid.lon_deg[columns]
    s, n, w, e = lat.min() - half, lat.max() + half, lon.min() - wide, lon.max() + wide
    box = Area(np.array([(w, s), (e, s), (e, n), (w, n), (w, s)]))
    bound = search(tree, levels, vary="power", budget_s=30.0, licences=(Licence("box", 70.0, (box,)),))
    raised = {one.fields["power_db"] for plan in bound.plans for one in plan.changes}

    outside = ~((levels.grid.lat_deg[:, None] > s) & (levels.grid.lat_deg[:, None] < n)
                & (levels.grid.lon_deg[None] > w) & (levels.grid.lon_deg[None] < e))  # fmt: skip
    for value in (3.0, 6.0, 9.0):
        over_it = bool((outside & (north + value >= 70.0)).any())
        assert (value in raised) <= (not over_it)
    assert raised == {3.0}
    at = place(free.network)["north"]
    dot = Area(np.array([(at.lon_deg + x, at.lat_deg + y) for x, y in ((-0.01, 0), (0.01, 0), (0, 0.01), (-0.01, 0))]))
    tight = search(tree, levels, vary="power", budget_s=30.0, licences=(Licence("dot", 70.0, (dot,)),))
    assert tight.overstepped[0].site == "north"
    assert tight.plans == ()


def test_what_cannot_be_varied_is_named_with_why(levels: Coverage) -> None:
    """Each site and lever that was asked for and has nothing to try."""
    found = search(
        small(), levels, vary="offset,power,azimuth,tilt,pattern,on-off", budget_s=30.0, held=("north",),
        general=SiteChanges(on_air=True),
    )  # fmt: skip
    left = {(one.site, one.what): one.code for one in found.not_varied}

    assert left["north", "power"] == "site-held"
    assert left["north", "offset"] == "offset-held"
    assert left["south", "power"] == "no-bounds"
    assert left["south", "tilt"] == "no-bounds"
    assert left["gap", "azimuth"] == "no-horizontal-pattern"
    assert ("south", "azimuth") not in left
    assert all(one.why for one in found.not_varied)


def test_nothing_to_vary_is_refused(levels: Coverage) -> None:
    """With every reason."""
    with pytest.raises(PlanError, match=r"nothing may be varied: .*no bounds are given"):
        search(small(more={"may_change": None}), levels, vary="power,azimuth")


def test_doubts_travel(levels: Coverage) -> None:
    """Assumed costs, predicted medians, and a gain within the sampling of places are said."""
    tree = small(more={"may_change": {"lines": LINES}})
    found = search(tree, levels, vary="power,azimuth,pattern", budget_s=30.0)
    answer = plans_document(found)

    assert answer["costs"]["assumed"] is True
    assert any("predicted medians" in said for said in answer["doubts"])
    assert "licence" in answer["caution"]
    assert "rigging" in answer["caution"]
    area = levels.area_km2()
    for plan, shown in zip(found.plans, answer["plans"], strict=True):
        changed = found.before.served != plan.after.served
        assert shown["sampling"] == pytest.approx(2 * np.sqrt((area[changed] ** 2).sum()))
        assert shown["within_sampling"] == (plan.gain <= shown["sampling"])
        assert any("sampling of places leaves open" in said for said in shown["says"]) == shown["within_sampling"]
    dear = search(tree, levels, vary="power", budget_s=30.0, costs=ChangeCosts(visit=10, licence_change=0.5))
    assert plans_document(dear)["costs"]["assumed"] is False
    assert {one.cost for one in dear.plans} <= {10.5}


def test_a_stopped_search_answers_with_the_best_so_far(levels: Coverage) -> None:
    """Which may be what is planned, and says that it was stopped."""
    looks = iter(range(10**9))
    with ThreadPoolExecutor(2) as executor:
        network = read(json.dumps(small()))
        asked = AskedPlans(Asked(by_area=True, budget_s=60.0), frozenset({"power", "azimuth"}))
        found = plans(
            network, levels, asked, placed=place(network), executor=executor, cancelled=lambda: next(looks) > 8
        )

    assert found.found.ended == "cancelled"
    assert found.found.seconds_s < 30.0
    assert any("it was stopped before the search settled" in said for said in found.doubts)
