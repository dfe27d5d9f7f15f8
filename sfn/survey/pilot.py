"""The 19 kHz pilot of an FM composite as a vernier: its phase refines a delay that is already roughly known.

Usable only where both channels carry the pilot of one stereo generator. With a stereo generator at each site
the two pilots have nothing to do with each other; `phase` sees it when their frequencies differ, not otherwise.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.survey.recording import Source

PILOT_HZ = 19_000.0
_NORMAL_95 = 1.959964
_BLOCK_S = 0.05
_LEAST_BLOCKS = 10
_LEAST_SNR_DB = 10.0


def degrees_per_us(pilot_hz: float = PILOT_HZ) -> float:
    """Phase that a microsecond turns: ``360 f``.

    Examples
    --------
    >>> print(f"{degrees_per_us():.3f}")
    6.840
    """
    return 360.0 * pilot_hz * 1e-6


def ambiguity_us(pilot_hz: float = PILOT_HZ) -> float:
    """Delay after which the phase repeats: ``1 / f``.

    Examples
    --------
    >>> print(f"{ambiguity_us():.3f}")
    52.632
    """
    return 1e6 / pilot_hz


@dataclass(frozen=True, slots=True)
class PilotPhase:
    """Phase of the second channel's pilot behind the first's: a later second channel gives a positive phase.

    Parameters
    ----------
    phase_deg, uncertainty_deg : float
        From -180 to 180, and its standard uncertainty from the scatter of blocks. [deg]
    frequency_hz : float
        Of the pilot, as the recorder's clock counts. [Hz]
    slip_hz : float
        Second pilot's frequency minus the first's; 0 when one generator serves both. [Hz]
    snr_db : float
        Pilot over noise in 20 Hz, the weaker of both channels. [dB]
    """

    phase_deg: float
    uncertainty_deg: float
    frequency_hz: float
    slip_hz: float
    snr_db: float


@dataclass(frozen=True, slots=True)
class Refined:
    """Delay refined by the pilot; `cycles` whole periods were taken from the coarse value."""

    delay_us: float
    uncertainty_us: float
    cycles: int
    moved_us: float


def phase(reference: Source, off_air: Source, *, later_samples: int = 0, pilot_hz: float = PILOT_HZ) -> PilotPhase:
    """Phase difference of the pilots of two channels of one recording.

    `later_samples` of the second channel are skipped first: near the true delay the phase is small, and what the
    generator's frequency is off the nominal one no longer counts.

    Each block of 50 ms is turned down by the pilot's nominal frequency and averaged under Hann's window; the
    phases of the blocks' cross-products give the answer, their scatter its uncertainty.

    Raises
    ------
    PlanError
        If the rate is too low, the recording shorter than half a second, a pilot is missing, or the two
        pilots differ in frequency.
    """
    rate = reference.rate_hz
    if off_air.rate_hz != rate or rate < 2.2 * pilot_hz:
        what = f"{rate} and {off_air.rate_hz} samples a second cannot both hold {pilot_hz:g} Hz"
        raise PlanError(
            [Problem(off_air.name, what, f"one rate, at least {2.2 * pilot_hz:.0f} Hz", code="sample-rate-too-low")]
        )
    count = (min(reference.frames, off_air.frames) - abs(later_samples)) // round(_BLOCK_S * rate)
    if count < _LEAST_BLOCKS:
        what = f"{count * _BLOCK_S:.2f} s in common are too short for the pilot"
        raise PlanError(
            [Problem(off_air.name, what, f"{_LEAST_BLOCKS * _BLOCK_S:g} s or more", code="recording-too-short")]
        )
    a, noise_a = _turned_down(reference, count=count, pilot_hz=pilot_hz)
    b, noise_b = _turned_down(off_air, count=count, pilot_hz=pilot_hz, skip=later_samples)
    for source, blocks, noise in ((reference, a, noise_a), (off_air, b, noise_b)):
        if _snr_db(blocks, noise) < _LEAST_SNR_DB:
            what = f"has no pilot at {pilot_hz:g} Hz"
            raise PlanError(
                [
                    Problem(
                        source.name,
                        what,
                        f"{_LEAST_SNR_DB:g} dB or more above the noise in 20 Hz",
                        code="pilot-too-weak",
                    )
                ]
            )
    both = a * np.conj(b)
    slip_hz = -_rotation_hz(both)
    mean = np.sum(both)
    off_deg = np.degrees(np.angle(both * np.conj(mean)))
    uncertainty_deg = float(np.sqrt(np.mean(off_deg**2) / (count - 1)))
    _same_generator(off_air, slip_hz=slip_hz, off_deg=off_deg)
    return PilotPhase(
        phase_deg=float(np.degrees(np.angle(mean))),
        uncertainty_deg=max(uncertainty_deg, 1e-9),
        frequency_hz=pilot_hz + _rotation_hz(a),
        slip_hz=slip_hz,
        snr_db=min(_snr_db(a, noise_a), _snr_db(b, noise_b)),
    )


def refine(
    coarse_us: float,
    *,
    coarse_uncertainty_us: float,
    phase_deg: float,
    phase_uncertainty_deg: float,
    pilot_hz: float = PILOT_HZ,
) -> Refined:
    """The delay nearest to the coarse one that has this pilot phase.

    Parameters
    ----------
    coarse_us, coarse_uncertainty_us : float
        Coarse delay and its standard uncertainty. [us]
    phase_deg, phase_uncertainty_deg : float
        Phase of the second channel behind the first. [deg]

    Raises
    ------
    ValueError
        If the coarse delay's 95 % interval reaches beyond a quarter of the ambiguity to either side: then the
        next period cannot be excluded at four standard uncertainties; or if the pilot lies outside the interval.

    Examples
    --------
    34.2 degrees are 5 us, or 57.6, or -47.6; beside a coarse 7 us only one of them can be meant:

    >>> refine(7.0, coarse_uncertainty_us=2.0, phase_deg=34.2, phase_uncertainty_deg=0.1).delay_us
    5.0
    """
    period_us = ambiguity_us(pilot_hz)
    reach_us = _NORMAL_95 * coarse_uncertainty_us
    if not reach_us <= period_us / 4:
        raise ValueError(
            f"coarse_uncertainty_us must keep the 95 % interval within {period_us / 4:.3f} us, a quarter of the pilot's"
            f" {period_us:.3f} us, got +-{reach_us:.3f} us"
        )
    principal_us = phase_deg / degrees_per_us(pilot_hz)
    cycles = round((coarse_us - principal_us) / period_us)
    delay_us = principal_us + cycles * period_us
    moved_us = delay_us - coarse_us
    if abs(moved_us) > max(2 * reach_us, 1.0):
        raise ValueError(
            f"phase_deg must agree with the coarse delay, got {delay_us:.3f} us beside"
            f" {coarse_us:.3f} +-{reach_us:.3f} us: is the pilot made at each site anew?"
        )
    return Refined(
        delay_us=round(delay_us, 9),
        uncertainty_us=phase_uncertainty_deg / degrees_per_us(pilot_hz),
        cycles=cycles,
        moved_us=moved_us,
    )


def refined(
    reference: Source, off_air: Source, *, coarse_us: float, coarse_uncertainty_us: float, pilot_hz: float = PILOT_HZ
) -> tuple[Refined, PilotPhase]:
    """Delay of two recorded composites, refined by their pilots from a coarse delay.

    Raises
    ------
    PlanError
        As `phase`, and where `refine` refuses.
    """
    skip = round(coarse_us * 1e-6 * reference.rate_hz)
    skipped_us = 1e6 * skip / reference.rate_hz
    found = phase(reference, off_air, later_samples=skip, pilot_hz=pilot_hz)
    try:
        rest = refine(
            coarse_us - skipped_us,
            coarse_uncertainty_us=coarse_uncertainty_us,
            phase_deg=found.phase_deg,
            phase_uncertainty_deg=found.uncertainty_deg,
            pilot_hz=found.frequency_hz,
        )
    except ValueError as error:
        expected = "a surer coarse delay, or no use of the pilot"
        raise PlanError([Problem(off_air.name, str(error), expected, code="pilot-cannot-refine")]) from error
    return Refined(skipped_us + rest.delay_us, rest.uncertainty_us, rest.cycles, rest.moved_us), found


def _turned_down(source: Source, *, count: int, pilot_hz: float, skip: int = 0) -> tuple[NDArray[np.complex128], float]:
    """Mean of each block turned down by the pilot's frequency, and the mean square 100 Hz beside it."""
    block = round(_BLOCK_S * source.rate_hz)
    window = np.sin(np.pi * np.arange(block) / block) ** 2
    window /= window.sum()
    time_s = np.arange(block) / source.rate_hz
    turn = np.exp(-2j * np.pi * pilot_hz * time_s) * window
    beside = [np.exp(-2j * np.pi * (pilot_hz + d) * time_s) * window for d in (-120.0, 120.0)]
    means = np.empty(count, dtype=np.complex128)
    noise = 0.0
    for k in range(count):
        samples = source.read(k * block + skip, block)
        # The phase of the block's start: block times need not be whole periods of the pilot.
        means[k] = (samples @ turn) * np.exp(-2j * np.pi * pilot_hz * (k * block / source.rate_hz))
        noise += sum(abs(samples @ b) ** 2 for b in beside) / 2
    return means, noise / count


def _snr_db(blocks: NDArray[np.complex128], noise: float) -> float:
    """Pilot's power over the power beside it, infinite without noise."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return float(10 * np.log10(np.mean(np.abs(blocks) ** 2) / noise))


def _rotation_hz(blocks: NDArray[np.complex128]) -> float:
    """How fast the phase of the blocks turns."""
    return float(np.angle(np.sum(blocks[1:] * np.conj(blocks[:-1]))) / (2 * np.pi * _BLOCK_S))


def _same_generator(source: Source, *, slip_hz: float, off_deg: NDArray[np.float64]) -> None:
    """Refuse two pilots that run apart."""
    turned_deg = 360.0 * slip_hz * _BLOCK_S * len(off_deg)
    if (abs(turned_deg) > 10.0 and abs(turned_deg) > 4.0 * float(np.std(np.diff(off_deg)))) or np.std(off_deg) > 40.0:
        what = f"its pilot runs {slip_hz:+.4f} Hz beside the reference's: they are not of one stereo generator"
        raise PlanError(
            [
                Problem(
                    source.name,
                    what,
                    "one stereo generator for all sites, or no use of the pilot",
                    code="pilots-differ",
                )
            ]
        )
