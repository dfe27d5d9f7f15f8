"""S/N from the table: interpolation, local spread, combination of echoes, maps."""

import numpy as np
import pytest

from sfn.systems.fm import (
    CAP_DB,
    TOGETHER,
    TOGETHER_FROM_RATIO,
    LocalTable,
    label,
    local_noise,
    local_table,
    quality,
    snr,
    snr_local,
    together_db,
)
from sfn.systems.fm_programme import noise_programme
from sfn.systems.fm_simulation import Ray, phases, two_path_snr
from sfn.systems.fm_table import Table, load

MODES = ("mono", "stereo", "mono-of-stereo")


@pytest.fixture(scope="module")
def table() -> Table:
    """The table that ships."""
    return load()


@pytest.fixture(scope="module")
def local(table: Table) -> LocalTable:
    """The stereo table of maps."""
    return local_table("stereo", table=table)


def test_nodes_come_back(table: Table) -> None:
    """At a node the answer is the node, up to the cap."""
    delays = table.parameters.delays_us()
    for quantity, mode in enumerate(MODES):
        found = snr(-6.0, delays[20:50], mode=mode, statistic="median", table=table)
        assert found == pytest.approx(np.minimum(table.snr_db[quantity, 0, 10, 20:50], CAP_DB), abs=1e-9)


def test_between_nodes_the_simulation_agrees(table: Table) -> None:
    """Away from nodes, table and simulation differ by no more than noise realisations do."""
    for mode, weaker_db, delay_us in (("stereo", 7.1, 6.3), ("mono", 4.6, 11.7), ("mono-of-stereo", 9.2, 3.1)):
        found = [
            np.quantile(
                two_path_snr(
                    noise_programme(seed, stereo=mode != "mono"),
                    Ray(-weaker_db, delay_us),
                    phase_rad=phases(16),
                    mode=mode,
                ),
                [0.5, 0.1],
                method="hazen",
            )
            for seed in (1, 2)
        ]
        median, decile = np.mean(found, axis=0)
        assert snr(weaker_db, delay_us, mode=mode, statistic="median", table=table) == pytest.approx(median, abs=1.0)
        assert snr(weaker_db, delay_us, mode=mode, statistic="decile", table=table) == pytest.approx(decile, abs=1.5)


def test_signs_do_not_matter(table: Table) -> None:
    """Level and delay differences count by their size."""
    expected = snr(-5.0, 12.0, mode="stereo", table=table)
    assert expected == snr(5.0, 12.0, mode="stereo", table=table)
    assert expected == snr(-5.0, -12.0, mode="stereo", table=table)


def test_beyond_30_db_each_db_counts(table: Table) -> None:
    """From 30 to 37 dB S/N rises by 7 dB."""
    at_30, at_37 = snr([30.0, 37.0], 20.0, mode="stereo", table=table)
    assert at_37 - at_30 == pytest.approx(7.0, abs=1e-9)


def test_limits_of_delay_and_cap(table: Table) -> None:
    """Signals within 0.25 us do not distort; beyond 108 us the answer is held; 60 dB is the greatest."""
    assert snr(0.0, [0.0, 0.1, 0.249], mode="stereo", table=table) == pytest.approx([CAP_DB] * 3)
    far = snr(3.0, [120.0, 200.0, 900.0], mode="stereo", table=table)
    assert far == pytest.approx(np.full(3, far[0]))
    assert snr(90.0, 20.0, mode="stereo", table=table) == CAP_DB
    assert np.isnan(snr(np.nan, 1.0, mode="mono", table=table))


def test_unknown_names_are_refused_in_words(table: Table) -> None:
    """A mode or statistic that does not exist is answered with those that do."""
    with pytest.raises(ValueError, match="mode must be one of mono, stereo, mono-of-stereo, rds, got surround"):
        snr(1.0, 1.0, mode="surround", table=table)
    with pytest.raises(ValueError, match="statistic must be one of median, decile, mean, got best"):
        snr(1.0, 1.0, mode="mono", statistic="best", table=table)
    with pytest.raises(ValueError, match="spread_db must be 0 to 12 dB, got 60"):
        local_table("mono", spread_db=60.0, table=table)


def test_local_spread_is_the_mean_over_draws(table: Table, local: LocalTable) -> None:
    """The local value is the mean worst decile of 200 000 drawn level differences, folded at zero."""
    draws = np.random.default_rng(4).standard_normal(200_000) * local.spread_db
    for weaker_db, delay_us in ((0.0, 5.0), (4.0, 12.0), (12.0, 2.5)):
        drawn = snr(weaker_db + draws, delay_us, mode="stereo", table=table, cap_db=70.0).mean()
        assert snr_local(weaker_db, delay_us, local=local) == pytest.approx(drawn, abs=0.15)


def test_the_equal_signal_line_is_no_good_place(table: Table, local: LocalTable) -> None:
    """At 8 us the median promises most where signals are equal; the local value is worst there."""
    levels = np.arange(0.0, 25.0, 1.0)
    promised = snr(levels[:4], 3.0, mode="stereo", statistic="median", table=table)
    assert promised[0] == promised.max()
    found = snr_local(levels, 8.0, local=local)
    assert (np.diff(found) > 0).all()


def test_no_spread_is_the_decile(table: Table) -> None:
    """With a spread of 0 dB the local value is the worst decile itself."""
    sharp = local_table("mono", spread_db=0.0, table=table)
    weaker = np.array([0.0, 2.0, 7.0, 20.0])
    expected = snr(weaker, 9.0, mode="mono", table=table)
    assert snr_local(weaker, 9.0, local=sharp) == pytest.approx(expected, abs=0.1)


def test_maps_agree_with_single_answers(local: LocalTable) -> None:
    """The compiled loop gives what adding single echoes gives, with the signal that limits."""
    rng = np.random.default_rng(7)
    level = rng.uniform(20, 90, (6, 3000))
    level[rng.random(level.shape) < 0.3] = np.nan
    arrival = rng.uniform(-150, 150, level.shape)
    arrival[1] = arrival[0] + rng.uniform(-0.5, 0.5, 3000)
    found = quality(level, arrival, local=local)
    for k in range(0, 3000, 7):
        there = np.flatnonzero(~np.isnan(level[:, k]))
        if not there.size:
            assert np.isnan(found.snr_local_db[k])
            assert found.strongest[k] == -1
            continue
        best = there[level[there, k].argmax()]
        others = there[there != best]
        weaker, late = level[best, k] - level[others, k], arrival[others, k] - arrival[best, k]
        noise = local_noise(weaker, late, local=local)
        sum_db = -20 * np.log10(noise.sum() + local.floor_factor)
        if noise.size > 1:
            ray, worst = 10 ** (-weaker / 20), noise.argmax()
            gap_db = 20 * np.log10((noise.sum() + local.floor_factor) / (noise[worst] + local.floor_factor))
            in_part = min((ray.sum() - ray[worst]) / TOGETHER_FROM_RATIO, 1)
            a_db, b, c = TOGETHER[local.quantity]
            sum_db += min(in_part * (a_db + b * sum_db + c * gap_db), gap_db)
        assert found.strongest[k] == best
        assert found.snr_local_db[k] == pytest.approx(min(sum_db, CAP_DB), abs=0.02)  # r within 0.3 %
        assert together_db(weaker, late, local=local) == pytest.approx(sum_db, abs=1e-6)
        assert found.limiting[k] == (others[noise.argmax()] if noise.any() else -1)
        assert found.amplitude_sum_ratio[k] == pytest.approx((10 ** (-weaker / 20)).sum(), rel=0.003, abs=1e-4)


def test_one_more_echo_never_helps(local: LocalTable) -> None:
    """S/N with three signals is at most that with two."""
    level = np.array([[60.0] * 50, [55.0] * 50, list(np.linspace(20, 60, 50))])
    arrival = np.array([[0.0] * 50, [4.0] * 50, [9.0] * 50])
    two = quality(level[:2], arrival[:2], local=local).snr_local_db
    three = quality(level, arrival, local=local).snr_local_db
    assert (three <= two + 1e-12).all()


def test_common_delay_does_not_matter(local: LocalTable) -> None:
    """Only differences of arrival count."""
    rng = np.random.default_rng(1)
    level, arrival = rng.uniform(30, 80, (4, 200)), rng.uniform(0, 50, (4, 200))
    here = quality(level, arrival, local=local).snr_local_db
    assert quality(level, arrival + 122_600.4549, local=local).snr_local_db == pytest.approx(here, abs=1e-4)


def test_single_precision_levels_will_do(local: LocalTable) -> None:
    """Rasters of levels in float32 give the same within 0.001 dB."""
    rng = np.random.default_rng(2)
    level, arrival = rng.uniform(30, 80, (4, 200)), rng.uniform(0, 50, (4, 200))
    exact = quality(level, arrival, local=local).snr_local_db
    assert quality(level.astype(np.float32), arrival, local=local).snr_local_db == pytest.approx(exact, abs=1e-3)


def test_a_level_without_arrival_is_no_answer(local: LocalTable) -> None:
    """Where an arrival is missing the S/N is NaN, never a guess; without a level it is not missed."""
    level = np.array([[60.0, 60.0, 60.0], [50.0, 50.0, np.nan]])
    arrival = np.array([[0.0, np.nan, 0.0], [np.nan, 3.0, np.nan]])
    found = quality(level, arrival, local=local).snr_local_db
    assert np.isnan(found).tolist() == [True, True, False]


def test_shapes_that_do_not_fit_are_refused(local: LocalTable) -> None:
    """Both arrays must be (S, M)."""
    with pytest.raises(ValueError, match=r"of one shape \(S, M\), got \(2, 3\) and \(3, 2\)"):
        quality(np.zeros((2, 3)), np.zeros((3, 2)), local=local)


def test_labels_follow_their_limits() -> None:
    """Each limit belongs to the better word."""
    said = [label(snr_db) for snr_db in (50.0, 49.9, 40.0, 30.0, 20.0, 19.9, np.nan)]
    assert said == ["as ITU-R BS.412 asks", "good", "good", "fair", "noticeable distortion", "bad", "no signal"]


# Levels [dB] and arrivals [us] of echoes against the strongest; worst decile, mean over a spread of 8 dB, in stereo and
# in mono of a stereo programme, by direct simulation of 192 draws each (variance taken out by the same draws of a
# cruder rule): chance is 0.8 dB rms.
SIMULATED = (
    ((7.1, 9.1), (0.8, -4.0), 26.9, 38.0),
    ((3.9, 7.4, 9.9), (-11.9, 10.3, 1.6), 6.5, 15.1),
    ((9.6, 12.2), (-0.8, -5.3), 26.0, 38.0),
    ((1.2, 3.2, 8.4), (-0.5, -2.1, 2.3), 32.5, 42.0),
    ((1.1, 1.3, 4.3, 6.5, 10.6), (3.3, -4.3, 9.3, 2.1, -21.6), 7.3, 14.7),
    ((8.3, 9.4, 13.1, 13.8), (22.9, -5.8, -1.2, -2.1), 10.7, 17.6),
    ((4.9, 6.4), (4.9, -13.9), 9.4, 18.2),
    ((1.3, 13.9), (2.6, -0.9), 27.3, 38.4),
    ((2.0, 3.0, 3.9, 5.1, 14.6), (10.1, -9.1, -11.1, 12.6, -23.8), 5.3, 11.0),
    ((2.6, 5.0, 10.3), (0.5, 37.7, 7.9), 8.2, 16.4),
    ((0.7, 8.5, 9.0, 10.6), (-3.0, -0.5, 23.8, 0.4), 14.4, 21.5),
    ((2.2, 5.0, 8.3, 9.0, 14.4), (-20.3, 21.2, -24.9, 0.9, 3.0), 6.0, 12.3),
    ((0.2, 3.4, 5.6, 8.4), (-6.0, 6.2, -0.5, -1.0), 8.4, 19.7),
    ((6.1, 8.3, 8.3, 15.0), (1.2, 3.7, -13.1, 5.1), 10.5, 20.0),
)


def test_three_and_more_signals_agree_with_the_direct_simulation(table: Table) -> None:
    """No set is more than 3 dB too good but for its chance, and the mean is within 1 dB of so few."""
    for place, mode in ((2, "stereo"), (3, "mono-of-stereo")):
        wide = local_table(mode, spread_db=8.0, table=table)
        off = np.array([together_db(each[0], each[1], local=wide) - each[place] for each in SIMULATED])
        assert off.max() < 3.0 + 0.8, mode
        assert abs(off.mean()) < 1.0, mode
