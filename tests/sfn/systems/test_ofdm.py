"""Windows, weights and the answer for one list of signals."""

import math
from dataclasses import replace

import hypothesis.strategies as st
import numpy as np
import pytest
from hypothesis import given, settings

from sfn.systems.ofdm import ofdm_answer, window
from sfn.systems.ofdm_window import STRATEGIES, Placing, candidate_windows, filled, parts, weight
from sfn.systems.service import service

DVB_T = service("dvb-t-8k-1/4-8mhz")
DAB = service("dab-mode-1")
TIGHT = service("dvb-t2-32k-19/128-pp2-8mhz")  # Tp = Tg: the equaliser is full just as long as the guard interval
SERVICES = (DVB_T, DAB, TIGHT)

levels = st.floats(20, 100)
delays = st.floats(-2000, 2000)
signals = st.lists(st.tuples(levels, delays), min_size=1, max_size=6)


def split(pairs: list[tuple[float, float]]) -> tuple[list[float], list[float]]:
    """Levels and delays of drawn signals."""
    return [p[0] for p in pairs], [p[1] for p in pairs]


@given(st.floats(-1e5, 1e5), st.sampled_from(SERVICES))
def test_parts_are_shares(late_us: float, of) -> None:
    """The useful part is from 0 to 1 whatever the delay, and 1 in the guard interval, where nothing interferes; what
    interferes makes up for what is missing, at the edge of the equaliser at least from where half of it is gone.
    """
    useful, against = (float(part) for part in parts(late_us, service=of))

    assert 0.0 <= useful <= 1.0
    assert against >= 0.0
    if 0 <= late_us <= of.guard_us:
        assert (useful, against) == (1.0, 0.0)
    if of.equalisation_us is None:
        assert useful + against == pytest.approx(1.0)
    elif useful == 0.0:
        assert against >= 0.5


def test_the_equaliser_is_soft_and_centred_on_the_guard_interval() -> None:
    """Tp = Tg: the guard interval is whole, and outside it the fall is the same to either side, to nothing at Te/2."""
    middle_us = TIGHT.guard_us / 2
    away_us = np.array([0.0, 266.0, 270.0, 282.0, 298.0, 299.0])  # 57/64 and 64/64 of Tu/6 are 532 and 597.33 us
    early, late = (weight(middle_us + side * away_us, service=TIGHT) for side in (-1, 1))

    np.testing.assert_allclose(early, late, atol=1e-12)
    assert early[0] == early[1] == 1.0
    assert np.all(np.diff(early[1:]) < 0)
    assert early[-1] == 0.0
    eased = math.cos(math.pi / 2 * 16 / (597.3333333 / 2 - 266)) ** 2
    assert early[3] == pytest.approx(eased * (1 - 16 / 3584) ** 2, rel=1e-6)


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
    else:
        assert there["margin_db"] == pytest.approx(here["margin_db"], abs=1e-4 if strategy == "best" else 1e-6)
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
        if a["margin_db"] is not None:
            assert b["margin_db"] == pytest.approx(a["margin_db"], abs=1e-6)


@settings(max_examples=50, deadline=None)
@given(signals, st.sampled_from(SERVICES))
def test_best_is_the_largest_over_every_window(pairs, of) -> None:
    """No window on a fine scan of t0 beats the best of the candidates: exactly without an equaliser, 0.05 dB with one."""
    levels_dbuvm, delays_us = (np.array(v) for v in split(pairs))
    (best,) = ofdm_answer(levels_dbuvm, delays_us, of, strategies=["best"])["strategies"]
    scan = np.arange(delays_us.min() - 600, delays_us.max() + 600, 0.61)
    useful, against = parts(delays_us[None, :] - scan[:, None], service=of)
    powers = 10 ** (levels_dbuvm / 10)
    noise = 10 ** (ofdm_answer(levels_dbuvm, delays_us, of)["noise_dbuvm"] / 10)
    cni_db = 10 * np.log10(((useful @ powers) / (against @ powers + noise)).max())

    assert best["cni_db"] >= cni_db - (1e-9 if of.differential else 0.05)


@settings(max_examples=40, deadline=None)
@given(signals, st.sampled_from(SERVICES), st.floats(0.1, 10))
def test_margin_falls_as_the_required_ratio_rises(pairs, of, more_db: float) -> None:
    """A mode that requires more has less margin, by just as much, under every strategy with its windows held.

    Of itself "first" takes its threshold from what is required, and may then follow another arrival.
    """
    held = Placing("first", threshold_db=15.0)
    names = ("required_cn_db", "required_cn_rice_db", "required_cn_rayleigh_db", "required_cn_echo_db")
    demanding = replace(of, **{name: getattr(of, name) + more_db for name in names})
    for easy, hard in zip(
        ofdm_answer(*split(pairs), of, placing=held)["strategies"],
        ofdm_answer(*split(pairs), demanding, placing=held)["strategies"],
        strict=True,
    ):
        if easy["margin_db"] is not None:
            assert hard["margin_db"] == pytest.approx(easy["margin_db"] - more_db, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(signals, st.sampled_from(SERVICES))
def test_the_order_of_strategies(pairs, of) -> None:
    """None exceeds best in C/(N+I); the least favourable is named."""
    answer = ofdm_answer(*split(pairs), of)
    cni = {a["strategy"]: -math.inf if a["cni_db"] is None else a["cni_db"] for a in answer["strategies"]}
    margin = {a["strategy"]: -math.inf if a["margin_db"] is None else a["margin_db"] for a in answer["strategies"]}

    assert max(cni.values()) <= cni["best"] + 1e-9
    assert margin[answer["least_favourable"]] == min(margin.values())


def test_where_each_strategy_puts_its_window() -> None:
    """Typed from the issue: strongest Tg/4, first Tg/16 and at least 2 us, centre of gravity Tg/2, slack halved."""
    levels_dbuvm, delays_us = [50.0, 60.0, 57.0], [0.0, 40.0, 120.0]  # DVB-T: Tg 224 us, required C/N 21 -> X 20 dB
    at = {s: window(Placing(s), levels_dbuvm, delays_us, service=DVB_T) for s in STRATEGIES[:-1]}
    powers = 10 ** (np.array(levels_dbuvm) / 10)

    assert at["strongest"] == pytest.approx(40.0 - 56.0)
    assert at["first"] == pytest.approx(0.0 - 14.0)
    assert at["centre-of-gravity"] == pytest.approx(powers @ delays_us / powers.sum() - 112.0)
    assert at["quasi-optimal"] == pytest.approx(0.0 - (224.0 - 120.0) / 2)
    short = service("dvb-t-2k-1/32-8mhz")  # Tg 7 us: a sixteenth would be 0.44 us
    assert window(Placing("first"), [60.0], [0.0], service=short) == pytest.approx(-2.0)


def test_quasi_optimal_holds_most_energy() -> None:
    """Two groups further apart than the guard interval: the one with more power, wherever the strongest is."""
    at_us = window(Placing("quasi-optimal"), [60.0, 58.0, 58.0], [0.0, 400.0, 500.0], service=DVB_T)

    assert at_us == pytest.approx(400.0 - (224.0 - 100.0) / 2)


@pytest.mark.parametrize(("required_db", "threshold_db"), [(5.0, 8.0), (15.0, 15.0), (30.0, 20.0)])
def test_first_looks_as_deep_as_the_required_ratio(required_db: float, threshold_db: float) -> None:
    """Within 8 to 20 dB."""
    assert filled(Placing("first"), replace(DVB_T, required_cn_db=required_db)).threshold_db == threshold_db


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
        ([60], [0], {"placing": Placing("first", None, -1.0)}, "threshold_db"),
        ([60], [0], {"placing": Placing("strongest", 300.0)}, "within the guard interval, 0 to 224 us"),
        ([60], [0], {"placing": Placing("quasi-optimal", 3.0)}, "no back-off"),
        ([60], [0], {"strategies": ["luckiest"]}, "must be one of"),
    ],
)
def test_unusable_lists_are_refused(levels_dbuvm, delays_us, options, words: str) -> None:
    """What cannot be worked with is named."""
    with pytest.raises(ValueError, match=words):
        ofdm_answer(levels_dbuvm, delays_us, DVB_T, **options)


def test_candidates_are_those_agreed() -> None:
    """t_i and t_i - Tg, and without an equaliser no others."""
    assert candidate_windows([1000.0], service=DVB_T)[:2].tolist() == [1000.0, 776.0]
    assert candidate_windows([1000.0], service=DAB).tolist() == [1000.0, 753.90625]


def test_first_looks_no_further_down_than_its_threshold() -> None:
    """A signal 15 dB down counts for "first" at 15 dB and not at 14."""
    at = {x: window(Placing("first", 0.0, x), [45.0, 60.0], [0.0, 90.0], service=DVB_T) for x in (14.0, 15.0)}

    assert at == {14.0: 90.0, 15.0: 0.0}
