"""Delays of simulated channels, and the refusals."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.correlate import delay, marked_delay
from sfn.survey.recording import ArraySource

Pair = Callable[..., tuple[Any, Any]]


def measure(x: Any, y: Any, *, rate_hz: int = 48_000, **options: Any) -> Any:
    """The delay of two arrays."""
    return delay(ArraySource(x, rate_hz, "studio"), ArraySource(y, rate_hz, "off air"), **options)


@pytest.mark.parametrize("weighting", ["ml", "phat"])
@pytest.mark.parametrize("delay_us", [0.0, 5.0, -37.8782, 412.31, 122_645.8331])
def test_the_delay_lies_within_the_interval(pair: Pair, delay_us: float, weighting: str) -> None:
    """Any delay comes back within four standard uncertainties, with its sign."""
    x, y = pair(delay_us=delay_us)

    found = measure(x, y, weighting=weighting)
    assert () == found.problems
    assert abs(found.delay_us - delay_us) < 4 * found.uncertainty_us
    assert found.uncertainty_us < 0.02
    assert found.low_us < found.delay_us < found.high_us
    assert 14_000 < found.band_high_hz < 15_500


def test_two_channels_at_192_khz(pair: Pair) -> None:
    """Two seconds of composite at 192 kHz and 20 dB are known to a few nanoseconds."""
    x, y = pair(rate_hz=192_000, delay_us=1234.5678, high_hz=53_000.0)

    found = measure(x, y, rate_hz=192_000)
    assert abs(found.delay_us - 1234.5678) < 0.02
    assert found.uncertainty_us < 0.005


def test_the_interval_holds_as_often_as_it_says(pair: Pair) -> None:
    """In 30 runs the 95 % interval misses the true delay four times at most."""
    missed = 0
    for seed in range(30):
        x, y = pair(delay_us=3.3 * seed, duration_s=0.7, snr_db=15.0, seed=seed)
        found = measure(x, y, search_us=2000.0)
        missed += not found.low_us <= 3.3 * seed <= found.high_us

    assert missed <= 4


def test_a_common_signal_far_below_the_noise_of_one_channel(pair: Pair) -> None:
    """At -3 dB the delay is still found, with an interval that says so."""
    x, y = pair(delay_us=250.0, duration_s=5.0, snr_db=-3.0)

    found = measure(x, y)
    assert abs(found.delay_us - 250.0) < 4 * found.uncertainty_us
    assert 0.05 < found.uncertainty_us < 0.5


def test_inverted_polarity_is_seen_and_does_no_harm(pair: Pair) -> None:
    """The second channel upside down gives the same delay and says inverted."""
    x, y = pair(delay_us=77.7)

    assert not measure(x, y).inverted
    upside_down = measure(x, -y)
    assert upside_down.inverted
    assert abs(upside_down.delay_us - measure(x, y).delay_us) < 1e-9


def test_swapping_the_channels_turns_the_sign(pair: Pair) -> None:
    """Positive means that the second channel is later."""
    x, y = pair(delay_us=77.7)

    assert abs(measure(x, y).delay_us + measure(y, x).delay_us) < 0.02


def test_a_silent_channel_is_refused(pair: Pair) -> None:
    """Digital silence and near silence are named as such."""
    x, y = pair()

    found = measure(x, 0.0 * y)
    assert found.refused
    assert found.delay_us is None
    assert "off air: off air: is silent; a signal above -80 dB" in found.problems[0].line("off air")
    assert "silent (106 dB below full scale)" in measure(1e-4 * x, y).problems[0].what


def test_a_clipped_channel_is_refused(pair: Pair) -> None:
    """Clipping at full scale, and at a ceiling below it, is named with its share."""
    x, y = pair()

    at_full_scale = measure(x, np.clip(15 * y, -1, 1))
    assert at_full_scale.refused
    assert "is clipped:" in at_full_scale.problems[0].what
    assert "at full scale" in at_full_scale.problems[0].what
    assert "cut off 26.0 dB below full scale" in measure(x, np.clip(y, -0.05, 0.05)).problems[0].what


def test_unrelated_channels_are_refused(pair: Pair) -> None:
    """Two different programmes have nothing in common."""
    x, _ = pair(seed=1)
    _, y = pair(seed=2)

    found = measure(x, y, search_us=1000.0)
    assert found.delay_us is None
    assert "nothing in common with studio for any delay from -1000 to 1000 us" in found.problems[0].what


def test_two_arrivals_of_nearly_one_height_are_refused_and_listed(pair: Pair) -> None:
    """A second arrival 4 ms later at -0.9 dB makes the peak ambiguous; at -6 dB it is only listed."""
    x, y = pair(delay_us=100.0)
    late = np.roll(y, 192)

    ambiguous = measure(x, y + 0.9 * late)
    assert ambiguous.refused
    assert "2 peaks of nearly the same height (+" in ambiguous.problems[0].what
    assert all(abs(p.delay_us - d) < 21.0 for p, d in zip(ambiguous.peaks, (100.0, 4100.0), strict=True))
    weaker = measure(x, y + 0.5 * late)
    assert not weaker.refused
    assert abs(weaker.peaks[1].delay_us - 4100.0) < 21.0
    assert abs(weaker.peaks[1].height_ratio - 0.5) < 0.05


def test_a_tone_is_ambiguous() -> None:
    """A tone repeats each period: its delay cannot be told."""
    rng = np.random.default_rng(3)
    t = np.arange(96_000) / 48_000
    x, y = (0.1 * np.sin(2 * np.pi * 1000 * t - p) + 1e-4 * rng.standard_normal(len(t)) for p in (0.0, 1.0))

    found = measure(x, y)
    assert found.refused
    assert "peaks of nearly the same height" in found.problems[0].what


@pytest.mark.parametrize("drift_ppm", [0.5, -3.0, 60.0])
def test_drifting_clocks_are_refused_and_the_drift_is_told(pair: Pair, drift_ppm: float) -> None:
    """The drift comes back within 0.05 ppm, and the words speak of clocks."""
    x, y = pair(drift_ppm=drift_ppm, delay_us=500.0, duration_s=8.0)

    found = measure(x[2400:-2400], y[2400:-2400])
    assert found.refused
    assert abs(found.drift_us_per_s - drift_ppm) < 0.05
    assert any("the clocks are not locked" in p.what for p in found.problems)


def test_a_delay_that_jumps_is_refused(pair: Pair) -> None:
    """A setting that changes within the recording is seen."""
    x, y = pair(rate_hz=48_000, duration_s=24.0, delay_us=100.0)

    found = measure(x, np.concatenate((y[:500_000], np.roll(y, 3000)[500_000:])), rate_hz=48_000)
    assert found.refused
    assert "the delay jumps by" in found.problems[0].what


@pytest.mark.parametrize(("lost", "place_ratio"), [(1, 0.5), (1, 0.95), (3, 0.9), (-2, 0.75), (480, 0.92), (-96, 0.3)])
def test_lost_samples_are_found_by_the_misfit(pair: Pair, lost: int, place_ratio: float) -> None:
    """One sample to 10 ms lost, or repeated, anywhere: no one delay holds, however clear it looks."""
    x, y = pair(duration_s=4.0, delay_us=42.4, snr_db=30.0)
    at = int(place_ratio * len(y))
    slipped = np.concatenate((y[:at], y[at + lost :]))
    found = measure(x[: len(slipped)], slipped[: len(x)], search_us=20_000.0)

    assert found.refused
    assert {p.code for p in found.problems if p.severity == "error"} <= {"delay-jumps", "delay-drifts", "several-peaks"}


def test_a_second_arrival_close_behind_widens_the_interval(pair: Pair) -> None:
    """An echo inside the main lobe makes the halves of the band disagree: warned, and counted."""
    x, y = pair(delay_us=100.0, duration_s=5.0)

    found = measure(x, y + 0.3 * np.roll(y, 1))
    assert not found.refused
    assert "another arrival beside the first" in found.problems[0].what
    assert found.uncertainty_us >= abs(found.dispersion_us) / 2
    assert measure(x, y).uncertainty_us < found.uncertainty_us


def test_too_short_and_two_rates_are_refused(pair: Pair) -> None:
    """A few milliseconds are no measurement, and 44.1 kHz beside 48 kHz neither."""
    x, y = pair()

    assert "too short to average" in measure(x[:1500], y[:1500]).problems[0].what
    with pytest.raises(PlanError, match="b: has 44100 samples a second, a has 48000"):
        delay(ArraySource(x, 48_000, "a"), ArraySource(y, 44_100, "b"))


def test_two_recordings_with_a_common_marker(pair: Pair) -> None:
    """Recorders started 0.3 s apart, with clocks 5 ppm apart: the marker takes both away."""
    from scipy.interpolate import CubicSpline

    rng = np.random.default_rng(5)
    rate, true_us = 48_000, 88.25
    x, y = pair(duration_s=8.0, delay_us=true_us, snr_db=40.0, high_hz=6000.0)
    marker, _ = pair(duration_s=8.0, snr_db=200.0, high_hz=6000.0, seed=9)
    t = np.arange(len(x)) / rate
    there = 0.3 + t[: 7 * rate] * (1 + 5e-6)
    y_there, marker_there = (CubicSpline(t, v)(there) + 1e-5 * rng.standard_normal(len(there)) for v in (y, marker))

    first = (ArraySource(marker, rate, "marker A"), ArraySource(x, rate, "A"))
    answer, signal, _ = marked_delay(first, (ArraySource(marker_there, rate), ArraySource(y_there, rate, "B")))
    assert () == answer.problems
    assert abs(answer.delay_us - true_us) < 0.05
    assert abs(signal.drift_us_per_s + 5.0) < 0.05
    assert abs(answer.drift_us_per_s) < 0.02


def test_one_pulse_per_second_serves_as_marker(pair: Pair) -> None:
    """Pulses at full scale are a marker, not clipping."""
    rate, started = 48_000, 4_321
    x, y = pair(duration_s=6.0, delay_us=20.0)
    pulses = np.zeros(len(x))
    for second in range(6):
        pulses[second * rate + 100 : second * rate + 148] = 1.0
    noise = 1e-4 * np.random.default_rng(1).standard_normal(len(x))

    first = (ArraySource(pulses + noise, rate), ArraySource(x, rate))
    second = (ArraySource((pulses + noise[::-1])[started:], rate), ArraySource(y[started:], rate))
    answer, _, marker = marked_delay(first, second, search_us=400_000.0)
    assert not answer.refused
    assert abs(marker.delay_us + 1e6 * started / rate) < 0.1
    assert abs(answer.delay_us - 20.0) < 0.1


@pytest.mark.parametrize("weighting", ["ml", "phat"])
def test_programme_that_swells_and_falls_keeps_its_delay(weighting: str) -> None:
    """Syllables of 13 dB about their mean in noise 3 dB under it: an answer is near the truth, or there is none."""
    rate, count = 48_000, 6 * 48_000
    t, f = np.arange(count) / rate, np.fft.rfftfreq(count, 1 / rate)
    off, given = [], 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        noise = np.fft.irfft(np.fft.rfft(rng.standard_normal(count)) * ((f > 50) & (f < 12_000)), count)
        x = noise * np.exp(1.5 * np.interp(t, np.linspace(0, 6, 48), rng.standard_normal(48)))
        true_us = float(rng.uniform(-900, 900))
        y = np.fft.irfft(np.fft.rfft(x) * np.exp(-2j * np.pi * f * true_us * 1e-6), count)
        x, y = (v + x.std() * rng.standard_normal(count) for v in (x, y))
        found = measure(0.3 * x / np.abs(x).max(), 0.3 * y / np.abs(y).max(), weighting=weighting, search_us=5000.0)
        if found.delay_us is not None:
            given += 1
            off.append((found.delay_us - true_us) / found.uncertainty_us)
    assert given >= 10
    assert np.abs(off).max() < 5
    assert np.sqrt(np.mean(np.square(off))) < 2


@pytest.mark.parametrize("drift_ppm", [0.0, 5.0])
def test_bursts_of_noise_serve_as_marker(pair: Pair, drift_ppm: float) -> None:
    """20 ms of noise a second: what lies between says nothing, also where the recorders' clocks differ."""
    from scipy.interpolate import CubicSpline

    rng = np.random.default_rng(3)
    rate, started_s = 48_000, 0.0123456
    x, y = pair(duration_s=10.0, delay_us=42.4, snr_db=30.0, high_hz=8000.0)
    loud = (np.arange(len(x)) % rate >= 14_400) & (np.arange(len(x)) % rate < 15_360)
    bursts = np.where(loud, pair(duration_s=10.0, snr_db=200.0, high_hz=8000.0, seed=4)[0], 0.0)
    t = np.arange(len(x)) / rate
    there = started_s + t[: 9 * rate] * (1 + drift_ppm * 1e-6)
    y_there, bursts_there = (CubicSpline(t, v)(there) + 5e-4 * rng.standard_normal(len(there)) for v in (y, bursts))
    first = (ArraySource(bursts + 5e-4 * rng.standard_normal(len(x)), rate), ArraySource(x, rate))

    found, _, marker = marked_delay(first, (ArraySource(bursts_there, rate), ArraySource(y_there, rate)))
    assert not found.refused
    assert abs(found.delay_us - 42.4) < max(0.1, 3 * found.uncertainty_us)
    assert abs(marker.drift_us_per_s + drift_ppm) < 0.1
    assert len(marker.sections_s) < 15


@pytest.mark.parametrize("true_us", [150.0, 1234.5])
def test_a_delay_outside_the_search_is_refused(pair: Pair, true_us: float) -> None:
    """What lies outside is never given as if it lay inside, nor crept up to."""
    x, y = pair(duration_s=10.0, delay_us=true_us, snr_db=25.0)

    found = measure(x, y, search_us=100.0)
    assert found.delay_us is None
    assert "outside -100 to 100 us" in found.problems[0].what


def test_coarse_agrees_with_scipy(pair: Pair) -> None:
    """The plain correlation of scipy.signal has its highest sample where ours says."""
    from scipy.signal import correlate as plain

    x, y = pair(delay_us=412.31)
    lag = int(np.argmax(plain(y, x, mode="full", method="fft"))) - (len(x) - 1)

    assert abs(measure(x, y).delay_us - 1e6 * lag / 48_000) <= 0.5e6 / 48_000 + 0.05
