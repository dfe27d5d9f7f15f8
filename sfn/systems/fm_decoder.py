"""From a discriminator's output to a listener's noise: stereo decoder, de-emphasis, and what is left of a fit.

The receiver is ideal: the 38 kHz carrier is regenerated from the received pilot through +-30 Hz, S is found by a
product demodulator, both audio bands end at 15 kHz. There is no blend to mono, no leakage of amplitude
modulation, no IF filter. Lines as in `fm_programme`.
"""

import numpy as np
import scipy  # its parts are loaded when they are asked for: together a tenth of a start
from numpy.typing import NDArray

from sfn.systems.bs468 import quasi_peak, weighting
from sfn.systems.fm_programme import AUDIO_HZ, LINE_HZ, PILOT_HZ, Lines, emphasis, lines_of, waveform

REFERENCE_KHZ = {"mono": 75.0, "stereo": 67.5}  # full-modulation tone; 90 % of 75 kHz beside a pilot
_PILOT_HALF_WIDTH_HZ = 30.0
FIT_BAND_LINES = 50  # 200 Hz: a delay of 50 us turns a band's edge by 0.03 rad, which is 35 dB down
_METER_RATE_HZ = 64_000.0
_METER_PERIODS = 3


def audio_of(multiplex: Lines, *, stereo: bool, emphasis_us: float, line_hz: float = LINE_HZ) -> Lines:
    """Audio that an ideal receiver makes of a demodulated multiplex.

    Parameters
    ----------
    multiplex : ndarray of complex, shape (..., lines to 60 kHz)
        Discriminator output. [kHz]
    stereo : bool
        A stereo receiver, or a mono one.
    emphasis_us : float
        De-emphasis. [us]
    line_hz : float, default 4
        Distance of the lines. [Hz]

    Returns
    -------
    audio : ndarray of complex, shape (..., 1 or 2, lines to 15 kHz)
        Mono, or left and right, in kHz of deviation before pre-emphasis. [kHz]
    """
    top = round(AUDIO_HZ / line_hz) + 1
    mid = multiplex[..., :top]
    if stereo:
        side = _side(multiplex, top, line_hz)
        both = np.stack([mid + side, mid - side], axis=-2)
    else:
        both = mid[..., None, :]
    return np.asarray(both / emphasis(np.arange(top) * line_hz, emphasis_us=emphasis_us))


def _side(multiplex: Lines, top: int, line_hz: float) -> Lines:
    """S by product demodulation with the regenerated 38 kHz carrier."""
    pilot, carrier = round(PILOT_HZ / line_hz), round(2 * PILOT_HZ / line_hz)
    reach = round(_PILOT_HALF_WIDTH_HZ / line_hz)
    samples = scipy.fft.next_fast_len(2 * top + 2 * reach)
    # complex envelopes about 19 and 38 kHz: x(t) = Im(a exp(jwt)), so a = j A
    received = _envelope(1j * multiplex[..., pilot - reach : pilot + reach + 1], samples)
    band = _envelope(1j * multiplex[..., carrier - top + 1 : carrier + top], samples)
    regenerated = (received / np.maximum(np.abs(received), 1e-12)) ** 2
    return lines_of((band * np.conj(regenerated)).real, top)


def _envelope(lines: Lines, samples: int) -> NDArray[np.complex128]:
    """Complex waveform of lines that are centred on zero frequency."""
    half = lines.shape[-1] // 2
    wrapped = np.zeros((*lines.shape[:-1], samples), dtype=np.complex128)
    wrapped[..., : half + 1] = lines[..., half:]
    wrapped[..., samples - half :] = lines[..., :half]
    return np.asarray(scipy.fft.ifft(wrapped, norm="forward"))


def residual(audio: Lines, wanted: Lines) -> Lines:
    """What is left of received audio after the best complex gain from each wanted channel, band by band.

    A change of level, delay or crosstalk is thereby no noise. Least squares over bands of 200 Hz; the
    residual is scaled up for the degrees of freedom that the fit takes.

    Parameters
    ----------
    audio : ndarray of complex, shape (..., channels, lines)
        Received audio, or its error alone. [kHz]
    wanted : ndarray of complex, shape (1 or 2, lines)
        The programme. [kHz]

    Returns
    -------
    residual : ndarray of complex, shape (..., channels, lines)
        Noise. [kHz]  0 at 0 Hz.
    """
    bands = (audio.shape[-1] - 1) // FIT_BAND_LINES
    used = slice(1, 1 + bands * FIT_BAND_LINES)
    target = audio[..., used].reshape(*audio.shape[:-1], bands, FIT_BAND_LINES)
    basis = wanted[:, used].reshape(len(wanted), bands, FIT_BAND_LINES).transpose(1, 2, 0)  # bands, lines, channels
    q, _ = np.linalg.qr(basis)
    left = target - np.einsum("bli,bki,...bk->...bl", q, q.conj(), target, optimize=True)
    left *= np.sqrt(FIT_BAND_LINES / (FIT_BAND_LINES - len(wanted)))
    out = np.zeros_like(audio)
    out[..., used] = left.reshape(*audio.shape[:-1], -1)
    return out


def signal_to_noise(noise: Lines, *, reference_khz: float, line_hz: float = LINE_HZ) -> NDArray[np.float64]:
    """S/N of the worst channel: full-modulation 500 Hz tone over the BS.468 quasi-peak reading.

    Parameters
    ----------
    noise : ndarray of complex, shape (..., channels, lines)
        De-emphasised noise. [kHz]
    reference_khz : float
        Peak deviation of the tone: 75 mono, 67.5 stereo. [kHz]
    line_hz : float, default 4
        Distance of the lines. [Hz]

    Returns
    -------
    snr_db : ndarray, shape (...)
        S/N of the worse channel. [dB]

    References
    ----------
    .. [1] ITU-R BS.641: the yardstick (reference tone unweighted, noise weighted quasi-peak; from memory).
    """
    gain = 10 ** (weighting(np.arange(noise.shape[-1]) * line_hz) / 20)
    samples = round(_METER_RATE_HZ / line_hz)
    reading = quasi_peak(
        waveform(noise * gain, samples), sample_rate_hz=_METER_RATE_HZ, settling_periods=_METER_PERIODS
    )
    worst = np.maximum(reading.max(axis=-1), 1e-12 * reference_khz)
    return np.asarray(20 * np.log10(reference_khz / np.sqrt(2) / worst))
