"""The programme and its multiplex."""

import numpy as np
import pytest
import scipy.signal

from sfn.systems.fm_programme import (
    LINE_HZ,
    Kind,
    coloured_noise,
    emphasis,
    lines_of,
    multiplex_lines,
    noise_programme,
    rms,
    waveform,
)


def test_de_emphasis_is_the_analogue_filter() -> None:
    """The inverse of our pre-emphasis is scipy.signal's one-pole low pass."""
    frequency_hz = np.geomspace(30, 15_000, 30)
    for time_constant_us in (50.0, 75.0):
        _, response = scipy.signal.freqs([1], [time_constant_us * 1e-6, 1], worN=2 * np.pi * frequency_hz)
        assert np.abs(response * emphasis(frequency_hz, emphasis_us=time_constant_us) - 1).max() < 1e-12


def test_lines_and_waveform_are_inverse() -> None:
    """A signal comes back from its lines."""
    noise = coloured_noise(3)[0]
    assert lines_of(waveform(noise, 12_000), noise.size) == pytest.approx(noise, abs=1e-12)


def test_colour_follows_its_curve() -> None:
    """Power density between 300 and 500 Hz stands 10.0 dB over that between 3.5 and 4.5 kHz."""
    power = np.mean([np.abs(coloured_noise(seed)[0]) ** 2 for seed in range(20)], axis=0)
    frequency_hz = np.arange(power.size) * LINE_HZ
    low = power[(frequency_hz >= 300) & (frequency_hz <= 500)].mean()
    high = power[(frequency_hz >= 3500) & (frequency_hz <= 4500)].mean()
    assert 10 * np.log10(low / high) == pytest.approx(10.0, abs=0.6)


def test_multiplex_is_the_pilot_tone_sum_in_time() -> None:
    """Lines of the stereo multiplex are M + S sin 2wt + pilot, sample by sample."""
    audio = coloured_noise(4, count=2) * 10
    lines = multiplex_lines(audio, emphasis_us=0)
    samples = 64_000
    left, right = waveform(audio, samples)
    angle = 2 * np.pi * 19_000 * np.arange(samples) * 0.25 / samples
    expected = (left + right) / 2 + (left - right) / 2 * np.sin(2 * angle) + 6.75 * np.sin(angle)
    assert waveform(lines, samples) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("stereo", [False, True])
def test_multiplex_power_is_as_asked(stereo: bool) -> None:
    """At +3 dBr the multiplex has twice the power of a tone of +-19 kHz, the pilot included."""
    programme = noise_programme(2, stereo=stereo, level_dbr=3.0)
    assert rms(programme.multiplex) == pytest.approx(19 / np.sqrt(2) * 10 ** (3 / 20), rel=1e-12)


def test_out_of_range_values_are_refused_in_words() -> None:
    """Levels and time constants outside use are named."""
    with pytest.raises(ValueError, match="level_dbr must be -8 to 12 dBr, got 50"):
        noise_programme(1, stereo=False, level_dbr=50)
    with pytest.raises(ValueError, match="emphasis_us must be 0 to 100 us, got 750"):
        emphasis(1000, emphasis_us=750)


@pytest.mark.parametrize("kind", ["speech", "light", "dense"])
def test_a_programme_of_a_kind_has_its_power_and_keeps_to_its_peak(kind: Kind) -> None:
    """+6 dBr is 26.81 kHz rms (twice 13.435), clipped behind the pre-emphasis; S over M is the kind's."""
    made = noise_programme(3, stereo=True, emphasis_us=75.0, level_dbr=6.0, kind=kind)
    assert float(rms(made.multiplex)) == pytest.approx(13.435 * 10 ** (6 / 20), abs=0.01)
    assert np.abs(waveform(made.multiplex, 304_000)).max() < 1.06 * 75.0
    quiet = noise_programme(3, stereo=True, level_dbr=-6.0, kind=kind)
    mid, side = (quiet.audio[0] + quiet.audio[1]) / 2, (quiet.audio[0] - quiet.audio[1]) / 2
    expected_db = {"speech": -20.0, "light": -6.0, "dense": -3.0}[kind]
    assert 20 * np.log10(rms(side) / rms(mid)) == pytest.approx(expected_db, abs=0.01)


def test_an_unknown_kind_is_refused() -> None:
    """The answer lists what there is."""
    with pytest.raises(ValueError, match="kind must be one of speech, light, dense, got news"):
        noise_programme(1, stereo=True, kind="news")  # type: ignore[arg-type]
