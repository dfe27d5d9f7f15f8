"""Programme for the FM simulation: coloured noise, pre-emphasis, and the mono or stereo multiplex.

Everything is periodic and held as spectral lines. A line array ``A`` stands for
``x(t) = Re sum_k A[..., k] exp(2 pi j k line_hz t)``; multiplex lines are in kHz of deviation.

symbol  name                unit  meaning
------  ------------------  ----  -----------------------------------------------------------
f(t)    multiplex           kHz   instantaneous deviation
M, S    mid, side           kHz   (L+R)/2 and (L-R)/2 [ITU-R BS.450-3]
"""

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
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

Kind = Literal["speech", "light", "dense"]
KINDS: tuple[Kind, ...] = get_args(Kind)
LIMIT_KHZ = 75.0  # peak deviation, ITU-R BS.450-3


@dataclass(frozen=True, slots=True)
class Sound:
    """What noise stands for a kind of programme: power density over frequency, S over M, and its syllables."""

    said: str
    colour_hz: tuple[float, ...]
    colour_db: tuple[float, ...]
    side_db: float
    syllable_ratio: float = 0.0


SOUNDS: dict[Kind, Sound] = {
    # Third-octave levels of the long-term average speech spectrum (Byrne et al., J. Acoust. Soc. Am. 96 (1994) 2108,
    # combined, from memory) less the width of the bands; S and the depth of the syllables are engineering judgement.
    "speech": Sound(
        "speech: average spectrum of talkers, syllables of a quarter of a second, S 20 dB below M",
        (
            *(63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0),
            *(1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0, 5000.0, 6300.0, 8000.0, 10_000.0, 12_500.0, 15_000.0),
        ),
        (
            *(-11.5, -7.6, 2.3, 4.6, 2.7, 5.1, 4.2, 1.9, 4.0, 3.0, 0.4, -4.3, -8.4),
            *(-10.1, -12.1, -16.4, -18.0, -20.3, -22.5, -24.6, -25.8, -27.4, -28.7, -31.8, -33.2),
        ),
        -20.0,
        0.7,
    ),
    # Programme-simulating noise of ITU-T J.19 / ITU-R BS.571, from memory; the last row is an extrapolation.
    "light": Sound(
        "light music: programme-simulating noise of ITU-T J.19, S 6 dB below M",
        (31.5, 63.0, 122.0, 400.0, 1000.0, 2000.0, 4000.0, 8000.0, 15_000.0),
        (-10.9, -3.4, 0.0, -5.7, -9.2, -10.6, -15.7, -26.6, -37.5),
        -6.0,
    ),
    # Processing in several bands evens octaves out: equal power in each, falling above 5 kHz (engineering judgement).
    "dense": Sound(
        "dense, processed music: equal power in each octave to 5 kHz, S 3 dB below M",
        (40.0, 5000.0, 10_000.0, 15_000.0),
        (0.0, -21.0, -27.0, -33.0),
        -3.0,
    ),
}
_LIMITING_ROUNDS = 8


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


def coloured_noise(seed: int, *, count: int = 1, line_hz: float = LINE_HZ, kind: Kind = "light") -> Lines:
    """Independent programme-like noises of rms 1, as audio lines (count, 15 kHz / line_hz + 1).

    The power density follows `SOUNDS`; `seed` makes it the same on every machine.
    """
    sound = SOUNDS[kind]
    frequency_hz = np.arange(round(AUDIO_HZ / line_hz) + 1) * line_hz
    with np.errstate(divide="ignore"):
        colour_db = np.interp(np.log(frequency_hz), np.log(sound.colour_hz), sound.colour_db)
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
    seed: int,
    *,
    stereo: bool,
    emphasis_us: float = 50.0,
    level_dbr: float = 0.0,
    side_db: float | None = None,
    kind: Kind = "light",
) -> Programme:
    """Coloured-noise programme of a given multiplex power, peaks limited to 75 kHz of deviation.

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
    side_db : float, optional
        Power of S over that of M; that of the kind where not given. [dB]
    kind : {"speech", "light", "dense"}, default "light"
        What it sounds like: see `SOUNDS`.

    Returns
    -------
    Programme
        With lines every 4 Hz.

    Raises
    ------
    ValueError
        If `level_dbr` is not between -8 and 12 dBr, or there is no such kind.

    Notes
    -----
    Left and right are clipped behind the pre-emphasis and cut off at 15 kHz again, in rounds, as processors do. The
    light programme at 0 dBr does not reach the limit.

    References
    ----------
    .. [1] ITU-R BS.412-9: multiplex power. ITU-T J.19: colour of the light programme (from memory).

    Examples
    --------
    >>> print(f"{rms(noise_programme(1, stereo=False).multiplex):.3f}")
    13.435
    """
    if not -8 <= level_dbr <= 12:
        raise ValueError(f"level_dbr must be -8 to 12 dBr, got {level_dbr}")
    if kind not in SOUNDS:
        raise ValueError(f"kind must be one of {', '.join(SOUNDS)}, got {kind}")
    target_khz = ZERO_DBR_KHZ * 10 ** (level_dbr / 20)
    mid, side = _with_syllables(coloured_noise(seed, count=2, kind=kind), SOUNDS[kind].syllable_ratio)
    if not stereo:
        return _limited(mid[None], target_khz, emphasis_us, pilot_khz=0.0)
    side = side * 10 ** ((SOUNDS[kind].side_db if side_db is None else side_db) / 20)
    return _limited(np.stack([mid + side, mid - side]), target_khz, emphasis_us, pilot_khz=PILOT_KHZ)


def _with_syllables(noise: Lines, depth: float) -> Lines:
    """Noise (2, lines) whose amplitude swells and dies once a period, by `depth` of its middle; rms 1 again."""
    if not depth:
        return noise
    samples = 4 * noise.shape[-1]
    swell = 1 - depth * np.cos(2 * np.pi * np.arange(samples) / samples)
    swollen = lines_of(waveform(noise, samples) * swell, noise.shape[-1])
    swollen[:, 0] = 0.0
    return np.asarray(swollen / rms(swollen)[:, None])


def _limited(audio: Lines, target_khz: float, emphasis_us: float, *, pilot_khz: float) -> Programme:
    """A programme of this multiplex power, made of audio of any level, whose peaks keep to 75 kHz where they can."""
    gain = emphasis(np.arange(audio.shape[-1]) * LINE_HZ, emphasis_us=emphasis_us)
    most_khz, samples = LIMIT_KHZ - pilot_khz, 8 * audio.shape[-1]
    for _ in range(_LIMITING_ROUNDS):
        without_pilot = rms(multiplex_lines(audio, emphasis_us=emphasis_us, pilot_khz=0.0))
        audio = audio * np.sqrt(target_khz**2 - pilot_khz**2 / 2) / without_pilot
        shaped = waveform(audio * gain, samples)
        if np.abs(shaped).max() <= 1.02 * most_khz:
            break
        audio = lines_of(np.clip(shaped, -most_khz, most_khz), audio.shape[-1]) / gain
        audio[:, 0] = 0.0
    else:
        without_pilot = rms(multiplex_lines(audio, emphasis_us=emphasis_us, pilot_khz=0.0))
        audio = audio * np.sqrt(target_khz**2 - pilot_khz**2 / 2) / without_pilot
    return Programme(len(audio) == 2, audio, multiplex_lines(audio, emphasis_us=emphasis_us), emphasis_us)
