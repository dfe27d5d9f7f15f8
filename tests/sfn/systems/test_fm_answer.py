"""One list of FM signals, from the table and by simulation."""

import json
from typing import Any

import pytest

from sfn.systems.fm import CAP_DB, local_table, snr, snr_local
from sfn.systems.fm_answer import fm_answer
from sfn.systems.fm_direct import direct_statistics

KEYS = {"snr_median_db", "snr_mean_db", "snr_decile_db", "snr_local_db"}
STATISTICS = (("median", "snr_median_db"), ("mean", "snr_mean_db"), ("decile", "snr_decile_db"))


def test_two_signals_are_the_table() -> None:
    """With one echo every figure is that of the table, and the answer is a JSON document."""
    answer = fm_answer([60.0, 66.0], [12.0, 3.0])
    assert json.loads(json.dumps(answer)) == answer
    for mode in ("mono", "stereo"):
        assert KEYS <= answer[mode].keys()
        for statistic, key in STATISTICS:
            assert answer[mode][key] == pytest.approx(float(snr(6.0, 9.0, mode=mode, statistic=statistic)))
        local = snr_local(6.0, 9.0, local=local_table(mode))
        assert answer[mode]["snr_local_db"] == pytest.approx(float(local))
    assert answer["source"] == "table"


@pytest.fixture(scope="module")
def pair() -> dict[str, Any]:
    """An echo 6 dB down and 5 us late, simulated."""
    return fm_answer([70.0, 64.0], [0.0, 5.0], direct=True)


@pytest.fixture(scope="module")
def three() -> dict[str, Any]:
    """Three signals, sum of r 0.57, simulated."""
    return fm_answer([60.0, 50.0, 48.0], [0.0, 12.0, 25.0], direct=True)


def test_simulation_agrees_with_the_table_for_two_signals(pair: dict[str, Any]) -> None:
    """The direct answer is the table's within 1 dB and what chance leaves."""
    table = fm_answer([70.0, 64.0], [0.0, 5.0])
    assert pair["source"] == "simulation"
    for mode in ("mono", "stereo", "mono-of-stereo"):
        for key in ("snr_median", "snr_mean", "snr_decile", "snr_local"):
            within_db = 1.0 + pair[mode][f"{key}_half_width_db"]
            assert pair[mode][f"{key}_db"] == pytest.approx(table[mode][f"{key}_db"], abs=within_db), (mode, key)


def test_an_interval_stands_beside_what_is_simulated(pair: dict[str, Any], three: dict[str, Any]) -> None:
    """Two signals and three: what maps use is known within a decibel; a table's figure has no interval."""
    for answer in (pair, three):
        assert answer["settled"] is True
        for mode in ("mono", "stereo", "mono-of-stereo"):
            assert 0 < answer[mode]["snr_local_half_width_db"] < 1
            assert 0 < answer[mode]["snr_decile_half_width_db"] < 1
    assert three["stereo"]["snr_median_half_width_db"] is None
    table = fm_answer([70.0, 64.0], [0.0, 5.0])
    assert table["draws"] is None
    assert "snr_local_half_width_db" not in table["stereo"]


def test_draws_grow_where_chance_is_large(three: dict[str, Any]) -> None:
    """Three signals need more draws than the first round's; where these end too soon it is said."""
    short = direct_statistics([10.0, 12.0], [12.0, 25.0], most_rounds=1)
    assert not short.settled
    assert short.half_width_db["stereo"]["local"] > 1
    assert three["draws"] > short.draws_n
    wide = 2 * short.half_width_db["stereo"]["local"]
    assert three["stereo"]["snr_local_db"] == pytest.approx(short.found["stereo"]["local"], abs=wide)


def test_three_signals_have_no_median() -> None:
    """More than two: no median; mean and decile are at most those of the worse pair."""
    three = fm_answer([60.0, 50.0, 48.0], [0.0, 12.0, 25.0])
    pair = fm_answer([60.0, 50.0], [0.0, 12.0])
    for mode in ("mono", "stereo"):
        assert three[mode]["snr_median_db"] is None
        for key in ("snr_mean_db", "snr_decile_db", "snr_local_db"):
            assert three[mode][key] < pair[mode][key]
    assert not three["multi_ray_fade_risk"]


def test_combination_of_weak_echoes_agrees_with_simulation(three: dict[str, Any]) -> None:
    """Three rays, sum of r 0.57: mean and decile from the table are within 4 dB of the direct simulation."""
    table = fm_answer([60.0, 50.0, 48.0], [0.0, 12.0, 25.0])
    assert table["amplitude_sum_ratio"] == pytest.approx(0.567, abs=0.001)
    for mode in ("mono", "stereo"):
        for key in ("snr_mean_db", "snr_decile_db"):
            assert table[mode][key] == pytest.approx(three[mode][key], abs=4.0), (mode, key)


def test_strong_echoes_raise_the_fade_flag() -> None:
    """Two echoes whose amplitudes pass 0.8 of the strongest are flagged, one alone is not."""
    assert fm_answer([60.0, 55.0, 56.0], [0.0, 4.0, 7.0])["multi_ray_fade_risk"] is True
    assert fm_answer([60.0, 59.5], [0.0, 4.0])["multi_ray_fade_risk"] is False


def test_one_signal_is_undisturbed() -> None:
    """Alone a signal gives the cap, no median, and RDS is not hit, simulated or not."""
    for direct in (False, True):
        answer = fm_answer([60.0], [0.0], direct=direct)
        assert answer["stereo"]["snr_local_db"] == CAP_DB
        assert answer["stereo"]["snr_decile_db"] == CAP_DB
        assert answer["stereo"]["snr_median_db"] is None
        assert answer["rds"]["hit"] is False


def test_rds_is_hit_where_stereo_is_poor() -> None:
    """Equal signals 10 us apart hit RDS; an echo 30 dB down does not."""
    assert fm_answer([60.0, 60.0], [0.0, 10.0])["rds"]["hit"] is True
    assert fm_answer([60.0, 30.0], [0.0, 10.0])["rds"]["hit"] is False


def test_margin_is_named_and_not_taken_off() -> None:
    """The implementation margin stands beside the S/N; the label alone allows for it."""
    stereo = fm_answer([60.0, 30.0], [0.0, 3.0])["stereo"]
    assert stereo["implementation_margin_db"] == 2.0
    assert stereo["snr_local_db"] > 50
    assert stereo["label"] == "as ITU-R BS.412 asks"


def test_unusable_lists_are_refused_in_words() -> None:
    """Lengths that differ, nothing at all, and numbers that are none."""
    with pytest.raises(ValueError, match="two lists of one length, with a signal or more, got 2 and 1"):
        fm_answer([60.0, 50.0], [1.0])
    with pytest.raises(ValueError, match="with a signal or more, got 0 and 0"):
        fm_answer([], [])
    with pytest.raises(ValueError, match="levels_dbuvm must be finite numbers, got nan"):
        fm_answer([60.0, float("nan")], [1.0, 2.0])
    with pytest.raises(ValueError, match="level_difference_db must be 0 dB or more, got -3"):
        direct_statistics([-3.0], [1.0])
    with pytest.raises(ValueError, match="must be lists of one length"):
        direct_statistics([3.0, 4.0], [1.0])


def test_direct_answer_is_the_same_each_time(pair: dict[str, Any]) -> None:
    """Draws are seeded: a page loaded again shows the same numbers."""
    again = fm_answer([70.0, 64.0], [0.0, 5.0], direct=True)
    assert again["stereo"]["snr_local_db"] == pytest.approx(pair["stereo"]["snr_local_db"], abs=1e-6)


def test_spread_of_three_near_equal_signals_helps() -> None:
    """Within 1.5 dB and 1.2 us of each other they nearly cancel; a spread of levels takes them out of it."""
    close, spread = (
        direct_statistics([1.0, 1.5], [1.0, -1.2], spread_db=db, most_rounds=1).found["stereo"] for db in (0.0, 12.0)
    )
    assert close["decile"] == pytest.approx(spread["decile"], abs=1e-3), (
        "the same draws; the last digits are the machine's"
    )
    assert spread["local"] > close["local"] + 2


def test_mismatch_of_deviation_shows() -> None:
    """Aligned signals with 1 % deviation too much on one lose what alignment gave, whichever it is."""
    signals = ([57.0, 60.0], [4.0, 4.0])
    apart = fm_answer(*signals, direct=True, deviation_mismatch_ratio=[0.01, 0.0])
    assert apart["mono"]["snr_median_db"] == pytest.approx(49.3, abs=3)
    other = direct_statistics([3.0], [0.0], deviation_mismatch_ratio=[1 / 0.99 - 1], most_rounds=1).found
    assert other["mono"]["median"] == pytest.approx(apart["mono"]["snr_median_db"], abs=1)
    with pytest.raises(ValueError, match="need direct=True: the table is without them"):
        fm_answer(*signals, carrier_offset_hz=[0.0, 400.0])
