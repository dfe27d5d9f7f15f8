"""Protection by the hour, and the one release delay that covers every hour's."""

from itertools import pairwise

import numpy as np
import pytest

from sfn.stream.buffer import Hour, delay_quantile
from sfn.stream.capture import Piece
from sfn.stream.joint import together
from sfn.stream.loss import bursts, fit
from sfn.stream.measured import Measured, measure
from sfn.stream.paths import fitted, measured
from sfn.stream.protection import Protection, both_parities, column_parity, with_repeat, with_second_path
from sfn.stream.section import stages
from sfn.study.failures import _common
from sfn.study.losses import by_hour, needs_answer, protected, records, usual_protections
from tests.sfn.stream.test_residual import record
from webapp.forms.stream_typed import link_plan_of as plan_of, measured_fields, paths_of

PACKET_S = 1e-3


def hour(k: int, loss_ratio: float, variation_us: float) -> Hour:
    """An hour of 3.6 million packets: bursts of four at a loss ratio, and delays up to a variation."""
    rng = np.random.default_rng(k)
    n = 3_600_000
    lengths = np.array([], dtype=np.int64)
    lost_n = 0
    if loss_ratio:
        lost = record(bursts(loss_ratio, mean_burst_packets=4), n, rng)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], lost.astype(int), [0]))))
        lengths, lost_n = edges[1::2] - edges[::2], int(lost.sum())
    delays = rng.uniform(0, variation_us, 200_000)
    return Hour(
        k * 3600.0,
        n,
        lost_n,
        lengths.size,
        fit(n, burst_lengths=lengths),
        delay_quantile(delays, late_probability=1e-4),
    )


def test_a_bad_hour_asks_for_more() -> None:
    """Nothing where nothing was lost; the lightest that surely does elsewhere; none where none does."""
    hours = (hour(3, 0.0, 2000), hour(4, 2e-5, 3000), hour(20, 2e-3, 9000))
    quiet, light, bad = by_hour(hours, packet_time_s=PACKET_S)
    assert quiet.chosen is None
    assert quiet.need.wait_us == 0
    assert light.chosen is not None
    assert light.chosen.left.errors_per_packet_ratio <= PACKET_S / 604_800 < light.chosen.left.errors_high_ratio
    assert not light.sure  # a dozen bursts in an hour: likely enough, and no more
    assert light.need.wait_us == light.chosen.wait_us
    cheaper = [
        one
        for one in usual_protections(
            measured(fitted(hours[1].loss, packets_n=3_600_000)).as_fitted, packet_time_s=PACKET_S
        )
        if one.rate_factor < light.chosen.rate_factor and not one.protection.second_path
    ]
    assert all(one.left.errors_high_ratio > PACKET_S / 604_800 for one in cheaper)
    assert bad.chosen is None  # no single path with the usual protections is good enough
    assert light.need.total_us > quiet.need.total_us
    answer = needs_answer((quiet, light, bad))
    assert [line["protection"] for line in answer["hours_need"]] == ["none", light.chosen.protection.in_words(), None]


def test_no_release_is_offered_where_no_protection_is_enough() -> None:
    """One hour that none of the usual ones helps: no delay, no wait, and the hour is named; without it there is one."""
    light, bad = by_hour((hour(4, 2e-5, 3000), hour(20, 2e-3, 9000)), packet_time_s=PACKET_S)
    assert bad.need is None
    both = needs_answer((light, bad))

    assert [None, None] == [both["release_above_least_us"], both["release_decided_by"]]
    assert [20] == both["release_unmet_hours"]
    assert not both["release_sure"]
    assert [None, None] == [both["hours_need"][1][key] for key in ("wait_us", "total_us")]
    assert both["hours_need"][1]["variation_us"] > 8000  # what was measured stays
    alone = needs_answer((light,))
    assert alone["release_above_least_us"] == np.ceil(light.need.total_us / 1000) * 1000
    assert "the hour from 04:00" == alone["release_decided_by"]
    assert not alone["release_sure"]


def tied(share_pct: float, *, n: int = 200_000, seed: int = 3) -> tuple[Measured, Measured]:
    """Two paths each of which loses 1 % in bursts of four; so much of it strikes both at once."""
    rng = np.random.default_rng(seed)
    common = record(bursts(0.01 * share_pct / 100, mean_burst_packets=4), n, rng) if share_pct else np.zeros(n, bool)
    found = []
    for delay_s in (0.005, 0.012):
        own = record(bursts(0.01 * (100 - share_pct) / 100, mean_burst_packets=4), n, rng) if share_pct < 100 else 0
        kept = np.flatnonzero(~(common | own))
        at_s = 1000 + kept * PACKET_S + delay_s + rng.exponential(1e-4, kept.size)
        found.append(measure([Piece(kept & 0xFFFF, at_s, True)], packet_time_s=PACKET_S, remove_drift=False))
    return found[0], found[1]


def counted(first: Measured, second: Measured) -> tuple[float, float]:
    """Packets lost on both, and runs of them, a packet: counted one by one in the records."""
    n = min(first.delay_us.size, second.delay_us.size)
    both = np.isnan(first.delay_us[:n]) & np.isnan(second.delay_us[:n])
    runs = sum(bool(now and not before) for before, now in pairwise([False, *both.tolist()]))
    return float(both.mean()), runs / n


def test_what_two_records_lose_together_is_what_a_second_path_leaves() -> None:
    """Four fifths shared: residual loss and errors are those counted in the records, never the product; no "exact"."""
    first, second = tied(80)
    lost, runs = counted(first, second)
    found = records((first, second), names=("a", "b"), late_probability=1e-3)
    left = protected(with_second_path(Protection()), found.paths, packet_time_s=PACKET_S).left

    assert lost > 50 * 1e-4  # the product says 1e-4
    assert left.loss_ratio == pytest.approx(lost, rel=1e-9)
    assert left.errors_per_packet_ratio == pytest.approx(runs, rel=1e-3)
    assert "estimate" == left.kind
    assert left.low_ratio < lost < left.high_ratio
    assert "they fail together, as measured" == found.found["second_path_taken_as"]


def test_the_same_file_twice_is_one_path() -> None:
    """Residual loss, errors, every usual protection, advice and release delay: a second path brings nothing."""
    first, _ = tied(0)
    once = records((first,), names=("a",), late_probability=1e-3)
    twice = records((first, first), names=("a", "a"), late_probability=1e-3)
    for alone in (Protection(), column_parity(5, 10), both_parities(4, 5), with_repeat(Protection(), after=20)):
        one = protected(alone, once.paths, packet_time_s=PACKET_S, block_n=2000).left
        two = protected(with_second_path(alone), twice.paths, packet_time_s=PACKET_S, block_n=2000).left
        assert one == two
    assert once.needs[0].chosen is twice.needs[0].chosen is None
    assert once.release is twice.release is None
    typed = measured_fields(twice.found)
    assert typed["joint_loss_pct"] == typed["loss_pct"] == typed["second_loss_pct"]
    assert paths_of(typed).joint.model == paths_of(typed).first.model


def test_independent_paths_keep_their_product() -> None:
    """Nothing shared: the product of the ratios, as an estimate, with both waits and the later copy covered."""
    first, second = tied(0)
    found = records((first, second), names=("a", "b"), late_probability=1e-3)
    left = protected(with_second_path(Protection()), found.paths, packet_time_s=PACKET_S).left
    ratios = [float(np.isnan(one.delay_us).mean()) for one in (first, second)]

    assert "independent as far as the records tell" == found.paths.tie
    assert left.loss_ratio == pytest.approx(ratios[0] * ratios[1], rel=1e-3)
    assert "estimate" == left.kind
    assert left.low_ratio < left.loss_ratio < left.high_ratio


def test_a_release_with_a_second_path_covers_its_later_copy() -> None:
    """The second path is 7 ms longer: whatever release is offered on its account is at least that."""
    first, second = tied(0)
    both = together(first, second)

    assert np.nanmedian(both.delay_us) > 7000
    lost = np.isnan(first.delay_us[: both.delay_us.size]) & np.isnan(second.delay_us[: both.delay_us.size])
    assert np.array_equal(lost, np.isnan(both.delay_us))


@pytest.mark.parametrize("loss_ratio", [2e-7, 1e-4])
def test_the_release_offered_beside_a_second_path_covers_its_later_copy(loss_ratio) -> None:
    """27 ms longer, 100 us of jitter: hours, needs and the release delay hold both, whichever protection is chosen."""
    rng, made, n = np.random.default_rng(11), [], 200_000
    for delay_s in (0.010, 0.037):
        kept = np.flatnonzero(rng.random(n) >= loss_ratio)
        at_s = 1000 + kept * PACKET_S + delay_s + rng.exponential(1e-4, kept.size)
        made.append(measure([Piece(kept & 0xFFFF, at_s, True)], packet_time_s=PACKET_S, remove_drift=False))
    found = records(made, names=("a", "b"), late_probability=1e-3).found

    assert found["differential_us"] == pytest.approx(27_000, abs=5)
    assert found["release_above_least_us"] >= 27_000 + 690  # 100 us x ln 1000
    assert [hour["variation_us"] for hour in found["hours"]] == pytest.approx([27_690], abs=60)
    assert all(need["variation_us"] >= 27_600 for need in found["hours_need"])


@pytest.mark.parametrize(
    ("longer_ms", "jitter_us", "least_us", "most_us"),
    [
        (27, 100, 27_000, 27_400),  # by so much longer, and no more variable
        (27, 1000, 27_000 + 6217, 27_000 + 6217 + 1200),  # ln 1000 x (1000 - 100) us more of variation
        (-27, 100, 0, 5),  # the first is the longer one: its own variation holds both
        (-3, 1000, -3000 + 6217, -3000 + 6217 + 1200),  # earlier on average, later at worst
    ],
)
def test_a_plan_from_two_records_holds_the_later_copy_of_both(longer_ms, jitter_us, least_us, most_us) -> None:
    """Element, release delay and section: variation of the first and what is added reach what came late by 1 in 1000."""
    rng, made, n = np.random.default_rng(12), [], 200_000
    delays = [0.040 + rng.exponential(1e-4, n), 0.040 + longer_ms / 1000 + rng.exponential(jitter_us * 1e-6, n)]
    for delay_s in delays:
        kept = rng.random(n) >= 1e-4
        at_s = 1000 + np.arange(n) * PACKET_S + delay_s
        made.append(measure([Piece(np.flatnonzero(kept) & 0xFFFF, at_s[kept], True)], packet_time_s=PACKET_S,
                            remove_drift=False))  # fmt: skip
    found = records(made, names=("a", "b"), late_probability=1e-3).found
    plan = plan_of(measured_fields(found, upper=True) | {"payload": "other"})
    later_us = (np.quantile(np.maximum(*delays), 1 - 1e-3) - delays[0].min()) * 1e6
    added = {one.name: one.latency_us for one in plan.elements}["second path is longer"]

    assert least_us - 20 <= found["second_longer_us"] <= most_us
    assert found["second_longer_us"] <= added <= found["second_longer_us"] + 1
    assert plan.protection.second_path
    assert plan.latency_us >= later_us
    section = stages(plan, prefix="x", revision=1)[-1]
    assert section["release_delay_us"] >= later_us
    alone = plan_of(measured_fields(records(made[:1], names=("a",), late_probability=1e-3).found, upper=True))
    assert not alone.protection.second_path


def test_clean_records_leave_an_upper_limit_not_its_square() -> None:
    """Nothing lost on either: what both may lose together is as uncertain as what one may lose."""
    clean = measure(
        [Piece(np.arange(20_000) & 0xFFFF, 1000 + np.arange(20_000) * PACKET_S, True)], packet_time_s=PACKET_S
    )
    found = records((clean, clean), names=("a", "b"), late_probability=1e-3)
    left = protected(with_second_path(Protection()), found.paths, packet_time_s=PACKET_S).left

    assert ("estimate", 0.0, "less than") == (left.kind, left.low_ratio, left.errors_kind)
    assert ["record-without-losses"] * 2 == [one.code for one in found.problems]
    assert left.loss_ratio == pytest.approx(1 - 0.005 ** (1 / 20_000), rel=1e-6)  # none of 20 000, one side of 99 %


def two_independent_records(seed: int, ratio: float, *, n: int = 200_000):
    """Two logs of one stream on paths that know nothing of each other, bursts of four."""
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(2):
        kept = np.flatnonzero(~record(bursts(ratio, mean_burst_packets=4), n, rng))
        arrival = 36_000 + kept * PACKET_S + rng.exponential(1e-4, kept.size)
        made.append(measure([Piece(kept, arrival, wraps=False)], packet_time_s=PACKET_S))
    return made


@pytest.mark.parametrize(("seed", "ratio"), [(3, 2e-4), (5, 1e-2)])
def test_the_interval_of_what_both_lose_travels_where_the_paths_are_taken_as_independent(seed, ratio) -> None:
    """No figure with a second path is surer than the count: into residual loss, forms, advice and failures."""
    found = records(two_independent_records(seed, ratio), names=(), late_probability=1e-3)
    answer, paths = found.found, found.paths
    assert answer["independent"]
    assert "independent as far as the records tell" == paths.tie
    both = protected(with_second_path(Protection()), paths, packet_time_s=PACKET_S).left

    assert "exact" not in (both.kind, both.errors_kind)
    assert both.high_ratio >= answer["joint_loss_high_ratio"] > answer["product_loss_ratio"]
    assert answer["joint_loss_high_ratio"] >= 4.6 / 200_000  # of none in n at most -ln(1 %) / n, of some more
    assert both.errors_high_ratio * 4 * 10 >= answer["joint_loss_high_ratio"]  # bursts of four, or of ten at the most
    for upper in (False, True):
        fields = measured_fields(answer, upper=upper)
        again = paths_of(fields)
        left = protected(with_second_path(Protection()), again, packet_time_s=PACKET_S).left
        assert "exact" not in (left.kind, left.errors_kind)
        assert left.high_ratio == pytest.approx(float(fields["joint_high_pct"]) / 100, rel=1e-5)
        assert "may be lost on both" in _common(again)
