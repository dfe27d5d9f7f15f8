"""Times as loggers write them: with a date or of the day alone, with a zone or without, or seconds since 1970."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from sfn.plan.number_text import decimal

Floats = NDArray[np.float64]

DAY_S = 86_400.0
_CLOCK = r"(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2}(?:[.,]\d+)?))?\s*(?P<half>[AaPp]\.?[Mm]\.?)?"
_ZONE = r"\s*(?P<zone>Z|UTC|GMT|[+-]\d{2}:?\d{2})?"
_FIRST_YEAR = re.compile(
    rf"(?P<y>\d{{4}})[-/.](?P<a>\d{{1,2}})[-/.](?P<b>\d{{1,2}})(?:[T ,]+{_CLOCK}{_ZONE})?", re.ASCII
)
_LAST_YEAR = re.compile(
    rf"(?P<a>\d{{1,2}})(?P<mark>[-/.])(?P<b>\d{{1,2}})[-/.](?P<y>\d{{4}}|\d{{2}})(?:[T ,]+{_CLOCK}{_ZONE})?", re.ASCII
)
_DAYTIME = re.compile(rf"{_CLOCK}{_ZONE}", re.ASCII)
_PACKED = re.compile(r"(?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2}(?:\.\d+)?)", re.ASCII)
_ALL_PACKED = re.compile(r"(\d{4})(\d{2})(\d{2})[T ]*(\d{2}):?(\d{2}):?(\d{2}(?:\.\d+)?)(Z?)", re.ASCII)
_EPOCH = re.compile(r"\d{9,10}(?:\.\d+)?|\d{12,13}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Times:
    """Seconds since 1970 in UTC, or since midnight where no date is told; NaN where a cell is no time."""

    seconds: Floats
    dated: bool
    both_orders: bool
    """Whether days and months can be read in either order: the day first was taken."""

    def of_day(self) -> Floats:
        """Since midnight of the first, rising over later midnights."""
        day = self.seconds % DAY_S
        known = np.flatnonzero(np.isfinite(day))
        turned = np.zeros(len(day))
        turned[known[1:]] = DAY_S * (np.diff(day[known]) < -DAY_S / 2)
        return np.asarray(day + np.cumsum(turned))


def times_of(cells: Sequence[str], dates: Sequence[str] = ()) -> Times:
    """What the cells of a column say, with those of a column of dates beside it where there is one.

    Examples
    --------
    >>> times_of(["2026-11-20T09:00:00.5Z"]).seconds.tolist()
    [1795165200.5]
    >>> times_of(["9:00:01 PM"], ["11/20/2026"]).seconds.tolist()
    [1795208401.0]
    >>> times_of(["09:00:01,5"]).dated
    False
    """
    texts = [f"{d.strip()} {c.strip()}".strip() for c, d in zip(cells, dates or [""] * len(cells), strict=True)]
    month_first, both = _order(texts)
    found = [_seconds(text, month_first=month_first) for text in texts]
    dated = any(told is not None and told[1] for told in found)
    seconds = [told[0] if told is not None and told[1] == dated else np.nan for told in found]
    return Times(np.array(seconds, dtype=np.float64), dated, both)


def _order(texts: Sequence[str]) -> tuple[bool, bool]:
    """Whether the month stands first, and whether nothing tells."""
    slashed = [found for text in texts if (found := _LAST_YEAR.match(text))]
    if any(int(f["a"]) > 12 for f in slashed) or any(f["mark"] == "." for f in slashed):
        return False, False
    if any(int(f["b"]) > 12 for f in slashed):
        return True, False
    return False, any(f["a"] != f["b"] for f in slashed)


def _seconds(text: str, *, month_first: bool) -> tuple[float, bool] | None:
    """One time, and whether it has a date."""
    if _EPOCH.fullmatch(text):
        value = float(text)
        return (value / 1000.0 if value > 1e11 else value), True
    if packed := _ALL_PACKED.fullmatch(text):
        text = "{}-{}-{} {}:{}:{}{}".format(*packed.groups())
    if (found := _FIRST_YEAR.fullmatch(text)) or (found := _LAST_YEAR.fullmatch(text)):
        first, second = int(found["a"]), int(found["b"])
        year = int(found["y"]) + (2000 if len(found["y"]) == 2 else 0)
        year_first = len(text.split(found["y"])[0]) == 0 and len(found["y"]) == 4
        month, day = (first, second) if year_first or month_first else (second, first)
        clock = _clock(found)
        if clock is None:
            return None
        try:
            at = datetime(year, month, day, tzinfo=_zone(found["zone"])) + timedelta(seconds=clock)
        except ValueError:
            return None
        return at.timestamp(), True
    if found := (_DAYTIME.fullmatch(text) or _PACKED.fullmatch(text)):
        clock = _clock(found)
        zone = _zone(found.groupdict().get("zone"))
        return None if clock is None else ((clock - zone.utcoffset(None).total_seconds()) % DAY_S, False)
    return None


def _clock(found: "re.Match[str]") -> float | None:
    """Seconds since midnight; 0 where no clock is told."""
    if found["h"] is None:
        return 0.0
    hour, minute, second = int(found["h"]), int(found["m"]), decimal(found["s"] or "0")
    half = (found.groupdict().get("half") or "").lower().replace(".", "")
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0)
    return hour * 3600.0 + minute * 60.0 + second if hour < 24 and minute < 60 and second < 61 else None


def _zone(text: str | None) -> timezone:
    """A zone as written; UTC where none is."""
    if not text or text in ("Z", "UTC", "GMT"):
        return UTC
    sign = -1 if text[0] == "-" else 1
    return timezone(sign * timedelta(hours=int(text[1:3]), minutes=int(text[-2:])))
