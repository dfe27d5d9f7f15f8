"""The made programme holds what multipath takes away first."""

import numpy as np

from sfn.systems.fm_direct import phase_sets
from sfn.systems.fm_tune import RATE_HZ, made_programme


def test_programme_has_highs_and_two_sides() -> None:
    """Ten seconds, peak 1, alike at each start, with something above 4 kHz and in the difference of the sides."""
    audio = made_programme()
    assert audio.shape == (2, 10 * RATE_HZ)
    assert np.abs(audio).max() == 1.0
    assert np.array_equal(audio, made_programme())
    power = np.abs(np.fft.rfft(audio, axis=1)) ** 2
    assert 0.005 < power[:, 40_000:].sum() / power.sum() < 0.3
    difference, total = np.std(audio[0] - audio[1]), np.std(audio[0] + audio[1])
    assert 0.2 < difference / total < 1.5


def test_worst_phases_are_worse_than_typical_ones() -> None:
    """The set of the worst tenth gives less S/N than the typical one; so many phases as echoes."""
    for levels, delays in (([6.0], [8.0]), ([6.0, 9.0], [8.0, -5.0])):
        found = phase_sets(levels, delays)
        assert found["worst tenth"].snr_db < found["typical"].snr_db
        assert found["typical"].phase_rad.shape == (len(levels),)
