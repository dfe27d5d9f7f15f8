"""Delay differences measured on air: the table of them, and what the plan predicts at the same points."""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import PlanError, Problem, Touch, at_most
from sfn.geodesy.cells import COLUMNS as PLACE_COLUMNS, UNITS as PLACE_UNITS, position_of
from sfn.geodesy.line import inverse, path_length, travel_time
from sfn.plan.columns import LENGTHS, TIMES, Column, Known, columns_of, rows_under
from sfn.plan.rows import Row
from sfn.plan.sheets import SheetTable

# What people call a column: the first name is ours. Case, blanks and the unit in brackets do not matter.
COLUMNS: dict[str, tuple[str, ...]] = {
    "when": ("when", "time", "date", "date time", "measured at"),
    "point": ("point", "place", "location", "name"),
    **PLACE_COLUMNS,
    "site": ("site", "site id", "site name", "transmitter"),
    "reference_site": ("reference_site", "reference", "reference id", "reference name", "minus"),
    "delay_difference_us": ("delay_difference_us", "delay difference", "difference"),
    "uncertainty_us": ("uncertainty_us", "uncertainty", "standard uncertainty"),
    "reference_plane": ("reference_plane", "plane"),
    "by": ("by", "who", "measured by", "initials"),
    "rx_ground_m": ("rx_ground_m", "rx ground", "ground", "ground height"),
    "response": ("response", "impulse response"),
    "shared_uncertainty_us": ("shared_uncertainty_us", "shared uncertainty"),
    "instrument": ("instrument", "measured with", "receiver", "analyser"),
    "doubt": ("doubt",),
}
NEEDED = ("site", "reference_site", "delay_difference_us", "uncertainty_us")
# The columns that other programs write, in this order.
WRITTEN = ("when", "point", "lat", "lon", *NEEDED, "reference_plane", "by")
# Those that rows of one impulse response have besides.
SHARING = ("response", "shared_uncertainty_us")
_IN_US = ("delay_difference_us", "uncertainty_us", "shared_uncertainty_us")
_KNOWN = Known(COLUMNS, {**PLACE_UNITS, **dict.fromkeys(_IN_US, TIMES), "rx_ground_m": LENGTHS})
_DEGREES = re.compile(r"[+\-\u2212]?\d+([.,]\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Measurement:
    """Arrival of `site` minus arrival of `reference_site` at a point; positive = `site` is later.

    Parameters
    ----------
    uncertainty_us : float
        Standard uncertainty, one sigma. [us]
    reference_plane : str
        Where the measured times hold; "antenna" for signals off air.
    rx_ground_m : float
        Ground at the point above sea level; NaN when not told. [m]
    where : str
        File and line, for messages.
    response : str
        What tells one impulse response from another: its rows against one reference share that arrival, and with it
        its error. Empty for a measurement by itself.
    shared_uncertainty_us : float
        Standard uncertainty of the shared arrival, part of `uncertainty_us`; NaN where nothing is shared. [us]
    instrument : str
        What it was measured with.
    doubt : str
        What is doubtful of what it was made of; empty where nothing is.
    settings_us : mapping of str to float, optional
        What the fields of both sites, and of those that feed them, contributed when it was measured, by site; None
        where only the plan's corrections tell. [us]
    name : str
        By which the record of the network names it; empty where it is not kept there.
    """

    when: str
    point: str
    lat_deg: float
    lon_deg: float
    site: str
    reference_site: str
    delay_difference_us: float
    uncertainty_us: float
    reference_plane: str
    by: str
    rx_ground_m: float = float("nan")
    where: str = ""
    response: str = ""
    shared_uncertainty_us: float = float("nan")
    instrument: str = ""
    doubt: str = ""
    settings_us: Mapping[str, float] | None = None
    name: str = ""


@dataclass(frozen=True, slots=True)
class MeasurementRow:
    """One line: the measurement that was understood, or what is wrong with it."""

    line: int
    measurement: Measurement | None
    problems: tuple[Problem, ...]


@dataclass(frozen=True, slots=True)
class MeasurementTable:
    """A table of measured delay differences as it was understood, line by line."""

    source: str
    columns: tuple[Column, ...]
    rows: tuple[MeasurementRow, ...]

    @property
    def measurements(self) -> tuple[Measurement, ...]:
        """Those that can be used."""
        return tuple(row.measurement for row in self.rows if row.measurement is not None)

    @property
    def refused(self) -> tuple[Problem, ...]:
        """Why the others cannot, at most 20 and their number."""
        every = [problem for row in self.rows for problem in row.problems]
        return tuple(at_most(every, source=self.source))

    @property
    def refused_n(self) -> int:
        """Lines that cannot be used."""
        return sum(row.measurement is None for row in self.rows)

    @property
    def left_out(self) -> tuple[Problem, ...]:
        """Doubts when columns were taken for nothing, and where nobody can tell when something was measured."""
        titles = [column.title for column in self.columns if column.title and not column.taken_for]
        expected = f"only {', '.join(COLUMNS)}"
        what = f"nothing is made of the column {', '.join(titles)}"
        doubts = (Problem(self.source, what, expected, "warning", code="lines-left-out"),) if titles else ()
        return (*doubts, *self._when_doubts())

    def _when_doubts(self) -> Iterator[Problem]:
        """Times that do not say their zone, dates alone, what is neither, and what is still to come."""
        lines: dict[str, list[int]] = {}
        now = datetime.now(UTC)
        for row in self.rows:
            for code in () if row.measurement is None else _when_codes(row.measurement.when, now):
                lines.setdefault(code, []).append(row.line)
        for code, found in lines.items():
            some = ", ".join(map(str, found[:5])) + (f" and {len(found) - 5} more" if len(found) > 5 else "")
            where = f"{self.source} line {some}, when"
            expected = (
                "the day and time at which it was measured"
                if code == "when-to-come"
                else "a date and time with its zone, as 2026-11-03 14:05+01:00 or 2026-11-03T13:05Z"
            )
            yield Problem(
                where,
                _WHEN[code],
                expected,
                "warning",
                code=code,
                fields=("when",),
                values={"line": found[0], "lines_n": len(found)},
            )


def understood(table: SheetTable, sites: Mapping[str, str]) -> MeasurementTable:
    """Measured delay differences out of a table, line by line.

    Parameters
    ----------
    table : SheetTable
        One of the columns in `COLUMNS` each, under any of its names, in any order. Needed are site, reference_site,
        delay_difference_us, uncertainty_us and a place: lat and lon, or position.
    sites : mapping of str to str
        Names of the network's sites by id; a cell may hold either.

    Raises
    ------
    PlanError
        If a column is missing or there twice, or there is no line.
    """
    columns = columns_of(table, _KNOWN)
    taken = {c.taken_for for c in columns}
    missing = [name for name in NEEDED if name not in taken]
    if (
        "position" not in taken
        and not {"lat", "lon"} <= taken
        and not any({f"easting_{unit}", f"northing_{unit}"} <= taken for unit in ("m", "ft"))
    ):
        missing.insert(0, "lat, lon")
    where = f"{table.source} line {table.head_line}"
    if missing:
        what = f"has the columns {', '.join(filter(None, table.head))} and lacks {', '.join(missing)}"
        raise PlanError([Problem(where, what, f"columns like {','.join(WRITTEN)}", code="columns-missing")])
    if not table.lines:
        raise PlanError(
            [Problem(table.source, "has a header but no lines", "at least one line of values", code="file-empty")]
        )
    return MeasurementTable(
        table.source, columns, tuple(_row(row, sites) for row in rows_under(table, columns, _KNOWN))
    )


_WHEN = {
    "when-date-alone": "is a date without a time: it cannot be told what was set by then on that day",
    "when-without-zone": "is a time without its zone: it may be hours off against the record, which keeps UTC",
    "when-unreadable": "is no date and time: it cannot be told what was set when it was measured",
    "when-to-come": "is still to come: nothing can have been measured then, so what was set is a guess",
}
# Clocks that run ahead a little; and no zone is further from UTC.
_AHEAD, _FURTHEST_ZONE = timedelta(minutes=10), timedelta(hours=14)


def _when_codes(text: str, now: datetime) -> tuple[str, ...]:
    """What is doubtful about the time of a measurement; nothing where none is given."""
    try:
        read = datetime.fromisoformat(text.strip()) if text.strip() else None
    except ValueError:
        return ("when-unreadable",)
    if read is None:
        return ()
    if read.tzinfo is not None:
        return ("when-to-come",) if read > now + _AHEAD else ()
    to_come = ("when-to-come",) if read.replace(tzinfo=UTC) > now + _FURTHEST_ZONE else ()
    return ("when-without-zone" if ":" in text else "when-date-alone", *to_come)


def _row(row: Row, sites: Mapping[str, str]) -> MeasurementRow:
    """One line."""
    found = _measurement(row, sites)
    return MeasurementRow(row.line, None if row.problems else found, tuple(row.problems))


def _measurement(row: Row, sites: Mapping[str, str]) -> Measurement:
    """What a line says; not to be used where it has problems."""
    site, reference = _site(row, "site", sites), _site(row, "reference_site", sites)
    if site and site == reference:
        row.no("reference_site", f"{site} is compared with itself", "another site", code="site-against-itself")
    uncertainty_us = row.number("uncertainty_us", least=0.0, greatest=1e6, unit="us")
    if uncertainty_us == 0.0:
        row.no(
            "uncertainty_us",
            "0 would outweigh all others",
            "the standard uncertainty, more than 0 us",
            code="uncertainty-zero",
        )
    response, shared_us = _shared(row, uncertainty_us=uncertainty_us)
    place, lat_deg, lon_deg = _place(row)
    return Measurement(
        when=row.text("when", empty=True),
        point=row.text("point", empty=True) or place,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        site=site,
        reference_site=reference,
        delay_difference_us=row.number("delay_difference_us", least=-1e6, greatest=1e6, unit="us"),
        uncertainty_us=uncertainty_us,
        reference_plane=row.text("reference_plane", empty=True),
        by=row.text("by", empty=True),
        rx_ground_m=row.number("rx_ground_m", least=-500.0, greatest=9000.0, unit="m", empty=True),
        where=row.where(),
        response=response,
        shared_uncertainty_us=shared_us,
        instrument=row.text("instrument", empty=True),
        doubt=row.text("doubt", empty=True),
    )


def _shared(row: Row, *, uncertainty_us: float) -> tuple[str, float]:
    """The response that a line belongs to, and what its reference arrival is worth; NaN where it shares nothing."""
    response = row.text("response", empty=True)
    shared_us = row.number("shared_uncertainty_us", least=0.0, greatest=1e6, unit="us", empty=True)
    if bool(response) != math.isfinite(shared_us) and not row.problems:
        column = "shared_uncertainty_us" if response else "response"
        what = "is empty, and the line shares its reference with others of one response"
        expected = "both columns, response and shared_uncertainty_us, or neither"
        row.no(column, what, expected, code="shared-reference-half-told")
    elif math.isfinite(shared_us + uncertainty_us) and not 0 < shared_us < uncertainty_us:
        what = f"{shared_us:g} us is not a part of uncertainty_us, {uncertainty_us:g} us"
        row.no("shared_uncertainty_us", what, "more than 0, less than uncertainty_us", code="shared-part-too-large")
    return response, shared_us


def _place(row: Row) -> tuple[str, float, float]:
    """Where it was measured, as text and in degrees; NaN, with a problem noted, where that cannot be read."""
    lat, lon = row.text("lat", empty=True), row.text("lon", empty=True)
    if lat and lon and not row.text("position", empty=True) and not row.text("crs", empty=True):
        if any(any(map(str.isdigit, cell)) and not _DEGREES.fullmatch(cell) for cell in (lat, lon)):
            row = replace(row, cells={**row.cells, "position": f"{lat}, {lon}"})
        else:
            lat_deg = row.number("lat", least=-90.0, greatest=90.0, unit="degrees")
            return f"{lat}, {lon}", lat_deg, row.number("lon", least=-180.0, greatest=180.0, unit="degrees")
    noted_n = len(row.problems)
    at = position_of(row)
    if at is not None:
        return f"{at[1].lat_deg:.5f}, {at[1].lon_deg:.5f}", at[1].lat_deg, at[1].lon_deg
    if len(row.problems) == noted_n:
        row.no(None, "has no place", "lat and lon, or a position", code="no-position")
    return "", math.nan, math.nan


def _site(row: Row, column: str, sites: Mapping[str, str]) -> str:
    """Id of the site in a cell, which may hold its name; empty, with a problem noted, when it is none."""
    text = row.text(column)
    if text in sites or not text:
        return text
    found = [i for i, name in sites.items() if text.casefold() in (i.casefold(), name.casefold())]
    if len(found) != 1:
        what = f"{text!r} is {'the name of two sites' if found else 'not known'}"
        row.no(column, what, f"one of {', '.join(sites)}", code="name-of-two-sites" if found else "unknown-site")
        return ""
    return found[0]


def predicted_difference(
    launch_us: ArrayLike,
    *,
    site_lat_deg: ArrayLike,
    site_lon_deg: ArrayLike,
    site_height_m: ArrayLike,
    reference_launch_us: ArrayLike,
    reference_lat_deg: ArrayLike,
    reference_lon_deg: ArrayLike,
    reference_height_m: ArrayLike,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    rx_height_m: ArrayLike,
    refractivity_n: float,
) -> NDArray[np.float64]:
    """Arrival of a site minus arrival of its reference at points, as planned.

    Parameters
    ----------
    launch_us, reference_launch_us : array_like (M,)
        Launch times. [us]
    site_lat_deg ... reference_height_m : array_like (M,)
        Where the two antennas are; heights above sea level. [degrees, m]
    lat_deg, lon_deg : array_like (M,)
        Where it was measured. [degrees]
    rx_height_m : array_like (M,)
        Receiving antenna above sea level; where it is NaN the paths count along the ground. [m]
    refractivity_n : float
        [N-units]

    Returns
    -------
    ndarray (M,)
        Positive = the site arrives later. [us]
    """

    def arrival(at_us: ArrayLike, lat: ArrayLike, lon: ArrayLike, height_m: ArrayLike) -> NDArray[np.float64]:
        ground_m, _, _ = inverse(lat, lon, lat_deg, lon_deg)
        difference_m = np.nan_to_num(np.asarray(height_m, dtype=np.float64) - np.asarray(rx_height_m))
        path_m = path_length(ground_m, height_difference_m=difference_m)
        return np.asarray(at_us, dtype=np.float64) + travel_time(path_m, refractivity_n=refractivity_n)

    later = arrival(launch_us, site_lat_deg, site_lon_deg, site_height_m)
    return np.asarray(later - arrival(reference_launch_us, reference_lat_deg, reference_lon_deg, reference_height_m))


def planes(measurements: tuple[Measurement, ...]) -> list[Problem]:
    """A doubt for every plane other than the antenna: its feeders are not in the plan's arrival times."""
    named = sorted({m.reference_plane for m in measurements} - {"", "antenna"})
    expected = "antenna, or the value corrected for what lies between that plane and the antenna"
    return [
        Problem(
            f"reference_plane {plane!r}",
            "arrival times of the plan hold at the antennas",
            expected,
            "warning",
            code="reference-plane-not-antenna",
            values={"reference_plane": plane},
        )
        for plane in named
    ]


def doubted(measurements: tuple[Measurement, ...]) -> list[Problem]:
    """A doubt for every recording or response that was doubtful itself, with the sites that rest on it."""
    found: dict[tuple[str, str], list[Measurement]] = {}
    for m in measurements:
        if m.doubt:
            found.setdefault((m.doubt, m.response or m.name or m.where), []).append(m)
    return [
        Problem(
            f"measurements of {', '.join(dict.fromkeys(m.site for m in rows))}",
            f"they rest on something doubtful: {doubt}",
            "measured again, or excluded by name, before a correction rests on them",
            "warning",
            code="measurement-doubted",
            touches=tuple(Touch(site) for site in dict.fromkeys(s for m in rows for s in (m.site, m.reference_site))),
            values={"doubt": doubt, "measurements_n": len(rows)},
        )
        for (doubt, _), rows in found.items()
    ]
