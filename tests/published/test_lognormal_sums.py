"""Log-normal sums against values worked out apart from this code."""

from collections.abc import Callable

import pytest

from sfn.reception.statistics import k_lnm_sum, schwartz_yeh_sum, share_above

K_LNM = "k-LNM, EBU/CEPT/GE06 practice (formula from memory), values worked out apart"
DRAWS = "4e6 draws, worked out apart; Schwartz and Yeh, BSTJ 61(7), 1982"


@pytest.mark.parametrize(
    ("fields_dbuvm", "k_factor", "median_dbuvm", "sigma_db"),
    [
        ((60, 60), 1.0, 64.118, 4.542),
        ((60, 60), 0.7, 64.601, 4.054),
        ((60, 60), 0.5, 64.995, 3.607),
        ((60, 57), 0.7, 63.22, 4.20),
        ((60, 60, 60), 0.7, 66.83, 3.52),
        ((60, 57, 54), 1.0, 63.76, 4.33),
        ((60,) * 7, 0.5, 71.39, 2.17),
    ],
)
def test_k_lnm(
    published: Callable[..., None],
    fields_dbuvm: tuple[int, ...],
    k_factor: float,
    median_dbuvm: float,
    sigma_db: float,
) -> None:
    """Median and spread of sums at 5.5 dB."""
    median, sigma = k_lnm_sum(fields_dbuvm, sigma_db=5.5, k_factor=k_factor)
    what = f"k-LNM of {'+'.join(map(str, fields_dbuvm))}, k {k_factor}"
    published(f"{what}, median", float(median), median_dbuvm, tolerance=0.0055, unit="dBuV/m", source=K_LNM)
    published(f"{what}, spread", float(sigma), sigma_db, tolerance=0.0055, unit="dB", source=K_LNM)


@pytest.mark.parametrize(
    ("fields_dbuvm", "mean_dbuvm", "sigma_db", "tolerance_db"),
    [((60, 60), 64.37, 4.21, 0.02), ((60, 57), 63.03, 4.27, 0.02), ((60,) * 7, 71.12, 2.58, 0.07)],
)
def test_schwartz_yeh(
    published: Callable[..., None],
    fields_dbuvm: tuple[int, ...],
    mean_dbuvm: float,
    sigma_db: float,
    tolerance_db: float,
) -> None:
    """Mean and spread of sums at 5.5 dB."""
    mean, sigma = schwartz_yeh_sum(fields_dbuvm, sigma_db=5.5)
    what = f"Schwartz-Yeh of {'+'.join(map(str, fields_dbuvm))}"
    published(f"{what}, mean", mean, mean_dbuvm, tolerance=tolerance_db, unit="dBuV/m", source=DRAWS)
    published(f"{what}, spread", sigma, sigma_db, tolerance=tolerance_db, unit="dB", source=DRAWS)


def test_statistical_gain(published: Callable[..., None]) -> None:
    """60 dBuV/m over 56 serves 76.6 % of the places, with 57 beside it 95.7 %."""
    alone = float(share_above(60.0, sigma_db=5.5, threshold_dbuvm=56.0))
    median, sigma = k_lnm_sum([60.0, 57.0], sigma_db=5.5)
    both = float(share_above(median, sigma_db=sigma, threshold_dbuvm=56.0))
    published("share of places, 60 over 56", alone, 0.766, tolerance=0.001, unit="1", source=K_LNM)
    published("share of places, 60 and 57 over 56", both, 0.957, tolerance=0.001, unit="1", source=K_LNM)
