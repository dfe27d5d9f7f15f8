"""Protection against loss: parity rows and columns, a delayed repeat, a second path; limits and cost in latency.

The matrix is `columns` wide (L) and `rows` high (D): media packets fill it row by row; a row parity packet
covers L packets that follow each other, a column parity packet D packets that are L apart.
What is left after it all is worked out in `sfn.stream.residual`.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

from sfn.errors import Problem, in_range
from sfn.units import counted

# ST 2022-1: 1 <= L <= 20, 4 <= D <= 20, L D <= 100; with row parity too, 4 <= L (three public restatements agree).
ST2022_1_GREATEST = 20
ST2022_1_LEAST = 4
ST2022_1_GREATEST_MATRIX = 100
GREATEST_REPEAT_PACKETS = 100_000

# ST 2022-7:2019, greatest path differential by receiver class, for streams below 270 Mbit/s. [ms]
SKEW_CLASS_MS = (("D", 0.15), ("A", 10.0), ("B", 50.0), ("C", 450.0))


@dataclass(frozen=True, slots=True)
class Protection:
    """What is sent besides the media packets.

    Parameters
    ----------
    columns, rows : int
        L and D of the parity matrix; 0 without parity, `rows` 1 for row parity alone. [packets]
    row_parity, column_parity : bool
    parity_spread : bool
        Column parity packets spread over the following matrix, one every D packets, to keep the rate smooth; else they
        follow their matrix at once, one beside each media packet.
    repeat_after : int
        Everything is sent again this many packets later on the same path; 0 for no repeat. [packets]
    second_path : bool
        The same packets also travel on a second path, and whichever copy arrives is taken.
    """

    columns: int = 0
    rows: int = 0
    row_parity: bool = False
    column_parity: bool = False
    parity_spread: bool = False
    repeat_after: int = 0
    second_path: bool = False

    def __post_init__(self) -> None:
        """Refuse what cannot be built."""
        parity = self.row_parity or self.column_parity
        in_range("columns (L)", self.columns, least=1 if parity else 0, greatest=255, unit="packets")
        in_range("rows (D)", self.rows, least=1 if parity else 0, greatest=255, unit="packets")
        in_range("repeat_after", self.repeat_after, least=0, greatest=GREATEST_REPEAT_PACKETS, unit="packets")

    @property
    def row_length(self) -> int:
        """L where there is row parity, else 0."""
        return self.columns if self.row_parity else 0

    @property
    def column_length(self) -> int:
        """D where there is column parity, else 0."""
        return self.rows if self.column_parity else 0

    @property
    def copies(self) -> int:
        """How often each packet is sent on one path."""
        return 2 if self.repeat_after else 1

    def in_words(self) -> str:
        """The choice as a table shows it."""
        parts = []
        if self.row_parity and self.column_parity:
            parts.append(f"rows and columns {self.columns} x {self.rows}")
        elif self.row_parity:
            parts.append(f"rows of {self.columns}")
        elif self.column_parity:
            parts.append(f"columns {self.columns} x {self.rows}")
        if self.column_parity and self.parity_spread:
            parts[-1] += ", FEC spread over the next matrix"
        if self.repeat_after:
            parts.append(f"repeat after {counted(self.repeat_after, 'packet')}")
        if self.second_path:
            parts.append("second path")
        return ", ".join(parts) or "none"


@dataclass(frozen=True, slots=True)
class Waits:
    """How long a receiver must wait because of protection: always, not only when something is lost.

    Every field is in packets; times the packet time it is a latency.
    """

    parity: int
    repeat: int

    def total_us(self, time_s: Fraction) -> float:
        """Both together. [us]"""
        return float((self.parity + self.repeat) * time_s * 1_000_000)


def row_parity(columns: int) -> Protection:
    """One parity packet after every `columns` media packets."""
    return Protection(columns=columns, rows=1, row_parity=True)


def column_parity(columns: int, rows: int, *, spread: bool = False) -> Protection:
    """One parity packet for each column of an L x D matrix."""
    return Protection(columns=columns, rows=rows, column_parity=True, parity_spread=spread)


def both_parities(columns: int, rows: int, *, spread: bool = False) -> Protection:
    """Row and column parity on an L x D matrix."""
    return Protection(columns=columns, rows=rows, row_parity=True, column_parity=True, parity_spread=spread)


def with_repeat(protection: Protection, *, after: int) -> Protection:
    """The same, with everything sent again `after` packets later on the same path."""
    return replace(protection, repeat_after=after)


def with_second_path(protection: Protection) -> Protection:
    """The same, with a copy of everything on a second path."""
    return replace(protection, second_path=True)


def waits(protection: Protection) -> Waits:
    """Packets that the receiver waits before it gives a packet up: as long as anything that may restore it can come.

    Counted in media packets, sent one a slot. Row parity comes beside the first packet of the next row, column parity
    after its matrix: of column c beside packet c of the next, or, spread, beside its packet c D.

    ===========================  ======================  ==============================
    parity                       parity at once          parity spread
    ===========================  ======================  ==============================
    rows                         ``L``
    columns                      ``L D``                 ``L D + (L - 1)(D - 1)``
    rows and columns             ``L D + L - 1``         ``L D + (L - 1) D``
    ===========================  ======================  ==============================

    Columns alone: the parity that a packet waits for is its own column's. With rows and columns decoded in turns, until
    nothing more is found, the first packet of the matrix may hang on the last column. A repeat adds its spacing.

    Notes
    -----
    Held to a decoder that takes packet after packet in `tests/sfn/stream/test_waits.py`.

    Examples
    --------
    >>> waits(both_parities(5, 10))
    Waits(parity=54, repeat=0)
    >>> waits(both_parities(5, 10, spread=True))
    Waits(parity=90, repeat=0)
    """
    columns, rows = protection.columns, protection.rows
    if not protection.column_parity:
        return Waits(protection.row_length, protection.repeat_after)
    if protection.row_parity:
        parity = columns * rows + (columns - 1) * column_parity_step(protection)
    else:
        parity = columns * rows + (columns - 1) * (column_parity_step(protection) - 1)
    return Waits(parity, protection.repeat_after)


def column_parity_step(protection: Protection) -> int:
    """Media packets from one column parity packet to the next: 1, or D where they are spread over the next matrix."""
    return protection.rows if protection.parity_spread else 1


def packet_overhead(protection: Protection) -> Fraction:
    """Parity packets a media packet, before copies: 1/L + 1/D.

    Examples
    --------
    >>> packet_overhead(both_parities(5, 10))
    Fraction(3, 10)
    """
    lengths = (protection.row_length, protection.column_length)
    return sum((Fraction(1, n) for n in lengths if n), Fraction(0))


def longest_burst_recovered(protection: Protection) -> int:
    """Consecutive packets that are always recovered in a block with nothing else lost: L by columns, 1 by rows."""
    if protection.column_parity:
        return protection.columns
    return 1 if protection.row_parity else 0


def st2022_1_problems(protection: Protection) -> list[Problem]:
    """Where a parity matrix leaves the sizes that every ST 2022-1 receiver supports.

    Examples
    --------
    >>> [p.what for p in st2022_1_problems(column_parity(20, 6))]
    ['L x D is 120']
    """
    if not (protection.row_parity or protection.column_parity):
        return []
    columns, rows = protection.columns, protection.rows
    least_columns = ST2022_1_LEAST if protection.row_parity else 1
    found: list[tuple[str, str, str, dict[str, str]]] = []
    most = f"{ST2022_1_GREATEST}"
    if not least_columns <= columns <= ST2022_1_GREATEST:
        said = {"columns_n": f"{columns}", "least_n": f"{least_columns}", "most_n": most}
        found.append(("columns", f"L is {columns}", f"from {least_columns} to {most}", said))
    if protection.column_parity and not ST2022_1_LEAST <= rows <= ST2022_1_GREATEST:
        said = {"rows_n": f"{rows}", "least_n": f"{ST2022_1_LEAST}", "most_n": most}
        found.append(("rows", f"D is {rows}", f"from {ST2022_1_LEAST} to {most}", said))
    if columns * rows > ST2022_1_GREATEST_MATRIX:
        said = {"matrix_n": f"{columns * rows}", "most_matrix_n": f"{ST2022_1_GREATEST_MATRIX}"}
        found.append(("columns", f"L x D is {columns * rows}", f"at most {ST2022_1_GREATEST_MATRIX}", said))
    if not protection.column_parity:
        expected = "columns, or rows and columns"
        found.append(("column_parity", "row FEC without column FEC", expected, {"rows_only": "yes"}))
    where = "protection."
    return [
        Problem(where + name, what, f"{limit} (SMPTE ST 2022-1)", "warning", code="parity-outside-standard", said=said)
        for name, what, limit, said in found
    ]


def skew_class(differential_ms: float) -> str | None:
    """Least receiver class of ST 2022-7 that covers a path differential; None beyond class C.

    Raises
    ------
    ValueError
        If the differential is negative.

    Examples
    --------
    >>> skew_class(60)
    'C'
    """
    in_range("differential_ms", differential_ms, least=0, greatest=1e9, unit="ms")
    return next((name for name, limit_ms in SKEW_CLASS_MS if differential_ms <= limit_ms), None)
