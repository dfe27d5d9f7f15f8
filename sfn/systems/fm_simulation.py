"""Two and more paths of one FM programme through limiter and discriminator, from first principles.

The strongest ray is the reference: the discriminator gives ``f(t) + e(t)`` with ``e = p'/2 pi`` and
``p = arg(1 + sum r_i exp(j delta_i))``, ``delta_i = psi_i + theta(t - tau_i) - theta(t)``. The programme is
periodic, theta is delayed by a phase ramp on its lines, p is taken on a grid of 1.216 MHz and differentiated
on its lines up to 60 kHz: nothing aliases and nothing is filtered.

symbol     name                 unit  meaning
---------  -------------------  ----  ----------------------------------------
r          10^(-dL/20)          -     amplitude of a ray over the strongest
tau        delay_us             us    its delay over the strongest
psi        phase_rad            rad   its carrier phase
theta      phase of the signal  rad   2 pi times the integral of f
"""

from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
from numpy.typing import ArrayLike, NDArray

from sfn.systems.fm_decoder import REFERENCE_KHZ, audio_of, residual, signal_to_noise
from sfn.systems.fm_kernels import many_path_phase, two_path_phase
from sfn.systems.fm_programme import LINE_HZ, SAMPLE_RATE_HZ, Lines, Programme, waveform

SAMPLES = round(SAMPLE_RATE_HZ / LINE_HZ)
_ROWS = 8  # transforms of eight rows run three times as fast as eight transforms
MODES = ("mono", "stereo", "mono-of-stereo")


@dataclass(frozen=True, slots=True)
class Ray:
    """One signal over the strongest: `level_difference_db` <= 0 means weaker, `delay_difference_us` > 0 later.

    `carrier_offset_hz` is taken at the nearest multiple of 4 Hz (the programme's period is 0.25 s);
    `deviation_mismatch_ratio` 0.01 means that this signal deviates 1 % more.
    """

    level_difference_db: float
    delay_difference_us: float
    carrier_offset_hz: float = 0.0
    deviation_mismatch_ratio: float = 0.0


def phases(count: int, *, half: bool = False) -> NDArray[np.float64]:
    """Carrier phases in the middle of `count` equal parts of the circle, or of its upper half. [rad]"""
    return np.asarray((np.arange(count) + 0.5) * (np.pi if half else 2 * np.pi) / count)


def signal_phase(multiplex: Lines, delay_us: float = 0.0, *, line_hz: float = LINE_HZ) -> Lines:
    """Lines of theta(t - tau), rad, of a multiplex in kHz; its mean is left out."""
    frequency_hz = np.arange(multiplex.shape[-1]) * line_hz
    theta = np.zeros_like(multiplex)
    theta[1:] = multiplex[1:] * 1e3 / (1j * frequency_hz[1:])
    return np.asarray(theta * np.exp(-2e-6j * np.pi * frequency_hz * delay_us))


def phase_difference(programme: Programme, ray: Ray) -> NDArray[np.float64]:
    """Phase of a ray over the strongest without its carrier phase, delta - psi, on the grid (304 000,). [rad]"""
    scale = 1 + ray.deviation_mismatch_ratio
    lines = scale * signal_phase(programme.multiplex, ray.delay_difference_us) - signal_phase(programme.multiplex)
    delta = waveform(lines, SAMPLES)
    turns = round(ray.carrier_offset_hz / LINE_HZ)
    return delta + 2 * np.pi * turns * np.arange(SAMPLES) / SAMPLES if turns else delta


def two_path_error(
    delta_rad: NDArray[np.float64], *, level_difference_db: ArrayLike, phase_rad: ArrayLike, lines_n: int
) -> Lines:
    """Error of the discriminator with one echo, for several carrier phases or levels.

    Parameters
    ----------
    delta_rad : ndarray, shape (304 000,)
        From `phase_difference`. [rad]
    level_difference_db : array_like, scalar or shape (cases,)
        By how much the echo is weaker, 0 or more. [dB]
    phase_rad : array_like, scalar or shape (cases,)
        Carrier phases psi. [rad]
    lines_n : int
        Number of lines wanted, from 0 Hz.

    Returns
    -------
    error : ndarray of complex, shape (cases, lines_n)
        Lines of e(t). [kHz]

    Raises
    ------
    ValueError
        If a level difference is negative.
    """
    level, psi = np.broadcast_arrays(np.atleast_1d(np.asarray(level_difference_db, dtype=np.float64)), phase_rad)
    if not np.all(level >= 0):
        raise ValueError(f"level_difference_db must be 0 dB or more, got {level.min()}")
    ratio = (10 ** (-level / 20)).astype(np.float32)
    turn_cosine, turn_sine = np.cos(psi).astype(np.float32), np.sin(psi).astype(np.float32)
    cosine, sine = np.cos(delta_rad).astype(np.float32), np.sin(delta_rad).astype(np.float32)
    phase = np.empty((_ROWS, delta_rad.size), dtype=np.float32)
    error = np.empty((psi.size, lines_n), dtype=np.complex128)
    for start in range(0, psi.size, _ROWS):
        rows = min(_ROWS, psi.size - start)
        for row in range(rows):
            k = start + row
            two_path_phase(cosine, sine, turn_cosine[k], turn_sine[k], ratio[k], phase[row])
        error[start : start + rows] = _differentiated(phase[:rows], lines_n)
    return error


def many_path_error(
    deltas_rad: ArrayLike, *, level_difference_db: ArrayLike, phase_rad: ArrayLike, lines_n: int
) -> Lines:
    """Error of the discriminator with any number of echoes; a passing of zero turns the phase, as in a receiver.

    Parameters
    ----------
    deltas_rad : array_like, shape (echoes, 304 000)
        From `phase_difference`. [rad]
    level_difference_db : array_like, shape (echoes,) or (draws, echoes)
        By how much each echo is weaker (negative: stronger). [dB]
    phase_rad : array_like, shape (draws, echoes)
        Carrier phases. [rad]
    lines_n : int
        Number of lines wanted, from 0 Hz.

    Returns
    -------
    error : ndarray of complex, shape (draws, lines_n)
        Lines of e(t), over the ray that is called the strongest. [kHz]
    """
    psi = np.atleast_2d(np.asarray(phase_rad, dtype=np.float64))
    gains = 10 ** (-np.asarray(level_difference_db, dtype=np.float64) / 20) * np.exp(1j * psi)
    deltas = np.asarray(deltas_rad, dtype=np.float64)
    cosines, sines = np.cos(deltas).astype(np.float32), np.sin(deltas).astype(np.float32)
    real, imaginary = gains.real.astype(np.float32), gains.imag.astype(np.float32)
    error = np.empty((len(psi), lines_n), dtype=np.complex128)
    phase = np.empty((_ROWS, deltas.shape[-1]), dtype=np.float32)
    for start in range(0, len(psi), _ROWS):
        rows = min(_ROWS, len(psi) - start)
        for row in range(rows):
            many_path_phase(cosines, sines, real[start + row], imaginary[start + row], phase[row])
        error[start : start + rows] = _differentiated(phase[:rows], lines_n)
    return error


def _differentiated(phase_rad: NDArray[np.float32], lines_n: int) -> Lines:
    """Lines of p'/2 pi in kHz, of one period of p."""
    lines = scipy.fft.rfft(phase_rad, norm="forward")[..., :lines_n]
    return np.asarray(2e-3j * LINE_HZ * np.arange(lines_n) * lines, dtype=np.complex128)


def noise_ratio(programme: Programme, error: Lines, *, mode: str) -> NDArray[np.float64]:
    """S/N that a listener has, from the discriminator's error.

    Parameters
    ----------
    programme : Programme
        What was sent.
    error : ndarray of complex, shape (..., lines)
        Lines of e(t). [kHz]
    mode : {"mono", "stereo", "mono-of-stereo"}
        "stereo" needs lines up to 60 kHz.

    Returns
    -------
    snr_db : ndarray, shape (...)
        500 Hz tone of full modulation over the weighted quasi-peak residual, worse channel. [dB]

    Raises
    ------
    ValueError
        If the mode does not exist or does not fit the programme.
    """
    if mode not in MODES or programme.stereo != (mode != "mono"):
        sent = "a stereo" if programme.stereo else "a mono"
        raise ValueError(f"mode must be one of {', '.join(MODES)} and fit {sent} programme, got {mode}")
    reference_khz = REFERENCE_KHZ["stereo" if programme.stereo else "mono"]
    if mode == "stereo":
        audio = audio_of(error + programme.multiplex, stereo=True, emphasis_us=programme.emphasis_us)
        return signal_to_noise(residual(audio, programme.audio), reference_khz=reference_khz)
    audio = audio_of(error, stereo=False, emphasis_us=programme.emphasis_us)
    mid = programme.audio.mean(axis=0, keepdims=True)
    return signal_to_noise(residual(audio, mid), reference_khz=reference_khz)


def two_path_snr(programme: Programme, ray: Ray, *, phase_rad: ArrayLike, mode: str) -> NDArray[np.float64]:
    """S/N with one echo at several carrier phases (phases,), dB; see `noise_ratio`."""
    lines_n = programme.multiplex.size if mode == "stereo" else programme.audio.shape[-1]
    error = two_path_error(
        phase_difference(programme, ray),
        level_difference_db=-ray.level_difference_db,
        phase_rad=phase_rad,
        lines_n=lines_n,
    )
    return noise_ratio(programme, error, mode=mode)
