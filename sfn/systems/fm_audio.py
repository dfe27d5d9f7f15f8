"""A programme through an FM network to a receiver's loudspeaker: what "hear it" plays.

The programme is taken in blocks of a second and a half with soft edges; of each the middle second is kept, and
neighbours are joined over a tenth of a second. Lines and receiver as in `fm_programme` and `fm_decoder`.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.fm_decoder import audio_of
from sfn.systems.fm_kernels import many_path_phase
from sfn.systems.fm_programme import (
    AUDIO_HZ,
    PILOT_KHZ,
    SAMPLE_RATE_HZ,
    ZERO_DBR_KHZ,
    Lines,
    lines_of,
    multiplex_lines,
    rms,
    waveform,
)
from sfn.systems.fm_simulation import signal_phase

_KEPT_S = 1.0
_EDGE_S = 0.25  # on both sides: echoes, filters and the meter's start die out in it
_JOIN_S = 0.1
_PEAK_KHZ = 75.0


def received_audio(
    left: ArrayLike,
    right: ArrayLike,
    *,
    sample_rate_hz: int,
    level_db: ArrayLike,
    delay_us: ArrayLike,
    phase_rad: ArrayLike,
    stereo: bool = True,
    emphasis_us: float = 50.0,
    programme_level_db: float = 0.0,
) -> NDArray[np.float64]:
    """Audio that a receiver gives where several signals with one programme arrive.

    Parameters
    ----------
    left, right : array_like, shape (samples,)
        Programme, any scale; a second of it at least. [full scale]
    sample_rate_hz : int
        Its rate, a multiple of 100 Hz from 32 kHz. [Hz]
    level_db, delay_us, phase_rad : array_like, shape (S,)
        Level, arrival time and carrier phase of each signal; only differences count. [dB, us, rad]
    stereo : bool, default True
        Stereo programme and receiver; False: both mono.
    emphasis_us : float, default 50
        Pre-emphasis. [us]
    programme_level_db : float, default 0
        Multiplex power over that of a tone of +-19 kHz; lower where the deviation would pass 75 kHz. [dBr]

    Returns
    -------
    audio : ndarray, shape (2, samples)
        Left and right, on the scale of the programme given, so that the undisturbed one sounds as loud.

    Raises
    ------
    ValueError
        If the programme is too short or silent, the rate unsuitable, or the lists of signals differ in length.
    """
    programme = np.stack([np.asarray(left, dtype=np.float64), np.asarray(right, dtype=np.float64)])
    level, delay, psi = (np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in (level_db, delay_us, phase_rad))
    if not level.shape == delay.shape == psi.shape or level.ndim != 1:
        raise ValueError(
            f"level_db, delay_us, phase_rad must be of one length, got {level.size}, {delay.size}, {psi.size}"
        )
    if sample_rate_hz < 32_000 or sample_rate_hz % 100:
        raise ValueError(f"sample_rate_hz must be a multiple of 100 Hz from 32 000, got {sample_rate_hz}")
    if programme.shape[1] < sample_rate_hz:
        raise ValueError(f"the programme must last a second or more, got {programme.shape[1]} samples")
    if not programme.any():
        raise ValueError("the programme must hold a sound, got silence")
    if not stereo:
        programme = programme.mean(axis=0, keepdims=True)
    scale_khz = _scale(programme, sample_rate_hz, emphasis_us, programme_level_db)
    best = int(level.argmax())
    rays = [(10 ** ((level[k] - level[best]) / 20), delay[k] - delay[best], psi[k] - psi[best])
            for k in range(level.size) if k != best]  # fmt: skip
    out = _in_blocks(programme * scale_khz, sample_rate_hz, rays, emphasis_us) / scale_khz
    return out if stereo else np.repeat(out, 2, axis=0)


def _scale(programme: NDArray[np.float64], sample_rate_hz: int, emphasis_us: float, level_db: float) -> float:
    """Deviation of full scale, kHz, that gives the multiplex power asked without passing 75 kHz."""
    line_hz = sample_rate_hz / programme.shape[1]
    lines = lines_of(programme, int(AUDIO_HZ / line_hz) + 1)
    multiplex = multiplex_lines(lines, emphasis_us=emphasis_us, line_hz=line_hz, pilot_khz=0.0)
    pilot_khz = PILOT_KHZ if len(programme) == 2 else 0.0
    power = np.sqrt((ZERO_DBR_KHZ * 10 ** (level_db / 20)) ** 2 - pilot_khz**2 / 2) / rms(multiplex)
    grid = 2 * int(2 * multiplex.size)
    peak = (_PEAK_KHZ - pilot_khz) / np.abs(waveform(multiplex, grid)).max()
    return float(min(power, peak))


def _in_blocks(
    programme_khz: NDArray[np.float64], sample_rate_hz: int, rays: list[tuple[float, float, float]], emphasis_us: float
) -> NDArray[np.float64]:
    """The received programme (channels, samples), block by block."""
    kept, edge, join = (round(seconds * sample_rate_hz) for seconds in (_KEPT_S, _EDGE_S, _JOIN_S))
    channels, samples = programme_khz.shape
    padded = np.pad(programme_khz, ((0, 0), (edge + join, edge + kept + join)))
    out = np.zeros((channels, samples + 2 * kept + 2 * join))
    weight = np.zeros(out.shape[1])
    fade = np.sin(np.linspace(0, np.pi / 2, edge)) ** 2
    taper = np.concatenate([fade, np.ones(kept), fade[::-1]])
    ramp = (np.arange(join) + 0.5) / join
    trust = np.concatenate([ramp, np.ones(kept - 2 * join), ramp[::-1]])
    for start in range(0, samples + join, kept - join):
        block = padded[:, start : start + kept + 2 * edge] * taper
        received = _block(block, sample_rate_hz, rays, emphasis_us)[:, edge : edge + kept]
        out[:, start : start + kept] += received * trust
        weight[start : start + kept] += trust
    used = slice(join, join + samples)
    return np.asarray(out[:, used] / weight[used])


def _block(
    block_khz: NDArray[np.float64], sample_rate_hz: int, rays: list[tuple[float, float, float]], emphasis_us: float
) -> NDArray[np.float64]:
    """One period of programme (channels, samples) as received."""
    line_hz = sample_rate_hz / block_khz.shape[1]
    audio: Lines = lines_of(block_khz, round(AUDIO_HZ / line_hz) + 1)
    multiplex = multiplex_lines(audio, emphasis_us=emphasis_us, line_hz=line_hz)
    if rays:
        grid = round(SAMPLE_RATE_HZ / line_hz)
        theta = signal_phase(multiplex, line_hz=line_hz)
        deltas = np.stack(
            [waveform(signal_phase(multiplex, late, line_hz=line_hz) - theta, grid) + turn for _, late, turn in rays]
        )
        ratio = np.array([r for r, _, _ in rays], dtype=np.float32)
        phase = np.empty(grid, dtype=np.float32)
        cosines, sines = np.cos(deltas).astype(np.float32), np.sin(deltas).astype(np.float32)
        many_path_phase(cosines, sines, ratio, np.zeros_like(ratio), phase)
        lines = lines_of(phase, multiplex.size)
        multiplex = multiplex + 1e-3j * line_hz * np.arange(multiplex.size) * lines
    heard = audio_of(multiplex, stereo=len(block_khz) == 2, emphasis_us=emphasis_us, line_hz=line_hz)
    return waveform(heard, block_khz.shape[1])
