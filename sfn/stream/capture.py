"""Packets as they arrived: read from a log or a capture, a bounded piece at a time.

A log is CSV with a header: ``sequence`` and one of ``arrival_s``, ``arrival_ms``, ``arrival_us``. A capture is pcap or
pcapng; its records are framed by dpkt, of each only the headers are looked at: Ethernet (tags too), raw IP, Linux
cooked or BSD null link types, IPv4 or IPv6, UDP, RTP. Of several streams that with most packets of the whole file is
followed, unless a port or a source is named.
"""

from array import array
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from math import isfinite
from struct import Struct
from typing import BinaryIO, NoReturn

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.stream.chosen import BESIDE_PACKETS, TAKES_OVER_PACKETS, chosen, counted
from sfn.stream.frames import ETHERNET, LINKS, rtp_at
from sfn.stream.heard import Heard, Stream

Progress = Callable[[float], None]
Record = tuple[float, bytes]

PIECE_PACKETS = 131_072
LARGEST_RECORD_BYTES = 262_144
BLOCK_BYTES = 4_194_304
GREATEST_NUMBER = 2**53
EXPECTED = "a whole number for the sequence, a number for the arrival"
ARRIVAL_S = {"arrival_s": 1.0, "arrival_ms": 1e-3, "arrival_us": 1e-6}

_TYPE, _NUMBERS = Struct(">H"), Struct(">HI")


@dataclass(frozen=True, slots=True)
class Piece:
    """Some packets in the order in which they arrived.

    Parameters
    ----------
    sequence : ndarray of int64, shape (packets,)
        Sequence numbers as they stood in the packets.
    arrival_s : ndarray of float64, shape (packets,)
        [s]
    wraps : bool
        Sequence numbers begin again after 65 535.
    stamp : ndarray of int64, shape (packets,), or None
        RTP time stamps, where there are any.
    source : int or None
        RTP source (SSRC), where there is one; a piece holds packets of one source only.
    """

    sequence: NDArray[np.int64]
    arrival_s: NDArray[np.float64]
    wraps: bool
    stamp: NDArray[np.int64] | None = None
    source: int | None = None


def read_packets(
    file: BinaryIO, *, name: str, size_bytes: int, port: int | None = None, source: int | None = None,
    heard: Heard | None = None, progress: Progress | None = None,
) -> Iterator[Piece]:  # fmt: skip
    """Packets of a log or a capture, told apart by their first bytes.

    Parameters
    ----------
    file : binary file, at its beginning and seekable
    name : str
        For messages.
    size_bytes : int
        For progress. [bytes]
    port : int, optional
        UDP destination port of the stream to follow, in a capture with several.
    source : int, optional
        RTP source of the stream to follow: as asked for, or that of the other path.
    heard : Heard, optional
        Is told every stream of a capture and which is followed.
    progress : callable, optional
        Called with the part done, 0 to 1; what it raises ends the reading.

    Yields
    ------
    piece : Piece

    Raises
    ------
    PlanError
        If the file is neither, is cut within its header, or a line cannot be read; with line and what was expected.
    """
    start = file.read(4)
    file.seek(0)
    if start in _MAGIC:
        told = Heard() if heard is None else heard
        wanted = (port, source)
        yield from _captured(
            _Bounded(file), name=name, size_bytes=size_bytes, wanted=wanted, heard=told, progress=progress
        )
    else:
        yield from _logged(file, name=name, size_bytes=size_bytes, progress=progress)


_MAGIC = (
    b"\xa1\xb2\xc3\xd4", b"\xd4\xc3\xb2\xa1", b"\xa1\xb2\x3c\x4d", b"\x4d\x3c\xb2\xa1", b"\x0a\x0d\x0d\x0a",
)  # fmt: skip


class _Bounded:
    """A file that refuses record lengths which no capture has, before memory is taken for them."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.name = "capture"

    def read(self, size: int) -> bytes:
        """Read at most `size` bytes."""
        if not 0 <= size <= LARGEST_RECORD_BYTES:
            raise ValueError(f"a record of {size} bytes")
        return self._file.read(size)

    def seek(self, offset: int) -> int:
        """Go to a byte."""
        return self._file.seek(offset)

    def tell(self) -> int:
        """The byte at which it stands."""
        return self._file.tell()


def _captured(
    file: _Bounded, *, name: str, size_bytes: int, wanted: tuple[int | None, int | None], heard: Heard,
    progress: Progress | None,
) -> Iterator[Piece]:  # fmt: skip
    """Pieces of a capture."""

    def told(part: float) -> None:
        """How far it is; half of the way is to count, half to read."""
        if progress:
            progress(min(part, 1.0))

    records, link = _records(file, name)
    found = counted(records, link, told=lambda: told(file.tell() / max(size_bytes, 1) / 2))
    followed, kind, why = chosen(found, name=name, wanted=wanted)
    heard.follow(followed, why)
    file.seek(0)
    records, link = _records(file, name)
    sequence, stamp, arrival = array("H"), array("I"), array("d")
    source = followed.source
    for number, at_stamp, at_s, of in _followed(records, link=link, stream=followed, kind=kind, heard=heard):
        if (of != source and sequence) or len(sequence) == PIECE_PACKETS:
            yield _piece(sequence, stamp, arrival, source)
            sequence, stamp, arrival = array("H"), array("I"), array("d")
            told(0.5 + file.tell() / max(size_bytes, 1) / 2)
        source = of
        sequence.append(number)
        stamp.append(at_stamp)
        arrival.append(at_s)
    if sequence:
        yield _piece(sequence, stamp, arrival, source)
    if progress:
        progress(1.0)


def _records(file: _Bounded, name: str) -> tuple[Iterator[Record], int]:
    """Records of a capture from its beginning on, and its link type."""
    from struct import error as StructError  # noqa: N812 # a class, whatever its spelling

    from dpkt import Error as DpktError
    from dpkt.pcap import UniversalReader

    errors = (ValueError, DpktError, StructError)
    try:
        reader = UniversalReader(file)
        link = int(reader.datalink())
    except errors as error:
        _refuse(name, f"is cut or damaged within its header ({error})", "a whole pcap or pcapng file")
    if link not in LINKS:
        _refuse(name, f"was taken on link type {link}", "Ethernet, raw IP, Linux cooked or loopback")
    return _until_damage(reader, errors), link


def _until_damage(reader: Iterable[Record], errors: tuple[type[Exception], ...]) -> Iterator[Record]:
    """Records up to the first that cannot be framed: a capture that was still being written ends like that."""
    try:
        for at_s, frame in reader:
            yield float(at_s), frame  # of a capture in nanoseconds it is a Decimal
    except errors:
        return


def _followed(
    records: Iterable[Record], *, link: int, stream: Stream, kind: int, heard: Heard
) -> Iterator[tuple[int, int, float, int]]:
    """Sequence number, time stamp, arrival and source of every packet of a stream, and of the source that follows it.

    An encoder that restarts takes a new source. When a source of the same port and payload type has sent so many
    packets without one of the stream between them, it is the same stream gone on. Not so a source that was heard
    beside the stream: it goes on whatever happens to that, and an outage would be filled with packets of another.
    """
    unpack, plain = _NUMBERS.unpack_from, link == ETHERNET
    port, source = stream.port.to_bytes(2, "big"), stream.source.to_bytes(4, "big")
    waiting: list[tuple[int, int, float, int]] = []
    begun = False  # what speaks before the stream's own first packet takes over from nothing
    beside: Counter[int] = Counter()
    for at_s, frame in records:
        # the common case at once: Ethernet without tags, IPv4 without options, not a later fragment
        if plain and frame[50:54] == source and frame[12:15] == b"\x08\x00\x45" and frame[36:38] == port:
            udp = 34 if frame[23] == 17 and not frame[20] & 0x1F and frame[42] >> 6 == 2 else -1
        else:
            udp = rtp_at(frame, link)
        if udp < 0:
            continue
        of = int.from_bytes(frame[udp + 16 : udp + 20], "big")
        to = _TYPE.unpack_from(frame, udp + 2)[0]
        carried = frame[udp + 9] & 0x7F
        heard.count(to, of, carried, at_s)
        if to != stream.port:
            continue
        number, stamp = unpack(frame, udp + 10)
        if frame[udp + 16 : udp + 20] == source:
            if waiting:
                beside[waiting[-1][3]] += len(waiting)
                waiting.clear()
            begun = True
            yield number, stamp, at_s, of
        elif begun and carried == kind and beside[of] <= BESIDE_PACKETS:
            if waiting and waiting[-1][3] != of:
                beside[waiting[-1][3]] += len(waiting)
                waiting.clear()
            waiting.append((number, stamp, at_s, of))
            if len(waiting) == TAKES_OVER_PACKETS:
                source = of.to_bytes(4, "big")
                heard.follow(Stream(to, of), "it goes on where the source followed before had ended")
                yield from waiting
                waiting.clear()
                beside.clear()


def _piece(sequence: "array[int]", stamp: "array[int]", arrival: "array[float]", source: int) -> Piece:
    """Arrays of what has been gathered."""
    numbers, stamps = np.asarray(sequence, dtype=np.int64), np.asarray(stamp, dtype=np.int64)
    return Piece(numbers, np.asarray(arrival, dtype=np.float64), True, stamps, source)


def _logged(file: BinaryIO, *, name: str, size_bytes: int, progress: Progress | None) -> Iterator[Piece]:
    """Pieces of a CSV log."""
    header = file.readline(10_000).decode("utf-8-sig", errors="replace").strip()
    names = [column.strip().strip('"').lower() for column in header.split(",")]
    units = [column for column in names if column in ARRIVAL_S]
    if "sequence" not in names or len(units) != 1:
        expected = f"a header with sequence and one of {', '.join(ARRIVAL_S)}; or a pcap or pcapng file"
        _refuse(f"{name}: line 1", f"reads {header[:60]!r}", expected)
    columns = (names.index("sequence"), names.index(units[0]))
    line_n, rest, wraps = 2, b"", True
    while block := file.read(BLOCK_BYTES):
        whole, newline, rest = (rest + block).rpartition(b"\n")
        if not newline and len(rest) > BLOCK_BYTES:
            _refuse(f"{name}: line {line_n}", "does not end within 4 MiB", "one packet a line")
        if whole.strip():
            values = _numbers(whole, columns, name=name, line_n=line_n)
            wraps = wraps and bool(values[:, 0].max() <= 65_535)
            yield Piece(values[:, 0].astype(np.int64), values[:, 1] * ARRIVAL_S[units[0]], wraps)
        line_n += whole.count(b"\n") + 1
        if progress:
            progress(min(file.tell() / max(size_bytes, 1), 1.0))
    if rest.strip():
        values = _numbers(rest, columns, name=name, line_n=line_n)
        wraps = wraps and bool(values[:, 0].max() <= 65_535)
        yield Piece(values[:, 0].astype(np.int64), values[:, 1] * ARRIVAL_S[units[0]], wraps)


def _numbers(block: bytes, columns: tuple[int, int], *, name: str, line_n: int) -> NDArray[np.float64]:
    """Sequence and arrival of every line, shape (lines, 2); a line that has none is named."""
    lines = block.decode("utf-8", errors="replace").split("\n")
    try:
        values = np.loadtxt(lines, delimiter=",", usecols=columns, ndmin=2, comments=None)
        number = values[:, 0]
        if np.isfinite(values).all() and ((number >= 0) & (number <= GREATEST_NUMBER) & (number % 1 == 0)).all():
            return values
    except ValueError:
        pass  # found below, with its line
    for k, line in enumerate(lines):
        if line.strip() and not _is_packet(line.split(","), columns):
            _refuse(f"{name}: line {line_n + k}", f"reads {line.strip()[:60]!r}", EXPECTED)
    return _refuse(f"{name}: from line {line_n}", "cannot be read", EXPECTED)


def _is_packet(cells: list[str], columns: tuple[int, int]) -> bool:
    """Whether a line has a whole number and a time in the right columns."""
    try:
        number, at = (float(cells[c]) for c in columns)
    except (ValueError, IndexError):
        return False
    return 0 <= number <= GREATEST_NUMBER and number % 1 == 0 and isfinite(at)


def _refuse(where: str, what: str, expected: str) -> NoReturn:
    """Say what is wrong with the file, and where."""
    raise PlanError([Problem(where, what, expected, code="packet-record-unusable")])
