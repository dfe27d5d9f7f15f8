"""What is tried: only what differs from the plan, in words, and what it drags along."""

from pathlib import Path
from typing import Any

import pytest

from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.plan import Network, read_file
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.study.window_try import WindowTry
from tests.sfn.networks import example

NETWORK = example()
PLACED = place(NETWORK)


def trial(**what: object) -> Tried:
    """The example with something tried."""
    return tried(NETWORK, WhatIf(**what), placed=PLACED)  # type: ignore[arg-type]


def test_what_repeats_the_plan_is_no_try() -> None:
    """Plan offsets, clocks that are right and the main route leave everything as it is."""
    found = trial(offsets_us={"south": -12.5}, clock_errors_us={"gap": 0.0}, routes={"south": "main"})

    assert found == trial()
    assert found.says == ()


def test_a_clock_moves_its_site_and_those_it_feeds() -> None:
    """Gap is fed off air from north: both launch later, south does not."""
    plan, found = trial().launches, trial(clock_errors_us={"north": 3.0}).launches

    assert {name: found[name] - plan[name] for name in plan} == pytest.approx({"north": 3, "south": 0, "gap": 3})


def test_a_site_off_the_air_silences_those_it_feeds_and_moves_nobody() -> None:
    """The others keep their launches; each silent site has its sentence."""
    found = trial(off_air=frozenset({"north"}))

    assert {site.id: site.on_air for site in found.network.sites} == {"north": False, "south": True, "gap": False}
    assert found.launches == trial().launches
    assert found.says == (
        "North ridge: not transmitting",
        "Gap: not transmitting, because North ridge, which feeds it, is not",
    )


def plain_dab() -> Network:
    """A network with OFDM."""
    return read_file(Path(__file__).parents[3] / "demo_sites/dab_plain.json")


def test_another_window_is_tried_in_words_and_what_repeats_the_plan_is_none() -> None:
    """The document gets the strategy; its own default, spelt out, is no try."""
    network = plain_dab()
    found = tried(network, WhatIf(window=WindowTry("first", 5.0)), placed=place(network))
    window = found.network.receiver.window

    assert window is not None
    assert (window.strategy, window.backoff_us) == ("first", 5.0)
    (said,) = found.says
    assert "first (back-off 5.0" in said
    assert "instead of quasi-optimal" in said
    for same in (WindowTry("quasi-optimal"), WindowTry()):
        assert tried(network, WhatIf(window=same), placed=place(network)).says == ()
        assert not WhatIf(window=same).against(network).window


@pytest.mark.parametrize(
    ("of", "window", "code"),
    [
        (NETWORK, WindowTry("first"), "option-without-effect"),
        (plain_dab(), WindowTry("best"), "unknown-strategy"),
        (plain_dab(), WindowTry("strongest", 300.0), "back-off-outside-guard"),
        (plain_dab(), WindowTry("quasi-optimal", 10.0), "back-off-outside-guard"),
        (plain_dab(), WindowTry("first", None, 99.0), "out-of-range"),
        (plain_dab(), WindowTry("first", None, -3.0), "out-of-range"),
        (plain_dab(), WindowTry("first", float("nan"), None), "out-of-range"),
        (plain_dab(), WindowTry("", None, 15.0), "option-idle"),
        (plain_dab(), WindowTry("strongest", None, 15.0), "option-idle"),
    ],
)
def test_a_window_that_cannot_be_is_refused(of: Network, window: WindowTry, code: str) -> None:
    """FM has none, "best" is no receiver, and figures have their ranges."""
    with pytest.raises(PlanError) as refused:
        tried(of, WhatIf(window=window), placed=place(of))

    assert [problem.code for problem in refused.value.problems] == [code]
    if window.threshold_db is not None:
        assert refused.value.problems[0].where == "threshold_db"
        assert "None" not in refused.value.problems[0].what


def test_an_offset_that_no_field_can_make_is_doubted() -> None:
    """Gap cannot launch before its parent's signal has come through it."""
    found = trial(offsets_us={"gap": 1.0})

    assert [doubt.where for doubt in found.doubts] == ["sites[2].delay_fields[0]"]
    assert trial(offsets_us={"gap": 70.0}).doubts == ()


def test_a_standby_route_that_runs_dry_is_doubted() -> None:
    """Its launch is what it would be if its buffer held, and that is said."""
    network = read_file(Path(__file__).parents[3] / "demo_sites/fm_ridge.json")
    found = tried(network, WhatIf(routes={"summit": "standby"}), placed=place(network))

    assert [sentence.partition(",")[0] for sentence in found.says] == [
        "Summit: on its standby route with the main route's setting"
    ]
    assert [doubt.what.partition(":")[0] for doubt in found.doubts] == ["site Summit (standby) has a buffer underrun"]


def test_a_route_tried_as_set_launches_with_what_it_is_set_to_now() -> None:
    """Its own preset, 7 ms, and the main route's present setting, zero: chain by chain, nothing computed comes in."""

    def change(tree: dict[str, Any]) -> None:
        tree["stages"].append({"id": "south-backup", "kind": "network", "latency_us": 20_000, "source": "assumed"})
        stages = ["south-backup", "south-exciter", "south-feeder"]
        tree["sites"][1]["chains"].append({"route": "standby", "stages": stages, "set": {"codec delay": 7}})

    network = example(change)
    placed = place(network)
    plan = tried(network, WhatIf(), placed=placed, as_set=True)
    other = tried(network, WhatIf(routes={"south": "standby"}), placed=placed, as_set=True)
    main_us = 850 + 31_500 * 1.000315 / 299.792458 + 14_000  # converter, link; exciter and feeder are the same

    assert other.launches["south"] - plan.launches["south"] == pytest.approx(20_000 + 7_000 - main_us, abs=1e-6)
    assert other.launches["north"] == plan.launches["north"]
    assert any("that route's own preset" in text for text in other.says)
