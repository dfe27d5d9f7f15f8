"""Where a new transmitter would serve most: beside documents computed from nothing, and where the answer is known."""

import copy
import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.position import locate
from sfn.geodesy.sites import place
from sfn.plan import Network, Power, read
from sfn.reception.classes import is_served
from sfn.reception.coverage import Coverage, coverage
from sfn.reception.listeners import listeners
from sfn.reception.quality import service_quality, yardstick
from sfn.study.how_sure import AskedSure
from sfn.study.lever_try import ALL_ROUND
from sfn.study.mast import Mast
from sfn.study.optimised import Asked
from sfn.study.placing import placing
from sfn.study.placing_found import AskedPlacing, Placed, Placing
from sfn.study.zones import zones
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground
from sfn.terrain.heights import HeightGrid
from sfn.timing import delay_table
from tests.sfn.networks import EXAMPLE_PATH

BOX = [[a, (0.0 if abs((a + 180) % 360 - 180) <= 60 else 14.0)] for a in range(0, 360, 30)]
PLAIN_M, RIDGE_M, RIDGE_LAT = 300.0, 650.0, 36.20


def small() -> dict[str, Any]:
    """The example with its relay off the air and a pattern at one site, over a smooth earth."""
    tree: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    tree["sites"][1]["antenna"] = {"horizontal": BOX}
    tree["sites"][2]["on_air"] = False
    return tree


def over(network: Network, grid: Grid, ground: Ground | None = None) -> Coverage:
    """Levels from nothing."""
    with ThreadPoolExecutor(2) as executor:
        return coverage(network, grid, placed=place(network), ground=ground or Ground(), executor=executor)


def around(network: Network, pixel_m: float) -> Grid:
    """A map of the sites."""
    placed = place(network)
    lats, lons = [at.lat_deg for at in placed.values()], [at.lon_deg for at in placed.values()]
    return grid_for((min(lats) - 0.15, min(lons) - 0.2, max(lats) + 0.15, max(lons) + 0.2), pixel_m=pixel_m)


def mast(name: str, lat: float, lon: float, **more: Any) -> Mast:
    """A mast at a place."""
    text = f"{lat}, {lon}"
    usual = {"ground_m": 800.0, "antenna_m": 30.0, "erp_kw": Power(h=0.2, v=0.2)}
    return Mast(name, {"text": text}, locate(text=text), **{**usual, **more})


def search(
    network: Network, levels: Coverage, masts: Sequence[Mast], *, ground: Ground | None = None, asked: Any = None,
    **counted: Any,
) -> Placing:  # fmt: skip
    """The search."""
    heard = listeners(network, levels.grid, folder=Path())
    what = Asked(people=heard.people, places=heard.places, **counted)
    with ThreadPoolExecutor(2) as executor:
        return placing(
            network, levels, masts, AskedPlacing(what, **(asked or {})), placed=place(network),
            ground=ground or Ground(), executor=executor,
        )  # fmt: skip


def saved(tree: dict[str, Any], one: Placed, common_us: float) -> dict[str, Any]:
    """The document that somebody would save with a new site, written by hand from what the answer says."""
    made = copy.deepcopy(tree)
    like = next(site for site in made["sites"] if site["id"] == one.like)
    made["stages"].append({"id": "new-way", "kind": "other", "latency_us": one.mast.feed_us, "source": "assumed"})
    antenna = None
    if one.best.pattern != ALL_ROUND:
        tables = next(site for site in made["sites"] if site["id"] == one.best.pattern)["antenna"]
        antenna = {"horizontal": tables["horizontal"], "azimuth_deg": one.best.azimuth_deg or 0.0}
    made["sites"].append({
        "id": "new", "name": "New", "position": dict(one.mast.position), "ground_m": one.mast.ground_m,
        "antenna_m": one.mast.antenna_m, "erp_kw": {"h": one.mast.erp_kw.h, "v": one.mast.erp_kw.v}, "on_air": True,
        "antenna": antenna, "offset_us": one.best.offset_us, "fed_off_air_from": None,
        "delay_fields": copy.deepcopy(like["delay_fields"]), "chains": [{"route": "main", "stages": ["new-way"]}],
    })  # fmt: skip
    made["common_delay"] = {"mode": "fixed", "value_us": common_us}
    return made


def served_km2(network: Network, grid: Grid) -> float:
    """What a document serves, from nothing, without a line of the search."""
    levels, launches = over(network, grid), delay_table(network).launches()
    on_air = [i for i, site in enumerate(network.sites) if site.on_air]
    found = service_quality(
        levels.level_dbuvm[on_air],
        levels.travel_us[on_air] + np.array([launches[network.sites[i].id] for i in on_air])[:, None],
        yardstick(network), frequency_mhz=network.frequency_mhz, level_1pct_dbuvm=levels.level_1pct_dbuvm[on_air],
        sites=[network.sites[i].id for i in on_air],
    )  # fmt: skip
    return float(levels.area_km2()[is_served(found.quality_class)].sum())


def test_the_map_of_the_saved_network_serves_the_same() -> None:
    """Over terrain, with people: levels within 0.01 dB, and the same people, as of a document computed from nothing."""
    tree = json.loads((Path("demo_sites") / "fm_ridge.json").read_text(encoding="utf-8"))
    tree["sites"][1]["antenna"] = {"horizontal": BOX}
    network = read(json.dumps(tree))
    from sfn.terrain.ground import open_ground

    ground = open_ground(network, folder=Path("demo_sites"))
    grid = grid_for((36.24, -84.33, 36.41, -84.09), pixel_m=400.0)
    levels = over(network, grid, ground)
    masts = [
        mast("Town", 36.38286, -84.11993, ground_m=330.0, feed_us=181_234.56),
        mast("Slope", 36.27619, -84.12881, ground_m=300.0, feed_us=20_000.0),
    ]
    found = search(network, levels, masts, ground=ground, asked={"azimuth_step_deg": 90.0})

    assert {one.mast.name for one in found.masts} == {"Town", "Slope"}
    for one in found.masts:
        after = read(json.dumps(saved(tree, one, found.common_us)))
        anew = over(after, grid, ground)
        heard = listeners(after, grid, folder=Path())
        shown = zones(after, anew, delay_table(after).launches(), people=heard.people)
        best = [i for i, site in enumerate(after.sites) if site.id == "new"]
        made = over(one.planned, grid, ground)
        assert np.nanmax(np.abs(made.level_dbuvm[-1] - anew.level_dbuvm[best[0]])) <= 0.01
        assert one.after.classes.people == pytest.approx(shown.classes.people, abs=1e-6)
        assert one.after.classes.area_km2 == pytest.approx(shown.classes.area_km2, rel=1e-9)
        assert one.row.set_us == delay_table(after).row("new").set_us
    assert max(one.gain for one in found.masts) > 100.0


def test_no_offset_of_the_device_serves_more() -> None:
    """Every setting within 8 us, each as a document computed from nothing: the answer is the best of them."""
    network = read(json.dumps(small()))
    grid = around(network, 1000.0)
    here = mast("Middle", 36.29, -84.33, feed_us=90_000.3, erp_kw=Power(h=2.0, v=2.0))
    asked = {"patterns": (), "like": "north"}
    found = search(network, over(network, grid), [here], by_area=True, most_us=8.0, asked=asked)
    one = found.masts[0]
    every = {}
    for offset_us in np.arange(-8.0, 8.5, 1.0):
        tree = saved(small(), one, found.common_us)
        tree["sites"][-1]["offset_us"] = offset_us
        every[float(offset_us)] = served_km2(read(json.dumps(tree)), grid)
    answered = one.after.classes.served_km2

    assert len({round(value, 6) for value in every.values()}) > 3
    assert answered == pytest.approx(max(every.values()), rel=1e-9)
    assert every[one.best.offset_us] == pytest.approx(answered, rel=1e-9)
    assert one.gain == pytest.approx(answered - served_km2(network, grid), abs=1e-6)
    assert one.gain == pytest.approx(one.gained_km2 - one.lost_km2, abs=1e-6)


def test_a_mast_lower_than_all_over_a_smooth_earth_is_judged_on_their_plain() -> None:
    """Levels of the others stay, and it is said that the plain would lie lower once it is saved."""
    network = read(json.dumps(small()))
    levels = over(network, around(network, 2000.0))
    low = mast("Low", 36.29, -84.33, ground_m=200.0)
    one = search(network, levels, [low], by_area=True, most_us=1.0, asked={"sure": AskedSure(worlds_n=20)}).masts[0]

    assert one.planned.plain_m == network.plain_m > 200.0
    assert any("stands lower than every site" in said for said in one.doubts)


def test_no_direction_of_a_pattern_serves_more() -> None:
    """Every direction and none, each as a document: the best of them is the answer."""
    network = read(json.dumps(small()))
    grid = around(network, 2000.0)
    here = mast("Middle", 36.29, -84.33, feed_us=90_000.0, erp_kw=Power(h=2.0, v=2.0))
    asked = {"azimuth_step_deg": 30.0, "like": "north"}
    one = search(network, over(network, grid), [here], by_area=True, most_us=0.0, asked=asked).masts[0]
    every = {}
    for pattern, azimuth in ((ALL_ROUND, None), *(("south", turn) for turn in np.arange(0.0, 360.0, 30.0).tolist())):
        tree = saved(small(), one, one.planned.common_delay.value_us or 0.0)
        tree["sites"][-1]["antenna"] = None if azimuth is None else {"horizontal": BOX, "azimuth_deg": azimuth}
        every[pattern, azimuth] = served_km2(read(json.dumps(tree)), grid)

    assert one.directions_n == 13
    assert one.best.pattern == "south"
    assert len({round(value, 6) for value in every.values()}) > 5
    assert every[one.best.pattern, one.best.azimuth_deg] == pytest.approx(max(every.values()), rel=1e-9)
    assert one.after.classes.served_km2 == pytest.approx(max(every.values()), rel=1e-9)


def test_with_roof_antennas_and_another_station_the_best_direction_is_the_best_document() -> None:
    """OFDM: every direction and none as a document beside the other station; the map of the best has the same people."""
    tree = json.loads((Path("demo_sites") / "dvbt2_chain.json").read_text(encoding="utf-8"))
    tree["sites"][1]["antenna"] = {"horizontal": BOX}
    tree["receiver"]["antenna"] = "roof"
    tree["other_transmitters"] = [{
        "id": "other", "name": "Other", "position": {"text": "42.10000, -4.30000"}, "ground_m": 850, "antenna_m": 60,
        "erp_kw": {"h": 2.0}, "spacing_khz": 0,
    }]  # fmt: skip
    network = read(json.dumps(tree))
    grid = grid_for((41.7, -4.5, 42.2, -3.6), pixel_m=3000.0)
    here = mast("Hill", 42.0, -4.0, erp_kw=Power(h=1.0), feed_us=950_000.0)
    asked = {"azimuth_step_deg": 90.0, "like": network.sites[0].id}
    levels = over(network, grid)
    found = search(network, levels, [here], most_us=0.0, asked=asked)
    one, every = found.masts[0], {}
    for pattern, azimuth in ((ALL_ROUND, None), *((network.sites[1].id, turn) for turn in (0.0, 90.0, 180.0, 270.0))):
        made = saved(tree, one, found.common_us)
        made["sites"][-1]["antenna"] = None if azimuth is None else {"horizontal": BOX, "azimuth_deg": azimuth}
        after = read(json.dumps(made))
        heard = listeners(after, grid, folder=Path())
        shown = zones(after, over(after, grid), delay_table(after).launches(), people=heard.people)
        every[pattern, azimuth] = shown.classes.served_people

    assert levels.others is not None
    assert len({round(value or 0.0, 3) for value in every.values()}) > 2
    assert every[one.best.pattern, one.best.azimuth_deg] == pytest.approx(max(every.values(), key=float), abs=1e-3)
    assert one.after.classes.served_people == pytest.approx(max(every.values(), key=float), abs=1e-3)


def ridge_country(*, void: tuple[int, int] = (0, 0)) -> tuple[Network, Ground, Grid]:
    """A plain, a ridge across it, a transmitter to the south, and one town close behind the ridge to the north.

    `void`: rows of the terrain, southwards from its north edge, that nobody knows.
    """
    lat = 36.45 - np.arange(600) / 1200
    height = PLAIN_M + (RIDGE_M - PLAIN_M) * np.exp(-(((lat - RIDGE_LAT) / 0.006) ** 2))
    heights = np.repeat(height[:, None], 600, axis=1).astype(np.float32)
    heights[slice(*void)] = np.nan
    ground = Ground(terrain=terrain_from_grid(HeightGrid(heights, 36.45, -84.45, 1 / 1200, 1 / 1200), name="ridge"))
    tree = small()
    del tree["sites"][1:]
    north = tree["sites"][0]
    north |= {"position": {"text": "36.05, -84.20"}, "ground_m": PLAIN_M, "erp_kw": {"h": 0.5, "v": 0.5}}
    tree["terrain"] = {"source": "ridge"}
    town = {"name": "Shadow", "lat": 36.225, "lon": -84.20, "people": 4000}
    tree["listeners"] = {"places": [town, {"name": "Sunny", "lat": 36.06, "lon": -84.20, "people": 1000}]}
    return read(json.dumps(tree)), ground, grid_for((36.03, -84.26, 36.27, -84.14), pixel_m=200.0)


def test_the_ridge_above_the_town_wins_and_a_mast_beside_a_site_gains_nothing() -> None:
    """The town lies in the shadow: a mast on the ridge serves all of it, one at the site none of it."""
    network, ground, grid = ridge_country()
    masts = [
        mast("Beside", 36.0505, -84.2005, ground_m=PLAIN_M, antenna_m=60.0),
        mast("Ridge", RIDGE_LAT, -84.20, ground_m=RIDGE_M),
    ]
    found = search(network, over(network, grid, ground), masts, ground=ground)

    assert found.before.classes.served_people == pytest.approx(1000.0)
    assert [one.mast.name for one in found.masts] == ["Ridge", "Beside"]
    ridge, beside = found.masts
    assert ridge.gain == pytest.approx(4000.0)
    assert [(one.name, one.gained_people) for one in ridge.places if one.gained_people] == [("Shadow", 4000.0)]
    assert beside.gain == 0.0
    assert beside.gained_people == 0.0
    assert any("no more than what the map's places leave open" in one for one in found.says(1))
    apart = found.apart(0)
    assert apart is not None
    assert apart[0] == pytest.approx(4000.0)


def test_who_is_not_judged_with_it_is_told_and_counts_as_neither() -> None:
    """Behind a gap of the terrain, seen from the mast, the town that is served today is not judged."""
    # Some 36.2575 to 36.2675 degrees: north of both towns, between the mast and all of them.
    network, ground, grid = ridge_country(void=(219, 231))
    levels = over(network, grid, ground)
    one = search(network, levels, [mast("North", 36.272, -84.20, ground_m=PLAIN_M)], ground=ground).masts[0]

    assert levels.covered.mean() > 0.8
    assert one.unjudged == pytest.approx(1000.0)
    assert one.gained_people == one.lost_people == 0.0
    assert one.after.classes.served_people == 0.0
    assert any("the terrain has a gap on the way from it: 1" in said for said in one.doubts)


def test_worlds_say_by_how_often_one_is_better() -> None:
    """In drawn worlds the ridge is better than the mast beside the site in nearly all; a seed gives the same again."""
    network, ground, grid = ridge_country()
    levels = over(network, grid, ground)
    masts = [mast("Beside", 36.0505, -84.2005, ground_m=PLAIN_M), mast("Ridge", RIDGE_LAT, -84.20, ground_m=RIDGE_M)]
    asked = {"sure": AskedSure(worlds_n=20, seed=4)}
    found, again = (search(network, levels, masts, ground=ground, asked=asked) for _ in range(2))

    assert found.sure is not None
    assert again.sure is not None
    assert found.better(0) == 1.0
    assert found.better(1) is None
    assert found.sure.plans[1].better == 1.0
    for one, other in zip(found.sure.plans, again.sure.plans, strict=True):
        assert one.served.tolist() == other.served.tolist()


def test_one_mast_told_twice_is_as_good_as_itself() -> None:
    """Two entries of one place serve the same, and it is said that they cannot be told apart."""
    network, ground, grid = ridge_country()
    twice = [mast(name, RIDGE_LAT, -84.20, ground_m=RIDGE_M) for name in ("Ridge", "Ridge")]
    found = search(network, over(network, grid, ground), twice, ground=ground)

    first, second = found.masts
    assert first.gain == second.gain > 0.0
    assert first.best == second.best
    assert first.site != second.site
    assert any("as good as each other" in one for one in found.says(0))


def test_what_was_looked_at_before_it_was_stopped_is_the_answer() -> None:
    """Stopped after the first: that one stands there, the other is named."""
    network, ground, grid = ridge_country()
    levels = over(network, grid, ground)
    told: list[str] = []
    heard = listeners(network, grid, folder=Path())
    masts = [mast("Ridge", RIDGE_LAT, -84.20, ground_m=RIDGE_M), mast("Beside", 36.0505, -84.2005, ground_m=PLAIN_M)]
    with ThreadPoolExecutor(2) as executor:
        found = placing(
            network, levels, masts, AskedPlacing(Asked(people=heard.people)), placed=place(network), ground=ground,
            executor=executor, progress=lambda phase, _: told.append(phase), cancelled=lambda: len(told) > 1,
        )  # fmt: skip

    assert [one.mast.name for one in found.masts] == ["Ridge"]
    assert [(one.name, one.code) for one in found.left] == [("Beside", "cancelled")]
    assert found.ended == "cancelled"
    assert any("1 of 2 places were not looked at" in one for one in found.doubts)


def test_a_feed_that_is_too_long_is_said() -> None:
    """A mast whose signal comes after the common delay cannot launch in time: it is left, and why."""
    network, ground, grid = ridge_country()
    late = mast("Late", RIDGE_LAT, -84.20, ground_m=RIDGE_M, feed_us=5_000_000.0)
    found = search(network, over(network, grid, ground), [late], ground=ground)

    assert found.masts == ()
    assert found.left[0].code == "launch-unreachable"
    assert "5e+06 us" in found.left[0].why


@pytest.mark.parametrize(
    ("masts", "asked", "code"),
    [
        ([], {}, "nothing-to-place"),
        ([mast("A", 36.2, -84.2)], {"patterns": ("north",)}, "pattern-unknown"),
        ([mast("A", 36.2, -84.2, pattern="nowhere")], {}, "pattern-unknown"),
    ],
)
def test_what_cannot_be_asked_is_refused(masts: list[Mast], asked: dict[str, Any], code: str) -> None:
    """No mast at all, and patterns that no site has."""
    network, ground, grid = ridge_country()
    with pytest.raises(PlanError) as refused:
        search(network, over(network, grid, ground), masts, ground=ground, asked=asked)

    assert [one.code for one in refused.value.problems] == [code]
