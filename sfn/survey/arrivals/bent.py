"""Whether a recorder bent the amplitude: a limiter, clipping, a gain that follows the programme.

Paths add in the air, so the envelope moves wherever there is more than one. A recorder that holds it even makes of two
paths a different sum: images of them, as far to the other sides, and delays that are pulled. What is looked at is what
the paths found leave over, in the direction in which they point:

| sign | what bends | what shows |
|---|---|---|
| even | hard limiting | the envelope varies less than the noise found would make it |
| envelope | soft limiting, clipping, fast gain control | what is left over goes with the envelope's cube |
| rails | I and Q clipped each for itself | it goes with the cubes of I and of Q |
| gain | gain control within a stretch | along the sum's own direction more is left over than across it |
| pressed | the first two, where the fit of near paths takes most of it | less is left along, and against the cube |

A straight receiver leaves noise, as much along as across; a restless oscillator adds to what is across, and nothing of
that goes with the cube. Paths that are fitted take some of the bend with them, so
what shows is the least of it. Limits by experiment on recordings of `tests/bench/bench_arrivals.py`: of 15 straight
ones the largest were 2.9 standard deviations and, where the sum moves, 0.0003; rails 1.7 and 0.0008, along 0.98 to 1.01
times across. Two of 79 straight ones were refused until what the fit leaves by itself was left out
(`_LEAST_LEFT_RATIO`); two bent ones that pass since, or passed before, had 0.40 and 0.81 along and were 11.8 and 2.9
standard deviations against the cube (`_PRESSED_RATIO`). How many are refused, and how many answers of the others hold:
DEVELOPERS, what was measured; `tests/bench/bench_bent.py`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.survey.arrivals.fit import Fitted, between
from sfn.survey.arrivals.stretches import Stretch, heard_under
from sfn.survey.spectra import Floats

Complex = NDArray[np.complex128]

_SIGMAS, _LEAST_CUBE_RATIO = 6.0, 0.003
_EVEN_RATIO, _EVEN_BELOW_DB = 0.25, 50.0
# A sum that hardly moves has no cube of its own: band filters alone move one path by a thousandth.
_LEAST_MOVED_RATIO = 0.004
# So much along the cube the fit of two near paths may leave by itself: 0.00096 and 0.00022 of the mean amplitude were
# seen beside straight ones in slow programme, at 13 and 8 standard deviations.
_LEAST_LEFT_RATIO = 0.0015
_GAIN_RATIO = 1.3
_PRESSED_RATIO, _PRESSED_SIGMAS = 0.9, 2.5


@dataclass(frozen=True, slots=True)
class Bent:
    """What is left over beside the paths found.

    `envelope_ratio` and `rails_ratio` are gain won per squared amplitude, in units of the mean power, each with how
    many standard deviations that is; `even_ratio` the envelope's variation beside what the noise found would make of
    one path; `gain_ratio` what is left over along the sum of the paths over what is left across it.
    """

    envelope_ratio: float
    envelope_w_ratio: float
    rails_ratio: float
    rails_w_ratio: float
    even_ratio: float
    gain_ratio: float
    pressed_w_ratio: float
    """How many standard deviations what is left over goes with the envelope's cube, however little that is."""


def bent(
    stretches: list[Stretch], fitted: Fitted, *, heard: Complex, rate_hz: float, carrier_hz: float, evenness: float,
    snr_db: float,
) -> Bent:  # fmt: skip
    """Measure what the recorder did to the amplitude.

    Parameters
    ----------
    stretches : list of Stretch
        Those that `fitted` is of, in its order.
    fitted : Fitted
    heard : ndarray
        Recording in the band, its carrier at 0.
    rate_hz, carrier_hz : float
        Its rate, and where the carrier stood. [Hz]
    evenness : float
        Standard deviation of the whole recording's envelope over its mean, before any filter.
    snr_db : float
        Of what the paths explain over what they leave. [dB]
    """
    q = between(fitted.at_samples, columns=stretches[0].root.shape[1])
    envelope, along, across, rails, left = [], [], [], [], []
    for one, amplitude in zip(stretches, fitted.amplitude, strict=True):
        first, n = one.sent.first, len(one.turned)
        z = heard[first : first + n] * np.exp(-1j * one.turned)
        y = heard_under(one.sent, q @ amplitude)
        size = np.abs(y)
        rms = float(np.sqrt(np.mean(size**2)))
        rest = (z - y) / rms
        beside = rest * np.conj(y) / np.maximum(size, 1e-12 * rms)
        envelope.append(size / rms)
        along.append(beside.real)
        across.append(beside.imag)
        # Back to where the recorder saw it.
        turn = np.exp(1j * (one.turned + 2 * np.pi * carrier_hz / rate_hz * np.arange(first, first + n)))
        rails += [(y * turn).real / rms, (y * turn).imag / rms]
        left += [(rest * turn).real, (rest * turn).imag]
    size = np.concatenate(envelope)
    soft, pressed = _cube(size, np.concatenate(along))
    soft, soft_sigmas = _seen(soft, pressed, size)
    clipped, clipped_sigmas = _seen(*_cube(np.concatenate(rails), np.concatenate(left)), np.concatenate(rails))
    noise = 10 ** (-snr_db / 20) / np.sqrt(2)
    gain = float(np.std(np.concatenate(along)) / max(float(np.std(np.concatenate(across))), 1e-12))
    return Bent(soft, soft_sigmas, clipped, clipped_sigmas, float(evenness / noise), gain, pressed)


def straight(found: Bent, *, snr_db: float, whole: bool, where: str) -> None:
    """Refuse a recording whose amplitude was bent.

    Not `whole`: stretches were left out. The paths that their jump put there are in the phase of the others, and show
    as a pressed envelope does.

    Raises
    ------
    PlanError
        With the sign that shows it.
    """
    expected = (
        "I and Q with gain control and limiter off and some decibels of headroom, receiver at rest; or one site at a"
        " time, the others muted"
    )
    cubes = ((found.envelope_ratio, found.envelope_w_ratio), (found.rails_ratio, found.rails_w_ratio))
    if found.even_ratio < _EVEN_RATIO and snr_db < _EVEN_BELOW_DB:
        what = (
            f"its envelope varies by {100 * found.even_ratio:.0f} % of what its noise alone would make it: the recorder"
            " limits the amplitude, and with it goes what tells several arrivals apart"
        )
        values = {"even_ratio": found.even_ratio}
    elif any(abs(ratio) > _LEAST_CUBE_RATIO and abs(sigmas) > _SIGMAS for ratio, sigmas in cubes):
        ratio = max((one for one in cubes if abs(one[1]) > _SIGMAS), key=lambda one: abs(one[0]))[0]
        what = (
            f"its amplitude is bent (at least {100 * ratio:+.1f} % of gain a mean power), limited or clipped:"
            " arrivals pull each other and cast images"
        )
        values = {"bent_ratio": ratio}
    elif whole and found.gain_ratio < _PRESSED_RATIO and found.pressed_w_ratio < -_PRESSED_SIGMAS:
        what = (
            f"its envelope is pressed ({found.gain_ratio:.2f} times as much is left along the signal as across it, and"
            " that goes against the envelope): a limiter, or a gain control within microseconds"
        )
        values = {"gain_ratio": found.gain_ratio}
    elif found.gain_ratio > _GAIN_RATIO:
        what = (
            f"its level moves within milliseconds ({found.gain_ratio:.1f} times as much is left along the signal as"
            " across it): a gain control that follows the programme, or fading"
        )
        values = {"gain_ratio": found.gain_ratio}
    else:
        return
    raise PlanError([Problem(where, what, expected, code="amplitude-bent", values=values)])


def _cube(x: Floats, left: Floats) -> tuple[float, float]:
    """How much of the cube of a signal is left over beside it, and in how many standard deviations."""
    cube = _beside(x)
    power = float(cube @ cube)
    ratio = float(cube @ left) / power
    return ratio, ratio * float(np.sqrt(power / max(float(np.mean((left - ratio * cube) ** 2)), 1e-30)))


def _seen(ratio: float, sigmas: float, x: Floats) -> tuple[float, float]:
    """The same where it is more than what the fit or a filter leaves by itself; else nothing."""
    if float(np.std(x)) < _LEAST_MOVED_RATIO or abs(ratio) * float(np.std(_beside(x))) < _LEAST_LEFT_RATIO:
        return 0.0, 0.0
    return ratio, sigmas


def _beside(x: Floats) -> Floats:
    """The cube of a signal without what of it goes with the signal itself."""
    cube = x**3
    return np.asarray(cube - x * (cube @ x) / (x @ x))
