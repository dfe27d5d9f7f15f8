"""Recordings of I and Q: two channels of a WAV, FLAC, WAVE64 or RF64 file, or SigMF.

SigMF, the Signal Metadata Format specification: a JSON file ``NAME.sigmf-meta`` beside raw samples
``NAME.sigmf-data``; `core:datatype` ("cf32_le", "ci16_le", "cu8", ...) and `core:sample_rate` stand under `global`,
I before Q.
"""

import json
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.survey.recording import SUFFIXES, channels, modulation
from sfn.survey.verdict import driven

SIGMF_SUFFIXES = (".sigmf-meta", ".sigmf-data")
MOST_S = 10.0
"""Only so much of a recording is read: paths are sure after a second or two. [s]"""
LEAST_RATE_HZ = 200e3
"""An FM signal of 75 kHz deviation does not fit into fewer samples a second."""
DEMODULATED = "; what a receiver demodulated is measured as such (`correlate`; on the page: demodulated)"
_EVEN_RATIO, _UNEVEN_RATIO, _GUESSED_S = 0.3, 0.65, 1.0
_TYPES = {"f32": "f4", "f64": "f8", "i32": "i4", "u32": "u4", "i16": "i2", "u16": "u2", "i8": "i1", "u8": "u1"}
_DATATYPE = re.compile(r"c(f32|f64|i32|u32|i16|u16|i8|u8)(_le|_be)?")


@dataclass(frozen=True, slots=True)
class Iq:
    """I + jQ, full scale 1, and how much of the recording it is."""

    name: str
    samples: NDArray[np.complex128]
    rate_hz: float
    duration_s: float
    """Of the whole recording."""
    problems: tuple[Problem, ...]


def evenness(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """How much the envelope of two channels as I and Q varies: its standard deviation over its mean.

    One FM carrier gives 0, two as strong 0.48, very many 0.52 (Rayleigh's distribution); two like demodulated channels
    0.76 (the normal distribution's magnitude), and speech more. 0 where both are silent.
    """
    envelope = np.hypot(a, b)
    mean = float(np.mean(envelope)) if envelope.size else 0.0
    return float(np.std(envelope)) / mean if mean > 0 else 0.0


def looks_like_iq(path: Path) -> bool:
    """Whether a recording is one of I and Q, by its name or by an envelope as even as no demodulated pair has it."""
    if path.suffix in SIGMF_SUFFIXES:
        return True
    found = channels(path)
    if len(found) != 2 or found[0].rate_hz < LEAST_RATE_HZ:
        return False
    count = min(found[0].frames, round(_GUESSED_S * found[0].rate_hz))
    a, b = (one.read(0, count) for one in found)
    sounds = min(float(np.std(a)), float(np.std(b))) > 0
    return sounds and 0.0 < evenness(a - np.mean(a), b - np.mean(b)) < _EVEN_RATIO


def read_iq(path: Path | str) -> Iq:
    """The first seconds of a recording of I and Q.

    Raises
    ------
    PlanError
        If the file is none that can be read, has not two channels, is cut off, silent, clipped or not finite.
    """
    path = Path(path)
    return _sigmf(path) if path.suffix in SIGMF_SUFFIXES else _two_channels(path)


def _two_channels(path: Path) -> Iq:
    """Channel 1 as I, channel 2 as Q."""
    if path.suffix.lower() not in SUFFIXES:
        expected = f"one of {', '.join((*SUFFIXES, *SIGMF_SUFFIXES))}"
        raise PlanError(
            [Problem(path.name, "is no recording of I and Q by its name", expected, code="file-unreadable")]
        )
    found = channels(path)
    if len(found) != 2:
        what = f"has {len(found)} channel{'s' if len(found) > 1 else ''}: I and Q are two"
        expected = f"channel 1 I, channel 2 Q{DEMODULATED if len(found) == 1 else ''}"
        raise PlanError([Problem(path.name, what, expected, code="not-i-and-q")])
    problems = [p for one in found for p in driven(one, modulation(one), judge_clipping=True)]
    if any(p.severity == "error" for p in problems):
        raise PlanError(problems)
    i, q = found
    count = min(i.frames, round(MOST_S * i.rate_hz))
    z = i.read(0, count) + 1j * q.read(0, count)
    ratio = evenness(z.real - np.mean(z.real), z.imag - np.mean(z.imag))
    if ratio > _UNEVEN_RATIO:
        what = f"looks demodulated: the envelope of its channels varies by {ratio:.2f}, that of FM by 0.52 at most"
        expected = f"I and Q of the receiver{DEMODULATED}"
        problems.append(Problem(path.name, what, expected, "warning", code="kind-guessed"))
    return Iq(path.name, z, float(i.rate_hz), i.frames / i.rate_hz, tuple(problems))


def _sigmf(path: Path) -> Iq:
    """Samples as the metadata beside them say."""
    meta, data = path.with_suffix(".sigmf-meta"), path.with_suffix(".sigmf-data")
    for file in (meta, data):
        if not file.is_file():
            what = "there is no such file"
            expected = "both files of a SigMF recording, .sigmf-meta and .sigmf-data, side by side"
            raise PlanError([Problem(file.name, what, expected, code="file-missing")])
    kind, rate_hz = _described(meta)
    matched = _DATATYPE.fullmatch(kind)
    if matched is None:
        what = f"core:datatype is {kind!r}"
        expected = "complex samples: cf32_le, ci16_le, cu8 and the like"
        raise PlanError([Problem(meta.name, what, expected, code="not-i-and-q")])
    name, order = matched.groups()
    plain = np.dtype(("<" if order != "_be" else ">") + _TYPES[name])
    whole, left = divmod(data.stat().st_size, 2 * plain.itemsize)
    if left:
        what = f"is truncated: its last sample of {kind} lacks {2 * plain.itemsize - left} bytes"
        raise PlanError([Problem(data.name, what, "the whole file, copied again", code="recording-truncated")])
    if whole == 0:
        raise PlanError([Problem(data.name, "holds no samples", "a recording of a second or two", code="file-empty")])
    count = min(whole, round(MOST_S * rate_hz))
    raw = np.fromfile(data, dtype=plain, count=2 * count).astype(np.float64)
    bad = int(np.count_nonzero(~np.isfinite(raw)))
    if bad:
        what = f"holds {bad} samples that are no number or infinite: a broken file or converter"
        raise PlanError([Problem(data.name, what, "a recording of finite samples", code="recording-not-finite")])
    if plain.kind != "f":
        half = 2.0 ** (8 * plain.itemsize - 1)
        raw = (raw - (half if plain.kind == "u" else 0.0)) / half
    z = raw[::2] + 1j * raw[1::2]
    if not np.any(z):
        raise PlanError([Problem(data.name, "is silent", "a signal", code="recording-silent")])
    return Iq(data.name, z, rate_hz, whole / rate_hz, _clipped(data.name, raw, integers=plain.kind != "f"))


def _described(meta: Path) -> tuple[str, float]:
    """Data type and rate out of the metadata."""
    expected = "core:datatype and core:sample_rate under global"
    try:
        tree = json.loads(meta.read_text(encoding="utf-8"))["global"]
        kind, rate_hz = str(tree["core:datatype"]), float(tree["core:sample_rate"])
    except (ValueError, KeyError, TypeError) as error:
        what = f"is no metadata of SigMF that can be read ({error})"
        raise PlanError([Problem(meta.name, what, expected, code="file-unreadable")]) from error
    if not (np.isfinite(rate_hz) and rate_hz > 0):
        raise PlanError([Problem(meta.name, f"core:sample_rate is {rate_hz:g}", expected, code="out-of-range")])
    if int(tree.get("core:num_channels", 1)) != 1:
        what = f"holds {tree['core:num_channels']} channels"
        raise PlanError([Problem(meta.name, what, "a recording of one channel", code="not-i-and-q")])
    return kind, rate_hz


def _clipped(name: str, raw: NDArray[np.float64], *, integers: bool) -> tuple[Problem, ...]:
    """A doubt where a converter stood at its end."""
    share_pct = 100.0 * float(np.mean(np.abs(raw) >= 0.992)) if integers else 0.0
    if share_pct <= 0.01:
        return ()
    what = f"is clipped: {share_pct:.3g} % of its samples stand at full scale"
    return (Problem(name, what, "a recording with some decibels of headroom", "warning", code="recording-clipped"),)
