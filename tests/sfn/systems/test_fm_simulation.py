"""The discriminator with echoes, against time-domain filters and itself."""

import numpy as np
import pytest
import scipy.signal

from sfn.systems.fm_decoder import audio_of, residual
from sfn.systems.fm_programme import SAMPLE_RATE_HZ, noise_programme, rms, waveform
from sfn.systems.fm_simulation import (
    SAMPLES,
    Ray,
    many_path_error,
    noise_ratio,
    phase_difference,
    phases,
    signal_phase,
    two_path_error,
    two_path_snr,
)


def test_mono_receiver_agrees_with_filters_in_time() -> None:
    """Phase by unwrapping, differences, an FIR low pass and a bilinear de-emphasis give the same audio."""
    programme = noise_programme(3, stereo=False)
    ray = Ray(-6.0, 5.0)
    error = two_path_error(phase_difference(programme, ray), level_difference_db=6.0, phase_rad=2.5, lines_n=3751)
    lines = audio_of(error + programme.multiplex[:3751], stereo=False, emphasis_us=50)[0, 0]
    half_sample = np.exp(1j * np.pi * np.arange(3751) * 4 / SAMPLE_RATE_HZ)  # differences lie between samples
    ours = waveform(lines * half_sample, SAMPLES)

    theta = waveform(signal_phase(programme.multiplex), SAMPLES)
    late = waveform(signal_phase(programme.multiplex, 5.0), SAMPLES)
    received = np.exp(1j * theta) + 10 ** (-6 / 20) * np.exp(1j * (late + 2.5))
    periods = np.tile(received, 2)
    frequency_khz = np.diff(np.unwrap(np.angle(periods))) * SAMPLE_RATE_HZ / (2e3 * np.pi)
    low_pass = scipy.signal.firwin(4001, 16_000, fs=SAMPLE_RATE_HZ)
    taps = scipy.signal.bilinear([1], [50e-6, 1], fs=SAMPLE_RATE_HZ)
    filtered = scipy.signal.lfilter(*taps, scipy.signal.oaconvolve(frequency_khz, low_pass))
    theirs = filtered[SAMPLES + 2000 :][: SAMPLES - 6000]  # past the filters' start, their delay taken off
    difference = theirs - ours[: theirs.size]
    assert np.std(difference) < 0.003 * np.std(theirs)


def test_many_paths_with_one_echo_are_two_paths() -> None:
    """The general form agrees with the fast one, also where the signals almost cancel."""
    programme = noise_programme(1, stereo=True)
    delta = phase_difference(programme, Ray(-1.0, 3.0))
    psi = np.array([0.5, 3.1])
    fast = two_path_error(delta, level_difference_db=1.0, phase_rad=psi, lines_n=15_001)
    general = many_path_error(delta[None], level_difference_db=[1.0], phase_rad=psi[:, None], lines_n=15_001)
    assert rms(fast - general) == pytest.approx([0, 0], abs=1e-4 * rms(fast).min())


def test_an_echo_in_two_halves_is_one_echo() -> None:
    """Two rays of half the amplitude, same delay and phase, are one ray."""
    programme = noise_programme(1, stereo=False)
    delta = phase_difference(programme, Ray(-4.0, 8.0))
    whole = many_path_error(delta[None], level_difference_db=[4.0], phase_rad=[[1.0]], lines_n=3751)
    half_db = 4.0 + 20 * np.log10(2)
    halves = many_path_error(
        np.stack([delta, delta]), level_difference_db=[half_db, half_db], phase_rad=[[1.0, 1.0]], lines_n=3751
    )
    assert rms(whole - halves)[0] < 1e-5 * rms(whole)[0]


def test_sign_of_the_delay_hardly_matters() -> None:
    """An echo that comes first disturbs as one that comes later, within 0.3 dB over the phase."""
    programme = noise_programme(2, stereo=True)
    psi = phases(16)
    later, earlier = (
        np.median(two_path_snr(programme, Ray(-10.0, tau), phase_rad=psi, mode="stereo")) for tau in (12.0, -12.0)
    )
    assert later == pytest.approx(earlier, abs=0.3)


def test_a_stronger_second_ray_is_refused() -> None:
    """The reference is the strongest ray; the other way round is an error in words."""
    programme = noise_programme(2, stereo=False)
    with pytest.raises(ValueError, match="level_difference_db must be 0 dB or more, got -3"):
        two_path_snr(programme, Ray(3.0, 5.0), phase_rad=0.0, mode="mono")


def test_mode_must_fit_the_programme() -> None:
    """A stereo receiver on a mono programme is refused, with the modes there are."""
    programme = noise_programme(2, stereo=False)
    with pytest.raises(ValueError, match="mode must be one of mono, stereo, mono-of-stereo and fit a mono programme"):
        noise_ratio(programme, np.zeros((1, 15_001), dtype=complex), mode="stereo")


def test_a_linear_change_is_no_noise() -> None:
    """Level, delay and crosstalk of the received audio leave no residual; what is foreign stays whole."""
    programme = noise_programme(1, stereo=True)
    frequency_hz = np.arange(3751) * 4.0
    late = programme.audio * np.exp(-2j * np.pi * frequency_hz * 3e-6)
    received = 0.8 * late + 0.1 * late[::-1]
    assert 20 * np.log10(rms(residual(received, programme.audio)) / rms(received)).max() < -55
    foreign = noise_programme(9, stereo=True).audio
    left = 20 * np.log10(rms(residual(foreign, programme.audio)) / rms(foreign))
    assert left == pytest.approx([0, 0], abs=0.5)


def test_a_few_hertz_of_offset_hear_all_phases() -> None:
    """With 4 Hz between carriers the start phase no longer matters: the meter reads the deepest fade."""
    programme = noise_programme(1, stereo=False)
    offset = two_path_snr(programme, Ray(-3.0, 3.0, carrier_offset_hz=4.0), phase_rad=phases(4), mode="mono")
    still = two_path_snr(programme, Ray(-3.0, 3.0), phase_rad=phases(32), mode="mono")
    mean = -10 * np.log10((10 ** (-still / 10)).mean())
    assert np.ptp(offset) < 2.5
    assert offset.mean() == pytest.approx(still.min(), abs=4)
    assert offset.mean() < mean
