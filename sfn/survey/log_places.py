"""Where the lines of a log were taken: coordinates as loggers write them, and doubts about all of them or a few.

A number of coordinates looks right and is not: latitude and longitude exchanged, a minus lost, no fix yet (0, 0). What
concerns all lines is asked; a line that stands alone is left out with its reason.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.angles import read_angles
from sfn.geodesy.line import METRES_PER_DEGREE_M
from sfn.geodesy.meridian import beside
from sfn.plan.number_text import decimal

Floats = NDArray[np.float64]
Order = Literal["ask", "as-written", "exchanged"]
ORDERS: tuple[Order, ...] = ("ask", "as-written", "exchanged")

NEAR_KM, APART_KM = 300.0, 300.0
"""Within this of a site a log is believed; a line farther than this from the middle of all is not."""
_NOTICED_KM, _NEARER_RATIO = 30.0, 0.2
_PLAIN = re.compile(r"[+\-\u2212]?\d{1,3}(?:[.,]\d+)?", re.ASCII)
_SCALED = re.compile(r"-?\d{8,10}", re.ASCII)  # ten-millionths of a degree, as satellite receivers count
_MINUTES = re.compile(r"(?P<deg>\d{2,3})(?P<min>\d{2}\.\d+)", re.ASCII)  # NMEA 0183: ddmm.mmmm


@dataclass(frozen=True, slots=True)
class Places:
    """Latitude and longitude of every line, NaN where there is none, and why."""

    lat_deg: Floats
    lon_deg: Floats
    wrong: dict[int, str]


def coordinates(lat: str, lon: str, *, north_south: str = "", east_west: str = "") -> tuple[float, float]:
    """Latitude and longitude of two cells, with hemisphere letters in cells of their own where there are any.

    Raises
    ------
    ValueError
        If they are none; the message says why.

    Examples
    --------
    >>> coordinates("3617.400", "08412.000", north_south="N", east_west="W")
    (36.29, -84.2)
    >>> coordinates("36,29", "-84,2"), coordinates("362900000", "-842000000")
    ((36.29, -84.2), (36.29, -84.2))
    """
    found = []
    for name, text, letter, limit in (("lat", lat, north_south, 90.0), ("lon", lon, east_west, 180.0)):
        letter = letter.strip().upper()[:1]
        value = _degrees(text, letters=bool(letter))
        if value is None:
            return _spelled(lat, lon, north_south, east_west)
        value = -abs(value) if letter in ("S", "W") and letter else value
        if abs(value) > max(limit, 180.0):
            raise ValueError(f"column {name}: {text} is out of range; a number from -{limit:g} to {limit:g} degrees")
        found.append(value)
    return found[0], found[1]


def both(text: str) -> tuple[float, float]:
    """Latitude and longitude out of one cell.

    Raises
    ------
    ValueError
        If it is no position.
    """
    try:
        angles = read_angles(text)
    except PlanError as error:
        raise ValueError(error.problems[0].what) from None
    return angles.lat_deg, angles.lon_deg


def judged(
    lat: Floats, lon: Floats, *, sites: Sequence[tuple[float, float]], order: Order, source: str
) -> tuple[Places, tuple[Problem, ...]]:
    """Places as they are believed: exchanged where that was said, doubtful ones asked, single ones left out.

    Parameters
    ----------
    lat, lon : ndarray (N,)
        As written; NaN where a line has none.
    sites : sequence of (latitude, longitude)
        Of the network; without any only the globe is asked.
    order : str
        Whether the columns are exchanged; "ask" where nobody said.
    source : str

    Raises
    ------
    PlanError
        If the coordinates look exchanged or without their minus, and nobody said which is right.
    """
    wrong: dict[int, str] = {}
    if order == "exchanged":
        lat, lon = lon, lat
    lat, lon = lat.copy(), lon.copy()
    for k in np.flatnonzero((lat == 0) & (lon == 0)):
        wrong[int(k)] = "stands at 0, 0: the receiver of satellites had no position yet"
    lat[list(wrong)] = lon[list(wrong)] = np.nan
    if order == "ask":
        _asked(lat, lon, sites=sites, source=source)
    for k in np.flatnonzero((np.abs(lat) > 90) | (np.abs(lon) > 180)):
        name, value, most = ("lat", lat[k], 90) if abs(lat[k]) > 90 else ("lon", lon[k], 180)
        wrong[int(k)] = f"column {name}: {value:.10g} is out of range; a number from -{most} to {most} degrees"
    lat[list(wrong)] = lon[list(wrong)] = np.nan
    known = np.isfinite(lat) & np.isfinite(lon)
    if np.count_nonzero(known) > 2:
        middle = float(np.median(lat[known])), float(np.median(beside(lon[known], float(lon[known][0]))))
        for k in np.flatnonzero(known & (_away_km(lat, lon, middle) > APART_KM)):
            turned = float(_away_km(lon[k : k + 1], lat[k : k + 1], middle)[0]) < APART_KM
            why = "latitude and longitude exchanged here?" if turned else "a jump of the receiver of satellites?"
            wrong[int(k)] = f"stands more than {APART_KM:g} km from the other lines: {why}"
            lat[k] = lon[k] = np.nan
    return Places(lat, lon, wrong), _far(lat, lon, sites=sites, source=source)


def _asked(lat: Floats, lon: Floats, *, sites: Sequence[tuple[float, float]], source: str) -> None:
    """Refuse what another reading brings among the sites."""
    known = np.isfinite(lat) & np.isfinite(lon)
    if not sites or not known.any():
        return

    def away_km(a: Floats, b: Floats) -> float:
        """Median distance from the nearest site; infinite off the globe."""
        if float(np.median(np.abs(a))) > 90:
            return float("inf")
        return float(np.median(np.min([_away_km(a, b, site) for site in sites], axis=0)))

    x, y = lat[known], lon[known]
    readings = {
        "as written": (x, y), "with latitude and longitude exchanged": (y, x),
        "with a minus before the longitude": (x, -y), "with a minus before the latitude": (-x, y),
        "exchanged and with a minus before the longitude": (y, -x),
    }  # fmt: skip
    away = {name: away_km(*pair) for name, pair in readings.items()}
    best = min(away, key=lambda name: away[name])
    own = away["as written"]
    if best == "as written" or own <= _NOTICED_KM or away[best] > min(NEAR_KM, _NEARER_RATIO * own):
        return
    where = "off the globe" if own == float("inf") else f"{own:,.0f} km from the nearest site".replace(",", " ")
    what = f"its coordinates lie {where} as written, and {away[best]:.0f} km {best}"
    expected = "say whether latitude and longitude are exchanged (exchanged or as-written)"
    if "minus" in best:
        expected = "the minus put in, or say that they are right as-written"
    code = "coordinates-exchanged" if "exchanged" in best else "coordinates-sign"
    values = {"away_km": None if own == float("inf") else own, "other_km": away[best]}
    raise PlanError([Problem(source, what, expected, code=code, fields=("coordinates",), values=values)])


def _far(lat: Floats, lon: Floats, *, sites: Sequence[tuple[float, float]], source: str) -> tuple[Problem, ...]:
    """A doubt where a log lies far from every site."""
    known = np.isfinite(lat) & np.isfinite(lon)
    if not sites or not known.any():
        return ()
    away = float(np.median(np.min([_away_km(lat[known], lon[known], site) for site in sites], axis=0)))
    if away <= NEAR_KM:
        return ()
    what = f"lies {away:.0f} km from the nearest site"
    return (Problem(source, what, "a log of this network", "warning", code="log-far-away", values={"away_km": away}),)


def _degrees(text: str, *, letters: bool) -> float | None:
    """One coordinate as a plain number; None where it is spelled otherwise."""
    text = text.strip().rstrip("\u00b0").strip()
    if _PLAIN.fullmatch(text):
        return decimal(text)
    if _SCALED.fullmatch(text):
        return round(int(text) * 1e-7, 7)
    if letters and (found := _MINUTES.fullmatch(text)) and float(found["min"]) < 60:
        return round(int(found["deg"]) + float(found["min"]) / 60.0, 9)
    return None


def _spelled(lat: str, lon: str, north_south: str, east_west: str) -> tuple[float, float]:
    """Coordinates with degrees, minutes, letters in them."""
    for name, text in (("lat", lat), ("lon", lon)):
        if not text.strip():
            raise ValueError(f"column {name}: is empty")
        if not any(c.isdigit() for c in text):
            raise ValueError(f"column {name}: {text!r} is no number")
    return both(f"{lat} {north_south}".strip() + ", " + f"{lon} {east_west}".strip())


def _away_km(lat: Floats, lon: Floats, place: tuple[float, float]) -> Floats:
    """Distance on a plane, good enough to tell a valley from another continent. [km]"""
    east = ((lon - place[1] + 180.0) % 360.0 - 180.0) * np.cos(np.radians(place[0]))
    return np.asarray(np.hypot(east, lat - place[0]) * METRES_PER_DEGREE_M / 1000.0)
