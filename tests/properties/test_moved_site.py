"""A site tried elsewhere is the network saved with it there and computed from nothing: map, road, point, relays.

The expected figures are those of the document with place and ground written into it by hand; distances are Karney's,
by geographiclib.
"""

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.field.rasters import CacheFolder
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.reception.coverage import Coverage, coverage
from sfn.reception.radiated import as_radiated
from sfn.study.lever_saved import with_levers
from sfn.study.lever_try import Lever, hung_as
from sfn.study.place_changed import place_changed
from sfn.study.point import judged, tried_signals
from sfn.study.road_plan import line, on_line
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.study.zones import zones
from sfn.survey.track import track_of
from sfn.terrain.ground import Ground, ground_at, open_ground
from sfn.timing import delay_table

DEMOS = Path(__file__).parents[2] / "demo_sites"
GRID = grid_for((36.20, -84.38, 36.40, -84.12), pixel_m=1000.0)
TRACK = track_of([(36.22, -84.34), (36.30, -84.25), (36.38, -84.16)], source="by hand")
AT = {"lat_deg": 36.31, "lon_deg": -84.24}
LIGHT_M_US, AIR = 299.792458, 1.000315


def document(**changes: dict[str, Any]) -> dict[str, Any]:
    """The ridge demo with other figures at some sites; one of them is fed off air, one has an antenna turned."""
    tree: dict[str, Any] = json.loads((DEMOS / "fm_ridge.json").read_text(encoding="utf-8"))
    for site in tree["sites"]:
        if site["id"] == "west":
            site["antenna"] = {
                "azimuth_deg": 70, "azimuth_from": "magnetic north", "azimuth_date": "2026-05-01",
                "horizontal": [[0, 0], [90, 9], [180, 20], [270, 9]],
            }  # fmt: skip
        if site["id"] == "gap":
            site["fed_off_air_from"] = "north"
        site.update(changes.get(site["id"], {}))
    return tree


def network(**changes: dict[str, Any]) -> Network:
    """The same, read."""
    return read(json.dumps(document(**changes)))


PLAN = network()
GROUND = open_ground(PLAN, folder=DEMOS, anywhere=True)
NAMES = [site.id for site in PLAN.sites]


def covered(of: Network, ground: Ground = GROUND) -> Coverage:
    """Levels of a network, computed from nothing."""
    with ThreadPoolExecutor(2) as executor:
        return coverage(of, GRID, placed=place(of), ground=ground, executor=executor)


def as_tried(levers: dict[str, Lever], plan: Network = PLAN, ground: Ground | None = GROUND) -> Tried:
    """A network with levers tried."""
    return tried(plan, WhatIf(levers=levers), placed=place(plan), ground=ground)


moves = st.fixed_dictionaries(
    {"lat": st.floats(36.21, 36.39).map(lambda v: round(v, 5)), "lon": st.floats(-84.37, -84.13).map(lambda v: round(v, 5))}
)  # fmt: skip


@settings(max_examples=12, deadline=None)
@given(site=st.sampled_from(NAMES), to=moves, high=st.sampled_from([None, 25.0]), power=st.sampled_from([None, -4.0]))
def test_a_try_is_the_document_with_the_place_in_it(
    site: str, to: dict[str, float], high: float | None, power: float | None
) -> None:
    """Point, road and delay table: levels, travel times, launches and settings of all sites, relays too."""
    text = f"{to['lat']}, {to['lon']}"
    ground_m = ground_at(GROUND, to["lat"], to["lon"])
    assert ground_m is not None
    was = next(one for one in document()["sites"] if one["id"] == site)
    ratio = 1.0 if power is None else 10 ** (power / 10)
    then = network(
        **{site: {
            "position": {"text": text}, "ground_m": ground_m, "antenna_m": was["antenna_m"] if high is None else high,
            "erp_kw": {plane: kw * ratio for plane, kw in was["erp_kw"].items()},
        }}
    )  # fmt: skip
    tries = WhatIf(levers={site: Lever(position=text, antenna_m=high, power_db=power)})

    found, now = tried_signals(PLAN, tries, **AT, ground=GROUND)
    anew, plain = tried_signals(then, WhatIf(), **AT, ground=GROUND)
    assert [s.site for s in found.signals] == [s.site for s in anew.signals]
    for one, other in zip(found.signals, anew.signals, strict=True):
        assert one.level_dbuvm == pytest.approx(other.level_dbuvm, abs=1e-6)
        assert one.arrival_us == pytest.approx(other.arrival_us, abs=1e-9)
        assert one.bearing_deg == pytest.approx(other.bearing_deg, abs=1e-9)
    assert now.launches == plain.launches
    assert [(r.site_id, r.route, r.set_us, r.fields) for r in now.table.rows] == [
        (r.site_id, r.route, r.set_us, r.fields) for r in plain.table.rows
    ]
    moved = next(s for s in found.signals if s.site == site) if site in {s.site for s in found.signals} else None
    if moved is not None:
        apart_m = Geodesic.WGS84.Inverse(to["lat"], to["lon"], AT["lat_deg"], AT["lon_deg"])["s12"]
        assert moved.travel_us >= apart_m * AIR / LIGHT_M_US - 1e-6
        # The straight way between two heights, over a ground that is flat for the kilometres where heights count.
        here_m = ground_at(GROUND, AT["lat_deg"], AT["lon_deg"])
        assert here_m is not None
        above_m = ground_m + (was["antenna_m"] if high is None else high) - here_m
        along_m = float(np.hypot(apart_m, above_m))
        assert moved.travel_us == pytest.approx(along_m * AIR / LIGHT_M_US, abs=0.02 + apart_m * 1e-5)

    along = line(PLAN, TRACK, spacing_m=1500.0, ground=GROUND, folder=DEMOS)
    tried_road = on_line(PLAN, along, tries).found
    saved_road = on_line(then, line(then, TRACK, spacing_m=1500.0, ground=GROUND, folder=DEMOS), WhatIf()).found
    assert tried_road.level_dbuvm == pytest.approx(saved_road.level_dbuvm, abs=1e-3, nan_ok=True)
    assert np.array_equal(tried_road.quality.quality_class, saved_road.quality.quality_class)


def test_the_map_computes_that_site_alone_and_is_the_map_of_the_saved_network(tmp_path: Path) -> None:
    """One raster more is kept; levels, travel times, classes and km2 by class are those of the document."""
    kept, lever = CacheFolder(tmp_path, 10**9), Lever(position="36.3402, -84.2107", power_db=-2.0)
    now = as_tried({"gap": lever})
    counts, made = [], []
    with ThreadPoolExecutor(2) as executor:
        for of in (PLAN, hung_as(PLAN, now.network)):
            made.append(coverage(of, GRID, placed=place(of), ground=GROUND, executor=executor, cache=kept))
            counts.append(len(list(tmp_path.glob("*.raster"))))
    then = read(json.dumps(with_levers(document(), PLAN, {"gap": Lever(
        position="36.3402, -84.2107", ground_m=ground_at(GROUND, 36.3402, -84.2107), power_db=-2.0
    )})))  # fmt: skip
    anew = covered(then)
    found = as_radiated(now.network, made[1])
    by_try, by_save = zones(now.network, found, now.launches), zones(then, anew, as_tried({}, then).launches)

    assert counts == [4, 5]
    assert np.nanmax(np.abs(found.level_dbuvm - anew.level_dbuvm)) < 0.001
    assert np.array_equal(found.travel_us, anew.travel_us)
    assert np.nanmax(np.abs(found.level_dbuvm - made[0].level_dbuvm)) > 3.0
    assert np.mean(by_try.quality.quality_class != by_save.quality.quality_class) < 0.001
    assert next(site for site in then.sites if site.id == "gap").ground_m == round(
        float(ground_at(GROUND, 36.3402, -84.2107) or np.nan), 1
    )


def test_levels_of_the_old_place_are_refused_for_the_new_one() -> None:
    """A map of the plan never stands for a site that is elsewhere, however like the rest of it is."""
    computed = covered(PLAN)
    now = as_tried({"gap": Lever(position="36.3402, -84.2107", ground_m=500.0)})
    with pytest.raises(PlanError, match="otherwise than when these levels were computed"):
        as_radiated(now.network, computed)


def test_over_a_smooth_earth_every_level_follows_the_lowest_site() -> None:
    """There the plain lies at the lowest site: where that one is moved, all levels are worked out anew."""
    plan = PLAN.model_copy(update={"terrain": None, "cover": None, "zones": None})
    lowest = min(plan.sites, key=lambda site: site.ground_m)
    tries = WhatIf(levers={lowest.id: Lever(position="36.3402, -84.2107", ground_m=lowest.ground_m - 150.0)})
    along = line(plan, TRACK, spacing_m=2000.0, ground=Ground(), folder=DEMOS)
    found = on_line(plan, along, tries).found
    sites = tuple(
        site.model_copy(
            update={"position": site.position.model_copy(update={"text": "36.3402, -84.2107"}), "ground_m": site.ground_m - 150.0}
        )
        if site.id == lowest.id
        else site
        for site in plan.sites
    )  # fmt: skip
    then = plan.model_copy(update={"sites": sites})
    anew = on_line(then, line(then, TRACK, spacing_m=2000.0, ground=Ground(), folder=DEMOS), WhatIf()).found
    others = [i for i, name in enumerate(NAMES) if name != lowest.id]

    assert found.level_dbuvm == pytest.approx(anew.level_dbuvm, abs=1e-6)
    assert np.abs(found.level_dbuvm - along.signals.level_dbuvm)[others].max() > 0.5
    (said,) = [one for one in found.says if "smooth earth" in one]
    assert f"at {lowest.ground_m - 150.0:.1f} m as tried instead of {lowest.ground_m:.1f} m" in said
    higher = WhatIf(levers={lowest.id: Lever(position="36.3402, -84.2107", ground_m=lowest.ground_m)})
    assert not any("smooth earth" in one for one in on_line(plan, along, higher).found.says)


def test_terms_at_a_place_say_that_the_way_is_another() -> None:
    """The changes of level and arrival are those between plan and document, and no antenna is made up for the way."""
    tries = WhatIf(levers={"gap": Lever(position="36.3402, -84.2107")})
    found, now = tried_signals(PLAN, tries, **AT, ground=GROUND)
    plan, _ = tried_signals(PLAN, WhatIf(), **AT, ground=GROUND)
    changed = place_changed(PLAN, tries, judged(now.network, found, now.table), now, ground=GROUND)
    gap = next(one for one in changed.signals if one.site == "gap")
    was, is_now = (next(s for s in one.signals if s.site == "gap") for one in (plan, found))

    assert gap.other_path
    assert gap.travel_us == pytest.approx(is_now.travel_us - was.travel_us, abs=1e-9)
    assert gap.level_db == pytest.approx(is_now.level_dbuvm - was.level_dbuvm, abs=1e-9)


@pytest.mark.parametrize(
    ("lever", "ground", "code", "where"),
    [
        (Lever(position="somewhere"), GROUND, None, "position-gap"),
        (Lever(position="10, 10"), GROUND, "moved-too-far", "position-gap"),
        (Lever(position="36.3402, -84.2107"), None, "ground-height-missing", "ground-height-gap"),
        (Lever(position="38.0, -84.2"), GROUND, "ground-height-missing", "ground-height-gap"),
        (Lever(position="36.3402, -84.2107", ground_m=9500.0), GROUND, "out-of-range", "ground-height-gap"),
        (Lever(ground_m=300.0), GROUND, "option-idle", "ground-height-gap"),
    ],
)
def test_what_cannot_be_tried_is_said_at_its_field(
    lever: Lever, ground: Ground | None, code: str | None, where: str
) -> None:
    """Never a height of nought, never the old ground in silence."""
    with pytest.raises(PlanError) as refused:
        as_tried({"gap": lever}, ground=ground)
    (problem,) = refused.value.problems
    assert problem.where == where
    assert problem.expected
    assert [touch.site for touch in problem.touches] == ["gap"]
    assert code is None or problem.code == code


def plain(**north: Any) -> Network:
    """The example network, which names no terrain: `gap` is fed off air by `north`."""
    tree = json.loads((DEMOS.parent / "tests/sfn/example-network.json").read_text(encoding="utf-8"))
    next(site for site in tree["sites"] if site["id"] == "north").update(north)
    return read(json.dumps(tree))


def errors(of: Network) -> set[tuple[str, str]]:
    """Codes and places of what devices of a network cannot make."""
    return {(one.code, one.where) for one in delay_table(of, placed=place(of)).problems if one.severity == "error"}


@given(lat=st.floats(35.4, 37.2), lon=st.floats(-85.2, -83.2))
@settings(max_examples=25, deadline=None)
def test_a_setting_that_the_saved_network_could_not_make_is_said_of_the_try(lat: float, lon: float) -> None:
    """What the relay's device cannot make once its parent stands elsewhere: the same errors, tried and saved."""
    text, plan = f"{lat:.5f}, {lon:.5f}", plain()
    then = plain(position={"text": text}, ground_m=500.0)
    now = tried(plan, WhatIf(levers={"north": Lever(position=text, ground_m=500.0)}), placed=place(plan))
    assert {(one.code, one.where) for one in now.doubts if one.severity == "error"} == errors(then) - errors(plan)
    assert any(one.startswith("Gap receives North ridge over another way") for one in now.says)


def test_a_parent_out_of_its_relays_reach_is_warned_of() -> None:
    """26 km further on its signal comes 66 us later than the relay can make up for."""
    far = WhatIf(levers={"north": Lever(position="36.60000, -84.20000", ground_m=400.0)})
    found = [
        (one.code, [touch.site for touch in one.touches]) for one in tried(plain(), far, placed=place(plain())).doubts
    ]
    assert ("setting-unreachable", ["gap"]) in found


def test_a_typed_ground_as_high_as_the_planned_one_is_typed() -> None:
    """On a plain that is the usual case: it stays in the address, is used, and nobody calls it the terrain's."""
    plan = PLAN.model_copy(update={"terrain": None, "cover": None, "zones": None})
    site = next(one for one in plan.sites if one.id == "summit")
    typed = WhatIf(levers={"summit": Lever(position="36.30000, -84.30000", ground_m=site.ground_m)})
    assert typed.against(plan).levers["summit"].ground_m == site.ground_m
    said = " ".join(tried(plan, typed.against(plan), placed=place(plan)).says)
    assert "as typed" in said
    assert "by the terrain" not in said


def test_a_place_that_is_the_plans_is_no_try() -> None:
    """An address that repeats the plan says nothing and computes nothing."""
    plan = next(site for site in PLAN.sites if site.id == "north")
    now = as_tried({"north": Lever(position=plan.position.typed)})
    assert now.says == ()
    assert hung_as(PLAN, now.network) is PLAN


def test_the_words_name_distance_ground_and_what_feeds_it() -> None:
    """By hand: 0.0502 degrees of latitude at 36.3 N are 5.57 km (geographiclib); the ground is the terrain's."""
    here = place(PLAN)["summit"]
    lat = round(here.lat_deg + 0.0502, 5)
    km = Geodesic.WGS84.Inverse(here.lat_deg, here.lon_deg, lat, here.lon_deg)["s12"] / 1000
    now = as_tried({"summit": Lever(position=f"{lat}, {here.lon_deg:.6f}")})
    said = " ".join(now.says)
    assert f"{km:.2f} km towards 0°" in said.replace("\u202f", " ") or f"{km:.2f} km towards 360°" in said
    assert "by the terrain" in said
    assert "links that nobody has planned" in said
    assert "local codes" in said
