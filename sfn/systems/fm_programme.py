"""Programme for the FM simulation: coloured noise, pre-emphasis, and the mono or stereo multiplex.

Everything is periodic and held as spectral lines. A line array ``A`` stands for
``x(t) = Re sum_k A[..., k] exp(2 pi j k line_hz t)``; multiplex lines are in kHz of deviation.

symbol  name                unit  meaning
------  ------------------  ----  -----------------------------------------------------------
f(t)    multiplex           kHz   instantaneous deviation
M, S    mid, side           kHz   (L+R)/2 and (L-R)/2 [ITU-R BS.450-3]
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import ArrayLike, NDArray

Lines = NDArray[np.complex128]

PILOT_HZ = 19_000.0
SAMPLE_RATE_HZ = 64 * PILOT_HZ  # doubling it changes no S/N by 0.05 dB
DURATION_S = 0.25
LINE_HZ = 1 / DURATION_S
AUDIO_HZ = 15_000.0
MULTIPLEX_HZ = 60_000.0
PILOT_KHZ = 6.75  # 9 % of 75 kHz, ITU-R BS.450-3
ZERO_DBR_KHZ = 19 / np.sqrt(2)  # multiplex power of one tone of +-19 kHz, ITU-R BS.412
_AUDIO_FROM_HZ = 30.0

# Programme-simulating noise of ITU-T J.19 / ITU-R BS.571, from memory; the last row is an extrapolation.
_COLOUR_HZ = (31.5, 63.0, 122.0, 400.0, 1000.0, 2000.0, 4000.0, 8000.0, 15_000.0)
_COLOUR_DB = (-10.9, -3.4, 0.0, -5.7, -9.2, -10.6, -15.7, -26.6, -37.5)


@dataclass(frozen=True, slots=True)
class Programme:
    """A periodic programme and the multiplex made of it.

    `audio` (1 or 2, audio lines): mono, or left and right, in kHz of deviation before pre-emphasis, such that
    mono full modulation is 75 kHz; `multiplex` (multiplex lines), in kHz.
    """

    stereo: bool
    audio: Lines
    multiplex: Lines
    emphasis_us: float


def emphasis(frequency_hz: ArrayLike, *, emphasis_us: float) -> Lines:
    """Complex gain of the pre-emphasis, ``1 + j 2 pi f T``; the de-emphasis is its inverse.

    Parameters
    ----------
    frequency_hz : array_like, any shape
        Audio frequency. [Hz]
    emphasis_us : float
        Time constant: 50 or 75, or 0 for none. [us]

    Returns
    -------
    gain : ndarray of complex, shape of `frequency_hz`
        Gain, 1 at 0 Hz. [unitless]

    Raises
    ------
    ValueError
        If the time constant is not between 0 and 100 us.

    References
    ----------
    .. [1] ITU-R BS.450-3: 50 us or 75 us.

    Examples
    --------
    >>> print(f"{20 * np.log10(abs(emphasis(15_000, emphasis_us=50))):.1f}")
    13.7
    """
    if not 0 <= emphasis_us <= 100:
        raise ValueError(f"emphasis_us must be 0 to 100 us, got {emphasis_us}")
    return np.asarray(1 + 2e-6j * np.pi * np.asarray(frequency_hz, dtype=np.float64) * emphasis_us)


def rms(lines: Lines) -> NDArray[np.float64]:
    """Rms value of a signal given by its lines (..., k), without its mean."""
    return np.asarray(np.sqrt((np.abs(lines[..., 1:]) ** 2).sum(axis=-1) / 2))


def waveform(lines: Lines, samples: int) -> NDArray[np.float64]:
    """One period of a signal on `samples` equal steps, from its lines (..., k < samples / 2)."""
    return np.asarray(scipy.fft.irfft(lines / 2, n=samples, norm="forward"))


def lines_of(signal: ArrayLike, count: int) -> Lines:
    """The first `count` lines of one period of a signal (..., samples); the inverse of `waveform` but for the mean."""
    return np.asarray(2 * scipy.fft.rfft(signal, norm="forward")[..., :count], dtype=np.complex128)


def coloured_noise(seed: int, *, count: int = 1, line_hz: float = LINE_HZ) -> Lines:
    """Independent programme-like noises of rms 1, as audio lines (count, 15 kHz / line_hz + 1).

    The power density follows ITU-T J.19 (from memory); `seed` makes it the same on every machine.
    """
    frequency_hz = np.arange(round(AUDIO_HZ / line_hz) + 1) * line_hz
    with np.errstate(divide="ignore"):
        colour_db = np.interp(np.log(frequency_hz), np.log(_COLOUR_HZ), _COLOUR_DB)
    gain = np.where(frequency_hz < _AUDIO_FROM_HZ, 0.0, 10 ** (colour_db / 20))
    draws = np.random.default_rng(seed).standard_normal((count, 2, gain.size))
    noise = gain * (draws[:, 0] + 1j * draws[:, 1])
    return np.asarray(noise / rms(noise)[:, None])


def multiplex_lines(
    audio: Lines, *, emphasis_us: float, line_hz: float = LINE_HZ, pilot_khz: float = PILOT_KHZ
) -> Lines:
    """Multiplex of mono (1, k) or of left and right (2, k) audio lines, all in kHz of deviation.

    ``f = M + S sin(2 w t) + P sin(w t)``, w the pilot's angular frequency [ITU-R BS.450-3, pilot-tone system];
    mono: ``f = M``, no pilot.
    """
    frequency_hz = np.arange(audio.shape[-1]) * line_hz
    emphasised = audio * emphasis(frequency_hz, emphasis_us=emphasis_us)
    lines = np.zeros(round(MULTIPLEX_HZ / line_hz) + 1, dtype=np.complex128)
    top = audio.shape[-1]
    if len(audio) == 1:
        lines[:top] = emphasised[0]
        return lines
    mid, side = (emphasised[0] + emphasised[1]) / 2, (emphasised[0] - emphasised[1]) / 2
    pilot, carrier = round(PILOT_HZ / line_hz), round(2 * PILOT_HZ / line_hz)
    lines[:top] = mid
    lines[carrier : carrier + top] += -0.5j * side
    lines[carrier - top + 1 : carrier + 1] += -0.5j * np.conj(side[::-1])
    lines[pilot] += -1j * pilot_khz
    return lines


def noise_programme(
    seed: int, *, stereo: bool, emphasis_us: float = 50.0, level_dbr: float = 0.0, side_db: float = -6.0
) -> Programme:
    """Coloured-noise programme of a given multiplex power.

    Parameters
    ----------
    seed : int
        Which realisation.
    stereo : bool
        With an independent S signal and a pilot of 6.75 kHz, or mono.
    emphasis_us : float, default 50
        Pre-emphasis. [us]
    level_dbr : float, default 0
        Power of the whole multiplex, pilot included; 0 dBr is 13.435 kHz rms. [dBr]
    side_db : float, default -6
        Power of S over that of M. [dB]

    Returns
    -------
    Programme
        With lines every 4 Hz.

    Raises
    ------
    ValueError
        If `level_dbr` is not between -8 and 12 dBr.

    References
    ----------
    .. [1] ITU-R BS.412-9: multiplex power. ITU-T J.19: colour (from memory).

    Examples
    --------
    >>> print(f"{rms(noise_programme(1, stereo=False).multiplex):.3f}")
    13.435
    """
    if not -8 <= level_dbr <= 12:
        raise ValueError(f"level_dbr must be -8 to 12 dBr, got {level_dbr}")
    target_khz = ZERO_DBR_KHZ * 10 ** (level_dbr / 20)
    mid, side = coloured_noise(seed, count=2)
    if not stereo:
        audio = mid[None]
        audio = audio * target_khz / rms(multiplex_lines(audio, emphasis_us=emphasis_us))
        return Programme(False, audio, multiplex_lines(audio, emphasis_us=emphasis_us), emphasis_us)
    side = side * 10 ** (side_db / 20)
    audio = np.stack([mid + side, mid - side])
    without_pilot = rms(multiplex_lines(audio, emphasis_us=emphasis_us, pilot_khz=0.0))
    audio = audio * np.sqrt(target_khz**2 - PILOT_KHZ**2 / 2) / without_pilot
    return Programme(True, audio, multiplex_lines(audio, emphasis_us=emphasis_us), emphasis_us)
