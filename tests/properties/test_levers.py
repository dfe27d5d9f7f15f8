"""A try of power, direction, pattern and tilts is the network saved with it and computed from nothing.

The expected levels are those of the document with the other figures written into it by hand, walked over the ground
again and turned by `sfn.antenna.attenuation`; the try has neither.
"""

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.field.rasters import CacheFolder
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.reception.coverage import Coverage, coverage
from sfn.reception.radiated import as_radiated, line_as_radiated, line_walked
from sfn.study.lever_try import ALL_ROUND, Lever, hung_as
from sfn.study.point import tried_signals
from sfn.study.road_plan import line, on_line
from sfn.study.what_if import WhatIf, tried
from sfn.study.zones import zones
from sfn.survey.track import track_of
from sfn.terrain.ground import Ground, open_ground

DEMOS = Path(__file__).parents[2] / "demo_sites"
# What float32 levels and angles leave of a try; a hundredth of a dB is what was asked for.
BOUND_DB = 0.001
GRID = grid_for((36.20, -84.38, 36.40, -84.12), pixel_m=800.0)
TRACK = track_of([(36.22, -84.34), (36.30, -84.25), (36.38, -84.16)], source="by hand")
AT = {"lat_deg": 36.31, "lon_deg": -84.24}
LOBE = [[a, round(12 * (1 - np.cos(np.radians(a))), 2)] for a in range(0, 360, 10)]
NULLS = [[-90, 30], [-12, 25], [-6, 18], [-3, 4], [-1, 0.2], [0, 0], [1, 0.3], [4, 8], [9, 24], [90, 30]]
SKEWED = [[-170, 9.5], [-95, 20], [-30, 3], [0, 0], [25, 1.5], [110, 14]]
SITES = ("summit", "west", "gap")


def document(**changes: dict[str, Any]) -> dict[str, Any]:
    """The ridge demo with antennas of every kind, and other figures at some sites."""
    tree: dict[str, Any] = json.loads((DEMOS / "fm_ridge.json").read_text(encoding="utf-8"))
    sites = {site["id"]: site for site in tree["sites"]}
    sites["summit"]["erp_kw"] = {"h": 3.0, "v": 1.2}
    sites["summit"]["antenna"] = {
        "azimuth_deg": 40, "azimuth_from": "magnetic north", "azimuth_date": "2026-05-01", "mechanical_tilt_deg": 1.5,
        "horizontal": LOBE, "vertical": NULLS, "vertical_plane": {"horizontal": SKEWED},
    }  # fmt: skip
    sites["west"]["antenna"] = {"azimuth_deg": 300, "electrical_tilt_deg": 2, "horizontal": SKEWED, "vertical": NULLS}
    for name, change in changes.items():
        sites[name].update(change)
    return tree


def network(**changes: dict[str, Any]) -> Network:
    """The same, read."""
    return read(json.dumps(document(**changes)))


PLAN = network()
GROUND = open_ground(PLAN, folder=DEMOS, anywhere=True)


def covered(of: Network, ground: Ground = GROUND) -> Coverage:
    """Levels of a network, computed from nothing."""
    with ThreadPoolExecutor(2) as executor:
        return coverage(of, GRID, placed=place(of), ground=ground, executor=executor)


MAP = covered(PLAN)
ROAD = line(PLAN, TRACK, spacing_m=250.0, ground=GROUND, folder=DEMOS)


def saved(levers: dict[str, Lever], of: Network = PLAN) -> Network:
    """The document with what is tried written into it by hand."""
    by_id = {site["id"]: site for site in document()["sites"]}
    changes: dict[str, dict[str, Any]] = {}
    for name, lever in levers.items():
        erp = by_id[name]["erp_kw"]
        antenna = json.loads(json.dumps(by_id[name].get("antenna", {})))
        if lever.pattern:
            for key in ("horizontal", "vertical", "vertical_plane"):
                antenna.pop(key, None)
                theirs = by_id.get(lever.pattern, {}).get("antenna", {})
                if key in theirs:
                    antenna[key] = theirs[key]
        for key in ("azimuth_deg", "electrical_tilt_deg", "mechanical_tilt_deg"):
            if (value := getattr(lever, key)) is not None:
                antenna[key] = value
        most = max(erp.get("h", 0.0), erp.get("v", 0.0))
        ratio = 10 ** ((lever.power_db or 0.0) / 10) if lever.erp_kw is None else lever.erp_kw / most
        height_m = by_id[name]["antenna_m"] if lever.antenna_m is None else lever.antenna_m
        changes[name] = {
            "antenna_m": height_m,
            "erp_kw": {plane: value * ratio for plane, value in erp.items()},
            "antenna": antenna,
        }
    made = network(**changes)
    return made if of.receiver == PLAN.receiver else made.model_copy(update={"receiver": of.receiver})


angles = st.floats(-180, 360).map(lambda v: round(v, 2))
tilts = st.floats(-8, 8).map(lambda v: round(v, 2))
powers = st.one_of(
    st.floats(-20, 15).map(lambda v: {"power_db": round(v, 2)}),
    st.floats(0.01, 50).map(lambda v: {"erp_kw": round(v, 3)}),
    st.just({}),
)


@st.composite
def levers(draw: st.DrawFn, heights: bool = False) -> dict[str, Lever]:
    """Levers at one site or more: pattern kept, another's, or none; what turns it only where there is one."""
    made = {}
    for name in draw(st.lists(st.sampled_from(SITES), min_size=1, max_size=3, unique=True)):
        pattern = draw(st.sampled_from(("summit", "west", ALL_ROUND, "")))
        turned: dict[str, Any] = {}
        if pattern in ("summit", "west") or (pattern == "" and name != "gap"):
            turned = {
                "azimuth_deg": draw(st.none() | angles),
                "electrical_tilt_deg": draw(st.none() | tilts),
                "mechanical_tilt_deg": draw(st.none() | tilts),
            }
        height = draw(st.none() | st.floats(5, 250).map(lambda v: round(v, 1))) if heights else None
        made[name] = Lever(pattern=pattern, antenna_m=height, **draw(powers), **turned)
    return made


@pytest.mark.parametrize("plane", ["stronger", "h", "v"])
@settings(max_examples=3)
@given(tries=levers())
def test_a_try_on_the_map_is_the_network_saved_with_it(plane: str, tries: dict[str, Lever]) -> None:
    """Pixel by pixel, at 50 % and 1 % of time, whichever plane receivers take."""
    receiver = PLAN.receiver.model_copy(update={"polarisation": plane})
    plan = PLAN.model_copy(update={"receiver": receiver})
    computed = MAP if plane == "stronger" else covered(plan)
    now = tried(plan, WhatIf(levers=tries), placed=place(plan))
    found, anew = as_radiated(now.network, computed), covered(saved(tries, plan))

    for ours, theirs in (
        (found.level_dbuvm, anew.level_dbuvm),
        (found.level_1pct_dbuvm, anew.level_1pct_dbuvm),
    ):
        assert np.array_equal(np.isnan(ours), np.isnan(theirs))
        assert np.nanmax(np.abs(ours - theirs)) < BOUND_DB
    assert np.array_equal(found.travel_us, anew.travel_us)


@settings(max_examples=4)
@given(tries=levers(heights=True))
def test_a_try_on_a_road_and_at_a_point_is_the_network_saved_with_it(tries: dict[str, Lever]) -> None:
    """Along the road from kept levels, at the point from its own paths; with antennas at other heights too."""
    then = saved(tries)
    made = on_line(PLAN, ROAD, WhatIf(levers=tries))
    anew = line(then, TRACK, spacing_m=250.0, ground=GROUND, folder=DEMOS)

    assert made.found.level_dbuvm == pytest.approx(
        on_line(then, anew, WhatIf()).found.level_dbuvm, abs=BOUND_DB, nan_ok=True
    )
    now = tried(PLAN, WhatIf(levers=tries), placed=place(PLAN)).network
    places = ROAD.samples.lat_deg, ROAD.samples.lon_deg
    kept = line_as_radiated(now, line_walked(now, ROAD.signals, *places, ground=GROUND))
    assert kept.travel_us == pytest.approx(anew.signals.travel_us, abs=1e-6)
    assert kept.level_1pct_dbuvm == pytest.approx(anew.signals.level_1pct_dbuvm, abs=BOUND_DB, nan_ok=True)

    here, there = (
        {signal.site: (signal.level_dbuvm, signal.level_1pct_dbuvm) for signal in tried_signals(of, what, **AT, ground=GROUND)[0].signals}
        for of, what in ((PLAN, WhatIf(levers=tries)), (then, WhatIf()))
    )  # fmt: skip
    assert here.keys() == there.keys()
    for name, pair in here.items():
        assert pair == pytest.approx(there[name], abs=BOUND_DB)


def test_a_try_that_is_taken_back_is_the_network_as_it_stood() -> None:
    """The very arrays, and the same classes as before, byte for byte."""
    placed = place(PLAN)
    plan = tried(PLAN, WhatIf(), placed=placed)
    before = zones(plan.network, MAP, plan.launches)
    levels = MAP.level_dbuvm.tobytes(), MAP.level_1pct_dbuvm.tobytes()
    other = tried(PLAN, WhatIf(levers={"summit": Lever(power_db=6.0, azimuth_deg=200.0)}), placed=placed)
    between = zones(other.network, MAP, other.launches)
    back = tried(PLAN, WhatIf(levers={"summit": Lever(power_db=0.0, azimuth_deg=40.0)}), placed=placed)
    after = zones(back.network, MAP, back.launches)

    assert back == plan
    assert after.coverage is MAP
    assert (MAP.level_dbuvm.tobytes(), MAP.level_1pct_dbuvm.tobytes()) == levels
    assert not np.array_equal(between.quality.margin_db, before.quality.margin_db)
    for ours, theirs in zip(after.layers, before.layers, strict=True):
        assert ours.values.tobytes() == theirs.values.tobytes()


def test_over_a_smooth_earth_another_height_stands_on_the_same_plain() -> None:
    """The site that is worked out alone keeps the plain of all sites, the lowest of which is another."""
    flat = PLAN.model_copy(update={"terrain": None})
    lowest = min(flat.sites, key=lambda site: site.ground_m).id
    other = next(site.id for site in flat.sites if site.id != lowest)
    along = line(flat, TRACK, spacing_m=2000.0, ground=Ground(), folder=DEMOS)
    found = on_line(flat, along, WhatIf(levers={other: Lever(antenna_m=120.0)})).found
    sites = tuple(s.model_copy(update={"antenna_m": 120.0}) if s.id == other else s for s in flat.sites)
    then = flat.model_copy(update={"sites": sites})
    anew = on_line(then, line(then, TRACK, spacing_m=2000.0, ground=Ground(), folder=DEMOS), WhatIf()).found

    assert found.level_dbuvm == pytest.approx(anew.level_dbuvm, abs=1e-6)
    assert np.abs(found.level_dbuvm - along.signals.level_dbuvm).max() > 1.0


def test_another_height_works_out_that_site_alone(tmp_path: Path) -> None:
    """One raster more is kept, the three others are those of before; levels are those of the network saved with it."""
    kept, tries = CacheFolder(tmp_path, 10**9), {"gap": Lever(antenna_m=70.0, power_db=-2.0)}
    now = tried(PLAN, WhatIf(levers=tries), placed=place(PLAN))
    counts, made = [], []
    with ThreadPoolExecutor(2) as executor:
        for of in (PLAN, hung_as(PLAN, now.network)):
            made.append(coverage(of, GRID, placed=place(of), ground=GROUND, executor=executor, cache=kept))
            counts.append(len(list(tmp_path.glob("*.raster"))))
    found, anew = as_radiated(now.network, made[1]), covered(saved(tries))
    gap = found.sites.index("gap")

    assert counts == [4, 5]
    assert hung_as(PLAN, tried(PLAN, WhatIf(), placed=place(PLAN)).network) is PLAN
    assert np.nanmax(np.abs(found.level_dbuvm - anew.level_dbuvm)) < BOUND_DB
    assert np.array_equal(found.travel_us, anew.travel_us)
    assert np.nanmean(np.abs(found.level_dbuvm[gap] - MAP.level_dbuvm[gap] + 2.0)) > 0.5


def test_a_roof_antenna_points_anew_when_another_site_becomes_the_strongest() -> None:
    """What a directional receiving antenna takes off belongs to the levels of the try, not to the plan's."""
    receiver = PLAN.receiver.model_copy(update={"antenna": "roof", "height_m": 10.0})
    plan = PLAN.model_copy(update={"receiver": receiver})
    computed, tries = covered(plan), {"gap": Lever(power_db=20.0), "summit": Lever(power_db=-20.0)}
    placed = place(plan)
    first = tried(plan, WhatIf(), placed=placed)
    zones(first.network, computed, first.launches)  # keeps the plan's antenna gains
    now = tried(plan, WhatIf(levers=tries), placed=placed)
    then = saved(tries, plan)
    found = zones(now.network, computed, now.launches)
    anew = zones(then, covered(then), now.launches)

    assert np.allclose(found.quality.margin_db, anew.quality.margin_db, rtol=0, atol=0.05, equal_nan=True)
    assert np.mean(found.quality.quality_class == anew.quality.quality_class) > 0.999


def test_levels_of_another_height_are_refused() -> None:
    """Another height is another path: nobody gets the old levels for it."""
    sites = tuple(
        site.model_copy(update={"antenna_m": site.antenna_m + 5.0}) if site.id == "gap" else site for site in PLAN.sites
    )
    with pytest.raises(PlanError, match="otherwise than when these levels were computed"):
        as_radiated(PLAN.model_copy(update={"sites": sites}), MAP)
    assert as_radiated(PLAN, MAP) is MAP
