"""A programme as it sounds at the receiver."""

import numpy as np
import pytest

from sfn.systems.fm_audio import received_audio

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def programme() -> np.ndarray:
    """Two and a half seconds of chords, another one on each side, not periodic in any block."""
    t = np.arange(round(2.5 * RATE_HZ)) / RATE_HZ
    left = sum(np.sin(2 * np.pi * f * t + f) for f in (220.3, 441.7, 3317.9)) * np.sin(2 * np.pi * 1.3 * t) ** 2
    right = sum(np.sin(2 * np.pi * f * t + f) for f in (330.1, 1250.9, 6012.3)) * np.cos(2 * np.pi * 0.7 * t) ** 2
    return np.stack([left, right]) / 3 * np.hanning(t.size)  # no hard edges: 15 kHz of audio cannot follow them


def received(programme: np.ndarray, **signals: object) -> np.ndarray:
    """What arrives of it, by default of one signal."""
    given = {"level_db": [60.0], "delay_us": [12.0], "phase_rad": [0.4]} | signals
    return received_audio(programme[0], programme[1], sample_rate_hz=RATE_HZ, **given)


def error_db(heard: np.ndarray, wanted: np.ndarray) -> float:
    """Difference of the two over the wanted one."""
    return float(20 * np.log10(np.std(heard - wanted) / np.std(wanted)))


def test_one_signal_comes_through_undisturbed(programme: np.ndarray) -> None:
    """Without echoes the programme is heard as it was given, block joints included, in stereo and mono."""
    assert error_db(received(programme), programme) < -90
    mono = np.repeat(programme.mean(axis=0, keepdims=True), 2, axis=0)
    assert error_db(received(programme, stereo=False), mono) < -90


def test_an_echo_disturbs_more_the_later_it_comes(programme: np.ndarray) -> None:
    """An echo 6 dB down in opposite phase: nothing to hear at the same time, plain distortion at 20 us."""
    echo = {"level_db": [60.0, 54.0], "phase_rad": [0.0, np.pi]}
    errors = [error_db(received(programme, delay_us=[0.0, late], **echo), programme) for late in (0.0, 3.0, 20.0)]
    assert errors[0] < -80
    assert errors[0] < errors[1] < errors[2]
    assert errors[2] > -25


def test_unsuitable_programmes_are_refused_in_words(programme: np.ndarray) -> None:
    """Too short, silent, an odd rate, lists that do not fit."""
    with pytest.raises(ValueError, match="must last a second or more, got 100 samples"):
        received(programme[:, :100])
    with pytest.raises(ValueError, match="must hold a sound, got silence"):
        received(programme * 0)
    with pytest.raises(ValueError, match="must be of one length, got 2, 1, 1"):
        received(programme, level_db=[1.0, 2.0])
    with pytest.raises(ValueError, match="must be a multiple of 100 Hz from 32 000, got 8000"):
        received_audio(*programme, sample_rate_hz=8000, level_db=[0], delay_us=[0], phase_rad=[0])
