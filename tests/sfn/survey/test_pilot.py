"""The pilot as a vernier, and when it must not be used."""

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.pilot import phase, refine, refined
from sfn.survey.recording import ArraySource

RATE_HZ = 192_000


def composite(
    delay_us: float = 0.0, *, pilot_hz: float = 19_000.0, seed: int = 1, noise: float = 1e-3, duration_s: float = 2.0
) -> ArraySource:
    """Noise as programme to 15 kHz, and a pilot, all later by `delay_us`."""
    rng = np.random.default_rng(7)
    n = int(RATE_HZ * duration_s)
    f = np.fft.rfftfreq(n, 1.0 / RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(n)) * (f < 15_000)
    audio = np.fft.irfft(spectrum * np.exp(-2j * np.pi * f * delay_us * 1e-6), n)
    t = np.arange(n) / RATE_HZ - delay_us * 1e-6
    own = noise * np.random.default_rng(seed).standard_normal(n)
    return ArraySource(0.3 * audio / np.abs(audio).max() + 0.05 * np.cos(2 * np.pi * pilot_hz * t) + own, RATE_HZ)


@pytest.mark.parametrize("delay_us", [0.0, 5.0, -12.5, 1_234.5678, 122_645.8331])
@pytest.mark.parametrize("pilot_hz", [19_000.0, 19_001.7])
def test_the_pilot_refines_a_coarse_delay(delay_us: float, pilot_hz: float) -> None:
    """3 us off, the pilot brings the delay to 2 ns, also when its generator is 1.7 Hz off."""
    reference, off_air = composite(pilot_hz=pilot_hz), composite(delay_us, pilot_hz=pilot_hz, seed=2)

    found, pilot = refined(reference, off_air, coarse_us=delay_us + 3.0, coarse_uncertainty_us=2.0)
    assert abs(found.delay_us - delay_us) < 0.002
    assert abs(found.delay_us - delay_us) < 5 * found.uncertainty_us
    assert abs(pilot.frequency_hz - pilot_hz) < 0.01


def test_a_coarse_delay_that_is_too_coarse_is_refused() -> None:
    """A 95 % interval beyond a quarter of 52.632 us leaves the neighbouring period possible."""
    at_the_limit = 13.157 / 1.96

    assert refine(7.0, coarse_uncertainty_us=at_the_limit, phase_deg=34.2, phase_uncertainty_deg=1).delay_us == 5.0
    with pytest.raises(ValueError, match=r"within 13\.158 us, a quarter of the pilot's 52\.632 us, got \+-13\.7"):
        refine(7.0, coarse_uncertainty_us=7.0, phase_deg=34.2, phase_uncertainty_deg=1)


def test_every_period_is_counted() -> None:
    """From 1000 us off the count of whole periods comes from the coarse delay."""
    found = refine(1002.0, coarse_uncertainty_us=2.0, phase_deg=0.0, phase_uncertainty_deg=0.1)

    assert 19 == found.cycles
    assert abs(found.delay_us - 1000.0) < 1e-6


def test_a_pilot_that_contradicts_the_coarse_delay_is_refused() -> None:
    """20 us away from a coarse delay known to 1 us, the pilot was made anew at the site."""
    with pytest.raises(ValueError, match="is the pilot made at each site anew"):
        refine(0.0, coarse_uncertainty_us=1.0, phase_deg=136.8, phase_uncertainty_deg=0.1)


def test_two_generators_are_told_apart() -> None:
    """Pilots 0.2 Hz apart are not of one stereo generator."""
    with pytest.raises(PlanError, match=r"runs \+0\.2000 Hz beside the reference's"):
        phase(composite(), composite(pilot_hz=19_000.2, seed=2))


def test_a_missing_pilot_a_low_rate_and_a_short_recording_are_refused() -> None:
    """Each is named."""
    mono = ArraySource(0.1 * np.random.default_rng(1).standard_normal(RATE_HZ), RATE_HZ)

    with pytest.raises(PlanError, match="has no pilot at 19000 Hz"):
        phase(composite(), mono)
    with pytest.raises(PlanError, match="at least 41800 Hz"):
        phase(ArraySource(np.zeros(32_000), 32_000), ArraySource(np.zeros(32_000), 32_000))
    with pytest.raises(PlanError, match="too short for the pilot"):
        phase(composite(duration_s=0.3), composite(duration_s=0.3))
