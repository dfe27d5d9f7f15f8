"""Plans in drawn worlds: one world by a script of its own, tolerances by hand, shares of the variance by theory."""

import copy
import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.reception.classes import is_served
from sfn.reception.coverage import Coverage
from sfn.reception.level_doubt import LevelDoubt
from sfn.reception.quality import service_quality, yardstick
from sfn.study.how_sure import AskedSure, HowSure, sure_of
from sfn.study.optimise import network_objective
from sfn.study.optimised import Asked
from sfn.study.sure_figures import how_sure, shares
from sfn.study.worlds import Worlds
from sfn.timing import delay_table
from sfn.timing.launch_draws import drawn_part, launch_doubts
from tests.sfn.study.test_plans import over, small


def tree(**more: Any) -> dict[str, Any]:
    """The small network with all its sites on the air."""
    made = small(more=more)
    made["sites"][2]["on_air"] = True
    return made


@pytest.fixture(scope="module")
def network() -> Network:
    """As it is today."""
    return read(json.dumps(tree()))


@pytest.fixture(scope="module")
def levels(network: Network) -> Coverage:
    """Over a smooth earth, coarse."""
    return over(network)


def counted(network: Network, levels: Coverage) -> Any:
    """Area."""
    return network_objective(network, levels, Asked(by_area=True), executor=None)


def test_one_world_by_a_script_of_its_own(network: Network, levels: Coverage) -> None:
    """Errors added to the map's levels, launches moved by hand stage by stage, everything classed anew from the document.

    Only the rule of the map's classes is the program's.
    """
    plan = tree()
    plan["sites"][0]["erp_kw"] = {plane: 0.5 * kw for plane, kw in plan["sites"][0]["erp_kw"].items()}
    plan["sites"][1]["offset_us"] = 4.0
    planned = read(json.dumps(plan))
    worlds = Worlds(network, levels, counted(network, levels), LevelDoubt(9.0), seed=5)
    ready = worlds.planned(planned, placed=place(network))
    world = worlds.world(17, [ready])
    served = worlds.served(ready, world)

    anew = over(planned, grid=levels.grid)  # levels of the plan from nothing
    stages = {stage["id"]: stage for stage in plan["stages"]}
    keys = {doubt.key: drawn_part(doubt, seed=5, draw=17) for doubt in ready.doubts}
    off_us = []
    for site in plan["sites"]:
        passed = list(site["chains"][0]["stages"])
        if site.get("fed_off_air_from"):  # it moves with its parent
            parent = next(one for one in plan["sites"] if one["id"] == site["fed_off_air_from"])
            passed = [*parent["chains"][0]["stages"], *passed]
        total = 0.0
        for name in passed:
            stage = stages[name]
            own = ("stage", name)
            model = ("model", stage.get("model"), stage.get("firmware") or "")
            key = model if stage.get("tolerance_kind") == "model" and stage.get("model") else own
            total += keys.get(key, 0.0) * (stage.get("tolerance_us") or 0.0)
        off_us.append(total)
    launches = delay_table(planned).launches()
    at = np.flatnonzero(levels.covered)
    arrival = anew.travel_us[:, at] + np.array([launches[s.id] for s in planned.sites])[:, None]
    common = np.array(off_us) - np.array(off_us)[0]  # what all share moves nothing
    ours = launch_shift(ready, keys)
    assert np.allclose(ours - ours[0], common, atol=1e-9)
    quality = service_quality(
        anew.level_dbuvm[:, at] + world.errors_db, arrival + np.array(off_us)[:, None], yardstick(planned),
        frequency_mhz=planned.frequency_mhz, level_1pct_dbuvm=anew.level_1pct_dbuvm[:, at] + world.errors_db,
        sites=[site.id for site in planned.sites],
    )  # fmt: skip
    own = float(levels.area_km2()[at][is_served(quality.quality_class)].sum())
    assert served == pytest.approx(own, rel=2e-3)  # levels of a plan follow the map's within 0.001 dB
    assert served != pytest.approx(worlds.served(ready, worlds.none()), rel=1e-3)


def launch_shift(ready: Any, keys: dict[tuple[str, ...], float]) -> np.ndarray:
    """What the launches are off by, as the program has it."""
    return sum((keys[one.key] * one.off_us for one in ready.doubts), np.zeros(3))


def test_tolerances_that_sites_share_are_one_error(network: Network) -> None:
    """A device behind all sites moves nothing; a model's error is one; what is assumed without a tolerance is named."""
    made = copy.deepcopy(tree())
    for stage in made["stages"]:
        stage["tolerance_us"] = 1.5
    shared = read(json.dumps(made))
    doubts, untold = launch_doubts(shared, [site.id for site in shared.sites])
    assert not untold
    rows = {one.key: one.off_us for one in doubts}
    north = set(made["sites"][0]["chains"][0]["stages"])
    gap = set(made["sites"][2]["chains"][0]["stages"])
    for name in north:  # the relay hears north, so it moves with it
        if ("stage", name) in rows:
            assert rows["stage", name][0] == rows["stage", name][2]
    for name in gap:
        assert rows["stage", name].tolist()[:2] == [0.0, 0.0]
    for stage in made["stages"]:
        stage |= {"model": "one for all", "firmware": "1", "tolerance_kind": "model"}
    same = read(json.dumps(made))
    (one,), _ = launch_doubts(same, [site.id for site in same.sites])
    counts = [len(site["chains"][0]["stages"]) for site in made["sites"]]
    assert one.off_us.tolist() == pytest.approx([1.5 * counts[0], 1.5 * counts[1], 1.5 * (counts[0] + counts[2])])
    for stage in made["stages"][:1]:
        stage |= {"source": "assumed"}
        del stage["tolerance_us"]
    _, untold = launch_doubts(read(json.dumps(made)), [site["id"] for site in made["sites"]])
    assert untold == (made["stages"][0]["id"],)
    draws = np.array([drawn_part(one, seed=3, draw=n) for n in range(4000)])
    assert draws.var() == pytest.approx(1 / 3, rel=0.05)  # rectangular: a^2 / 3
    assert abs(draws).max() <= 1.0
    assert draws.mean() == pytest.approx(0.0, abs=0.03)


def test_shares_of_the_variance_of_a_known_function() -> None:
    """Y = 3 X1 + 2 X2 + X1 X3 of standard normals: 9, 4, 0 of 14 alone; 10, 4, 1 of 14 in all."""
    rng = np.random.default_rng(1)
    a, b = rng.standard_normal((2, 3, 60_000))

    def made(x: np.ndarray) -> np.ndarray:
        return 3 * x[0] + 2 * x[1] + x[0] * x[2] + 100.0

    for k, (alone, in_all) in enumerate(((9, 10), (4, 4), (0, 1))):
        mixed = a.copy()
        mixed[k] = b[k]
        found = shares(made(a), made(b), made(mixed))
        assert found[0] == pytest.approx(alone / 14, abs=0.02)
        assert found[1] == pytest.approx(in_all / 14, abs=0.02)
        assert 0.0 < found[2] < 0.02
    still = np.full(50, 7.0)
    assert shares(still, still, still) == (0.0, 0.0, 0.0, 0.0)


def test_percentiles_chances_and_common_worlds(network: Network, levels: Coverage) -> None:
    """The same plan twice: never better; a stronger one: better in nearly all; today's figures stand whatever is beside."""
    alone_on_air = tree()
    for site in alone_on_air["sites"][1:]:
        site["on_air"] = False
    more = copy.deepcopy(alone_on_air)
    power = more["sites"][0]["erp_kw"]
    more["sites"][0]["erp_kw"] = {plane: 4.0 * kw for plane, kw in power.items()}
    asked = AskedSure(worlds_n=40, seed=2)

    def of(*plans: dict[str, Any]) -> HowSure:
        networks = [read(json.dumps(one)) for one in plans]
        today = read(json.dumps(alone_on_air))
        what = counted(today, levels)
        return sure_of(today, levels, what, asked, networks, placed=place(network), unknowns=len(plans) == 1)

    found = of(alone_on_air, more)
    alone = of(alone_on_air)
    today, same, stronger = found.plans
    assert today.better is None
    assert same.better == 0.0
    assert np.array_equal(today.served, same.served)
    assert np.array_equal(today.served, alone.plans[0].served)
    assert stronger.better is not None
    assert stronger.better == 1.0  # one site alone, and everywhere 6 dB more of it
    ordered = np.sort(today.served)
    assert today.p5 == pytest.approx(np.interp(0.05 * 39, np.arange(40), ordered))
    assert today.p50 == pytest.approx((ordered[19] + ordered[20]) / 2)
    assert today.mean == pytest.approx(ordered.mean())
    assert today.p5 < today.p50 < today.p95
    assert today.p5_error > 0
    levels_of = [one for one in alone.plans[0].unknowns if one.kind == "levels"]
    assert {one.of[0] for one in levels_of} <= {site.id for site in network.sites}
    assert alone.plans[0].unknowns[0].kind == "levels"
    assert any("not varied" in said for said in alone.says)
    assert alone.beside.by == "quick estimate"
    assert any("longer than levels are alike" in said for said in alone.says)


def test_without_doubt_every_world_is_as_predicted(network: Network, levels: Coverage) -> None:
    """No spread, no tolerance: the figure of the map in all of them, and nothing to measure."""
    made = tree()
    for stage in made["stages"]:
        stage.pop("tolerance_us", None)
    still = read(json.dumps(made))
    worlds = Worlds(still, levels, counted(still, levels), LevelDoubt(0.0, whole_db=0.0), seed=1)
    (one,) = how_sure(worlds, [still], placed=place(still), worlds_n=20)
    assert set(one.served.tolist()) == {one.nominal}
    assert one.unknowns == ()


def test_what_cannot_be_drawn_is_refused(network: Network, levels: Coverage) -> None:
    """Too few worlds, no spread, other sites: each by name."""
    what = counted(network, levels)
    fewer = tree()
    fewer["sites"].pop()
    for asked, plans, words in (
        (AskedSure(worlds_n=3), (), "3 worlds"),
        (AskedSure(sigma_db=2.0, whole_db=5.0), (), "whole_db"),
        (AskedSure(), (read(json.dumps(fewer)),), "sites are not the same: gap"),
    ):
        with pytest.raises(PlanError, match=words):
            sure_of(network, levels, what, asked, plans, placed=place(network))


def test_a_prediction_that_is_not_the_middle_of_the_worlds_says_so(network: Network, levels: Coverage) -> None:
    """Within the 5 to 95 % of the worlds not a word; outside on which side, and what to judge by."""
    found = sure_of(
        network, levels, counted(network, levels), AskedSure(worlds_n=20), (), placed=place(network), unknowns=False
    )
    today = found.plans[0]
    for nominal, said in ((today.p5 - 1, "less"), (today.p95 + 1, "more"), (today.p50, None), (today.p5, None)):
        moved = replace(found, plans=(replace(today, nominal=nominal),))
        outside = [one for one in moved.says if one.startswith("as predicted")]
        assert [one.split()[2] for one in outside] == ([] if said is None else [said])
