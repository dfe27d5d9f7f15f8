"""A recorder that bends the amplitude is told: limited, clipped, or with a gain that follows the programme."""

import numpy as np
import pytest
import scipy.signal

from sfn.errors import PlanError
from sfn.survey.arrivals.paths import paths
from tests.bench.bench_arrivals import DEVIATION_HZ, drawn, recorded
from tests.bench.bench_bent import bent
from tests.bench.bench_two_arrivals import RATE_HZ
from tests.sfn.survey.arrivals import made_at_rf as made
from tests.sfn.survey.arrivals.test_paths import found

TWO = [(0.0, 0.0, 0.0), (12.0, -6.0, 1.0)]


def refused(heard: np.ndarray, reference: np.ndarray) -> dict[str, float]:
    """What is said of it."""
    with pytest.raises(PlanError) as told:
        found(reference, heard)
    (problem,) = told.value.problems
    assert "amplitude-bent" == problem.code
    return dict(problem.values)


def limited(heard: np.ndarray, most: float) -> np.ndarray:
    """The envelope held below a limit."""
    size = np.abs(heard)
    return heard * np.minimum(1.0, most / np.maximum(size, 1e-12))


@pytest.mark.parametrize("level", [1e-3, 0.7, 1.0])
def test_a_limiter_is_told(level: float) -> None:
    """Limited at a share of the median envelope: at once, or only where the paths add up."""
    reference, heard = made.recorded(TWO)
    refused(limited(heard, level * float(np.median(np.abs(heard)))), reference)


def test_a_limiter_before_a_filter_is_told() -> None:
    """Limited at four times the rate, then brought down: the envelope moves again, and less than the noise would."""
    reference, heard = made.recorded([(0.0, 0.0, 0.0), (0.5, -10.0, 1.0)], speech=True, factor=1.0)
    fine = scipy.signal.resample(heard, 4 * len(heard))
    refused(scipy.signal.resample(fine / np.abs(fine), len(heard)), reference)


def test_rails_are_told_beside_one_path_too() -> None:
    """I and Q clipped each for itself: one path alone shows it, since I and Q move where the envelope does not."""
    reference, heard = made.recorded([(0.0, 0.0, 0.0)], seed=2)
    most = 0.7 * float(np.median(np.abs(heard)))
    refused(np.clip(heard.real, -most, most) + 1j * np.clip(heard.imag, -most, most), reference)


def test_a_gain_that_follows_the_programme_is_told() -> None:
    """Divided by its own envelope of the last tenth of a millisecond."""
    reference, heard = made.recorded(TWO)
    size = np.abs(heard)
    keep = np.exp(-1 / (1e-4 * made.RATE_HZ))
    refused(heard / scipy.signal.lfilter([1 - keep], [1, -keep], size, zi=[keep * size.mean()])[0], reference)


def test_how_much_is_bent() -> None:
    """By the series of the hyperbolic tangent, L tanh(e/L) = e - e^3 / 3 L^2 + ...: 1 / 3 L^2 less gain, some of it fitted away."""
    reference, heard = made.recorded(TWO)
    size, most = np.abs(heard), 3.0 * float(np.sqrt(np.mean(np.abs(heard) ** 2)))
    told = refused(heard / size * most * np.tanh(size / most), reference)
    assert -1 / 27 < told["bent_ratio"] < -0.003


@pytest.mark.parametrize("seed", [74, 76])
def test_a_straight_recording_of_slow_programme_is_not_refused(seed: int) -> None:
    """Two paths 1.7 and 1.5 us apart: their sum moves by a hundredth or two, and the fit leaves a little of that."""
    kind, arrivals, options, rng = drawn(seed)
    reference, heard = recorded(kind, arrivals, rng, **options)

    found = paths(
        reference, heard, reference_rate_hz=RATE_HZ, rate_hz=options["rate_hz"], deviation_hz=DEVIATION_HZ / 0.7
    )

    base_us = options["start_us"] + found.at_s * options["ppm"]
    for path in found.paths:
        off_us = min(abs(path.delay_us - base_us - us) for us, *_ in arrivals)
        assert off_us < 1.96 * path.uncertainty_us


@pytest.mark.parametrize("seed", [16, 30])
def test_a_pressed_envelope_is_told_where_the_fit_takes_most_of_it(seed: int) -> None:
    """Two paths 1.9 and 1.6 us apart, levelled within 10 us and by a hyperbolic tangent: 0.9 and 0.2 us off before."""
    _, _, options, reference, heard = bent(seed)
    with pytest.raises(PlanError) as told:
        paths(reference, heard, reference_rate_hz=RATE_HZ, rate_hz=options["rate_hz"], deviation_hz=DEVIATION_HZ / 0.7)
    (problem,) = told.value.problems
    assert "amplitude-bent" == problem.code
    assert 0 < problem.values["gain_ratio"] < 0.9


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_restless_oscillator_is_no_limiter(seed: int) -> None:
    """Phase noise of 0.01 radians between 1 and 50 kHz leaves more across the signal than along it; the delays hold."""
    reference, heard = made.recorded(TWO, seed=seed, snr_db=40.0)
    white = np.fft.rfft(np.random.default_rng(seed).standard_normal(len(heard)))
    f = np.fft.rfftfreq(len(heard), 1 / made.RATE_HZ)
    turn = np.fft.irfft(white * ((f > 1e3) & (f < 50e3)), len(heard))
    answer = found(reference, heard * np.exp(1j * 0.01 * turn / turn.std()))
    assert 2 == len(answer.paths)
    apart_us = answer.paths[1].delay_us - answer.paths[0].delay_us
    assert abs(apart_us - 12.0) < 1.96 * float(np.hypot(*(path.uncertainty_us for path in answer.paths)))
