"""Combinations for a target: ranked, reasons given, one release delay for every hour."""

from fractions import Fraction

import pytest

from sfn.stream.advise import WEEK_S, Target, advise, combinations
from sfn.stream.link import Link
from sfn.stream.loss import bursts, independent
from sfn.stream.packet import Headers, packet_of
from sfn.stream.paths import paths_given
from sfn.stream.payload import linear
from sfn.stream.protection import Protection, st2022_1_problems

PAYLOAD = linear(48_000, bits=24)
PACKET = packet_of(PAYLOAD, time_s=Fraction(1, 1000))
LINK = Link(capacity_mbps=20.0, network_us=8000, variation_us=4000)
BURSTY = bursts(1e-4, mean_burst_packets=4)


@pytest.fixture(scope="module")
def choices():
    """All combinations for one audible error a week within 80 ms and 8 Mbit/s."""
    target = Target(latency_us=80_000, rate_mbps=8.0)
    return advise(PAYLOAD, PACKET, headers=Headers(), link=LINK, paths=paths_given(BURSTY, BURSTY), target=target)


def test_every_combination_is_there_once(choices):
    """None is dropped; those with two paths too."""
    wanted = set(combinations(paths_given(BURSTY, BURSTY)))

    assert len(wanted) == len(choices)
    assert wanted == {c.protection for c in choices}
    assert any(p.second_path for p in wanted)


def test_matrices_are_within_the_standard():
    """Every parity matrix that is proposed, rows alone excepted, is one that each ST 2022-1 receiver supports."""
    proposed = [p for p in combinations(paths_given(BURSTY)) if p.column_parity]

    assert proposed
    assert [] == [p for q in proposed for p in st2022_1_problems(q)]


def test_order_and_reasons(choices):
    """First those that meet the target, ruled out last; each says the figure that decides."""
    worked = [c for c in choices if c.left is not None]
    ruled_out = choices[len(worked) :]

    assert all(c.left is None for c in ruled_out)
    assert [c.meets for c in worked] == sorted((c.meets for c in worked), reverse=True)
    assert choices[0].meets
    assert choices[0].error_every_s is None or choices[0].error_every_s >= WEEK_S
    assert all("an audible error every" in c.decides for c in worked)
    assert all("at most 80" in c.decides or "at most 8" in c.decides for c in ruled_out)
    assert all(c.plan.latency_us <= 80_000 and c.rate_mbps <= 8 for c in worked)


def test_unbeaten_choices_are(choices):
    """No choice is at least as good as an unbeaten one in errors, latency and rate, and better in one."""
    worked = [c for c in choices if c.left is not None]
    figures = [(c.left.errors_per_packet_ratio, c.plan.latency_us, c.all_paths_mbps) for c in worked]
    for c, ours in zip(worked, figures, strict=True):
        beaten = any(f != ours and all(a <= b for a, b in zip(f, ours, strict=True)) for f in figures)
        assert beaten != c.unbeaten
    assert any(c.unbeaten for c in worked)
    assert worked[0].unbeaten


def test_nothing_protects_for_free():
    """A clean path needs nothing: no protection comes first and nothing is lost."""
    ours = advise(
        PAYLOAD,
        PACKET,
        headers=Headers(),
        link=LINK,
        paths=paths_given(independent(0.0)),
        target=Target(latency_us=40_000),
    )

    assert Protection() == ours[0].protection
    assert "nothing is lost" == ours[0].decides


def test_progress_rises_to_one():
    """The callback sees parts from above 0 to 1."""
    seen = []
    target = Target(latency_us=15_000)
    advise(
        PAYLOAD, PACKET, headers=Headers(), link=LINK, paths=paths_given(BURSTY), target=target, progress=seen.append
    )

    assert seen == sorted(seen)
    assert 1.0 == seen[-1]


def test_refusals():
    """No target: refused by name."""
    with pytest.raises(ValueError, match="error_every_s must be from"):
        Target(error_every_s=0)
    with pytest.raises(ValueError, match="latency_us must be above 0, got -1"):
        Target(latency_us=-1)
