"""The ideal receiver: channels apart, and noise measured on the right scale."""

import numpy as np
import pytest

from sfn.systems.fm_decoder import audio_of, signal_to_noise
from sfn.systems.fm_programme import Lines, noise_programme, rms


@pytest.mark.parametrize("stereo", [False, True])
@pytest.mark.parametrize("emphasis_us", [50.0, 75.0])
def test_left_and_right_come_back_apart(stereo: bool, emphasis_us: float) -> None:
    """Decoding a multiplex gives the very channels it was made of, 150 dB clean."""
    programme = noise_programme(1, stereo=stereo, emphasis_us=emphasis_us)
    heard = audio_of(programme.multiplex, stereo=stereo, emphasis_us=emphasis_us)
    assert heard.shape == programme.audio.shape
    assert 20 * np.log10(rms(heard - programme.audio) / rms(programme.audio)).max() < -150


def test_carrier_follows_the_received_pilot() -> None:
    """A delay of the whole multiplex delays both channels and mixes nothing."""
    programme = noise_programme(2, stereo=True)
    delay = np.exp(-2j * np.pi * np.arange(programme.multiplex.size) * 4.0 * 7e-6)
    heard = audio_of(programme.multiplex * delay, stereo=True, emphasis_us=50)
    late = programme.audio * delay[: programme.audio.shape[-1]]
    assert 20 * np.log10(rms(heard - late) / rms(late)).max() < -150


def tone_khz(frequency_hz: float, peak_khz: float) -> Lines:
    """A tone as the noise of one channel."""
    lines = np.zeros((1, 3751), dtype=complex)
    lines[0, round(frequency_hz / 4)] = peak_khz
    return lines


@pytest.mark.parametrize(("frequency_hz", "weighting_db"), [(1000, 0.0), (6300, 12.2), (12_500, 0.0)])
def test_a_tone_as_noise_reads_its_weighted_level(frequency_hz: float, weighting_db: float) -> None:
    """A tone 40 dB under full modulation leaves 40 dB less the weighting at its frequency.

    The meter starts where noise will have it, 3 dB over a tone, and is 0.08 dB high yet after its three periods.
    """
    snr_db = signal_to_noise(tone_khz(frequency_hz, 0.75), reference_khz=75.0)
    assert snr_db == pytest.approx(40 - weighting_db, abs=0.15)


def test_the_worse_channel_counts() -> None:
    """With noise in two channels S/N is that of the noisier one."""
    both = np.concatenate([tone_khz(1000, 0.075), tone_khz(1000, 0.75)])
    assert signal_to_noise(both, reference_khz=75.0) == pytest.approx(40, abs=0.1)
