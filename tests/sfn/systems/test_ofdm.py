"""Windows, weights and the answer for one list of signals."""

import math
from dataclasses import replace

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from sfn.systems.ofdm import STRATEGIES, candidate_windows, ofdm_answer, weight, window
from sfn.systems.service import service

DVB_T = service("dvb-t-8k-1/4-8mhz")
DAB = service("dab-mode-1")
TIGHT = service("dvb-t2-32k-19/128-pp2-8mhz")  # Tp = Tg: nothing is tolerated outside the guard interval
SERVICES = (DVB_T, DAB, TIGHT)

levels = st.floats(20, 100)
delays = st.floats(-2000, 2000)
signals = st.lists(st.tuples(levels, delays), min_size=1, max_size=6)


def split(pairs: list[tuple[float, float]]) -> tuple[list[float], list[float]]:
    """Levels and delays of drawn signals."""
    return [p[0] for p in pairs], [p[1] for p in pairs]


@given(st.floats(-1e5, 1e5), st.sampled_from(SERVICES))
def test_weights_are_shares(late_us: float, of) -> None:
    """A weight is from 0 to 1 whatever the delay, and 1 in the guard interval."""
    w = float(weight(late_us, service=of))

    assert 0.0 <= w <= 1.0
    if 0 <= late_us <= of.guard_us:
        assert w == 1.0


def test_no_zone_outside_the_guard_where_equalisation_ends_with_it() -> None:
    """Tp = Tg: just outside the guard interval nothing is useful, at its very edges all is."""
    assert weight([-0.001, 0.0, 532.0, 532.001], service=TIGHT).tolist() == [0.0, 1.0, 1.0, 0.0]


def test_fm_has_no_window() -> None:
    """Asking for an FFT window of FM is refused by name."""
    with pytest.raises(ValueError, match="fm-stereo"):
        weight(0.0, service=service("fm-stereo"))


@settings(max_examples=60, deadline=None)
@given(signals, st.floats(-5000, 5000), st.sampled_from(SERVICES), st.sampled_from(STRATEGIES))
def test_shifting_all_delays_shifts_the_window_alone(pairs, shift_us: float, of, strategy: str) -> None:
    """Only differences of delays matter: a common shift moves t0 and nothing else."""
    levels_dbuvm, delays_us = split([(level, round(delay, 3)) for level, delay in pairs])
    shift_us = round(shift_us, 3)
    (here,) = ofdm_answer(levels_dbuvm, delays_us, of, strategies=[strategy])["strategies"]
    (there,) = ofdm_answer(levels_dbuvm, np.add(delays_us, shift_us), of, strategies=[strategy])["strategies"]

    if here["margin_db"] is None or there["margin_db"] is None:
        assert here["margin_db"] == there["margin_db"]
    elif strategy not in ("centre-of-gravity",):  # its t0 may fall on a cliff, where rounding decides
        assert there["margin_db"] == pytest.approx(here["margin_db"], abs=1e-6)
        if len({round(level, 6) for level in levels_dbuvm}) == len(levels_dbuvm) and strategy in ("strongest", "first"):
            assert there["window_us"] - shift_us == pytest.approx(here["window_us"], abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(signals, st.sampled_from(SERVICES), st.randoms(use_true_random=False))
def test_order_of_the_list_does_not_matter(pairs, of, random) -> None:
    """The same signals in another order give the same margins."""
    mixed = list(pairs)
    random.shuffle(mixed)
    one, other = (ofdm_answer(*split(p), of)["strategies"] for p in (pairs, mixed))

    for a, b in zip(one, other, strict=True):
        assert (a["margin_db"] is None) == (b["margin_db"] is None)
        if a["margin_db"] is not None and a["strategy"] != "centre-of-gravity":
            assert b["margin_db"] == pytest.approx(a["margin_db"], abs=1e-6)


@settings(max_examples=50, deadline=None)
@given(signals, st.sampled_from(SERVICES))
def test_best_is_the_largest_over_every_window(pairs, of) -> None:
    """No window on a fine scan of t0 beats the best of the candidates: they hold the continuous maximum."""
    levels_dbuvm, delays_us = (np.array(v) for v in split(pairs))
    (best,) = ofdm_answer(levels_dbuvm, delays_us, of, strategies=["best"])["strategies"]
    scan = np.arange(delays_us.min() - 600, delays_us.max() + 600, 0.61)
    parts = weight(delays_us[None, :] - scan[:, None], service=of)
    powers = 10 ** (levels_dbuvm / 10)
    noise = 10 ** (ofdm_answer(levels_dbuvm, delays_us, of)["noise_dbuvm"] / 10)
    cni_db = 10 * np.log10(((parts @ powers) / ((1 - parts) @ powers + noise)).max())

    # 1e-6 us inside a cliff costs some 1e-8 of the power that the cliff stands for
    assert best["cni_db"] >= cni_db - 1e-5


@settings(max_examples=40, deadline=None)
@given(signals, st.sampled_from(SERVICES), st.floats(0.1, 10))
def test_margin_falls_as_the_required_ratio_rises(pairs, of, more_db: float) -> None:
    """A mode that requires more has less margin, by just as much, under every strategy."""
    demanding = replace(of, required_cn_db=of.required_cn_db + more_db)
    for easy, hard in zip(
        ofdm_answer(*split(pairs), of)["strategies"], ofdm_answer(*split(pairs), demanding)["strategies"], strict=True
    ):
        if easy["margin_db"] is not None:
            assert hard["margin_db"] == pytest.approx(easy["margin_db"] - more_db, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(signals, st.sampled_from(SERVICES))
def test_the_order_of_strategies(pairs, of) -> None:
    """Best is at least quasi-optimal, which is at least strongest and first; the least favourable is named."""
    answer = ofdm_answer(*split(pairs), of)
    margin = {a["strategy"]: -math.inf if a["margin_db"] is None else a["margin_db"] for a in answer["strategies"]}

    assert margin["best"] >= margin["quasi-optimal"] - 1e-9
    assert margin["quasi-optimal"] >= max(margin["strongest"], margin["first"]) - 1e-9
    assert margin[answer["least_favourable"]] == min(margin.values())


def test_interference_is_taken_at_one_per_cent_of_time() -> None:
    """The wanted sum keeps the median levels; the interfering sum follows the 1 % levels."""
    plain = ofdm_answer([60, 50], [0, 500], DAB, strategies=["strongest"])["strategies"][0]
    rare = ofdm_answer([60, 50], [0, 500], DAB, levels_1pct=[60, 58], strategies=["strongest"])["strategies"][0]

    assert rare["wanted_dbuvm"] == plain["wanted_dbuvm"]
    assert rare["interference_dbuvm"] == pytest.approx(plain["interference_dbuvm"] + 8)
    assert (rare["wanted"], rare["hurts"]) == (0, 1)


def test_signals_that_are_not_there_are_left_out() -> None:
    """A NaN level is no signal; places in the answer stay those of the list."""
    (answer,) = ofdm_answer([math.nan, 50, 60], [0, 0, 1000], DAB, strategies=["strongest"])["strategies"]

    assert (answer["wanted"], answer["hurts"]) == (2, 1)
    assert [s["place"] for s in answer["signals"]] == [1, 2]


def test_a_window_in_the_gap_between_two_signals_has_nothing() -> None:
    """The centre of gravity of two equal signals far apart lies where neither is useful: no margin at all."""
    (answer,) = ofdm_answer([60, 60], [0, 9000], DVB_T, strategies=["centre-of-gravity"])["strategies"]

    assert (answer["wanted_dbuvm"], answer["margin_db"]) == (None, None)


@pytest.mark.parametrize(
    ("levels_dbuvm", "delays_us", "options", "words"),
    [
        ([], [], {}, "at least one"),
        ([math.nan], [0], {}, "at least one"),
        ([60, 50], [0], {}, "same length"),
        ([60], [math.nan], {}, "must be finite"),
        ([60], [0], {"threshold_db": -1.0, "strategies": ["first"]}, "threshold_db"),
        ([60], [0], {"strategies": ["luckiest"]}, "must be one of"),
    ],
)
def test_unusable_lists_are_refused(levels_dbuvm, delays_us, options, words: str) -> None:
    """What cannot be worked with is named."""
    with pytest.raises(ValueError, match=words):
        ofdm_answer(levels_dbuvm, delays_us, DVB_T, **options)


def test_candidates_are_those_agreed() -> None:
    """t_i, t_i - Tg, t_i + Tp - Tg and t_i - Tp; the last two just inside; differential services have only two."""
    assert candidate_windows([1000.0], service=DVB_T, cliffs=True).tolist() == pytest.approx(
        [1000.0, 776.0, 1000 + 261.3333333 - 224, 1000 - 261.3333333], abs=2e-6
    )
    assert candidate_windows([1000.0], service=DAB, cliffs=True).tolist() == [1000.0, 753.90625]


def test_first_looks_no_further_down_than_its_threshold() -> None:
    """A signal 15 dB down counts for "first" at 15 dB and not at 14."""
    at = {x: window("first", [45.0, 60.0], [0.0, 90.0], service=DVB_T, threshold_db=x) for x in (14.0, 15.0)}

    assert at == {14.0: 90.0, 15.0: 0.0}
