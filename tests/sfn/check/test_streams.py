"""Stages that rest on a stream plan: hand-edited ones and plans that cannot work are called."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from sfn.check import all_problems
from sfn.errors import Problem
from sfn.plan import read
from sfn.stream.plan_text import read_text
from sfn.stream.planned import plan_of
from sfn.stream.section import stages

EXAMPLE = Path(__file__).parents[1] / "example-network.json"
STAMPED = "packet_ms=1&parity=both&network_ms=21&variation_ms=20&receiver_ms=4&link_mbps=10"


def found(
    plan: str, change: Callable[[list[dict[str, Any]]], object] = lambda made: None, *, as_text: bool = False
) -> dict[str, Problem]:
    """Problems of the stream's stages by place, with the stream in the north's chain and changed afterwards."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    record = read_text(plan)
    made = stages(plan_of(record), prefix="stream", revision=3, stream_plan=record.in_document())
    if as_text:
        made[-1]["stream_plan"] = plan
    change(made)
    gone = {"north-wan", "north-fec", "north-release"}
    kept = [s for s in document["stages"] if s["id"] not in gone]
    document["stages"] = kept + made
    document["sites"][0]["chains"][0]["stages"][1] = "stream"
    first = len(kept)
    problems = all_problems(read(json.dumps(document)))
    return {
        p.where.replace(f"stages[{first + k}]", stage["id"]): p
        for p in problems
        for k, stage in enumerate(made)
        if p.where.startswith(f"stages[{first + k}].")
    }


@pytest.mark.parametrize("plan", [STAMPED, STAMPED + "&time_stamped=no"])
@pytest.mark.parametrize("as_text", [False, True])
def test_a_stage_as_its_plan_made_it_has_no_problem(plan: str, as_text: bool) -> None:
    """Fresh from the plan nothing is stale, whether the document has it as a record or, as older ones, as text."""
    assert {} == found(plan, as_text=as_text)


def test_a_hand_edited_section_is_called_stale() -> None:
    """The network's stage was shortened by hand: the plan has 100 536 us, the section covers 94 536."""
    called = found(STAMPED, lambda made: made[2].update(latency_us=15_000))["stream.stream_plan"]

    assert "warning" == called.severity
    assert "has 94\u202f536 us to cover where the plan has 100\u202f536 us: the plan is stale" in called.what
    assert "site North ridge (main)" in called.what
    assert "page Link plan" in called.expected


def test_a_section_too_short_for_its_plan_runs_dry() -> None:
    """Shortened by hand together with what is inside: the section's own sum fits, its plan does not."""

    def shorten(made: list[dict[str, Any]]) -> None:
        made[2]["latency_us"] = 1000
        made[-1]["release_delay_us"] = 80_000

    called = found(STAMPED, shorten)

    assert "error" == called["stream.release_delay_us"].severity
    assert "needs 100\u202f536 us, but it releases after 80\u202f000 us" in called["stream.release_delay_us"].what


def test_without_time_stamps_a_stale_latency_is_an_error() -> None:
    """It goes straight into the launch time; a stale tolerance only makes it doubtful."""
    called = found(STAMPED + "&time_stamped=no", lambda made: made[0].update(latency_us=90_000, tolerance_us=1))

    assert "error" == called["stream.latency_us"].severity
    assert "every delay that rests on it is stale" in called["stream.latency_us"].what
    assert "warning" == called["stream.tolerance_us"].severity


def test_an_adapting_buffer_without_time_stamps_is_an_error_that_says_why() -> None:
    """Kept from the plan, or taken out of the stage by hand."""
    plan = STAMPED + "&time_stamped=no&adapting=yes"
    kept = found(plan)
    denied = found(plan, lambda made: made[0].update(adapts=False))

    assert {"stream.adapts"} == set(kept)
    assert "error" == kept["stream.adapts"].severity
    assert "the launch time wanders with the network" in kept["stream.adapts"].what
    assert "no delay setting makes up for it" in denied["stream.stream_plan"].what


def test_a_plan_that_cannot_work_or_be_read_is_called() -> None:
    """More than the link carries, and nonsense typed into the document."""
    wide = found(STAMPED.replace("link_mbps=10", "link_mbps=5"))
    nonsense = found(STAMPED, lambda made: made[-1].update(stream_plan="packet_ms=soon"))

    assert "the link carries 5" in wide["stream.stream_plan"].what
    assert "cannot be read: packet_ms 'soon' is no number" in nonsense["stream.stream_plan"].what


def test_a_record_that_cannot_be_planned_is_called() -> None:
    """A figure out of range stands under its key, as in a text."""
    called = found(STAMPED, lambda made: made[-1].update(stream_plan={"packet_ms": "1/7"}))["stream.stream_plan"]
    hops = found(STAMPED, lambda made: made[-1].update(stream_plan={"hops": 0}))["stream.stream_plan"]

    assert "stream-plan-unreadable" == called.code
    assert "cannot be read: packet_ms the packet time must hold a whole number of samples" in called.what
    assert "cannot be read: hops hops must be from 1 to 100 hops, got 0" in hops.what


def test_a_plan_of_another_kind_than_its_stage_is_called() -> None:
    """The section's plan was exchanged for one without time stamps, and the reverse."""
    plain = found(STAMPED, lambda made: made[-1].update(stream_plan=STAMPED + "&time_stamped=no"))
    stamped = found(STAMPED + "&time_stamped=no", lambda made: made[0].update(stream_plan=STAMPED))

    assert "its latency is none where the plan gives" in plain["stream.latency_us"].what
    assert "is of kind other, but its stream plan releases at time stamps" in stamped["stream.stream_plan"].what
