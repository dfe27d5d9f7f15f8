"""Levers tried at a site: read as people write them, refused in words, named with their caution."""

import json
from pathlib import Path
from typing import Any

import pytest

from sfn.cli import main
from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.study.lever_says import CAUTION
from sfn.study.lever_try import ALL_ROUND, Lever, power_written
from sfn.study.lever_typed import lever_texts, levers_typed
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.units import THIN
from tests.sfn.networks import EXAMPLE_PATH, example

CARDIOID = [[0, 0], [90, 6], [180, 25], [270, 6]]
NARROW = [[-10, 20], [0, 0], [10, 20]]


def with_antennas(tree: dict[str, Any]) -> None:
    """North has a pattern in both planes, south tables alone, gap (fed by north) none."""
    north, south, _ = tree["sites"]
    north["antenna"] = {"azimuth_deg": 90, "horizontal": CARDIOID, "vertical": NARROW}
    south["antenna"] = {"horizontal": [[0, 0], [180, 3]]}
    north["erp_kw"], south["erp_kw"] = {"h": 10, "v": 4}, {"h": 0.5}


NETWORK = example(with_antennas)


def trial(network: Network = NETWORK, **levers: Lever) -> Tried:
    """The network with levers tried."""
    return tried(network, WhatIf(levers=levers), placed=place(network))


def refused(**levers: Lever) -> dict[str, str]:
    """Codes by place of what cannot be tried."""
    with pytest.raises(PlanError) as caught:
        trial(**levers)
    return {problem.where: problem.code for problem in caught.value.problems}


@pytest.mark.parametrize(
    ("text", "power_db", "erp_kw"),
    [("3dB", 3.0, None), ("−6,5 dB", -6.5, None), ("2.5 kW", None, 2.5), ("400 w", None, 0.4), ("1e3W", None, 1.0)],
)
def test_a_power_says_its_unit(text: str, power_db: float | None, erp_kw: float | None) -> None:
    """DB are a change, kW and W an e.r.p."""
    found = power_written(text)

    assert found.power_db == (None if power_db is None else pytest.approx(power_db))
    assert found.erp_kw == (None if erp_kw is None else pytest.approx(erp_kw))


@pytest.mark.parametrize("text", ["3", "dB", "three dB", "3 dBm", ""])
def test_a_power_without_a_unit_is_refused(text: str) -> None:
    """A bare 3 could be dB or kW: nobody guesses."""
    with pytest.raises(ValueError, match=r"dB|number"):
        power_written(text)


def test_what_is_written_is_read_again() -> None:
    """An address holds every figure of a lever."""
    lever = Lever(
        power_db=-3.25,
        azimuth_deg=120.5,
        pattern="south",
        electrical_tilt_deg=1.5,
        mechanical_tilt_deg=-2.0,
        antenna_m=45.0,
    )
    made, problems = levers_typed({name: {"north": text} for name, text in lever_texts(lever).items()})

    assert (made, problems) == ({"north": lever}, ())
    assert lever_texts(Lever(erp_kw=0.4)) == {"power": "0.4 kW"}


def test_the_network_radiates_as_tried_and_says_so() -> None:
    """Both planes by one factor, the antenna turned; in words with what was there, and the caution."""
    found = trial(north=Lever(power_db=3.0, azimuth_deg=200.0, electrical_tilt_deg=2.0))
    north, south, gap = found.network.sites

    assert (north.erp_kw.h, north.erp_kw.v) == pytest.approx((10 * 10**0.3, 4 * 10**0.3), rel=1e-11)
    assert north.antenna is not None
    assert (north.antenna.azimuth_deg, north.antenna.electrical_tilt_deg) == (200.0, 2.0)
    assert (south, gap) == NETWORK.sites[1:]
    assert found.launches == trial().launches
    assert found.says == (
        f"North ridge: 19.95{THIN}kW e.r.p. instead of 10{THIN}kW (+3.0{THIN}dB), azimuth 200.0° instead of 90.0°, "
        "electrical tilt 2.0° instead of 0.0°",
        "Gap receives North ridge off air: whether it still hears it well enough is not worked out with this try (page "
        "Off-air relays, command repeaters); its own e.r.p. is taken as planned",
        CAUTION,
    )


def test_another_pattern_brings_its_tables_and_not_its_direction() -> None:
    """South with north's tables keeps its own azimuth; none at all is alike all round."""
    south = trial(south=Lever(pattern="north")).network.sites[1].antenna

    assert south is not None
    assert (south.azimuth_deg, len(south.horizontal or ()), len(south.vertical or ())) == (0.0, 4, 3)
    bare = trial(south=Lever(pattern=ALL_ROUND))
    assert bare.network.sites[1].antenna == NETWORK.sites[1].antenna.model_copy(update={"horizontal": None})  # type: ignore[union-attr]
    assert bare.says[0] == "South ridge: no pattern, alike all round, instead of its own"


def test_more_than_planned_in_any_direction_is_asked_about() -> None:
    """Turned by half a circle the cardioid radiates 25 dB more where it had its null; less power asks nothing."""
    (doubt,) = trial(north=Lever(azimuth_deg=270.0)).doubts

    assert (doubt.code, doubt.severity, doubt.where) == ("more-radiated-than-planned", "warning", "power-north")
    assert doubt.values == pytest.approx({"more_db": 25.0, "towards_deg": 270.0})
    assert trial(north=Lever(power_db=-3.0)).doubts == ()
    # Turned, yet so much weaker that it is nowhere above the plan.
    assert trial(north=Lever(azimuth_deg=270.0, power_db=-25.0)).doubts == ()


def test_what_repeats_the_plan_is_no_try() -> None:
    """The plan's own figures leave no sentence, no caution and no doubt."""
    same = Lever(erp_kw=10.0, azimuth_deg=90.0, pattern="north", electrical_tilt_deg=0.0, mechanical_tilt_deg=0.0)

    assert trial(north=same, south=Lever(power_db=0.0), gap=Lever(pattern=ALL_ROUND)) == trial()
    assert WhatIf(levers={"north": same}).against(NETWORK).levers == {}


def test_what_cannot_be_tried_is_refused_by_its_place() -> None:
    """Out of bounds, unknown, two powers at once, or without any effect: each at its own field, all at once."""
    assert refused(
        north=Lever(power_db=31.0, azimuth_deg=361.0, electrical_tilt_deg=float("nan")),
        south=Lever(pattern="nowhere"),
        gap=Lever(azimuth_deg=10.0, mechanical_tilt_deg=1.0),
    ) == {
        "power-north": "out-of-range",
        "azimuth-north": "out-of-range",
        "electrical-tilt-north": "out-of-range",
        "pattern-south": "unknown-site",
        "azimuth-gap": "option-idle",
        "mechanical-tilt-gap": "option-idle",
    }
    assert refused(north=Lever(power_db=1.0, erp_kw=1.0)) == {"power-north": "two-powers"}
    assert refused(south=Lever(pattern="gap")) == {"pattern-south": "site-without-pattern"}
    assert refused(nobody=Lever(power_db=1.0)) == {"lever": "unknown-site"}
    silent = example(lambda tree: tree["sites"][1].update(erp_kw={"h": 0}))
    with pytest.raises(PlanError, match="radiates nothing"):
        trial(silent, south=Lever(power_db=3.0))


def test_the_commands_take_levers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`point` with 3 dB less at one site is 3 dB lower for it alone; a wrong text is one line of error."""
    at = ["point", str(EXAMPLE_PATH), "--at", "36.25,-84.22", "--json"]
    levels = []
    for more in ([], ["--power", "south:-3dB"]):
        assert main([*at, *more]) == 0
        answer = json.loads(capsys.readouterr().out)
        levels.append({signal["site"]: signal["level_dbuvm"] for signal in answer["signals"]})
    assert {name: levels[1][name] - levels[0][name] for name in levels[0]} == pytest.approx(
        {"north": 0.0, "gap": 0.0, "south": -3.0}, abs=1e-9
    )

    assert main([*at, "--power", "south:3", "--azimuth", "north:x"]) == 2
    lines = capsys.readouterr().err.strip().splitlines()
    assert [line.split(": ")[1] for line in lines] == ["--power", "--azimuth"]
