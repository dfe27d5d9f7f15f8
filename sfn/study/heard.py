"""What a programme sounds like at a point of an FM network, beside the same one undisturbed."""

import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import IO

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.reception.signals import PointSignals
from sfn.systems.fm_audio import received_audio
from sfn.systems.fm_direct import phase_sets
from sfn.systems.fm_tune import RATE_HZ, SECONDS, made_programme

PHASES = ("worst tenth", "typical")
LEAST_S = 2.0
# Looked at before anything is read: ten seconds of more would be hundreds of megabytes.
MOST_CHANNELS_N, MOST_RATE_HZ = 8, 384_000
PEAK = 0.89  # 1 dB below full scale
Audio = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Programme:
    """Left and right, shape (2, samples), at `RATE_HZ`; and what it is."""

    audio: Audio
    name: str


@dataclass(frozen=True, slots=True)
class Heard:
    """Two sounds as WAV files, on one scale.

    Parameters
    ----------
    received, undisturbed : bytes
        As the receiver gives it with all signals; with the strongest alone.
    programme : str
        What is played.
    phase : str
        Which of `PHASES` the carriers had.
    stereo : bool
    snr_db : float or None
        By simulation with noise as programme and these phases; None with one signal alone. [dB]
    strongest : str
        Site.
    echoes : tuple of str
        The other signals, in words.
    """

    received: bytes
    undisturbed: bytes
    programme: str
    phase: str
    stereo: bool
    snr_db: float | None
    strongest: str
    echoes: tuple[str, ...]


def shipped_programme() -> Programme:
    """The programme that we make ourselves."""
    return Programme(made_programme(), "test programme, made by this program")


def own_programme(file: IO[bytes], *, name: str) -> Programme:
    """The first ten seconds of a WAV or FLAC file.

    Raises
    ------
    PlanError
        If it cannot be read, is too short, or is silent.
    """
    import soundfile
    from scipy.signal import resample_poly

    expected = f"a WAV or FLAC file of {LEAST_S:g} s or more"
    try:
        with soundfile.SoundFile(file) as sound:
            rate, channels = int(sound.samplerate), int(sound.channels)
            if channels > MOST_CHANNELS_N or rate > MOST_RATE_HZ:
                what = f"{name} has {channels} channels of {rate} samples a second"
                most = f"at most {MOST_CHANNELS_N} channels of {MOST_RATE_HZ}"
                raise PlanError([Problem("programme", what, most, code="sample-rate-out-of-range")])
            audio = sound.read(round(SECONDS * rate), dtype="float64", always_2d=True).T
    except (soundfile.LibsndfileError, RuntimeError, ValueError) as error:
        what = f"{name} cannot be read ({str(error).rpartition(': ')[2][:100]})"  # without what the library calls it
        raise PlanError([Problem("programme", what, expected, code="file-unreadable")]) from error
    if not 8_000 <= rate <= MOST_RATE_HZ:
        raise PlanError(
            [
                Problem(
                    "programme",
                    f"{name} has {rate} samples a second",
                    "8 000 to 384 000",
                    code="sample-rate-out-of-range",
                    values={"rate_hz": rate},
                )
            ]
        )
    if audio.shape[1] < LEAST_S * rate:
        raise PlanError(
            [Problem("programme", f"{name} lasts {audio.shape[1] / rate:.1f} s", expected, code="programme-length")]
        )
    if not np.isfinite(audio).all() or not np.abs(audio).max() > 1e-4:
        raise PlanError(
            [
                Problem(
                    "programme",
                    f"{name} is silent in its first ten seconds",
                    "a programme with sound",
                    code="recording-silent",
                )
            ]
        )
    both = np.repeat(audio[:1], 2, axis=0) if len(audio) == 1 else audio[:2]
    if rate != RATE_HZ:
        shared = int(np.gcd(rate, RATE_HZ))
        both = resample_poly(both, RATE_HZ // shared, rate // shared, axis=1)
    return Programme(np.asarray(both), name)


def heard(
    point: PointSignals,
    *,
    programme: Programme,
    phase: str = PHASES[0],
    stereo: bool = True,
    emphasis_us: float = 50.0,
    tell: Callable[[str, int, int], None] | None = None,
) -> Heard:
    """The programme at a point.

    Parameters
    ----------
    point : PointSignals
    programme : Programme
    phase : {'worst tenth', 'typical'}
        Of the carriers against each other.
    stereo : bool, default True
        A stereo programme and receiver; False: both mono.
    emphasis_us : float, default 50
        [us]
    tell : callable(phase, done, total), optional

    Raises
    ------
    PlanError
        If no signal is there, or `phase` is none of `PHASES`.
    """
    if phase not in PHASES:
        raise PlanError(
            [
                Problem(
                    "phase",
                    f"cannot be {phase!r}",
                    f"one of {', '.join(PHASES)}",
                    code="not-on-offer",
                    fields=("phase",),
                )
            ]
        )
    signals = list(point.signals)  # the verdict counts them all
    if not signals:
        raise PlanError(
            [
                Problem(
                    "at", "no signal reaches this point in this model", "a point inside the coverage", code="no-signal"
                )
            ]
        )
    say = tell or (lambda *_: None)
    level, delay, psi, snr_db = [0.0], [0.0], [0.0], None
    say("looking for carrier phases", 0, 3)
    if len(signals) > 1:
        chosen = phase_sets(
            [-s.level_difference_db for s in signals[1:]], [s.delay_difference_us for s in signals[1:]],
            stereo=stereo, emphasis_us=emphasis_us,
        )[phase]  # fmt: skip
        level += [s.level_difference_db for s in signals[1:]]
        delay += [s.delay_difference_us for s in signals[1:]]
        psi += chosen.phase_rad.tolist()
        snr_db = chosen.snr_db

    def played(count: int) -> Audio:
        """The programme with the first so many signals."""
        return received_audio(
            *programme.audio, sample_rate_hz=RATE_HZ, level_db=level[:count], delay_us=delay[:count],
            phase_rad=psi[:count], stereo=stereo, emphasis_us=emphasis_us,
        )  # fmt: skip

    say("the programme undisturbed", 1, 3)
    alone = played(1)
    say("the programme with all signals", 2, 3)
    together = played(len(signals))
    say("done", 3, 3)
    scale = PEAK / max(np.abs(alone).max(), np.abs(together).max())
    echoes = tuple(
        f"{s.site_name} {s.level_difference_db:.1f} dB, {s.delay_difference_us:+.1f} µs".replace("-", "−")
        for s in signals[1:]
    )
    return Heard(
        _wav(together * scale), _wav(alone * scale), programme.name, phase, stereo, snr_db, signals[0].site_name, echoes
    )


def _wav(audio: Audio) -> bytes:
    """16 bits with triangular dither: rounding must not be heard as distortion."""
    import soundfile

    out = io.BytesIO()
    dither = np.random.default_rng(0).triangular(-1, 0, 1, size=audio.shape) / 32_768
    soundfile.write(out, np.clip(audio + dither, -1, 1).T, RATE_HZ, format="WAV", subtype="PCM_16")
    return out.getvalue()
