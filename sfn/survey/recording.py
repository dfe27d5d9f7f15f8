"""Recordings, read a piece at a time: an hour of 192 kHz stereo never stands in memory whole.

A *source* is one channel: it has a name for messages, a rate, a length, and gives any stretch of
samples on request; outside its length it is silent. Full scale is 1.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem

Samples = NDArray[np.float64]

CHUNK_SAMPLES = 2**20
SUFFIXES = (".wav", ".flac", ".w64", ".rf64")
_FULL_SCALE_RUN = 3  # samples in a row at full scale: one alone may be a true peak
_NEAR_FULL_SCALE_RATIO = 0.9999
_LEAST_FLAT_RATIO = 1e-5


class Source(Protocol):
    """One channel of samples that can be read anywhere."""

    @property
    def name(self) -> str:
        """What messages call it."""

    @property
    def rate_hz(self) -> int:
        """Samples a second. [Hz]"""

    @property
    def frames(self) -> int:
        """Number of samples."""

    def read(self, start: int, count: int) -> Samples:
        """`count` samples from `start` on, zeros outside the recording."""


@dataclass(frozen=True, slots=True)
class ArraySource:
    """Samples that are already in memory."""

    samples: Samples
    rate_hz: int
    name: str = "samples"

    @property
    def frames(self) -> int:
        """Number of samples."""
        return len(self.samples)

    def read(self, start: int, count: int) -> Samples:
        """`count` samples from `start` on, zeros outside."""
        first, last = max(start, 0), min(start + count, len(self.samples))
        if first == start and last == start + count:
            return self.samples[first:last]
        found = np.zeros(count)
        if last > first:
            found[first - start : last - start] = self.samples[first:last]
        return found


@dataclass(frozen=True, slots=True)
class FileSource:
    """One channel of a WAV, FLAC, WAVE64 or RF64 file; `channel` counts from 0."""

    path: Path
    channel: int
    rate_hz: int
    frames: int
    channels: int

    @property
    def name(self) -> str:
        """File name and channel, counted from 1 as people do."""
        return f"{self.path.name} channel {self.channel + 1}"

    def read(self, start: int, count: int) -> Samples:
        """`count` samples from `start` on, zeros outside the recording."""
        import soundfile

        found = np.zeros(count)
        first, last = max(start, 0), min(start + count, self.frames)
        if last > first:
            try:
                with soundfile.SoundFile(str(self.path)) as file:
                    file.seek(first)
                    read = file.read(last - first, dtype="float64", always_2d=True)
            except soundfile.LibsndfileError as error:
                raise PlanError([_truncated(self.path, f"breaks off ({error.error_string.rstrip('.')})")]) from error
            if len(read) < last - first:
                what = f"breaks off after {first + len(read)} of the {self.frames} samples that its head promises"
                raise PlanError([_truncated(self.path, what)])
            found[first - start : last - start] = read[:, self.channel]
        return found


def channels(path: Path | str) -> tuple[FileSource, ...]:
    """The channels of a recording, in their order.

    Parameters
    ----------
    path : path
        A WAV, FLAC, WAVE64 (.w64) or RF64 file.

    Raises
    ------
    PlanError
        If the file cannot be opened, is no recording, or is empty.
    """
    import soundfile

    path = Path(path)
    if not path.is_file():
        raise PlanError(
            [Problem(path.name, "there is no such file", "a WAV, FLAC, WAVE64 or RF64 recording", code="file-missing")]
        )
    try:
        info = soundfile.info(str(path))
    except soundfile.LibsndfileError as error:
        what = f"is no recording that can be read ({error.error_string.rstrip('.')})"
        raise PlanError(
            [Problem(path.name, what, "a WAV, FLAC, WAVE64 or RF64 recording", code="file-unreadable")]
        ) from error
    if info.frames == 0:
        raise PlanError([Problem(path.name, "holds no samples", "a recording of at least a second", code="file-empty")])
    missing_bytes = _missing_bytes(path)
    if missing_bytes:
        what = f"is truncated: {missing_bytes} bytes are missing of the samples that its head promises"
        raise PlanError([_truncated(path, what)])
    return tuple(
        FileSource(path=path, channel=k, rate_hz=int(info.samplerate), frames=int(info.frames), channels=info.channels)
        for k in range(info.channels)
    )


def _truncated(path: Path, what: str) -> Problem:
    """A file that ends before it should: what is missing would count as silence."""
    return Problem(path.name, what, "the whole file, copied again", code="recording-truncated")


def _missing_bytes(path: Path) -> int:
    """Bytes of samples that a WAV file's head promises and the file does not hold; 0 for other files.

    RIFF (Microsoft and IBM, 1991): chunks of a four-letter name, a length in four bytes, and that many bytes, padded
    to an even number. A length of 0 or of 0xFFFFFFFF is that of a recorder that was not stopped, or of RF64.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        if file.read(4) != b"RIFF" or len(file.read(8)) < 8:
            return 0
        while len(head := file.read(8)) == 8:
            length = int.from_bytes(head[4:], "little")
            if head[:4] == b"data":
                return 0 if length == 0xFFFFFFFF else max(0, file.tell() + length - size)
            file.seek(length + length % 2, 1)
    return 0


def chunks(source: Source, *, chunk_samples: int = CHUNK_SAMPLES) -> Iterator[Samples]:
    """The whole recording, one chunk after the other."""
    for start in range(0, source.frames, chunk_samples):
        yield source.read(start, min(chunk_samples, source.frames - start))


@dataclass(frozen=True, slots=True)
class Modulation:
    """How a channel is driven: levels relative to full scale, and how much of it is cut off."""

    peak_db: float
    rms_db: float
    full_scale_pct: float
    flat_topped_pct: float
    not_finite_n: int = 0
    """Samples that are no number or infinite; the other figures leave them out."""


def modulation(source: Source) -> Modulation:
    """Peak, effective value and clipping of a channel, in one pass over it.

    Returns
    -------
    Modulation
        `full_scale_pct`: samples in runs of three or more at full scale. [%]
        `flat_topped_pct`: samples within 0.5 % of the channel's own peak when they pile up there more
        than tenfold over the 1 % below, else 0. [%]  A sine piles up 1.4-fold, programme less.
    """
    peaks, top, below = [], [], []
    square, at_full_scale, not_finite_n = 0.0, 0, 0
    for read in chunks(source):
        good = np.isfinite(read)
        not_finite_n += int(np.count_nonzero(~good))
        piece = np.where(good, read, 0.0)
        size = np.abs(piece)
        peak = float(size.max())
        peaks.append(peak)
        top.append(int(np.count_nonzero(size >= 0.995 * peak)))
        below.append(int(np.count_nonzero(size >= 0.985 * peak)) - top[-1])
        square += float(piece @ piece)
        at_full_scale += _in_runs(size >= _NEAR_FULL_SCALE_RATIO)
    peak = max(peaks)
    alike = [k for k, p in enumerate(peaks) if p >= 0.995 * peak]
    piled, beside = sum(top[k] for k in alike), sum(below[k] for k in alike)
    flat = piled if peak > 0 and piled > max(10 * (beside + 10), _LEAST_FLAT_RATIO * source.frames) else 0
    with np.errstate(divide="ignore"):
        return Modulation(
            peak_db=float(20 * np.log10(peak)),
            rms_db=float(10 * np.log10(square / source.frames)),
            full_scale_pct=100.0 * at_full_scale / source.frames,
            flat_topped_pct=100.0 * flat / source.frames,
            not_finite_n=not_finite_n,
        )


def _in_runs(high: NDArray[np.bool_]) -> int:
    """Number of true entries in runs of at least three."""
    if not high.any():
        return 0
    edges = np.flatnonzero(np.diff(np.concatenate(([0], high.astype(np.int8), [0]))))
    lengths = edges[1::2] - edges[::2]
    return int(lengths[lengths >= _FULL_SCALE_RUN].sum())
