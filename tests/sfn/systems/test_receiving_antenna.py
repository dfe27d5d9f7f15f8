"""Roof antennas: discrimination by angle, band and polarisation."""

import numpy as np
import pytest

from sfn.systems.receiving_antenna import (
    BAND_I,
    BAND_II,
    BAND_III,
    BANDS_IV_V,
    aimed_levels,
    relative_gain_db,
    roof_antenna,
)


@pytest.mark.parametrize(
    ("frequency_mhz", "antenna"),
    [(50, BAND_I), (98.3, BAND_II), (223.936, BAND_III), (474, BANDS_IV_V), (698, BANDS_IV_V)],
)
def test_the_band_chooses_the_antenna(frequency_mhz: float, antenna) -> None:
    """Each broadcasting band has its Recommendation's antenna."""
    assert roof_antenna(frequency_mhz) is antenna


def test_no_recommendation_no_antenna() -> None:
    """Outside the broadcasting bands the bands are listed."""
    with pytest.raises(ValueError, match="162-254"):
        roof_antenna(1468)


@pytest.mark.parametrize("antenna", [BAND_I, BAND_II, BAND_III, BANDS_IV_V])
def test_gain_is_even_periodic_and_falls(antenna) -> None:
    """Left is as right, turns don't count, and gain never rises away from the axis."""
    angles = np.arange(0, 181)
    gains = relative_gain_db(angles, antenna=antenna)

    np.testing.assert_allclose(relative_gain_db(-angles, antenna=antenna), gains)
    np.testing.assert_allclose(relative_gain_db(angles + 720.0, antenna=antenna), gains)
    assert (np.diff(gains) <= 0).all()
    assert gains[-1] == -antenna.discrimination_db


def test_the_other_polarisation_never_adds_to_the_angle() -> None:
    """BT.419: 16 dB at every angle; BS.599: at least 10 dB."""
    assert relative_gain_db([0, 40, 90], antenna=BANDS_IV_V, orthogonal=True).tolist() == [-16, -16, -16]
    assert relative_gain_db([0, 90], antenna=BAND_II, orthogonal=True).tolist() == [-10, -12]


def test_antennas_point_to_the_strongest_unless_told() -> None:
    """The strongest keeps its level, one behind loses 16 dB; aimed at the other it is the other way round."""
    levels = np.array([[60.0], [55.0], [np.nan]])
    bearings = np.array([[10.0], [190.0], [0.0]])
    strongest = aimed_levels(levels, bearing_deg=bearings, antenna=BANDS_IV_V)
    other = aimed_levels(levels, bearing_deg=bearings, antenna=BANDS_IV_V, aim_deg=[190.0])

    np.testing.assert_array_equal(strongest, [[60], [39], [np.nan]])
    np.testing.assert_array_equal(other, [[44], [55], [np.nan]])


def test_a_site_of_the_other_polarisation_loses_it() -> None:
    """Even straight ahead an orthogonal signal is 16 dB down."""
    aimed = aimed_levels([[60.0], [50.0]], bearing_deg=[[0.0], [0.0]], antenna=BANDS_IV_V, orthogonal=[False, True])

    assert aimed.tolist() == [[60.0], [34.0]]
