"""Ten seconds of test programme, made by arithmetic alone: plucked chords left and right, a tune, a shaker.

Nobody's music, so that it may be played anywhere. The tune stands in the middle, the chords to the sides and the
shaker moves: what multipath takes away first, sibilants and the difference signal, is all in it.
"""

import numpy as np
from numpy.typing import NDArray

RATE_HZ = 48_000
SECONDS = 10.0
_BEAT_S = 0.4
_HARMONICS = 7
# Steps of the equal-tempered scale from A4 = 440 Hz.
_TUNE = (3, 7, 10, 8, 7, 3, 5, 2, 3, 0, -2, 2, 3, 7, 12, 10, 8, 7, 5, 3, 2, 5, 3, 3)
_CHORDS = ((-9, -5, -2), (-12, -9, -4), (-7, -4, 0), (-5, -2, 2))


def made_programme(*, seconds: float = SECONDS, seed: int = 1) -> NDArray[np.float64]:
    """The programme.

    Parameters
    ----------
    seconds : float, default 10
        [s]
    seed : int, default 1
        Of the shaker.

    Returns
    -------
    audio : ndarray, shape (2, samples)
        Left and right at `RATE_HZ`, peak 1.
    """
    samples = round(seconds * RATE_HZ)
    audio = np.zeros((2, samples))
    rng = np.random.default_rng(seed)
    for beat in range(int(seconds / _BEAT_S)):
        start = round(beat * _BEAT_S * RATE_HZ)
        _add(audio, start, 0.5 * _note(_TUNE[beat % len(_TUNE)], 0.9), place=0.0)
        if beat % 4 == 0:
            chord = _CHORDS[beat // 4 % len(_CHORDS)]
            for k, step in enumerate(chord):
                _add(audio, start + round(0.02 * k * RATE_HZ), 0.35 * _note(step, 1.6), place=(-0.9, 0.9, -0.4)[k])
        _add(audio, start + round(0.5 * _BEAT_S * RATE_HZ), 0.25 * _shaken(rng), place=0.8 * (-1) ** beat)
    edge = round(0.05 * RATE_HZ)
    fade = np.sin(np.linspace(0, np.pi / 2, edge)) ** 2
    audio[:, :edge] *= fade
    audio[:, -edge:] *= fade[::-1]
    return np.asarray(audio / np.abs(audio).max())


def _note(step: int, decay_s: float) -> NDArray[np.float64]:
    """A plucked string: harmonics that die out, the higher ones sooner."""
    t = np.arange(round(2.0 * decay_s * RATE_HZ)) / RATE_HZ
    pitch_hz = 440.0 * 2.0 ** (step / 12)
    parts = [np.exp(-t * k / decay_s * 1.5) * np.sin(2 * np.pi * pitch_hz * k * t) / k for k in range(1, _HARMONICS)]
    return np.asarray(np.sum(parts, axis=0) * np.minimum(t / 0.004, 1.0))


def _shaken(rng: np.random.Generator) -> NDArray[np.float64]:
    """A burst of noise from 4 to 13 kHz, like a shaker or a sibilant."""
    from scipy.signal import butter, sosfilt

    t = np.arange(round(0.12 * RATE_HZ)) / RATE_HZ
    band = butter(4, (4000, 13_000), btype="band", fs=RATE_HZ, output="sos")
    return np.asarray(sosfilt(band, rng.normal(size=t.size)) * np.exp(-t / 0.03))


def _add(audio: NDArray[np.float64], start: int, sound: NDArray[np.float64], *, place: float) -> None:
    """Mix a sound in from a sample on; place -1 is left, 1 right, powers alike."""
    part = sound[: max(0, audio.shape[1] - start)]
    angle = (place + 1) * np.pi / 4
    audio[0, start : start + part.size] += np.cos(angle) * part
    audio[1, start : start + part.size] += np.sin(angle) * part
