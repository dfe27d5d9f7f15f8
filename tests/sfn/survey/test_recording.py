"""Recordings in blocks, whatever their format."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from sfn.errors import PlanError
from sfn.survey.recording import ArraySource, channels, chunks, modulation


@pytest.fixture
def stereo() -> np.ndarray:
    """A second of two different channels."""
    rng = np.random.default_rng(2)
    return 0.1 * rng.standard_normal((48_000, 2))


@pytest.mark.parametrize(("suffix", "kind"), [("wav", "WAV"), ("flac", "FLAC"), ("w64", "W64"), ("rf64", "RF64")])
def test_every_format_gives_any_stretch_of_any_channel(
    tmp_path: Path, stereo: np.ndarray, suffix: str, kind: str
) -> None:
    """Samples from the middle are those that were written, within a step of 24 bits."""
    path = tmp_path / f"night.{suffix}"
    soundfile.write(path, stereo, 48_000, format=kind, subtype="PCM_24")

    left, right = channels(path)
    assert (48_000, 48_000, 2) == (right.rate_hz, right.frames, right.channels)
    assert f"night.{suffix} channel 2" == right.name
    np.testing.assert_allclose(right.read(1000, 500), stereo[1000:1500, 1], atol=2.0**-23)
    np.testing.assert_allclose(left.read(1000, 500), stereo[1000:1500, 0], atol=2.0**-23)


def test_outside_the_recording_is_silence(tmp_path: Path, stereo: np.ndarray) -> None:
    """Reading before the beginning and past the end gives zeros, from files and from arrays alike."""
    path = tmp_path / "night.wav"
    soundfile.write(path, stereo, 48_000, subtype="DOUBLE")
    for source in (channels(path)[0], ArraySource(stereo[:, 0], 48_000)):
        assert [0.0] * 10 == source.read(-10, 20)[:10].tolist()
        assert stereo[:10, 0].tolist() == source.read(-10, 20)[10:].tolist()
        assert [0.0] * 5 == source.read(47_995, 10)[5:].tolist()
        assert [0.0] * 7 == source.read(60_000, 7).tolist()


def test_chunks_are_the_whole_recording(stereo: np.ndarray) -> None:
    """Put together, the chunks are the recording."""
    parts = list(chunks(ArraySource(stereo[:, 0], 48_000), chunk_samples=7_000))

    assert 7 == len(parts)
    assert stereo[:, 0].tolist() == np.concatenate(parts).tolist()


def test_unreadable_recordings_are_named(tmp_path: Path) -> None:
    """A missing file, a text, and an empty recording each say what is wrong."""
    (tmp_path / "notes.wav").write_text("not samples", encoding="utf-8")
    soundfile.write(tmp_path / "empty.wav", np.zeros((0, 2)), 48_000)

    for name, words in (("lost.wav", "no such file"), ("notes.wav", "is no recording"), ("empty.wav", "no samples")):
        with pytest.raises(PlanError, match=f"{name}: .*{words}"):
            channels(tmp_path / name)


def test_modulation_tells_clipping_from_loudness() -> None:
    """A loud sine is not clipped; one cut off is, at full scale and at any other ceiling."""
    t = np.arange(96_000) / 48_000
    sine = np.sin(2 * np.pi * 997 * t)

    assert 0 == modulation(ArraySource(0.99 * sine, 48_000)).full_scale_pct
    assert 0 == modulation(ArraySource(0.99 * sine, 48_000)).flat_topped_pct
    assert 20 < modulation(ArraySource(np.clip(1.1 * sine, -1, 1), 48_000)).full_scale_pct < 30
    lower = modulation(ArraySource(np.clip(sine, -0.5, 0.5), 48_000))
    assert 0 == lower.full_scale_pct
    assert 60 < lower.flat_topped_pct < 70
    assert abs(lower.peak_db + 6.02) < 0.01
    assert abs(modulation(ArraySource(sine, 48_000)).rms_db + 3.01) < 0.01
