"""What a try changes at a place: terms that add up to what the saved network has, and that are those of the equations."""

from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings, strategies as st

from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.solve.limits import limits
from sfn.study.lever_try import Lever
from sfn.study.place_changed import PlaceChanged, SignalChange, place_changed, signal_changes
from sfn.study.point import judged, point_signals, tried_signals
from sfn.study.what_if import WhatIf
from sfn.timing import delay_table
from sfn.timing.planned_state import in_state
from tests.sfn.networks import example

CARDIOID = [[0, 0], [90, 6], [180, 25], [270, 6]]
AT = (36.30, -84.15)


def _with_antennas(tree: dict[str, Any]) -> None:
    """North has a horizontal pattern, south none, gap is fed by north."""
    tree["sites"][0]["antenna"] = {"azimuth_deg": 90, "horizontal": CARDIOID}


NETWORK = example(_with_antennas)


def changed(tries: WhatIf, network: Network = NETWORK, at: tuple[float, float] = AT) -> PlaceChanged:
    """At a place over a smooth earth."""
    signals, now = tried_signals(network, tries, lat_deg=at[0], lon_deg=at[1])
    return place_changed(network, tries, judged(now.network, signals, now.table), now, ground=None)


def signals(tries: WhatIf) -> dict[str, SignalChange]:
    """The same by site without judging reception, which draws hundreds of sets."""
    before, planned = tried_signals(NETWORK, WhatIf(), lat_deg=AT[0], lon_deg=AT[1])
    after, now = tried_signals(NETWORK, tries, lat_deg=AT[0], lon_deg=AT[1])
    return {one.site: one for one in signal_changes(before, after, planned, now, tries)}


def of(found: PlaceChanged, site: str) -> SignalChange:
    """One site's change."""
    return next(one for one in found.signals if one.site == site)


def test_power_is_power_and_nothing_else() -> None:
    """3 dB more at one site are 3 dB more there; no other signal changes its own level or time."""
    found = changed(WhatIf(levers={"south": Lever(power_db=3.0)}))
    south = of(found, "south")

    assert south.level_db == pytest.approx(3.0, abs=1e-6)
    assert south.power_db == pytest.approx(3.0, abs=1e-9)
    assert south.transmitting_db == pytest.approx(0.0, abs=1e-6)
    assert (south.launch_us, south.receiving_db, south.other_path) == (0.0, 0.0, False)
    for other in found.signals:
        if other.site != "south":
            assert other.level_db == 0.0
            assert other.arrival_us == 0.0


@given(st.floats(0, 359.9))
@settings(max_examples=25)
def test_a_turned_antenna_changes_what_its_table_says(azimuth_deg: float) -> None:
    """The term is the difference of the table's attenuations at the geodesic's bearing, straight between its angles."""
    found = signals(WhatIf(levers={"north": Lever(azimuth_deg=azimuth_deg)}))
    at = place(NETWORK)["north"]
    bearing = Geodesic.WGS84.Inverse(at.lat_deg, at.lon_deg, *AT)["azi1"]
    table = np.array([*CARDIOID, [360, 0]])

    def taken_off(turned_deg: float) -> float:
        return float(np.interp((bearing - turned_deg) % 360, table[:, 0], table[:, 1]))

    expected = taken_off(90) - taken_off(azimuth_deg)
    assert found["north"].transmitting_db == pytest.approx(expected, abs=2e-3)


def test_launch_is_told_by_what_moves_it() -> None:
    """An offset is an offset, a clock a clock; a relay moves along with what feeds it, which is neither of its own."""
    found = changed(WhatIf(offsets_us={"south": 40.0}, clock_errors_us={"north": 3.0}))
    before = {s.site: s for s in point_signals(NETWORK, lat_deg=AT[0], lon_deg=AT[1]).signals}
    south, north, gap = (of(found, name) for name in ("south", "north", "gap"))
    saved_us = next(site.offset_us for site in NETWORK.sites if site.id == "south")

    assert (south.offset_us, south.clock_us) == (40.0 - saved_us, 0.0)
    assert (north.offset_us, north.clock_us) == (0.0, 3.0)
    assert (gap.offset_us, gap.clock_us) == (0.0, 0.0)
    assert gap.rest_us == pytest.approx(3.0 - (gap.common_us or 0.0), abs=1e-6)
    assert south.before == before["south"]


@given(
    st.sampled_from(["north", "south", "gap"]),
    st.floats(-6, 3),
    st.floats(0, 359),
    st.integers(-400, 400),
    st.sampled_from([None, 20.0, 61.0]),
)
@settings(max_examples=40)
def test_terms_add_up_to_what_the_saved_network_has(
    name: str, power_db: float, azimuth_deg: float, tenths_us: int, antenna_m: float | None
) -> None:
    """Before is the saved network's point; the sums lead to the point of the network with the same change saved."""
    lever = Lever(power_db=power_db, azimuth_deg=azimuth_deg if name == "north" else None, antenna_m=antenna_m)
    tries = WhatIf(offsets_us={"south": tenths_us / 10}, levers={name: lever})
    found = signals(tries)
    _, now = tried_signals(NETWORK, tries, lat_deg=AT[0], lon_deg=AT[1])
    saved = {s.site: s for s in point_signals(now.network, lat_deg=AT[0], lon_deg=AT[1]).signals}
    plan = {s.site: s for s in point_signals(NETWORK, lat_deg=AT[0], lon_deg=AT[1]).signals}

    assert set(found) == {site.id for site in NETWORK.sites}
    for one in found.values():
        terms_db = [one.power_db or 0.0, one.transmitting_db or 0.0, one.receiving_db or 0.0]
        terms_us = [one.common_us or 0.0, one.offset_us or 0.0, one.clock_us or 0.0, one.rest_us or 0.0]
        assert plan[one.site].level_dbuvm + sum(terms_db) == pytest.approx(saved[one.site].level_dbuvm, abs=1e-6)
        assert plan[one.site].launch_us + sum(terms_us) == pytest.approx(saved[one.site].launch_us, abs=1e-6)
        assert one.other_path == (antenna_m is not None and one.site == name)
        if not one.other_path:
            assert one.travel_us == pytest.approx(0.0, abs=1e-9)


def test_a_site_taken_off_is_before_alone_with_what_it_feeds() -> None:
    """Its signal and its relay's are gone, named, without terms."""
    found = changed(WhatIf(off_air=frozenset({"north"})))

    for name in ("north", "gap"):
        one = of(found, name)
        assert one.before is not None
        assert (one.now, one.level_db, one.power_db, one.rest_us) == (None, None, None, None)
    assert found.strongest_before != found.strongest_now


def test_nothing_tried_changes_nothing() -> None:
    """No signal is listed, and reception is the same."""
    found = changed(WhatIf())

    assert found.signals == ()
    assert set(found.unchanged) == {site.name for site in NETWORK.sites}
    assert found.before == found.now


@pytest.mark.parametrize("name", ["north", "south", "gap"])
def test_a_site_tried_silent_is_what_one_saved_silent_is(name: str) -> None:
    """Its relay falls silent with it either way: at a point, on a map, and in what the search may move."""

    def silenced(tree: dict[str, Any]) -> None:
        _with_antennas(tree)
        next(site for site in tree["sites"] if site["id"] == name)["on_air"] = False

    saved = example(silenced)
    tried = tried_signals(NETWORK, WhatIf(off_air=frozenset({name})), lat_deg=AT[0], lon_deg=AT[1])
    as_saved = tried_signals(saved, WhatIf(), lat_deg=AT[0], lon_deg=AT[1])
    gone = {name} | ({"gap"} if name == "north" else set())

    for found, now in (tried, as_saved):
        assert {s.site for s in found.signals} == {"north", "south", "gap"} - gone
        assert now.network.transmitting == {"north", "south", "gap"} - gone
        assert {site.id for site in now.network.sites if site.on_air} == now.network.transmitting
    levels = [{s.site: s.level_dbuvm for s in found.signals} for found, _ in (tried, as_saved)]
    assert levels[0] == levels[1]
    assert saved.transmitting == {"north", "south", "gap"} - gone
    free = limits(saved, delay_table(saved, placed=place(saved)), most_us=50.0).free
    assert [site.id for site, may in zip(saved.sites, free, strict=True) if may] == [
        site.id for site in saved.sites if site.id not in gone and not site.offset_held
    ]


def test_a_planned_state_is_held_against_today() -> None:
    """Alone it is the try; with something tried besides, that is held against the state."""

    def planned(tree: dict[str, Any]) -> None:
        _with_antennas(tree)
        changes = [{"site": "south", "power_db": 3.0}]
        tree["planned"] = [{"name": "Phase two", "date": "2030-01-01", "changes": changes}]

    network = in_state(example(planned), "Phase two")
    alone = changed(WhatIf(state="Phase two"), network)
    besides = changed(WhatIf(state="Phase two", clock_errors_us={"north": 2.0}), network)

    assert alone.against == "the plan as it is saved"
    assert of(alone, "south").power_db == pytest.approx(3.0, abs=1e-9)
    assert besides.against == "the planned state Phase two"
    assert of(besides, "north").clock_us == 2.0
    assert "south" not in {one.site for one in besides.signals if one.level_db}
