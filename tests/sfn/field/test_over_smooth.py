"""Without terrain the ground is one plain, as low as the lowest site; where it lies is said."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import sfn
from sfn.cli import main
from sfn.field.over_smooth import smooth_says
from sfn.library.opened import Opened
from sfn.plan import Network, OtherTransmitter, read_file
from sfn.study.what_if import WhatIf

DEMOS = Path(__file__).parents[3] / "demo_sites"
CASTLE_M = 770.0


def raised(network: Network, by_m: float) -> Network:
    """The same sites, their ground so much higher."""
    sites = [site.model_copy(update={"ground_m": site.ground_m + by_m}) for site in network.sites]
    return network.model_copy(update={"sites": tuple(sites)})


@pytest.fixture(scope="module")
def plan() -> Opened:
    """The DVB-T2 demo: 770 to 1190 m above the sea, no terrain."""
    return sfn.load(DEMOS / "dvbt2_chain.json")


def test_it_is_said_where_the_plain_lies() -> None:
    """Last pass stands 420 m above the lowest site with an antenna of 90 m; the ridge has a terrain."""
    high = read_file(DEMOS / "dvbt2_chain.json")
    assert "lies at 770 m, the ground of Castle hill" in smooth_says(high)
    assert "antenna of Last pass counts as 510 m high, not 90 m" in smooth_says(high)
    low = read_file(DEMOS / "dab_plain.json")  # 38 to 96 m
    assert "lies at 38 m" in smooth_says(low)
    assert "counts as" not in smooth_says(low)
    assert smooth_says(read_file(DEMOS / "fm_ridge.json")) == ""


@pytest.mark.parametrize("by_m", [-CASTLE_M, 1500.0])
def test_levels_do_not_hang_on_how_high_the_country_lies(plan: Opened, by_m: float) -> None:
    """All ground raised together: every level, map and point, is what it was. At sea level it is ITU-R P.1812's own."""
    other = replace(plan, network=raised(plan.network, by_m))
    here, there = (sfn.point(one, 40.8155, -4.83398).document for one in (plan, other))
    assert here["rx_ground_m"] == pytest.approx(there["rx_ground_m"] - by_m)
    for one, two in zip(here["signals"], there["signals"], strict=True):
        assert one["site"] == two["site"]
        assert one["level_dbuvm"] == pytest.approx(two["level_dbuvm"], abs=1e-6)
    one, two = (sfn.coverage(each, pixel_m=20_000.0).found.coverage for each in (plan, other))
    np.testing.assert_allclose(one.level_dbuvm, two.level_dbuvm, atol=1e-3)
    np.testing.assert_allclose(one.level_1pct_dbuvm, two.level_1pct_dbuvm, atol=1e-3)


def test_castle_hill_is_no_cliff(plan: Opened) -> None:
    """93 km from Castle hill: 80.6 dB(uV/m) over a sea-level earth, 36 over a plain at its foot."""
    first = sfn.point(plan, 40.8155, -4.83398).document["signals"][0]
    assert (first["site"], first["level_dbuvm"]) == ("a01", pytest.approx(36.0, abs=0.1))


def test_silence_moves_no_ground(plan: Opened) -> None:
    """With the lowest site off air the levels of the others are what they were."""
    lowest = min(plan.network.sites, key=lambda site: site.ground_m)
    loud, silent = (
        sfn.point(plan, 41.2, -4.2, tries=WhatIf(off_air=off)).document for off in (frozenset(), frozenset({lowest.id}))
    )
    levels = {s["site"]: s["level_dbuvm"] for s in loud["signals"]}
    assert lowest.id in levels
    assert silent["rx_ground_m"] == loud["rx_ground_m"]
    assert {s["site"]: s["level_dbuvm"] for s in silent["signals"]} == {
        site: level for site, level in levels.items() if site != lowest.id
    }


def test_some_of_the_sites_stand_in_the_same_country(plan: Opened) -> None:
    """What is worked out of a part (relays, what disturbs them) lies over the plain of the whole, however often cut."""
    some = plan.network.of_sites([site for site in plan.network.sites if site.ground_m > CASTLE_M])
    assert min(site.ground_m for site in some.sites) > CASTLE_M
    assert some.plain_m == some.of_sites(some.sites[:2]).plain_m == CASTLE_M


def test_the_command_says_it_unless_the_ground_is_given(capsys: pytest.CaptureFixture[str]) -> None:
    """With the receiver's ground the smooth earth is laid at the lower of the two."""
    asked = ["point", str(DEMOS / "dvbt2_chain.json"), "--at", "41.7,-3.4"]
    assert main(asked) == 0
    assert "counts as 510 m high" in capsys.readouterr().out
    assert main([*asked, "--rx-ground-m", "800"]) == 0
    assert "counts as" not in capsys.readouterr().out
    assert main(["contours", str(DEMOS / "dvbt2_chain.json"), "--level-dbuvm", "60", "--pixel-m", "20000"]) == 0
    assert "lies at 770 m" in capsys.readouterr().out


def test_a_station_below_the_plain_is_not_heard_from_a_plinth(plan: Opened) -> None:
    """Another programme's mast on ground 600 m below our lowest site: a receiver stands 10 m above its plain too.

    By how much it disturbs hangs on its mast and not on its valley: the same as on the plain's own height.
    """
    needed = []
    for ground_m in (CASTLE_M, CASTLE_M - 600.0):
        far = OtherTransmitter.model_validate(
            {
                "id": "far", "name": "Far", "position": {"text": "42.6, -3.2"}, "ground_m": ground_m, "antenna_m": 100,
                "erp_kw": {"h": 10, "v": 0}, "spacing_khz": 0,
            }
        )  # fmt: skip
        network = plan.network.model_copy(update={"other_transmitters": (far,)})
        quality = sfn.point(replace(plan, network=network), 41.7, -3.4).document["quality"]
        needed.append(quality["needed_beside_others_dbuvm"])
    assert needed[0] == pytest.approx(needed[1], abs=1e-6)


def test_what_leaves_the_program_says_so(plan: Opened, tmp_path: Path) -> None:
    """Answers for scripts and files of map and contours name the plain and the mast that counts too high."""
    said = "counts as 510 m high, not 90 m"
    answer = sfn.coverage(plan, pixel_m=20_000.0)
    assert said in answer.stamp.tags()["ground"]
    assert any(said in one for one in answer.stamp.remarks)
    assert said in answer.document["smooth_earth_says"]
    assert said in sfn.point(plan, 41.7, -3.4).document["smooth_earth_says"]
    assert sfn.point(plan, 41.7, -3.4, rx_ground_m=800.0).document["smooth_earth_says"] is None
    out = tmp_path / "contours.geojson"
    asked = ["contours", str(DEMOS / "dvbt2_chain.json"), "--level-dbuvm", "60", "--pixel-m", "20000"]
    assert main([*asked, "--out", str(out)]) == 0
    assert said in json.loads(out.read_text(encoding="utf-8"))["properties"]["ground"]


def test_relays_and_paths_say_it_too(capsys: pytest.CaptureFixture[str]) -> None:
    """Levels decide there whom a relay follows; over a terrain nothing is said."""
    demo = str(DEMOS / "dvbt2_chain.json")
    assert main(["repeaters", demo]) == 0
    told = capsys.readouterr().out
    assert "fed off air from" in told
    assert "counts as 510 m high" in told
    assert main(["path", demo, "--site", "a01", "--at", "41.7,-3.4"]) == 0
    assert "counts as 510 m high" in capsys.readouterr().out
    ridge = str(DEMOS / "fm_ridge.json")
    assert main(["repeaters", ridge]) == 0
    assert "smooth earth" not in capsys.readouterr().out
