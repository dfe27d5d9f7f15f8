"""Services with another programme."""

import numpy as np
import pytest

from sfn.systems.bs412 import minimum_field, nuisance_field, protection_ratio, unrelated_snr


def test_ratios_are_linear_between_rows_and_end_at_400_khz() -> None:
    """Half way between two rows stands their mean; beyond the last no ratio is asked."""
    assert protection_ratio(112.5, stereo=True, interference="steady") == pytest.approx((33 + 24.5) / 2)
    assert protection_ratio(401, stereo=True, interference="steady") == -np.inf


def test_powers_of_several_services_add() -> None:
    """Two equal ones cost 3 dB; one that is absent costs nothing."""
    one = nuisance_field([30.0], [0.0], stereo=True)
    assert nuisance_field([30.0, 30.0], [0.0, 0.0], stereo=True) == pytest.approx(one + 3.0103, abs=1e-4)
    assert nuisance_field([30.0, np.nan], [0.0, 100.0], stereo=True) == pytest.approx(float(one))


def test_rasters_of_services_are_taken_place_by_place() -> None:
    """Levels (N, M) give a field (M,), and where nobody else is, S/N is the cap."""
    level = np.array([[30.0, np.nan], [20.0, np.nan]])
    field = nuisance_field(level, [0.0, 100.0], stereo=False)
    assert field[0] == pytest.approx(10 * np.log10(10**6.6 + 10**3.2))
    assert unrelated_snr(70.0, field)[1] == 60.0
    assert unrelated_snr(field[0], field)[0] == 50.0


def test_unknown_words_are_refused() -> None:
    """Areas and kinds of interference are answered with those there are."""
    with pytest.raises(ValueError, match="area must be one of quiet, rural, urban, large city, got town"):
        minimum_field("town", stereo=True)
    with pytest.raises(ValueError, match="interference must be steady or tropospheric, got rare"):
        protection_ratio(0, stereo=True, interference="rare")  # type: ignore[arg-type]
