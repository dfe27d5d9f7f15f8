"""What a capture holds: every RTP stream with what it carries, and which of them is followed."""

import re
from dataclasses import dataclass, field

# Payload types with a fixed meaning that occur here (RFC 3551 table 4, from memory); 96 to 127 are agreed per session.
PAYLOAD_TYPES = {0: "PCMU", 8: "PCMA", 9: "G722", 10: "L16 stereo", 11: "L16 mono", 14: "MPEG audio", 33: "MPEG-2 TS"}
DYNAMIC_FROM = 96
SOURCE_EXPECTED = "0xabcd1234 as the table of streams prints it, or the same number in decimal"


@dataclass(frozen=True, slots=True)
class Stream:
    """One RTP stream among those of a capture."""

    port: int
    source: int

    def __str__(self) -> str:
        """As a message names it."""
        return f"UDP port {self.port}, RTP source {self.source:#010x}"


def source_number(text: str) -> int:
    """The number of an RTP source as it was typed: 0xabcd1234 as the tables here print it, or 43981.

    Raises
    ------
    ValueError
        If it is no number of 32 bits; the message can stand before an expectation. Letters without 0x are refused and
        not guessed: 0010 would be two numbers.

    Examples
    --------
    >>> source_number("0xdef"), source_number("3567")
    (3567, 3567)
    """
    plain = text.strip()
    try:
        value = int(plain, 0)
    except ValueError:
        hint = f", with 0x before it: 0x{plain}" if re.fullmatch("[0-9a-fA-F]{1,8}", plain) else ""
        raise ValueError(f"{plain!r} is no number of an RTP source{hint}") from None
    if not 0 <= value < 2**32:
        raise ValueError(f"{plain!r} is beyond the 32 bits of an RTP source")
    return value


@dataclass(slots=True)
class Tally:
    """How often a stream was heard."""

    payload_type: int
    packets_n: int
    first_s: float
    last_s: float


@dataclass(slots=True)
class Heard:
    """Every stream of a capture; filled while it is read.

    Parameters
    ----------
    tallies : dict of (port, source) to Tally
    followed : list of Stream
        In order: more than one where a source went over into another.
    why : dict of (port, source) to str
        Why each of these is followed, in words.
    """

    tallies: dict[tuple[int, int], Tally] = field(default_factory=dict)
    followed: list[Stream] = field(default_factory=list)
    why: dict[tuple[int, int], str] = field(default_factory=dict)

    def count(self, port: int, source: int, payload_type: int, at_s: float) -> None:
        """One packet."""
        known = self.tallies.get((port, source))
        if known is None:
            self.tallies[port, source] = Tally(payload_type, 1, at_s, at_s)
        else:
            known.packets_n += 1
            known.last_s = at_s

    def follow(self, stream: Stream, why: str) -> None:
        """From now on this stream, for that reason."""
        self.followed.append(stream)
        self.why.setdefault((stream.port, stream.source), why)

    def why_not(self, port: int) -> str:
        """Why a stream is left out, in words."""
        if port not in {one.port for one in self.followed}:
            return "it goes to another port"
        return "another source on the followed port, heard beside it: nothing of it is in the figures"

    def as_answer(self) -> list[dict[str, object]]:
        """Streams, the most frequent first, as ``loss --json`` lists them."""
        followed = {(one.port, one.source) for one in self.followed}
        return [
            {
                "port": port,
                "source": f"{source:#010x}",
                "payload_type": one.payload_type,
                "carries": carries(one.payload_type),
                "packets_n": one.packets_n,
                "first_s": one.first_s,
                "last_s": one.last_s,
                "followed": (port, source) in followed,
                "why": self.why.get((port, source)) or self.why_not(port),
            }
            for (port, source), one in sorted(self.tallies.items(), key=lambda pair: -pair[1].packets_n)
        ]


def carries(payload_type: int) -> str:
    """What a payload type means, as far as its number says."""
    if payload_type >= DYNAMIC_FROM:
        return "as agreed between the devices"
    return PAYLOAD_TYPES.get(payload_type, "not known")
