"""Positions out of a second file, joined to a log by time.

The file: a GPX track with times, a table with time, lat and lon, or the sentences RMC and GGA of NMEA 0183. A line of
the log stands between the fix before and the fix after it, in proportion to time; where satellites were lost for
longer than `MOST_GAP_S` a line is left out rather than laid on the chord of a bend.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.plan.sheets import decoded
from sfn.survey.gpx import gpx_points
from sfn.survey.log_lines import read_lines
from sfn.survey.log_places import both, coordinates
from sfn.survey.log_times import DAY_S, Times, times_of

Floats = NDArray[np.float64]

MOST_GAP_S, MOST_BESIDE_S = 10.0, 1.0
_EXPECTED = "a GPX track with times, a table with time, lat and lon, or NMEA sentences RMC or GGA"
_NEEDED = (frozenset({"time", "lat", "lon"}), frozenset({"time", "position"}))
_SENTENCE = re.compile(r"\$(?P<talker>[A-Z]{2})(?P<kind>RMC|GGA),(?P<body>[^*\r\n]*)(?:\*(?P<sum>[0-9A-Fa-f]{2}))?")
_QUARTER_S, _ZONES = 900.0, range(-56, 57)
_LEAST_SHARE, _CLEAR_SHARE = 0.02, 0.5


@dataclass(frozen=True, slots=True)
class Fixes:
    """Positions in the order of time."""

    source: str
    times: Times
    lat_deg: Floats
    lon_deg: Floats
    left_out_n: int


def fixes_of(content: bytes, *, source: str) -> Fixes:
    """The positions in a file.

    Raises
    ------
    PlanError
        If there are fewer than two with a time.
    """
    if source.lower().endswith(".gpx"):
        points = gpx_points(content, source=source, lenient=True)
        rows = [(p.texts.get("time", ""), p.lat_deg, p.lon_deg) for p in points]
        return _fixes(source, [r[0] for r in rows], [], np.array([r[1] for r in rows]), np.array([r[2] for r in rows]))
    if content.lstrip()[:1] == b"$" or b"$GPRMC" in content[:4000] or b"$GNRMC" in content[:4000]:
        return _sentences(decoded(content, source=source), source=source)
    table = read_lines(content, source=source, needed=_NEEDED)
    lat, lon = np.full(len(table.lines), np.nan), np.full(len(table.lines), np.nan)
    for k, line in enumerate(table.lines):
        try:
            if text := line.text("position"):
                lat[k], lon[k] = both(text)
            else:
                lat[k], lon[k] = coordinates(
                    line.text("lat"), line.text("lon"), north_south=line.text("north_south"),
                    east_west=line.text("east_west"),
                )  # fmt: skip
        except ValueError:
            continue
    dates = [line.text("date") for line in table.lines]
    return _fixes(source, [line.text("time") for line in table.lines], dates if any(dates) else [], lat, lon)


def placed(
    times: Times, fixes: Fixes, *, source: str, lines: Sequence[int], ahead_s: float | None
) -> tuple[Floats, Floats, dict[int, str]]:
    """Position of every line of a log, and why some have none.

    Parameters
    ----------
    times : Times
        Of the log, one a line.
    fixes : Fixes
    source : str
        The log.
    lines : sequence of int
        Numbers of its lines, for messages.
    ahead_s : float or None
        How far the log's clock runs ahead of the positions'; None where nobody said. [s]

    Raises
    ------
    PlanError
        If the two do not overlap in time; the problem says by how many hours they would. If the log's clock was set
        back on the way, as at the end of daylight saving time: what comes after would be placed an hour too early.
    """
    same = times.dated and fixes.times.dated
    t = times.seconds if same else times.of_day()
    at = fixes.times.seconds if same else fixes.times.of_day()
    t = t - (ahead_s or 0.0)
    _set_back(t, source=source, lines=lines)
    if not same:
        t = t - DAY_S * np.round((np.nanmedian(t) - np.nanmedian(at)) / DAY_S)
    inside = _share(t, at)
    if inside < _LEAST_SHARE:
        raise PlanError([_apart(t, at, source=source, fixes=fixes, told=ahead_s is not None)])
    after = np.clip(np.searchsorted(at, t), 1, len(at) - 1)
    gap, since, until = at[after] - at[after - 1], t - at[after - 1], at[after] - t
    part = np.clip(since / np.maximum(gap, 1e-9), 0.0, 1.0)
    beside = np.minimum(np.abs(since), np.abs(until))
    fits = np.isfinite(t) & ((beside <= MOST_BESIDE_S) | ((gap <= MOST_GAP_S) & (since >= 0) & (until >= 0)))
    # Beyond a long gap the nearer fix stands for a line close to it.
    part = np.where(gap > MOST_GAP_S, np.round(part), part)
    turn = (fixes.lon_deg[after] - fixes.lon_deg[after - 1] + 180.0) % 360.0 - 180.0
    lat = fixes.lat_deg[after - 1] + part * (fixes.lat_deg[after] - fixes.lat_deg[after - 1])
    lon = (fixes.lon_deg[after - 1] + part * turn + 180.0) % 360.0 - 180.0
    wrong = {
        int(k): "its time cannot be read"
        if not np.isfinite(t[k])
        else f"no position within {MOST_BESIDE_S:g} s of it in {fixes.source}"
        for k in np.flatnonzero(~fits)
    }
    return np.where(fits, lat, np.nan), np.where(fits, lon, np.nan), wrong


def _set_back(t: Floats, *, source: str, lines: Sequence[int]) -> None:
    """Refuse a clock that goes back by a whole or half hour between two lines, less the usual step between them."""
    known = np.flatnonzero(np.isfinite(t))
    steps = np.diff(t[known])
    rising = steps[steps > 0]
    if not len(rising):
        return
    usual_s = max(float(np.median(rising)), 1.0)
    for hours in (1.0, 0.5):
        back = np.flatnonzero(np.abs(steps + 3600.0 * hours - usual_s) <= 3 * usual_s)
        if len(back) == 1 and usual_s < _QUARTER_S / 6:
            n = lines[int(known[back[0] + 1])]
            what = f"its clock goes back by {60 * hours:.0f} min at line {n}"
            expected = (
                "times in UTC; or two files, before and after (the end of daylight saving time?), each with how far its"
                " clock is ahead"
            )
            values = {"back_s": 3600.0 * hours, "line_n": float(n)}
            raise PlanError([Problem(source, what, expected, code="clock-set-back", values=values)])


def _share(t: Floats, at: Floats) -> float:
    """Share of the lines that lie within the time of the positions."""
    known = t[np.isfinite(t)]
    return float(np.mean((known >= at[0] - MOST_BESIDE_S) & (known <= at[-1] + MOST_BESIDE_S))) if len(known) else 0.0


def _apart(t: Floats, at: Floats, *, source: str, fixes: Fixes, told: bool) -> Problem:
    """The refusal of two files of different times, with the zone that would bring them together."""
    if not np.isfinite(t).any():
        what = "none of its times can be read, and its positions are in another file"
        return Problem(source, what, "times such as 2026-11-20T09:00:00Z", code="times-unreadable")
    shares = {k: _share(t - k * _QUARTER_S, at) for k in _ZONES}
    most = max(shares.values())
    near = [k for k in shares if shares[k] >= most - 1e-9]
    shift_s = min(near, key=lambda k: (k % 4 != 0, abs(k))) * _QUARTER_S
    if not told and most >= _CLEAR_SHARE:
        what = (
            f"its times lie outside those of {fixes.source}, and inside if its clock runs {shift_s / 3600:+g} h ahead"
        )
        expected = f"how far its clock is ahead of the positions' (clock_ahead_s = {shift_s:.0f} for a local zone)"
        values = {"clock_ahead_s": shift_s}
        return Problem(source, what, expected, code="times-apart", fields=("clock_ahead_s",), values=values)
    what = f"none of its lines lies within the time of {fixes.source}"
    return Problem(source, what, "positions of the same drive", code="times-apart", fields=("clock_ahead_s",))


def _fixes(source: str, times: list[str], dates: list[str], lat: Floats, lon: Floats) -> Fixes:
    """Those with a time and a place, in order."""
    read = times_of(times, dates)
    order_by = read.seconds if read.dated else read.of_day()
    good = np.isfinite(order_by) & np.isfinite(lat) & np.isfinite(lon) & ~((lat == 0) & (lon == 0))
    good &= (np.abs(lat) <= 90) & (np.abs(lon) <= 180)
    if np.count_nonzero(good) < 2:
        what = f"holds {np.count_nonzero(good)} positions with a time"
        raise PlanError([Problem(source, what, _EXPECTED, code="positions-missing")])
    order = np.flatnonzero(good)[np.argsort(order_by[good], kind="stable")]
    order = order[np.concatenate(([True], np.diff(order_by[order]) > 0))]
    ordered = Times(order_by[order], read.dated, read.both_orders)
    return Fixes(source, ordered, lat[order], lon[order], int(len(good) - np.count_nonzero(good)))


def _sentences(text: str, *, source: str) -> Fixes:
    """RMC and GGA of NMEA 0183: a wrong checksum or no fix is passed over."""
    times, dates, lat, lon, date = [], [], [], [], ""
    for found in _SENTENCE.finditer(text):
        cells = found["body"].split(",")
        whole = f"{found['talker']}{found['kind']},{found['body']}".encode()
        total = 0
        for byte in whole:
            total ^= byte
        if (found["sum"] and int(found["sum"], 16) != total) or len(cells) < 9:
            continue
        first = 2 if found["kind"] == "RMC" else 1
        if (found["kind"] == "RMC" and cells[1] != "A") or (found["kind"] == "GGA" and cells[5] in ("", "0")):
            continue
        if found["kind"] == "RMC" and len(cells[8]) == 6:
            date = f"20{cells[8][4:]}-{cells[8][2:4]}-{cells[8][:2]}"
        try:
            place = coordinates(
                cells[first], cells[first + 2], north_south=cells[first + 1], east_west=cells[first + 3]
            )
        except ValueError:
            continue
        times.append(f"{cells[0][:2]}:{cells[0][2:4]}:{cells[0][4:]}")
        dates.append(date)
        lat.append(place[0])
        lon.append(place[1])
    known = next((d for d in dates if d), "")
    return _fixes(source, times, [d or known for d in dates] if known else [], np.array(lat), np.array(lon))
