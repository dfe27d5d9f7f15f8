"""A drive whose truth is known, written as receivers and loggers write it, well and badly."""

import io
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

SITES = ((36.205, -84.21), (36.37, -84.25))
MHZ, N = 98.3, 120
START = datetime(2026, 11, 20, 9, 0, 0, tzinfo=UTC)
# A drive of two minutes at some 15 m/s in a gentle bend; levels that go up and down.
T_S = np.arange(N, dtype=float)
LAT = 36.28 + 1.3e-4 * T_S
LON = -84.20 + 2e-3 * np.sin(T_S / 60.0)
FIELD = 58.0 + 12.0 * np.sin(T_S / 17.0)


def input_dbm(field_dbuvm: float, *, gain_dbi: float = 0.0, loss_db: float = 0.0) -> float:
    """Power of a plane wave in an antenna, in SI units from the definition: S = E^2 / Z0, P = S G lambda^2 / 4 pi."""
    volts_per_m = 10 ** (field_dbuvm / 20) * 1e-6
    density = volts_per_m**2 / (4e-7 * math.pi * 299_792_458.0)
    watts = density * 10 ** (gain_dbi / 10) * (299.792458 / MHZ) ** 2 / (4 * math.pi)
    return 10 * math.log10(watts * 1e3) - loss_db


def input_dbuv(field_dbuvm: float, *, factor_db: float, loss_db: float = 0.0) -> float:
    """Voltage behind an antenna of that factor: the definition of the antenna factor."""
    return field_dbuvm - factor_db - loss_db


def iso(k: int, *, ahead_s: float = 0.0) -> str:
    """Time of a line."""
    return (START + timedelta(seconds=float(T_S[k]) + ahead_s)).strftime("%Y-%m-%dT%H:%M:%SZ")


def rows(line: Callable[[int], Sequence[object]], *, every: int = 1) -> list[list[str]]:
    """Cells of every line."""
    return [[str(cell) for cell in line(k)] for k in range(0, N, every)]


def written(head: str, lines: list[list[str]], *, mark: str = ",", end: str = "\n", before: str = "") -> bytes:
    """A table as bytes."""
    return (before + end.join([head, *(mark.join(cells) for cells in lines)]) + end).encode()


def plain(k: int) -> list[str]:
    """Place and field strength."""
    return [f"{LAT[k]:.7f}", f"{LON[k]:.7f}", f"{FIELD[k]:.4f}"]


def minutes(value: float, letters: str, width: int) -> tuple[str, str]:
    """``ddmm.mmmmm`` and its letter, as NMEA 0183 has it."""
    size = abs(value)
    return f"{int(size):0{width}d}{60 * (size % 1):09.6f}", letters[int(value < 0)]


def nmea(*, every: int = 1, date: bool = True) -> bytes:
    """RMC sentences with their checksums, and a satellite that was lost."""
    sentences = []
    for k in range(0, N, every):
        at = START + timedelta(seconds=float(T_S[k]))
        (lat, ns), (lon, ew) = minutes(LAT[k], "NS", 2), minutes(LON[k], "EW", 3)
        status = "V" if k == 3 else "A"
        body = f"GPRMC,{at:%H%M%S}.00,{status},{lat},{ns},{lon},{ew},29.2,358.1,{at:%d%m%y},,"
        total = 0
        for byte in body.encode():
            total ^= byte
        sentences.append(f"${body}*{total:02X}")
    return "\r\n".join(sentences).encode()


def gpx(points: list[str]) -> bytes:
    """A track."""
    head = '<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    return (head + "".join(points) + "</trkseg></trk></gpx>").encode()


def track(*, every: int = 1, without: range = range(0)) -> bytes:
    """Positions with times, and a hole where satellites were lost."""
    return gpx([
        f'<trkpt lat="{LAT[k]:.7f}" lon="{LON[k]:.7f}"><time>{iso(k)}</time></trkpt>'
        for k in range(0, N, every) if k not in without
    ])  # fmt: skip


def xlsx(head: Sequence[str], lines: Sequence[Sequence[object]]) -> bytes:
    """The first sheet of a workbook."""
    from openpyxl import Workbook

    book, out = Workbook(), io.BytesIO()
    book.active.append(list(head))
    for line in lines:
        book.active.append(list(line))
    book.save(out)
    return out.getvalue()


@dataclass(frozen=True)
class Ugly:
    """One log, what is told beside it, and what must come of it."""

    name: str
    content: bytes
    source: str = "drive.csv"
    how: dict[str, Any] = field(default_factory=dict)
    positions: tuple[str, bytes] | None = None
    asked: str = ""
    """Code of the question; empty where the truth must come back."""
    skipped: tuple[int, ...] = ()
    """Lines left out, by number."""
    off_deg: float = 3e-6
    """How far places may be off: at the edge of what satellites tell, a second of driving."""
    gone: tuple[int, ...] = ()
    """Which of the truth's lines they are."""
