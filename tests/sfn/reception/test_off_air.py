"""Sites fed off air: levels at the receiving antenna, the loop, and the wrong parent."""

import json
from math import acos, cos, degrees, radians, sin
from pathlib import Path
from typing import Any

import pytest

from sfn.check import all_problems_in
from sfn.plan import read
from sfn.reception.off_air import FedOffAir, fed_off_air
from sfn.study.off_air import off_air_sites

EXAMPLE = Path(__file__).parents[1] / "example-network.json"
# 40 W e.r.p. from 8 dBd are 6.34 W: 8.02 dBW out; in: field - 20 log 98.3 - 107.2 + 12.15.
WHOLE = {"receiving_gain_dbd": 10, "transmitting_gain_dbd": 8, "isolation_db": 80, "received_dbuvm": 70}


def document(off_air: dict[str, Any] | None = None, **site: Any) -> dict[str, Any]:
    """The example with figures for its fill-in, and other changes of that site."""
    made: dict[str, Any] = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    made["sites"][2] |= site
    if off_air is not None:
        made["sites"][2]["off_air"] = off_air
    return made


def gap(off_air: dict[str, Any] | None = None, **site: Any) -> FedOffAir:
    """The fill-in of the example."""
    (found,) = fed_off_air(read(json.dumps(document(off_air, **site))))
    return found


def test_the_loop_by_hand() -> None:
    """Input, gain and margin from typed figures, as one reckons them on paper."""
    erp_w = 1000 * sum(document()["sites"][2]["erp_kw"].values())
    found = gap(WHOLE, erp_kw={"h": 0.04, "v": 0})
    assert erp_w > 0
    assert found.repeater is not None
    assert found.repeater.output_dbw == pytest.approx(16.02 - 8, abs=0.01)
    assert found.repeater.input_dbw == pytest.approx(70 - 39.851 - 107.2 + 12.15, abs=0.01)
    assert found.repeater.margin_db == pytest.approx(80 - (8.02 + 64.901), abs=0.02)
    assert found.processing_us == 7.5
    assert found.received_typed


def test_levels_come_from_the_engine_where_none_is_typed() -> None:
    """The parent's field at the receiving antenna is the engine's own; more height hears more."""
    off_air = {key: value for key, value in WHOLE.items() if key != "received_dbuvm"}
    low, high = (gap(off_air | {"receiving_height_m": h}) for h in (5, 25))

    assert low.repeater is not None
    assert high.repeater is not None
    assert high.repeater.received_dbuvm == high.heard[0].level_dbuvm
    assert "north" == high.heard[0].site
    assert low.repeater.received_dbuvm < high.repeater.received_dbuvm
    assert not high.received_typed


def test_the_receiving_antenna_takes_away_from_others() -> None:
    """Pointed at the parent the south loses its front-to-back ratio; turned round, the parent does and is lost."""
    towards = gap({"front_to_back_db": 20})
    away = gap({"front_to_back_db": 20, "receiving_bearing_deg": 192})
    south = next(h for h in towards.heard if h.site == "south")

    assert towards.parent is not None
    assert away.parent is not None
    assert 20 == pytest.approx(south.discrimination_db)
    assert south.difference_db == pytest.approx(south.level_dbuvm - 20 - towards.heard[0].level_dbuvm)
    assert not towards.parent.wrong
    assert away.parent.wrong
    (problem,) = [p for p in away.problems if p.where == "sites[2].fed_off_air_from"]
    assert "site Gap: South ridge is received stronger than its parent" in problem.what
    assert "error" == problem.severity


def test_a_measured_field_decides_whether_the_right_parent_is_followed() -> None:
    """60 dB(uV/m) measured: by as much less as was predicted more, in the margin, the verdict and the differences."""
    plain, weak = gap({"front_to_back_db": 20}), gap({"front_to_back_db": 20, "received_dbuvm": 60})
    less_db = plain.heard[0].level_dbuvm - 60
    assert plain.parent is not None
    assert weak.parent is not None
    assert plain.parent.margin_db - less_db == pytest.approx(weak.parent.margin_db)
    assert weak.parent.wrong is (weak.parent.margin_db < 0)
    south = [next(h for h in one.heard if h.site == "south").difference_db for one in (plain, weak)]
    assert south[0] + less_db == pytest.approx(south[1])
    assert 0 == pytest.approx(weak.heard[0].difference_db, abs=1e-9)
    wrong = [p for p in weak.problems if p.fields == ("fed_off_air_from",)]
    assert bool(wrong) is (weak.parent.margin_db < 10)
    assert wrong


def test_following_another_moves_the_launch_by_the_difference_of_arrivals() -> None:
    """The south is 8.514 km away and launches at 122 587.99, the north 11.352 km at 122 600.45 us."""
    south = next(h for h in gap().heard if h.site == "south")
    arrival_north = 122_600.4549 + 37.8782
    arrival_south = 122_587.9866 + 28.41

    assert south.launch_error_us == pytest.approx(arrival_south - arrival_north, abs=0.05)


def test_what_is_missing_is_named_and_checked() -> None:
    """Without figures nothing is guessed; the check asks for them, and for a direction where there is a distance."""
    assert ("receiving_gain_dbd", "transmitting_gain_dbd", "isolation_db") == gap().missing
    assert gap().repeater is None
    apart = {"receiving_gain_dbd": 10, "transmitting_gain_dbd": 8, "separation_m": 30}
    assert ("separation_direction",) == gap(apart).missing
    estimated = gap(apart | {"separation_direction": "one above the other"})
    assert estimated.repeater is not None
    assert estimated.isolation_estimated
    assert 67.7 == round(estimated.repeater.isolation_db, 1)
    problems = all_problems_in(read(json.dumps(document())), folder=EXAMPLE.parent)
    assert any("receiving_gain_dbd, transmitting_gain_dbd, isolation_db is not said" in p.what for p in problems)


def test_an_oscillating_site_is_an_error_of_the_check() -> None:
    """30 dB of isolation against 73 dB of gain."""
    network = read(json.dumps(document(WHOLE | {"isolation_db": 30}, erp_kw={"h": 0.04, "v": 0})))
    (problem,) = [
        p for p in all_problems_in(network, folder=EXAMPLE.parent) if p.where == "sites[2].off_air.isolation_db"
    ]

    assert "error" == problem.severity
    assert "site Gap: gain margin is -42.9 dB: it oscillates" == problem.what


def test_antennas_closer_than_a_wavelength_are_refused_at_their_field() -> None:
    """No formula holds there, and none is used."""
    off_air = WHOLE | {"isolation_db": None, "separation_m": 1, "separation_direction": "side by side"}
    found = gap({k: v for k, v in off_air.items() if v is not None})

    assert found.repeater is None
    assert ["sites[2].off_air.separation_m"] == [p.where for p in found.problems if "separation" in p.where]


def test_figures_without_a_parent_are_called() -> None:
    """A site with a chain from the studio has no use for them."""
    made = document()
    made["sites"][0]["off_air"] = {"isolation_db": 80}
    problems = all_problems_in(read(json.dumps(made)), folder=EXAMPLE.parent)

    assert any(p.where == "sites[0].off_air" and "has a chain from the studio" in p.what for p in problems)


def test_most_power_for_each_margin() -> None:
    """10 dB, the wanted 12 and 15 dB of margin: each dB of margin is a dB of power."""
    network = read(json.dumps(document(WHOLE | {"margin_db": 12}, erp_kw={"h": 0.04, "v": 0})))
    (one,) = off_air_sites(network)
    assert one.loop is not None
    margins = [m for m, _, _ in one.loop.allowed]
    powers = [out for _, out, _ in one.loop.allowed]

    assert [10, 12, 15] == margins
    assert powers[0] - powers[2] == pytest.approx(5)
    assert one.loop.needed_isolation_db == pytest.approx(one.loop.gain_db + 12)
    assert one.loop.allowed[1][2] == pytest.approx(10 ** ((powers[1] + 8 - 30) / 10))


def test_a_silent_parent_is_said() -> None:
    """A parent off the air leaves nothing to radiate."""
    made = document(WHOLE)
    made["sites"][0]["on_air"] = False
    del made["sites"][2]["off_air"]["received_dbuvm"]
    (found,) = fed_off_air(read(json.dumps(made)))

    assert found.parent is None
    assert any("its parent North ridge is not heard: it is not transmitting" in p.what for p in found.problems)


@pytest.mark.parametrize("aim_deg", [-180, -90, -1, 0, 1, 5, 90, 100, 179, 181, 270, 355, 359, 360])
def test_off_axis_is_the_angle_between_two_directions(aim_deg: float) -> None:
    """Never over 180 degrees, whichever way round the turn is counted: from the directions as vectors."""
    found = gap({"receiving_bearing_deg": aim_deg})

    for one in found.heard:
        ends = [(sin(radians(angle)), cos(radians(angle))) for angle in (one.bearing_deg, aim_deg)]
        between = degrees(acos(max(-1.0, min(1.0, ends[0][0] * ends[1][0] + ends[0][1] * ends[1][1]))))
        assert one.off_axis_deg == pytest.approx(between, abs=1e-4)


@pytest.mark.parametrize("typed", [True, False])
def test_pointed_away_the_antenna_takes_from_the_parent_as_well(typed: bool) -> None:
    """Turned from the parent the loop needs that much more gain, so its margin is that much smaller."""
    off_air = {key: value for key, value in WHOLE.items() if typed or key != "received_dbuvm"}
    towards, away = (gap(off_air | {"front_to_back_db": 12} | turn) for turn in ({}, {"receiving_bearing_deg": 192}))

    assert towards.repeater is not None
    assert away.repeater is not None
    assert away.heard[0].discrimination_db == pytest.approx(12)
    assert away.repeater.received_dbuvm == towards.repeater.received_dbuvm
    assert towards.repeater.input_dbw - away.repeater.input_dbw == pytest.approx(12)
    assert towards.repeater.margin_db - away.repeater.margin_db == pytest.approx(12)


@pytest.mark.parametrize("metres", [1, 3000])
def test_a_relay_beside_its_parent_is_checked_without_figures(metres: int) -> None:
    """Over 140 dB(uV/m) a metre from its parent's mast: more than any figure of a repeater, and no reason to stop."""
    made = document()
    made["sites"][0]["position"] = {"text": "36.370000, -84.250000"}
    alike = {key: made["sites"][0][key] for key in ("ground_m", "antenna_m")}
    made["sites"][2] |= {"position": {"text": f"{36.37 + metres / 111_000:.6f}, -84.250000"}, **alike}
    made["sites"][2].pop("off_air", None)
    (found,) = fed_off_air(network := read(json.dumps(made)))

    assert found.heard[0].site == "north"
    assert (found.heard[0].level_dbuvm > 140) == (metres == 1)
    assert all_problems_in(network, folder=EXAMPLE.parent)
