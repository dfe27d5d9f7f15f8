"""Logs as receivers write them, made into levels at places: the story.

A log is asked where it leaves something open that moves all its levels: unit, antenna, channel, order of coordinates,
clock. A single line that cannot be used is left out and counted with its number and its reason.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.plan.number_text import decimal
from sfn.survey.gpx import gpx_points
from sfn.survey.log_about import About, Reading
from sfn.survey.log_channels import column_of_level, lines_of_channel
from sfn.survey.log_fixes import placed
from sfn.survey.log_lines import Line, LogTable, Titled, level_unit, read_lines, titled
from sfn.survey.log_places import both, coordinates, judged
from sfn.survey.log_times import times_of
from sfn.survey.receiver_level import RANGES_DB, LevelUnit, to_field_db

Floats = NDArray[np.float64]

ALL_ON_AIR = "all"
"""Word in the column `site` for "whatever is on air"; an empty cell means the same."""
MOST_TOLD = 20
_NEEDED = (frozenset({"lat", "lon"}), frozenset({"position"}))
_NEEDED_WITH_FIXES = (frozenset({"time", "level"}), frozenset({"time", "mark"}), frozenset({"time", "quality_db"}))
_VALUE = re.compile(r"([+\-\u2212]?\d+(?:[.,]\d+)?(?:[eE][+-]?\d{1,2})?)\s*(.*)", re.ASCII | re.DOTALL)
_NO_READING = {"", "-", "--", "---", "nan", "null", "none", "n/a", "na", "inf", "-inf", "+inf", "*", "***",
               "****", "no signal", "invalid", "overflow", "underflow", "lost", "no lock", "unlocked"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Skipped:
    """A line that was left out: its number in the file, and why."""

    line: int
    why: str


@dataclass(frozen=True, slots=True)
class ReceiverLog:
    """Lines that can be used, in their order, and what was made of the others.

    Parameters
    ----------
    level_dbuvm, mark, quality_db : ndarray (N,)
        NaN where a line has none (levels only where they were not needed). [dB(uV/m), 1, dB]
    other_channels_n : int
        Lines of other channels.
    told : tuple of str
        How the log was read, a sentence each.
    """

    source: str
    line: tuple[int, ...]
    lat_deg: Floats
    lon_deg: Floats
    level_dbuvm: Floats
    mark: Floats
    quality_db: Floats
    site: tuple[str, ...]
    remark: tuple[str, ...]
    lines_n: int
    skipped: tuple[Skipped, ...]
    other_channels_n: int
    told: tuple[str, ...]
    problems: tuple[Problem, ...]


def receiver_log(content: bytes, *, source: str, of: About, how: Reading, needs_level: bool = True) -> ReceiverLog:
    """A log made into levels at places.

    Parameters
    ----------
    content : bytes
        CSV, XLSX or GPX.
    source : str
        What messages call it; GPX by its ending.
    of : About
    how : Reading
    needs_level : bool
        False for a drive on which marks or remarks were noted as well, or only.

    Raises
    ------
    PlanError
        If something that moves all lines is open, or no line can be used.
    """
    point = source.lower().endswith(".gpx")
    table = _gpx(content, source) if point else read_lines(
        content, source=source, needed=_NEEDED_WITH_FIXES if how.fixes is not None else _NEEDED
    )  # fmt: skip
    made = _Made(table, of, how, "point" if point else "line", needs_level)
    return made.log()


@dataclass(slots=True)
class _Made:
    """A log while it is being made."""

    table: LogTable
    of: About
    how: Reading
    word: str
    needs_level: bool
    wrong: dict[int, str] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)
    asked: list[Problem] = field(default_factory=list)

    def log(self) -> ReceiverLog:
        """All steps, in order."""
        lines = self.table.lines
        for k, line in enumerate(lines):
            if line.wrong:
                self.wrong[k] = line.wrong
        channel = lines_of_channel(self.table, of=self.of, how=self.how)
        mine = channel.lines
        self.told += channel.told
        self.wrong |= {k: why for k, why in channel.wrong.items() if k not in self.wrong}
        level = self._levels(mine)
        lat, lon, doubts = self._places(mine)
        site = [self._site(k) for k in range(len(lines))]
        mark, quality = self._cells("mark", 1.0, 5.0), self._cells("quality_db", -50.0, 150.0)
        good = [k for k in range(len(lines)) if mine[k] and k not in self.wrong]
        skipped = tuple(
            Skipped(lines[k].number, why) for k, why in sorted(self.wrong.items()) if mine[k] or lines[k].wrong
        )
        if not good:
            raise PlanError(self._nothing(skipped))
        return ReceiverLog(
            source=self.table.source, line=tuple(lines[k].number for k in good), lat_deg=lat[good], lon_deg=lon[good],
            level_dbuvm=level[good], mark=mark[good], quality_db=quality[good], site=tuple(site[k] for k in good),
            remark=tuple(lines[k].text("remark") for k in good), lines_n=len(lines), skipped=skipped,
            other_channels_n=int(len(lines) - sum(mine)), told=tuple(self.told),
            problems=(*doubts, *_counted(skipped, source=self.table.source, word=self.word, lines_n=len(lines))),
        )  # fmt: skip

    def where(self, k: int, key: str = "") -> str:
        """``FILE line 7 column lat``."""
        line = self.table.lines[k]
        title = next((c.title for c in line.columns if c.key == key), key)
        return f"{self.table.source} {self.word} {line.number}" + (f" column {title}" if key else "")

    def _levels(self, mine: list[bool]) -> Floats:
        """Field strength of every line."""
        lines, found = self.table.lines, np.full(len(self.table.lines), np.nan)
        if self.needs_level and self.word == "line" and not any(c.key == "level" for c in self.table.columns):
            listed = ", ".join(c.title for c in self.table.columns if c.title)[:200]
            where, what = (
                f"{self.table.source} line {self.table.head_line}",
                f"names no column of levels among {listed}",
            )
            expected = "one such as level_dbuvm, Level (dBuV) or RSSI [dBm]"
            raise PlanError([Problem(where, what, expected, code="column-missing", fields=("level_dbuvm",))])
        columns: dict[tuple[Titled, ...], int | None] = {}
        raw: dict[int, tuple[float, LevelUnit | None]] = {}
        for k, line in enumerate(lines):
            if line.columns not in columns:
                columns[line.columns] = column_of_level(
                    line.columns, of=self.of, how=self.how, source=self.table.source
                )
            at = columns[line.columns]
            if not mine[k] or k in self.wrong:
                continue
            if at is None:
                if self.needs_level:
                    self.wrong[k] = "has no level"
                continue
            title = line.columns[at]
            text = line.cells.get(at, "").strip()
            if text.lower() in _NO_READING:
                if self.needs_level:
                    self.wrong[k] = (
                        f"column {title.title}: holds no level ({text or 'empty'})" if text else "has no level"
                    )
                continue
            read = _VALUE.fullmatch(text)
            unit = level_unit(read[2]) if read else None
            if read is None or (read[2] and unit is None):
                self.wrong[k] = (
                    f"its level is {text!r}" if self.word == "point" else f"column {title.title}: {text!r} is no number"
                )
                continue
            told = unit or level_unit(line.text("unit")) or level_unit(title.unit) or level_unit(self.table.unit_line)
            raw[k] = (decimal(read[1]), told)
        if not raw:
            return found
        self._in_field(found, raw)
        return found

    def _in_field(self, found: Floats, raw: Mapping[int, tuple[float, LevelUnit | None]]) -> None:
        """Readings turned into field strength, those out of range left out."""
        values = np.array([v for v, _ in raw.values()])
        units = {u for _, u in raw.values()}
        if None in units and self.how.level_unit is None:
            looks = "dBm" if float(np.median(values)) < -20 else "dBuV or dBuV/m"
            what = f"does not say in which unit its levels are; they look like {looks}"
            expected = "the unit: dBuV/m at the antenna, dBuV or dBm at the receiver's input"
            raise PlanError(
                [Problem(self.table.source, what, expected, code="level-unit-missing", fields=("level_unit",))]
            )
        source, frequency = self.table.source, self.of.frequency_mhz
        for unit in sorted({u or self.how.level_unit for u in units} - {None}, key=str):
            assert unit is not None
            add_db, said = to_field_db(unit, self.how.receiver, frequency_mhz=frequency, where=source)
            low, high = RANGES_DB[unit]
            mine = {k: v for k, (v, u) in raw.items() if (u or self.how.level_unit) == unit}
            usual = float(np.median([*mine.values()]))
            for k, value in mine.items():
                if not low <= value <= high:
                    self.wrong[k] = f"column level: {value:g} is out of range; a number from {low:g} to {high:g} {unit}"
                elif unit == "dBm" and value == 0.0 and usual < -30.0:
                    self.wrong[k] = f"reads 0 dBm among levels about {usual:.0f}: taken for no reading"
                else:
                    found[k] = value + add_db
            if unit != "dBuV/m":
                self.told.append(f"logged in {unit}: {said}")
            elif usual < -20.0:
                what = f"its levels are about {usual:.0f} and called {unit}: they look like dBm"
                raise PlanError([Problem(source, what, "the unit they are in", code="level-unit-doubted",
                                         fields=("level_unit",))])  # fmt: skip

    def _places(self, mine: list[bool]) -> tuple[Floats, Floats, tuple[Problem, ...]]:
        """Latitude and longitude of every line."""
        lines, how = self.table.lines, self.how
        lat, lon = np.full(len(lines), np.nan), np.full(len(lines), np.nan)
        if how.fixes is not None:
            dates = [line.text("date") for line in lines]
            times = times_of([line.text("time") for line in lines], dates if any(dates) else ())
            lat, lon, wrong = placed(
                times, how.fixes, source=self.table.source, lines=[line.number for line in lines],
                ahead_s=how.clock_ahead_s,
            )  # fmt: skip
            self.told.append(f"positions from {how.fixes.source}, by time")
        else:
            wrong = {}
            for k, line in enumerate(lines):
                if mine[k] and k not in self.wrong:
                    try:
                        lat[k], lon[k] = _place(line)
                    except ValueError as error:
                        wrong[k] = str(error)
        self.wrong |= {k: why for k, why in wrong.items() if mine[k] and k not in self.wrong}
        found, doubts = judged(lat, lon, sites=self.of.places, order=how.order, source=self.table.source)
        self.wrong |= {k: why for k, why in found.wrong.items() if mine[k] and k not in self.wrong}
        if how.order == "exchanged":
            self.told.append("latitude and longitude exchanged, as was said")
        return found.lat_deg, found.lon_deg, doubts

    def _site(self, k: int) -> str:
        """The site of a line, empty for all on air."""
        text = self.table.lines[k].text("site")
        if text in ("", ALL_ON_AIR):
            return ""
        if text not in self.of.sites:
            known = f"one of {', '.join((*self.of.sites, ALL_ON_AIR))}"
            said = f"its site is {text!r}, which is not known" if self.word == "point" else (
                f"column site: {text!r} is not known; {known}"
            )  # fmt: skip
            self.wrong.setdefault(k, said)
        return text

    def _cells(self, key: str, low: float, high: float) -> Floats:
        """Numbers of a column that may be empty."""
        found = np.full(len(self.table.lines), np.nan)
        for k, line in enumerate(self.table.lines):
            text = line.text(key).strip()
            if text.lower() in _NO_READING or k in self.wrong:
                continue
            read = _VALUE.fullmatch(text)
            value = decimal(read[1]) if read else float("nan")
            if low <= value <= high:
                found[k] = value
            else:
                self.wrong[k] = f"column {key}: {text} is out of range; a number from {low:g} to {high:g}"
        return found

    def _nothing(self, skipped: Sequence[Skipped]) -> list[Problem]:
        """Why no line can be used: the first of them with their reasons."""
        if not skipped:
            return [Problem(self.table.source, "holds no points", "track points with levels", code="file-empty")]
        source = self.table.source
        first = [_unusable(one, where=f"{source} {self.word} {one.line}") for one in skipped[:MOST_TOLD]]
        if len(skipped) > MOST_TOLD:
            what = f"none of its {len(skipped)} lines can be used; the first are above"
            first.append(Problem(source, what, "a log with levels at places", code="log-unusable"))
        return first


def _unusable(one: Skipped, *, where: str) -> Problem:
    """A line of a log in which no line can be used."""
    found = re.fullmatch(r"column ([^:]+): (.*)", one.why, re.DOTALL)
    place, what = (f"{where} column {found[1]}", found[2]) if found else (where, one.why)
    return Problem(place, what, "lat, lon and a level", code="log-line-unusable", values={"line": one.line})


def _place(line: Line) -> tuple[float, float]:
    """Where one line was taken."""
    if line.text("lat").strip() or line.text("lon").strip():
        return coordinates(
            line.text("lat"), line.text("lon"), north_south=line.text("north_south"), east_west=line.text("east_west")
        )
    if text := line.text("position").strip():
        return both(text)
    raise ValueError("has no position")


def _counted(skipped: Sequence[Skipped], *, source: str, word: str, lines_n: int) -> list[Problem]:
    """One problem a reason: how many lines, and which."""
    by_reason: dict[str, list[Skipped]] = {}
    for one in skipped:
        # The value differs from line to line, the reason does not.
        by_reason.setdefault(re.sub(r"'[^']*'|[-\d.]+", "", one.why), []).append(one)
    problems = []
    for same in by_reason.values():
        numbers = ", ".join(str(one.line) for one in same[:8]) + (", ..." if len(same) > 8 else "")
        plural = "s" if len(same) > 1 else ""
        where = f"{source} {word}{plural} {numbers}"
        what = f"{len(same)} of {lines_n} {word}s left out: {same[0].why}"
        values = {"lines": len(same), "first_line": same[0].line}
        problems.append(Problem(where, what, "the rest was used", "warning", code="log-lines-skipped", values=values))
    return problems


def _gpx(content: bytes, source: str) -> LogTable:
    """Points of a GPX file as lines: elements are columns; a level may be the text of name, cmt or desc."""
    lines = []
    for point in gpx_points(content, source=source, lenient=True):
        texts = dict(point.texts)
        columns = [Titled("lat", "lat"), Titled("lon", "lon")]
        cells = [f"{point.lat_deg:.9f}", f"{point.lon_deg:.9f}"]
        named = [(name, titled(name)) for name in texts if texts[name]]
        known = [(name, one) for name, one in named if one.key not in ("", "lat", "lon", "remark")]
        if not any(one.key == "level" for _, one in known):
            spoken = next((n for n in ("name", "cmt", "desc") if texts.get(n)), "")
            known += [(spoken, Titled(spoken, "level", "dBuV/m"))] if spoken else []
        for name, one in known:
            columns.append(one)
            cells.append(texts[name])
        lines.append(Line(point.number, dict(enumerate(cells)), tuple(columns), point.wrong))
    if not lines:
        nothing = Problem(source, "holds no points", "track points with levels", code="file-empty")
        raise PlanError([nothing])
    return LogTable(source, lines[0].columns, tuple(lines), 0)
