"""The correlate command: its document, its table, its refusals."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sfn.cli import main


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Two seconds of a composite with pilot at 96 kHz, off air 41.7 us later."""
    rate, n = 96_000, 192_000
    rng = np.random.default_rng(4)
    f = np.fft.rfftfreq(n, 1.0 / rate)
    spectrum = np.fft.rfft(rng.standard_normal(n)) * (f < 15_000)
    t = np.arange(n) / rate
    both = []
    for delay_us in (0.0, 41.7):
        audio = np.fft.irfft(spectrum * np.exp(-2j * np.pi * f * delay_us * 1e-6), n)
        composite = 0.05 * audio / audio.std() + 0.02 * np.cos(2 * np.pi * 19_000 * (t - delay_us * 1e-6))
        both.append(composite + 5e-4 * rng.standard_normal(n))
    path = tmp_path / "night.wav"
    soundfile.write(path, np.column_stack(both), rate, subtype="PCM_24")
    return path


def test_json_tells_the_delay_and_the_pilots(recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both agree with the truth: the correlation and the pilot, to 5 ns."""
    assert 0 == main(["correlate", str(recording), "--pilot", "--json"])

    answer = json.loads(capsys.readouterr().out)
    assert "night.wav channel 1" == answer["reference"]
    assert [] == answer["problems"]
    assert abs(answer["delay_us"] - 41.7) < 0.005
    assert abs(answer["pilot_delay_us"] - 41.7) < 0.005
    assert answer["low_us"] < answer["delay_us"] < answer["high_us"]


def test_every_key_is_described_in_the_help(recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No key is printed that ``--help`` does not speak of."""
    assert 0 == main(["correlate", str(recording), "--pilot", "--json"])
    answer = json.loads(capsys.readouterr().out)
    with pytest.raises(SystemExit):
        main(["correlate", "--help"])
    text = " ".join(capsys.readouterr().out.split())

    assert [] == [key for key in answer if f"`{key}`" not in text]


def test_people_get_a_sentence(recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Delay with its sign and interval, band, drift, pilot."""
    assert 0 == main(["correlate", str(recording), "--pilot"])

    out = capsys.readouterr().out
    assert "delay      +41.7" in out
    assert "positive: off air is later" in out
    assert "pilot      +41." in out


def test_a_refusal_is_an_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A silent channel: no delay, exit 0, and why."""
    path = tmp_path / "quiet.wav"
    noise = 0.1 * np.random.default_rng(1).standard_normal(48_000)
    soundfile.write(path, np.column_stack((noise, 0 * noise)), 48_000)

    assert 0 == main(["correlate", str(path), "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert answer["delay_us"] is None
    assert answer["refused"]
    assert "quiet.wav channel 2" == answer["problems"][0]["where"]
    assert 0 == main(["correlate", str(path)])
    assert "delay      refused" in capsys.readouterr().out


def test_two_recordings_with_a_marker(recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The marker in channel 1 takes away that the second recorder started 5 ms later."""
    samples, rate = soundfile.read(recording)
    marker = 0.1 * np.random.default_rng(8).standard_normal(len(samples))
    first, second = tmp_path / "a.wav", tmp_path / "b.wav"
    soundfile.write(first, np.column_stack((marker, samples[:, 0])), rate, subtype="PCM_24")
    soundfile.write(second, np.column_stack((marker, samples[:, 1]))[480:], rate, subtype="PCM_24")

    options = ["--marker-channel", "1", "--reference-channel", "2", "--json"]
    assert 0 == main(["correlate", str(first), str(second), *options])
    answer = json.loads(capsys.readouterr().out)
    assert abs(answer["delay_us"] - 41.7) < 0.005
    assert abs(answer["marker_delay_us"] + 5000.0) < 0.05


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ("--off-air-channel 3", "night.wav has no channel 3; 1 to 2"),
        ("--marker-channel 1", "one recording needs no marker"),
        ("--search-us 0", "search_us: must be positive"),
        ("--low-hz 50000", "does not fit a rate of 96000 Hz"),
    ],
)
def test_bad_arguments_exit_2(recording: Path, capsys: pytest.CaptureFixture[str], options: str, words: str) -> None:
    """What cannot be done is said on stderr."""
    assert 2 == main(["correlate", str(recording), *options.split()])
    assert words in capsys.readouterr().err
