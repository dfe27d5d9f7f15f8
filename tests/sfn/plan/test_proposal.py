"""What is proposed for a new site, a new route and a device: equal equipment copied, what belongs to a place asked for."""

import json
from pathlib import Path
from typing import Any

import pytest

from sfn.plan import read
from sfn.plan.proposal import DEVICE_STARTS, device_start, place_in_chain, route_like, site_like
from sfn.units import SPEED_OF_LIGHT_M_PER_US, unit_length_us

DEMOS = Path(__file__).parents[3] / "demo_sites"


def demo(name: str) -> dict[str, Any]:
    """A demo's document."""
    held: dict[str, Any] = json.loads((DEMOS / f"{name}.json").read_text(encoding="utf-8"))
    return held


def filled(document: dict[str, Any], stages: list[dict[str, Any]]) -> dict[str, Any]:
    """With a number where a stage asks for one."""
    asked = {
        "feeder": "length_m",
        "fibre": "length_m",
        "microwave": "path_km",
        "time-stamped section": "release_delay_us",
    }
    for stage in stages:
        stage.setdefault(asked.get(stage["kind"], "latency_us"), 5)
        if stage["kind"] == "microwave":
            stage.setdefault("equipment_us", 100)
    return {**document, "stages": [*document["stages"], *stages]}


@pytest.mark.parametrize("name", ["fm_ridge", "dab_plain", "dvbt2_chain"])
def test_a_proposed_site_lacks_only_what_is_its_own(name: str) -> None:
    """With name, place, heights and the figures of its way it is a network again; shared stages stay shared."""
    document = demo(name)
    before = json.dumps(document)
    site, stages = site_like(document, 0, name="new")
    assert before == json.dumps(document)
    other = document["sites"][0]
    for mine, theirs in zip(site["chains"], other["chains"], strict=True):
        assert len(mine["stages"]) == len(theirs["stages"])
    shared = {one for s in document["sites"][1:] for c in s["chains"] for one in c["stages"]}
    for mine, theirs in zip(site["chains"][0]["stages"], other["chains"][0]["stages"], strict=True):
        assert (mine == theirs) == (theirs in shared)
    assert all("set" not in field and "transmitter_id" not in field for field in site["delay_fields"])
    assert [field["step"] for field in other["delay_fields"]] == [field["step"] for field in site["delay_fields"]]
    assert "measured" not in {stage.get("source") for stage in stages}
    assert all("length_m" not in stage for stage in stages if stage["kind"] == "feeder")
    site |= {"name": "New", "position": {"text": "36.3, -84.1"}, "ground_m": 5, "antenna_m": 9, "erp_kw": {"h": 1}}
    whole = filled(document, stages)
    made = read(json.dumps({**whole, "sites": [*whole["sites"], site]}))
    assert len(document["sites"]) + 1 == len(made.sites)


@pytest.mark.parametrize("name", ["fm_ridge", "dab_plain"])
def test_a_proposed_route_differs_in_its_way_alone(name: str) -> None:
    """Encoder, exciter, filter and feeder are the same; the way from the studio is another, and is asked for."""
    document = demo(name)
    chain, stages = route_like(document, 1, route="standby")
    first = document["sites"][1]["chains"][0]["stages"]
    kinds = {stage["id"]: stage["kind"] for stage in [*document["stages"], *stages]}
    changed = [(old, new) for old, new in zip(first, chain["stages"], strict=True) if old != new]
    assert changed
    assert all(kinds[old] == kinds[new] for old, new in changed)
    assert {"time-stamped section"} == {kinds[old] for old, _ in changed}
    assert all("release_delay_us" not in stage and "latency_us" not in stage for stage in stages)
    whole = filled(document, stages)
    whole["sites"][1]["chains"] = [*whole["sites"][1]["chains"][:1], chain]
    assert 2 == len(read(json.dumps(whole)).sites[1].chains)


def test_a_chain_of_one_stage_gets_a_second_one() -> None:
    """A first network has one stage a site: a site and a route like it have one of their own, without its latency."""
    document = {
        "stages": [{"id": "a-chain", "kind": "other", "latency_us": 7, "source": "measured", "date": "2026-01-01"}],
        "sites": [{"id": "a", "chains": [{"route": "main", "stages": ["a-chain"]}], "delay_fields": []}],
    }
    site, stages = site_like(document, 0, name="b")
    assert ["b-chain"] == site["chains"][0]["stages"]
    assert [{"id": "b-chain", "kind": "other", "source": "assumed"}] == stages
    chain, stages = route_like(document, 0, route="standby")
    assert ["a-chain-standby"] == chain["stages"]
    assert [{"id": "a-chain-standby", "kind": "other", "source": "assumed"}] == stages


def test_a_new_stage_goes_before_the_feeder() -> None:
    """The feeder ends at the antenna."""
    assert 2 == place_in_chain(["encoder", "modulator", "feeder"])
    assert 0 == place_in_chain([])


def test_device_starts_are_worth_what_they_say() -> None:
    """Length of one step by the unit's definition, and the way light goes in it; no limit is proposed."""
    worth = {one.key: float(unit_length_us(one.unit)) * one.step for one in DEVICE_STARTS}
    assert {"ms": 1000.0, "us": 1.0, "0.1us": 0.1, "100ns": 0.1} == {
        k: pytest.approx(worth[k]) for k in list(worth)[:4]
    }
    assert worth["48k"] == pytest.approx(1e6 / 48_000)
    assert worth["192k"] == pytest.approx(1e6 / 192_000)
    assert worth["16M"] == pytest.approx(1 / 16.384)
    assert 18 == round(worth["16M"] * SPEED_OF_LIGHT_M_PER_US)
    assert 30 == round(worth["0.1us"] * SPEED_OF_LIGHT_M_PER_US)
    for one in DEVICE_STARTS:
        begun = device_start(one.key)
        assert begun is not None
        assert "greatest" not in begun
    assert device_start("nothing") is None
