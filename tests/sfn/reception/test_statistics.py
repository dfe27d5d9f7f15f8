"""Log-normal sums and coverage probability against 10^6 draws and against each other."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from sfn.reception.statistics import (
    coverage_probability,
    k_lnm_sum,
    schwartz_yeh_sum,
    share_above,
    simulated_coverage,
)
from sfn.systems.ofdm import ofdm_answer, window
from sfn.systems.ofdm_window import Placing
from sfn.systems.service import service

DRAWS = 1_000_000
SIGMA_DB = 5.5
SUMS = [(60, 60), (60, 57), (60, 60, 60), (60, 57, 54), (60,) * 7]
DAB = service("dab-mode-1")


def drawn(fields_dbuvm: tuple[int, ...]) -> np.ndarray:
    """Sums of 10^6 draws of independent log-normal fields. [dBuV/m]"""
    rng = np.random.default_rng(sum(fields_dbuvm))
    total = np.zeros(DRAWS)
    for field in fields_dbuvm:
        total += 10 ** ((field + SIGMA_DB * rng.standard_normal(DRAWS)) / 10)
    return 10 * np.log10(total)


@pytest.mark.parametrize("fields_dbuvm", SUMS)
def test_sums_against_a_million_draws(fields_dbuvm: tuple[int, ...]) -> None:
    """K = 0.7 gives the field that 95 % of places exceed within 0.45 dB and the median within 0.4 dB; Schwartz and
    Yeh give mean and spread within 0.03 and 0.08 dB.
    """
    sums = drawn(fields_dbuvm)
    median, sigma = k_lnm_sum(fields_dbuvm, sigma_db=SIGMA_DB)
    mean, spread = schwartz_yeh_sum(fields_dbuvm, sigma_db=SIGMA_DB)

    assert abs(median - 1.6449 * sigma - np.percentile(sums, 5)) < 0.45
    assert abs(median - np.median(sums)) < 0.4
    assert abs(mean - sums.mean()) < 0.03
    assert abs(spread - sums.std()) < 0.08


def test_a_smaller_k_is_more_optimistic_about_the_weak_places() -> None:
    """From k = 1 over 0.7 to 0.5 the field that 95 % of places exceed rises."""
    served = [m - 1.6449 * s for m, s in (k_lnm_sum((60, 57), sigma_db=SIGMA_DB, k_factor=k) for k in (1, 0.7, 0.5))]

    assert served == sorted(served)
    assert served[2] - served[0] > 1


def test_one_field_is_its_own_sum() -> None:
    """With k = 1 a single field comes back; NaN fields are not there; nothing sums to nothing."""
    median, sigma = k_lnm_sum([[60.0, np.nan], [np.nan, np.nan]], sigma_db=SIGMA_DB, k_factor=1.0)

    assert median[0] == pytest.approx(60)
    assert sigma[0] == pytest.approx(SIGMA_DB)
    assert np.isnan(median[1])
    assert schwartz_yeh_sum([60.0], sigma_db=SIGMA_DB) == (60.0, SIGMA_DB)


def test_fields_that_do_not_vary_add_as_powers() -> None:
    """At no spread the sum is the power sum, without spread."""
    median, sigma = k_lnm_sum([60.0, 57.0], sigma_db=0.0)

    assert median == pytest.approx(61.764, abs=1e-3)
    assert sigma == 0


def test_sums_run_over_the_first_axis() -> None:
    """A raster gives what each point's list gives."""
    fields = np.random.default_rng(1).normal(50, 10, (4, 3, 5))
    median, sigma = k_lnm_sum(fields, sigma_db=SIGMA_DB)
    one = k_lnm_sum(fields[:, 1, 2], sigma_db=SIGMA_DB)

    assert median.shape == (3, 5)
    assert [median[1, 2], sigma[1, 2]] == pytest.approx([float(v) for v in one])


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: k_lnm_sum([60], sigma_db=5.5, k_factor=0), "k_factor"),
        (lambda: k_lnm_sum([60], sigma_db=-1), "sigma_db"),
        (lambda: schwartz_yeh_sum([np.nan], sigma_db=5.5), "finite"),
        (lambda: coverage_probability([[60.0]], [[0.0]], DAB, window_us=[0.0], k_factor=2), "k_factor"),
        (lambda: coverage_probability([[60.0]], [[0.0]], DAB, window_us=[0.0, 1.0]), "one shape"),
        (lambda: coverage_probability([[60.0]], [[0.0]], DAB, window_us=[0.0], noise_dbuvm=[1.0, 2.0]), "noise"),
    ],
)
def test_unusable_arguments_are_named(call, words: str) -> None:
    """The message names the argument."""
    with pytest.raises(ValueError, match=words):
        call()


def test_share_above_its_own_median_is_one_half() -> None:
    """Half of the places exceed the median; without spread it is all or none."""
    assert share_above(50.0, sigma_db=5.5, threshold_dbuvm=50.0) == 0.5
    assert share_above([60.0, 40.0, np.nan], sigma_db=0.0, threshold_dbuvm=50.0).tolist()[:2] == [1, 0]


def test_statistical_gain_of_two_signals_in_the_guard_interval() -> None:
    """60 and 57 dBuV/m over a least field of 56: 0.766 alone, 0.957 together; the kernel and the formula agree."""
    noise = 56.0 - DAB.required_cn_db
    alone = coverage_probability([[60.0]], [[0.0]], DAB, window_us=[0.0], noise_dbuvm=noise, k_factor=1.0)
    both = coverage_probability([[60.0], [57.0]], [[0.0], [90.0]], DAB, window_us=[0.0], noise_dbuvm=noise)
    median, sigma = k_lnm_sum([60.0, 57.0], sigma_db=SIGMA_DB)

    assert alone[0] == pytest.approx(0.766, abs=1e-3)
    assert both[0] == pytest.approx(float(share_above(median, sigma_db=sigma, threshold_dbuvm=56.0)), abs=1e-6)


def lists(count: int):
    """Lists of two to six signals, many with delays beyond the guard interval, and a window for each."""
    rng = np.random.default_rng(5)
    for _ in range(count):
        n = int(rng.integers(2, 7))
        levels, arrivals = rng.normal(52, 7, n), rng.uniform(0, 3 * DAB.guard_us, n)
        yield levels, arrivals, window(Placing("strongest"), levels, arrivals, service=DAB)


def test_coverage_with_self_interference_against_draws() -> None:
    """Over fifty lists the correlated formula errs by 0.03 rms and 0.1 at most; independent parts err more, and towards
    the optimistic side: this is why the correlated one is the default.
    """
    noise = ofdm_answer([60], [0], DAB)["noise_dbuvm"]
    errors = []
    for levels, arrivals, t0 in lists(50):
        true = simulated_coverage(levels, arrivals, DAB, window_us=t0, noise_dbuvm=noise)
        errors.append(
            [
                coverage_probability(levels[:, None], arrivals[:, None], DAB, window_us=[t0], correlated=c)[0] - true
                for c in (True, False)
            ]
        )
    correlated, independent = np.array(errors).T

    assert np.sqrt(np.mean(correlated**2)) < 0.03
    assert np.abs(correlated).max() < 0.1
    assert np.sqrt(np.mean(independent**2)) > np.sqrt(np.mean(correlated**2))
    assert independent.mean() > abs(correlated.mean())


def test_coverage_over_many_points_is_that_of_each_and_threads_change_nothing() -> None:
    """NaN signals count for nothing, points without any are NaN, two threads give the same numbers."""
    rng = np.random.default_rng(8)
    levels, arrivals = rng.normal(50, 10, (6, 70_000)), rng.uniform(0, 500, (6, 70_000))
    levels[rng.random(levels.shape) < 0.2] = np.nan
    levels[:, 3] = np.nan
    rare = levels + 3
    windows = arrivals.min(axis=0)
    together = coverage_probability(levels, arrivals, DAB, window_us=windows, level_1pct_dbuvm=rare)
    with ThreadPoolExecutor(2) as executor:
        shared = coverage_probability(
            levels, arrivals, DAB, window_us=windows, level_1pct_dbuvm=rare, executor=executor
        )

    np.testing.assert_array_equal(together, shared)
    assert np.isnan(together[3])
    for m in (0, 1, 69_999):
        there = np.isfinite(levels[:, m])
        lone = coverage_probability(
            levels[there, m][:, None], arrivals[there, m][:, None], DAB,
            window_us=windows[[m]], level_1pct_dbuvm=rare[there, m][:, None],
        )  # fmt: skip
        assert together[m] == pytest.approx(lone[0], abs=1e-6)


def test_a_window_without_anything_useful_covers_nobody() -> None:
    """A window far from every signal gives probability 0; certain reception gives 1."""
    far = coverage_probability([[60.0]], [[0.0]], DAB, window_us=[9000.0])
    sure = coverage_probability([[90.0]], [[0.0]], DAB, window_us=[0.0], sigma_db=0.0)

    assert (far[0], sure[0]) == (0, 1)
