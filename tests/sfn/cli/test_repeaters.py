"""The command for sites fed off air."""

import json
from pathlib import Path

import pytest

from sfn.cli import main

ROOT = Path(__file__).parents[3]
CHAIN = ROOT / "demo_sites" / "dvbt2_chain.json"
EXAMPLE = Path(__file__).parents[1] / "example-network.json"


def test_a_demo_s_repeater(capsys: pytest.CaptureFixture[str]) -> None:
    """Poplar ford: the JSON's terms add up to its margin, and the parent stands above all others."""
    assert 0 == main(["repeaters", str(CHAIN), "--json"])
    (site,) = json.loads(capsys.readouterr().out)["sites"]

    assert ("a05", "a04") == (site["id"], site["parent"])
    assert site["gain_db"] == pytest.approx(site["output_dbw"] - site["input_dbw"])
    assert site["margin_db"] == pytest.approx(site["isolation_db"] + site["cancelled_db"] - site["gain_db"])
    assert 8 < site["parent_margin_db"] < 30
    assert "a04" == site["heard"][0]["site"]
    assert 11 == len(site["heard"])


def test_for_people(capsys: pytest.CaptureFixture[str]) -> None:
    """The table names what is missing; a network without such sites says so."""
    main(["repeaters", str(EXAMPLE)])
    gap = capsys.readouterr().out
    main(["repeaters", str(ROOT / "demo_sites" / "dab_plain.json")])

    assert "Gap, fed off air from North ridge" in gap
    assert "missing in its off_air: receiving_gain_dbd, transmitting_gain_dbd, isolation_db" in gap
    assert "no site is fed off air" in capsys.readouterr().out
