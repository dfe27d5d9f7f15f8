"""A planned stream in a site's chain."""

import json
from fractions import Fraction
from pathlib import Path

import pytest

from sfn.plan import read
from sfn.stream.link import Link, link_plan
from sfn.stream.packet import Headers, packet_of
from sfn.stream.payload import digital_composite
from sfn.stream.protection import both_parities
from sfn.stream.section import is_stale, mark, source_note, stages

EXAMPLE = Path(__file__).parents[1] / "example-network.json"


def plan(**changes):
    """Digital composite of 1 ms packets, 5 x 10 parity, on a link of 10 Mbit/s."""
    payload = digital_composite()
    way = {"capacity_mbps": 10.0, "network_us": 21_000.0, "variation_us": 20_000.0, "receiver_us": 4000.0} | changes
    return link_plan(
        payload,
        packet_of(payload, time_s=Fraction(1, 1000)),
        headers=Headers(),
        protection=both_parities(5, 10),
        link=Link(**way),
    )


def test_the_network_document_takes_it_and_the_section_covers_its_plan():
    """Put in place of the example's section, it is read without a problem; inside plus margins is the least release."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    made = stages(plan(), prefix="north-stream", revision=3)
    old = {"north-wan", "north-fec", "north-release"}
    document["stages"] = [s for s in document["stages"] if s["id"] not in old] + made
    document["sites"][0]["chains"][0]["stages"][1] = "north-stream"
    network = read(json.dumps(document))
    section = made[-1]
    inside = sum(s["latency_us"] for s in made[:-1])

    assert "north-stream" in {s.id for s in network.stages}
    assert plan().latency_us == pytest.approx(inside + section["jitter_margin_us"] + section["least_processing_us"])
    assert 101_000 == section["release_delay_us"]
    assert "computed" == section["source"]
    assert section["note"].startswith("computed from stream plan, revision 3")


def test_without_time_stamps_the_variation_is_the_tolerance_of_every_restart():
    """One stage with the whole latency; its tolerance is the delay variation, of kind restart."""
    (stage,) = stages(plan(time_stamped=False), prefix="x", revision=1)

    assert plan().latency_us == stage["latency_us"]
    assert (20_000.0, "restart") == (stage["tolerance_us"], stage["tolerance_kind"])


def test_a_changed_plan_makes_the_stage_stale():
    """The note of one plan does not fit another; the same plan made again fits."""
    note = source_note(plan(), revision=3)

    assert not is_stale(note, plan())
    assert is_stale(note, plan(network_us=21_001.0))
    assert 8 == len(mark(plan()))


def test_a_release_that_does_not_cover_the_plan_is_refused():
    """The least is named."""
    with pytest.raises(ValueError, match=r"release_us must be at least 100536\.0 us to cover the plan, got 100000"):
        stages(plan(), prefix="x", revision=1, release_us=100_000)
