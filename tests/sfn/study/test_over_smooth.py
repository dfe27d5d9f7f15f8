"""Over a smooth earth antennas count from sea level, and that is said where it matters."""

from dataclasses import replace
from pathlib import Path

import pytest

import sfn
from sfn.cli import main
from sfn.plan import Network, read_file
from sfn.study.over_smooth import smooth_says

DEMOS = Path(__file__).parents[3] / "demo_sites"


def lowered(network: Network, by_m: float) -> Network:
    """The same sites, their ground so much lower."""
    sites = [site.model_copy(update={"ground_m": site.ground_m - by_m}) for site in network.sites]
    return network.model_copy(update={"sites": sites})


def test_it_is_said_where_sites_stand_high_and_no_terrain_is_named() -> None:
    """Last pass stands highest, 1190 m up with an antenna of 90 m; the plain and the ridge have nothing to say."""
    high = read_file(DEMOS / "dvbt2_chain.json")
    assert "antenna of Last pass counts as 1280 m high, not 90 m" in smooth_says(high)
    assert smooth_says(lowered(high, 1091.0)) == ""  # 99 m up
    assert "Last pass" in smooth_says(lowered(high, 1090.0))
    for demo in ("dab_plain", "fm_ridge"):
        assert smooth_says(read_file(DEMOS / f"{demo}.json")) == ""


def test_it_is_tens_of_decibels() -> None:
    """The figures that the docstring names, 93 km from the first site."""
    plan = sfn.load(DEMOS / "dvbt2_chain.json")
    low = replace(plan, network=lowered(plan.network, 770.0))
    as_planned, on_a_plain = (sfn.point(one, 40.8155, -4.83398).document["signals"][0] for one in (plan, low))
    assert (as_planned["site"], on_a_plain["site"]) == ("a01", "a01")
    assert (as_planned["level_dbuvm"], on_a_plain["level_dbuvm"]) == (
        pytest.approx(80.6, abs=0.1),
        pytest.approx(36.0, abs=0.1),
    )


def test_the_command_says_it_unless_the_ground_is_given(capsys: pytest.CaptureFixture[str]) -> None:
    """With the receiver's ground the smooth earth is laid at the lower of the two."""
    asked = ["point", str(DEMOS / "dvbt2_chain.json"), "--at", "41.7,-3.4"]
    assert main(asked) == 0
    assert "counts as 1280 m high" in capsys.readouterr().out
    assert main([*asked, "--rx-ground-m", "800"]) == 0
    assert "counts as" not in capsys.readouterr().out
