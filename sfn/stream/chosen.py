"""Which stream of a capture is followed: every packet is counted first, so that no quiet beginning decides."""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from sfn.errors import PlanError, Problem
from sfn.stream.frames import ETHERNET, rtp_at
from sfn.stream.heard import Stream

BESIDE_PACKETS = 10  # of a source heard between packets of another: more, and they are two streams
TAKES_OVER_PACKETS = 50  # of another source, without one of the stream between them
TOLD_PACKETS = 131_072

Wanted = tuple[int | None, int | None]  # port and source asked for


@dataclass(slots=True)
class Turns:
    """In which order the sources of one port and payload type spoke.

    Parameters
    ----------
    source : int
        That of the run of packets that goes on.
    run_n : int
        Its packets so far.
    spoke : list of int
        Sources of runs long enough to take over, in order.
    beside : Counter of int
        Packets of each source in shorter runs: many, and it speaks beside another.
    """

    source: int = -1
    run_n: int = 0
    spoke: list[int] = field(default_factory=list)
    beside: Counter[int] = field(default_factory=Counter)

    def packets(self, source: int, packets_n: int) -> None:
        """Some more packets of a source."""
        if source == self.source:
            self.run_n += packets_n
        else:
            self.end()
            self.source, self.run_n = source, packets_n

    def end(self) -> None:
        """The run is over."""
        if self.run_n >= TAKES_OVER_PACKETS:
            self.spoke.append(self.source)
        elif self.run_n:
            self.beside[self.source] += self.run_n
        self.run_n = 0

    def begins(self, source: int) -> int:
        """The source from which on a stream is to be followed that comes to this one: it may have been another once."""
        first = source
        for one in reversed(self.spoke[: self.spoke.index(source)] if source in self.spoke else []):
            if self.beside[one] > BESIDE_PACKETS:
                break
            first = one
        return first


@dataclass(frozen=True, slots=True)
class Counted:
    """Packets of every stream by payload type in a whole capture, and the turns on each port and payload type."""

    packets: Counter[tuple[Stream, int]]
    turns: dict[tuple[int, int], Turns]


def counted(records: Iterable[tuple[float, bytes]], link: int, *, told: Callable[[], None]) -> Counted:
    """Every RTP packet of a capture, counted.

    Parameters
    ----------
    records : iterable of (float, bytes)
        Time and frame.
    link : int
        Link type, one of `sfn.stream.frames.LINKS`.
    told : callable
        Called now and then; what it raises ends the counting.
    """
    plain, packets, seen = link == ETHERNET, Counter[tuple[int, int, int]](), 0
    turns: defaultdict[tuple[int, int], Turns] = defaultdict(Turns)
    same_n, last = 0, (-1, -1, -1)

    def add() -> None:
        """The packets in a row of one stream."""
        if same_n:
            packets[last] += same_n
            turns[last[0], last[2]].packets(last[1], same_n)

    for _, frame in records:
        seen += 1
        if seen % TOLD_PACKETS == 0:
            told()
        # the common case at once: Ethernet without tags, IPv4 without options, not a later fragment
        if plain and len(frame) >= 54 and frame[12:15] == b"\x08\x00\x45":
            whole = frame[23] == 17 and not frame[20] & 0x1F and not frame[21] and frame[42] >> 6 == 2
            udp = 34 if whole else -1
        else:
            udp = rtp_at(frame, link)
        if udp < 0:
            continue
        port = frame[udp + 2] << 8 | frame[udp + 3]
        source, kind = int.from_bytes(frame[udp + 16 : udp + 20], "big"), frame[udp + 9] & 0x7F
        if (port, source, kind) == last:
            same_n += 1
            continue
        add()
        last, same_n = (port, source, kind), 1
    add()
    for one in turns.values():
        one.end()
    return Counted(Counter({(Stream(port, of), kind): n for (port, of, kind), n in packets.items()}), dict(turns))


def chosen(found: Counted, *, name: str, wanted: Wanted) -> tuple[Stream, int, str]:
    """The stream to follow, its payload type, and why.

    Parameters
    ----------
    found : Counted
    name : str
        Of the file, for messages.
    wanted : (int or None, int or None)
        Port and source asked for.

    Returns
    -------
    stream, payload_type, why : Stream, int, str
        The one with most packets of the whole file; where it went over into that from another source, it is followed
        from that source on.

    Raises
    ------
    PlanError
        If there is no such stream.
    """
    port, source = wanted
    fit = [
        (n, stream, kind)
        for (stream, kind), n in found.packets.items()
        if port in (None, stream.port) and source in (None, stream.source)
    ]
    if not fit:
        where = f"to UDP port {port} " if port is not None else ""
        of = (
            f"of source {source:#010x}, which is asked for or which the first record follows, "
            if source is not None
            else ""
        )
        there = ", ".join(str(stream) for stream, _ in found.packets)
        seen = f"; there are {there}" if there else ""
        what = f"has no RTP packet {where}{of}in the whole file{seen}"
        raise PlanError([Problem(name, what, "a capture of an RTP stream over UDP", code="packet-record-unusable")])
    _, stream, kind = max(fit, key=lambda one: one[0])
    if source is not None:
        asked = "its source was asked for" if port is not None else "it is the source asked for, or of the first record"
        return stream, kind, asked
    to = "" if port is None else " to the port asked for"
    first = Stream(stream.port, found.turns[stream.port, kind].begins(stream.source))
    if first != stream:
        return first, kind, f"it goes over into the source with most packets of the whole file{to}"
    return stream, kind, f"it has most packets of the whole file{to}"
