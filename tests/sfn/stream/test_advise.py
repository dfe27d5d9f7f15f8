"""Combinations for a target: ranked, reasons given, one release delay for every hour."""

from fractions import Fraction

import pytest

from sfn.stream.advise import WEEK_S, Target, advise, by_hour, combinations
from sfn.stream.link import Link, link_plan
from sfn.stream.loss import bursts, independent
from sfn.stream.packet import Headers, packet_of
from sfn.stream.payload import linear
from sfn.stream.protection import Protection, column_parity, st2022_1_problems, with_repeat

PAYLOAD = linear(48_000, bits=24)
PACKET = packet_of(PAYLOAD, time_s=Fraction(1, 1000))
LINK = Link(capacity_mbps=20.0, network_us=8000, variation_us=4000)
BURSTY = bursts(1e-4, mean_burst_packets=4)


@pytest.fixture(scope="module")
def choices():
    """All combinations for one audible error a week within 80 ms and 8 Mbit/s."""
    target = Target(latency_us=80_000, rate_mbps=8.0)
    return advise(PAYLOAD, PACKET, headers=Headers(), link=LINK, paths=(BURSTY, BURSTY), target=target)


def test_every_combination_is_there_once(choices):
    """None is dropped; those with two paths too."""
    wanted = set(combinations((BURSTY, BURSTY)))

    assert len(wanted) == len(choices)
    assert wanted == {c.protection for c in choices}
    assert any(p.second_path for p in wanted)


def test_matrices_are_within_the_standard():
    """Every parity matrix that is proposed, rows alone excepted, is one that each ST 2022-1 receiver supports."""
    proposed = [p for p in combinations((BURSTY,)) if p.column_parity]

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
        PAYLOAD, PACKET, headers=Headers(), link=LINK, paths=(independent(0.0),), target=Target(latency_us=40_000)
    )

    assert Protection() == ours[0].protection
    assert "nothing is lost" == ours[0].decides


def test_progress_rises_to_one():
    """The callback sees parts from above 0 to 1."""
    seen = []
    target = Target(latency_us=15_000)
    advise(PAYLOAD, PACKET, headers=Headers(), link=LINK, paths=(BURSTY,), target=target, progress=seen.append)

    assert seen == sorted(seen)
    assert 1.0 == seen[-1]


def test_one_release_for_all_hours():
    """A quiet night takes the light protection, the bad hour the heavy one; the release is that of the bad hour."""
    among = [
        link_plan(PAYLOAD, PACKET, headers=Headers(), protection=p, link=LINK)
        for p in (Protection(), column_parity(5, 10), with_repeat(column_parity(10, 10), after=100))
    ]
    night, evening = independent(1e-7), bursts(1e-4, mean_burst_packets=6)
    chosen, release = by_hour(
        [("03", (night,), 900.0), ("20", (evening,), 15_000.0)], among=among, target=Target(error_every_s=3600),
        margin_us=500, step_us=1000,
    )  # fmt: skip
    light, heavy = chosen

    assert ("none", "columns 10 x 10, repeat after 100 packets") == tuple(
        h.choice.protection.in_words() for h in (light, heavy)
    )
    assert "20" == release.decided_by
    assert heavy.choice.plan.latency_us + 500 <= release.release_us < heavy.choice.plan.latency_us + 1500
    assert dict(release.margins_us)["03"] > 200_000


def test_refusals():
    """No path, no hour, no target: refused by name."""
    with pytest.raises(ValueError, match="paths must be from 1 to 2 paths, got 0"):
        advise(PAYLOAD, PACKET, headers=Headers(), link=LINK, paths=(), target=Target())
    with pytest.raises(ValueError, match="error_every_s must be from"):
        Target(error_every_s=0)
    with pytest.raises(ValueError, match="latency_us must be above 0, got -1"):
        Target(latency_us=-1)
    with pytest.raises(ValueError, match="at least one hour and one plan"):
        by_hour([], among=[], target=Target())
