"""I and Q out of two channels and out of SigMF; what is broken is told in words."""

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from sfn.errors import PlanError
from sfn.survey.arrivals.iq import read_iq


def written(folder: Path, raw: np.ndarray, kind: str) -> Path:
    """A SigMF recording of interleaved values."""
    (folder / "night.sigmf-data").write_bytes(raw.tobytes())
    tree = {
        "global": {"core:datatype": kind, "core:sample_rate": 256e3, "core:version": "1.2.0"},
        "captures": [],
        "annotations": [],
    }
    meta = folder / "night.sigmf-meta"
    meta.write_text(json.dumps(tree), encoding="utf-8")
    return meta


@pytest.mark.parametrize(
    ("kind", "raw"),
    [
        ("cf32_le", np.array([0.5, -0.25, 0.0, 1.0], "<f4")),
        ("cf32_be", np.array([0.5, -0.25, 0.0, 1.0], ">f4")),
        ("ci16_le", np.array([16384, -8192, 0, 32767], "<i2")),
        ("cu8", np.array([192, 96, 128, 255], "u1")),
        ("ci8", np.array([64, -32, 0, 127], "i1")),
    ],
)
def test_data_types_mean_the_same(tmp_path: Path, kind: str, raw: np.ndarray) -> None:
    """I before Q, full scale 1, whatever the samples are written as; either file may be named."""
    meta = written(tmp_path, raw, kind)

    for path in (meta, meta.with_suffix(".sigmf-data")):
        read = read_iq(path)
        assert 256e3 == pytest.approx(read.rate_hz)
        assert [0.5 - 0.25j, 1j] == pytest.approx(read.samples.tolist(), abs=0.01)


@pytest.mark.parametrize(
    ("kind", "raw", "told"),
    [
        ("rf32_le", np.ones(4, "<f4"), "core:datatype is 'rf32_le'"),
        ("cf32_le", np.ones(3, "<f4"), "is truncated"),
        ("cf32_le", np.zeros(0, "<f4"), "holds no samples"),
        ("cf32_le", np.array([1.0, np.nan, np.inf, 0.0], "<f4"), "holds 2 samples that are no number or infinite"),
        ("cf32_le", np.zeros(4, "<f4"), "is silent"),
    ],
)
def test_what_cannot_be_used_is_told(tmp_path: Path, kind: str, raw: np.ndarray, told: str) -> None:
    """The file and what is wrong with it."""
    with pytest.raises(PlanError, match=told):
        read_iq(written(tmp_path, raw, kind))


def test_half_of_a_sigmf_recording_is_told(tmp_path: Path) -> None:
    """The metadata alone, then metadata that is none."""
    meta = written(tmp_path, np.ones(4, "<f4"), "cf32_le")
    (tmp_path / "night.sigmf-data").rename(tmp_path / "elsewhere")
    with pytest.raises(PlanError, match=r"night\.sigmf-data: there is no such file"):
        read_iq(meta)

    (tmp_path / "elsewhere").rename(tmp_path / "night.sigmf-data")
    meta.write_text("{}", encoding="utf-8")
    with pytest.raises(PlanError, match="is no metadata of SigMF"):
        read_iq(meta)


def test_two_channels_are_i_and_q(tmp_path: Path) -> None:
    """A WAV of two channels; one channel alone is refused."""
    path = tmp_path / "night.wav"
    soundfile.write(path, np.array([[0.5, -0.25], [0.0, 0.75]]), 256_000, subtype="DOUBLE")
    assert [0.5 - 0.25j, 0.75j] == pytest.approx(read_iq(path).samples.tolist())

    soundfile.write(path, np.array([0.5, 0.25]), 256_000, subtype="DOUBLE")
    with pytest.raises(PlanError, match="has 1 channel: I and Q are two"):
        read_iq(path)
