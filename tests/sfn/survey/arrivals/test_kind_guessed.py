"""A recording of the wrong kind is told as such: I and Q given to `correlate`, a demodulated one to `arrivals`."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from sfn.errors import PlanError
from sfn.study.recordings import Chosen, measured
from sfn.survey.arrivals.iq import evenness, looks_like_iq, read_iq

RATE_HZ = 240_000
N = RATE_HZ // 2


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    """FM of noise as I and Q; noise and the same a sample later, as two demodulated channels; one channel alone."""
    rng = np.random.default_rng(5)
    audio = np.convolve(rng.normal(size=N + 40), np.ones(9) / 3, mode="same")[:N]
    phase = 2 * np.pi * np.cumsum(30_000.0 * audio) / RATE_HZ
    made = {
        "iq": 0.5 * np.column_stack((np.cos(phase), np.sin(phase))),
        "pair": 0.1 * np.column_stack((audio, np.roll(audio, 1))),
        "one": 0.1 * audio,
    }
    for name, samples in made.items():
        soundfile.write(tmp_path / f"{name}.wav", samples, RATE_HZ, subtype="FLOAT")
    return {name: tmp_path / f"{name}.wav" for name in made}


def test_evenness_is_that_of_the_distributions() -> None:
    """Constant 0; two carriers as strong sqrt(pi**2/8 - 1); Rayleigh sqrt(4/pi - 1); two alike sqrt(pi/2 - 1)."""
    rng = np.random.default_rng(1)
    turn, a, b = rng.uniform(0, 2 * np.pi, 400_000), rng.normal(size=400_000), rng.normal(size=400_000)
    assert evenness(np.cos(turn), np.sin(turn)) == pytest.approx(0.0, abs=1e-9)
    assert evenness(1 + np.cos(turn), np.sin(turn)) == pytest.approx(np.sqrt(np.pi**2 / 8 - 1), rel=0.01)
    assert evenness(a, b) == pytest.approx(np.sqrt(4 / np.pi - 1), rel=0.01)
    assert evenness(a, a) == pytest.approx(np.sqrt(np.pi / 2 - 1), rel=0.01)


def test_the_kind_is_guessed_and_said(files: dict[str, Path]) -> None:
    """Each command names the other; a recording of its own kind is told nothing."""
    assert (looks_like_iq(files["iq"]), looks_like_iq(files["pair"]), looks_like_iq(files["one"])) == (
        True,
        False,
        False,
    )
    assert [] == [p.code for p in read_iq(files["iq"]).problems]
    told = read_iq(files["pair"]).problems
    assert ["kind-guessed"] == [p.code for p in told]
    assert "`correlate`" in told[0].expected
    with pytest.raises(PlanError, match=r"1 channel: I and Q are two.*`correlate`"):
        read_iq(files["one"])

    asked = measured([files["iq"]], chosen=Chosen(), search_us=1000.0).problems
    assert "kind-guessed" in [p.code for p in asked]
    assert "`arrivals`" in asked[0].expected
    assert "kind-guessed" not in [p.code for p in measured([files["pair"]], chosen=Chosen(), search_us=1000.0).problems]
    with pytest.raises(PlanError, match="I and Q by its name"):
        measured([files["iq"].with_name("a.sigmf-meta")], chosen=Chosen())
