"""Demodulated recordings with one arrival and with several, made at RF; broken files told as what they are."""

from pathlib import Path

import numpy as np
import pytest
import scipy.signal
import soundfile

from sfn.errors import PlanError
from sfn.study.recordings import Chosen, Measured, measured
from sfn.survey.recording import channels

RATE_HZ, UP, DEVIATION_HZ = 96_000, 8, 75_000.0


def demodulated(
    second: tuple[float, float, float] | None, *, seed: int = 1, side_hz: float = 0.0, audio: bool = False
) -> np.ndarray:
    """A second of noise as composite, and what a discriminator makes of one carrier or two (us, dB, radians).

    `side_hz` is the width of a difference channel around 38 kHz; of `audio` only 15 kHz are left, de-emphasised.
    """
    rng, n = np.random.default_rng(seed), RATE_HZ
    f = np.fft.rfftfreq(n, 1 / RATE_HZ)
    sound = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * (f < 15e3), n)
    mpx = 0.13 * sound / sound.std() + 0.1 * np.sin(2 * np.pi * 19e3 * np.arange(n) / RATE_HZ)
    side = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * (f < side_hz), n)
    mpx += 0.05 * side / max(side.std(), 1e-9) * np.sin(2 * np.pi * 38e3 * np.arange(n) / RATE_HZ)
    phase = 2 * np.pi * DEVIATION_HZ * np.cumsum(scipy.signal.resample(mpx, n * UP)) / (RATE_HZ * UP)
    fine = np.fft.fftfreq(n * UP, 1 / (RATE_HZ * UP))
    path = 1.0 + 0j * np.zeros(n * UP)
    if second is not None:
        path += 10 ** (second[1] / 20) * np.exp(1j * second[2] - 2j * np.pi * fine * second[0] * 1e-6)
    z = np.fft.ifft(np.fft.fft(np.exp(1j * phase)) * path)
    z += 0.01 * (rng.standard_normal(n * UP) + 1j * rng.standard_normal(n * UP)) / np.sqrt(2)
    turned = np.angle(z[1:] * np.conj(z[:-1])) * RATE_HZ * UP / (2 * np.pi * DEVIATION_HZ)
    off_air = scipy.signal.resample(np.concatenate((turned[:1], turned)), n)
    both = np.column_stack((0.5 * mpx + 1e-5 * rng.standard_normal(n), 0.5 * off_air))
    if audio:
        heard = ((f < 15e3) / (1 + 2j * np.pi * f * 50e-6))[:, None]
        both = np.fft.irfft(np.fft.rfft(both, axis=0) * heard, n, axis=0)
    return both[1000:-1000]


def measure(folder: Path, samples: np.ndarray, **options: object) -> Measured:
    """The recording through a file, as a person sends it."""
    path = folder / "night.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="DOUBLE")
    return measured([path], chosen=Chosen(), search_us=1000.0, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "second",
    [(5.0, -6.0, 1.0), (5.0, -1.0, 2.5), (2.5, -12.0, 3.6), (20.0, -18.0, 5.9), (0.5, -3.0, 2.0), (0.8, -4.0, 1.4), (50.0, -3.0, 2.0)],
)  # fmt: skip
def test_two_arrivals_are_never_sure_and_wrong(tmp_path: Path, second: tuple[float, float, float]) -> None:
    """The first one comes at 0: refused, or an interval that holds it."""
    found = measure(tmp_path, demodulated(second)).found

    assert found.refused or found.low_us < 0.0 < found.high_us
    if second[0] in (5.0, 2.5, 20.0):
        assert "several-arrivals" in [p.code for p in found.problems]


@pytest.mark.parametrize("second", [(3.5, -1.5, 1.5), (2.66, -0.3, 1.2), (3.0, -2.0, 1.5)])
def test_two_arrivals_that_audio_hides_are_within_its_interval(
    tmp_path: Path, second: tuple[float, float, float]
) -> None:
    """The delay is a microsecond and more off, and no misfit shows it: the interval holds the first arrival."""
    found = measure(tmp_path, demodulated(second, side_hz=8e3, audio=True)).found

    assert found.delay_us > 1.0
    assert found.low_us < 0.0 < found.high_us


def test_a_composite_with_its_difference_channel_is_surer_than_audio(tmp_path: Path) -> None:
    """One arrival: half a microsecond for a hidden second one where 38 kHz is in common, 3.5 us where only audio is."""
    composite = measure(tmp_path, demodulated(None, side_hz=8e3))
    audio = measure(tmp_path, demodulated(None, side_hz=8e3, audio=True))

    assert (0.5, 3.5) == (composite.close_us, audio.close_us)
    assert 3.5 == pytest.approx(audio.found.uncertainty_us, abs=0.01)
    assert abs(audio.found.delay_us or 9.0) < 0.01


def test_one_arrival_stays_as_it_is(tmp_path: Path) -> None:
    """A single carrier: nothing is refused; who says that it is alone keeps the narrow interval."""
    samples = demodulated(None)
    unsure, alone = measure(tmp_path, samples), measure(tmp_path, samples, alone=True)

    assert () == unsure.problems == alone.problems
    assert abs(unsure.found.delay_us or 9.0) < 0.01
    assert unsure.found.delay_us == alone.found.delay_us
    assert 3.5 == pytest.approx(unsure.found.uncertainty_us, abs=0.01)
    assert (alone.found.uncertainty_us or 9.0) < 0.01
    assert (3.5, 0.0) == (unsure.close_us, alone.close_us)


def test_a_pilot_that_disagrees_is_named(tmp_path: Path) -> None:
    """The pilot alone moved by a microsecond: both figures are in doubt, with what they differ by."""
    samples = demodulated(None)
    spectrum = np.fft.rfft(samples[:, 1])
    f = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    spectrum[abs(f - 19e3) < 200] *= np.exp(-2j * np.pi * 19e3 * 0.9e-6)
    samples[:, 1] = np.fft.irfft(spectrum, len(samples))
    found = measure(tmp_path, samples, use_pilot=True, alone=True, high_hz=15_000.0)

    told = [p for p in found.problems if p.code == "pilot-disagrees"]
    assert 1 == len(told)
    assert 0.9 == pytest.approx(told[0].values["moved_us"], abs=0.02)


@pytest.mark.parametrize("bad", [np.nan, np.inf])
def test_samples_that_are_no_numbers_are_told(tmp_path: Path, bad: float) -> None:
    """Counted and named; no delay, no traceback."""
    samples = demodulated(None)
    samples[500:507, 1] = bad
    found = measure(tmp_path, samples).found

    assert found.delay_us is None
    assert ["recording-not-finite"] == [p.code for p in found.problems]
    assert "holds 7 samples that are no number or infinite" in found.problems[0].what


def test_a_truncated_file_is_told(tmp_path: Path) -> None:
    """What is missing of a WAV would count as silence: refused with the number of bytes; FLAC breaks off in words."""
    path = tmp_path / "night.wav"
    soundfile.write(path, demodulated(None), RATE_HZ, subtype="DOUBLE")
    path.write_bytes(path.read_bytes()[:-1600])
    with pytest.raises(PlanError, match=r"night\.wav: is truncated: 1600 bytes are missing"):
        channels(path)

    flac = tmp_path / "night.flac"
    soundfile.write(flac, 0.1 * demodulated(None), RATE_HZ)
    whole = flac.read_bytes()
    flac.write_bytes(whole[: len(whole) // 2])
    source = channels(flac)[0]
    with pytest.raises(PlanError, match="breaks off"):
        source.read(0, source.frames)
