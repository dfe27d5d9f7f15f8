"""Plans, losses and targets out of typed fields."""

import pytest
from hypothesis import given, strategies as st

from sfn.errors import PlanError
from sfn.stream.advise import combinations
from sfn.stream.fields import PAYLOADS
from sfn.stream.loss import bursts, independent
from sfn.stream.paths import paths_given
from webapp.forms.stream_typed import (
    asked_record_of as record_of,
    link_plan_of as plan_of,
    packet_time_of,
    paths_of,
    read,
    target_of,
    with_protection,
    written,
)
from webapp.forms.usual import USUAL


@pytest.mark.parametrize("payload", PAYLOADS)
def test_every_payload_is_planned_from_defaults(payload):
    """Each kind of payload has defaults that can be planned; coded kinds without a packet time."""
    plan = plan_of({"payload": payload, "packet_ms": "" if payload in PAYLOADS[3:6] else "1", "rate_kbps": "64"})

    assert plan.payload.rate_bps > 0
    assert [] == [p for p in plan.problems if p.severity == "error"]


def test_numbers_as_people_write_them():
    """Commas, thirds and true minus signs are read exactly; what is none of these is refused at its field."""
    assert 3000 == plan_of({"payload": "left and right, linear", "packet_ms": "1/3"}).packet.rate_hz
    assert 400 == plan_of({"packet_ms": "2,5"}).packet.rate_hz
    with pytest.raises(PlanError) as refusal:
        plan_of({"packet_ms": "x", "hops": "1,5", "parity": "some", "network_ms": "−1"})

    assert {"packet_ms", "hops", "parity", "network_ms"} == {p.where for p in refusal.value.problems}


def test_models_and_targets():
    """An empty mean burst is independent loss; a second path has its own; a week is the default."""
    assert paths_given(independent(0.02)) == paths_of({"loss_pct": "2", "burst_packets": ""})
    both = paths_of({"loss_pct": "0.1", "burst_packets": "4", "second_loss_pct": "1"})
    assert both.second is not None
    first, second = both.first.model, both.second.model
    assert (bursts(0.001, mean_burst_packets=4), independent(0.01)) == (first, second)
    assert 604_800 == target_of({}).error_every_s
    assert 80_000 == target_of({"greatest_latency_ms": "80"}).latency_us
    assert 1 / 3000 == packet_time_of({"packet_ms": "1/3"})
    with pytest.raises(PlanError, match="greatest_mbps: rate_mbps must be above 0"):
        target_of({"greatest_mbps": "0"})
    with pytest.raises(PlanError, match="second_loss_pct"):
        paths_of({"second_loss_pct": "200"})


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({}, "the bursts of what both lose follow from the bursts of each"),
        ({"second_loss_pct": "1"}, "the bursts of what both lose follow from the bursts of each"),
        ({"second_loss_pct": "1", "joint_loss_pct": "0"}, "nothing is lost on both"),
    ],
)
def test_a_burst_of_what_both_lose_counts_only_where_both_lose_together(more, said):
    """As the commands have it, at its own field."""
    with pytest.raises(PlanError) as refused:
        paths_of({"loss_pct": "1", "joint_burst_packets": "3"} | more)

    assert [("joint_burst_packets", "idle-field")] == [(p.where, p.code) for p in refused.value.problems]
    assert said in refused.value.problems[0].what


def test_how_a_record_is_read():
    """Defaults, and what cannot be."""
    asked = record_of({})

    assert (1e-4, None, None, True) == (asked.late_probability, asked.packet_time_s, asked.port, asked.remove_drift)
    with pytest.raises(PlanError) as refusal:
        record_of({"late_probability": "0", "record_packet_ms": "-1", "port": "x"})
    assert {"late_probability", "record_packet_ms", "port"} == {p.where for p in refusal.value.problems}


@given(st.dictionaries(st.sampled_from(sorted(USUAL)), st.text(max_size=12)))
def test_fields_come_back_from_their_text(typed):
    """Written and read again, every field says the same: itself, or its default."""
    again = read(written(typed))

    for name, default in USUAL.items():
        assert (typed.get(name, "").strip() or default) == again.get(name, default)


@given(st.dictionaries(st.sampled_from(sorted(USUAL)), st.text(max_size=8)))
def test_no_field_gives_a_traceback(typed):
    """Whatever is typed is planned or refused at a field."""
    strangers: set[str] = set()
    for ask in (plan_of, paths_of, target_of, record_of, packet_time_of):
        try:
            ask(typed)
        except PlanError as refusal:
            strangers |= {p.where for p in refusal.problems} - set(USUAL)
    assert set() == strangers


def test_a_protection_goes_into_fields_and_back():
    """Every combination that advice proposes is planned again from its fields."""
    for protection in combinations(paths_given(bursts(0.01, mean_burst_packets=3), independent(0.1))):
        assert protection == plan_of(with_protection({}, protection)).protection
