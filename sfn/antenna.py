"""How much less an antenna radiates in a direction than in its direction of maximum.

| name | meaning | unit |
|---|---|---|
| `azimuth_deg` | clockwise from true north | degrees |
| `elevation_deg` | above the horizontal, negative downwards | degrees |
| attenuation | below the maximum, 0 or more | dB |
| tilt | of the beam, positive downwards | degrees |

Tables are linear in dB between their angles. The vertical table's angle is elevation above the antenna's
own horizontal plane. Horizontal and vertical attenuation add.
"""

import csv
import math
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import PlanError, Problem
from sfn.plan import Antenna
from sfn.plan.number_text import decimal

Table = tuple[tuple[float, float], ...]
Plane = Literal["h", "v"]

GREATEST_LOSS_DB = 100.0
# A table that nowhere comes nearer to 0 dB than this is not relative to its own maximum.
GREATEST_OFFSET_DB = 0.5
LARGEST_GAP_DEG = 30.0
_COLUMNS = ("angle_deg", "attenuation_db")


@dataclass(frozen=True, slots=True)
class Contradiction:
    """One direction under two angles, or twice, with two attenuations; the greater is what is reckoned with."""

    angle_deg: float
    loss_db: float
    other_angle_deg: float
    other_loss_db: float


@dataclass(frozen=True, slots=True)
class Pattern:
    """An antenna as it hangs: tables, direction and tilts; plain data that pickles.

    Parameters
    ----------
    azimuth_deg : float
        Where angle 0 of the horizontal tables points, from true north. [degrees]
    electrical_tilt_deg, mechanical_tilt_deg : float
        Downwards; electrical alike all round, mechanical towards the azimuth and upwards behind. [degrees]
    horizontal_h, vertical_h, horizontal_v, vertical_v : tuple of (angle, attenuation), optional
        Tables of the horizontal and the vertical plane of polarisation. [degrees, dB] None: no attenuation.
    """

    azimuth_deg: float
    electrical_tilt_deg: float
    mechanical_tilt_deg: float
    horizontal_h: Table | None
    vertical_h: Table | None
    horizontal_v: Table | None
    vertical_v: Table | None


def pattern(antenna: Antenna, *, lat_deg: float, lon_deg: float, ground_m: float) -> Pattern:
    """The pattern of a document's antenna, its azimuth turned to true north.

    Parameters
    ----------
    antenna : sfn.plan.Antenna
    lat_deg, lon_deg, ground_m : float
        Where it stands, for the magnetic declination. [degrees, m]

    Raises
    ------
    ValueError
        If a magnetic azimuth is dated outside the years that the magnetic model covers.
    """
    azimuth_deg = antenna.azimuth_deg
    if antenna.azimuth_from == "magnetic north" and antenna.azimuth_date is not None:
        azimuth_deg += declination(lat_deg, lon_deg, ground_m=ground_m, day=date.fromisoformat(antenna.azimuth_date))
    other = antenna.vertical_plane
    return Pattern(
        azimuth_deg=azimuth_deg % 360.0,
        electrical_tilt_deg=antenna.electrical_tilt_deg,
        mechanical_tilt_deg=antenna.mechanical_tilt_deg,
        horizontal_h=antenna.horizontal,
        vertical_h=antenna.vertical,
        horizontal_v=other.horizontal if other and other.horizontal else antenna.horizontal,
        vertical_v=other.vertical if other and other.vertical else antenna.vertical,
    )


def declination(lat_deg: float, lon_deg: float, *, ground_m: float, day: date) -> float:
    """Magnetic declination: what must be added to a magnetic bearing to make it true. [degrees, east positive]

    Raises
    ------
    ValueError
        If the day lies outside 2025 to 2029, the life of the model.

    References
    ----------
    .. [1] World Magnetic Model 2025 (NOAA and BGS), through pygeomag.

    Examples
    --------
    Test value of the model's report for 80 N 0 E on 1 January 2025, 1.28 degrees:

    >>> print(f"{declination(80.0, 0.0, ground_m=0.0, day=date(2025, 1, 1)):.2f}")
    1.28
    """
    if not 2025 <= day.year <= 2029:
        raise ValueError(f"the day of a magnetic bearing must be from 2025 to 2029, got {day.isoformat()}")
    from pygeomag import GeoMag

    days = date(day.year + 1, 1, 1) - date(day.year, 1, 1)
    year = day.year + (day - date(day.year, 1, 1)).days / days.days
    found = GeoMag(coefficients_file="wmm/WMM_2025.COF").calculate(
        glat=lat_deg, glon=(lon_deg + 180.0) % 360.0 - 180.0, alt=ground_m / 1000.0, time=year
    )
    return float(found.d)


def attenuation(
    pattern: Pattern, azimuth_deg: ArrayLike, *, elevation_deg: ArrayLike, plane: Plane
) -> NDArray[np.float64]:
    """Attenuation of the radiated power towards a direction.

    Parameters
    ----------
    pattern : Pattern
    azimuth_deg : array_like
        Direction from true north. [degrees]
    elevation_deg : array_like, broadcast with `azimuth_deg`
        Of the ray that leaves for the receiver: towards it where there is line of sight, else towards the
        horizon that the path model found. [degrees]
    plane : {'h', 'v'}
        Plane of polarisation.

    Returns
    -------
    attenuation_db : ndarray
        Below the e.r.p. in the direction of maximum. [dB]  NaN where an angle is NaN.
    """
    horizontal = pattern.horizontal_h if plane == "h" else pattern.horizontal_v
    vertical = pattern.vertical_h if plane == "h" else pattern.vertical_v
    off_deg, elevation = np.broadcast_arrays(
        np.asarray(azimuth_deg, dtype=np.float64) - pattern.azimuth_deg, np.asarray(elevation_deg, dtype=np.float64)
    )
    total = np.zeros(off_deg.shape)
    if horizontal is not None:
        angle, loss_db = round_by_angle(horizontal)
        total = total + np.interp(np.mod(off_deg, 360.0), angle, loss_db)
    if vertical is not None:
        rows = np.array([*by_angle(vertical).items()])
        tilt_deg = pattern.electrical_tilt_deg + pattern.mechanical_tilt_deg * np.cos(np.radians(off_deg))
        total = total + np.interp(elevation + tilt_deg, rows[:, 0], rows[:, 1])
    return np.asarray(np.where(np.isnan(off_deg + elevation), np.nan, total))


def round_by_angle(table: Table) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Angles and attenuations of a horizontal table, carried beyond 0 and 360 degrees."""
    held = by_angle(table, turn_deg=360.0)
    angle, loss_db = np.array(list(held)), np.array(list(held.values()))
    return (
        np.concatenate([[angle[-1] - 360.0], angle, [angle[0] + 360.0]]),
        np.concatenate([[loss_db[-1]], loss_db, [loss_db[0]]]),
    )


def by_angle(table: Table, *, turn_deg: float | None = None) -> dict[float, float]:
    """Attenuation by angle, in order of angle; where one direction has two, the greater (`contradictions` names it).

    `turn_deg`: a whole turn, where angles go round.
    """
    return dict(sorted((angle if turn_deg is None else angle % turn_deg, loss) for angle, loss in table))


def contradictions(table: Table, *, kind: Literal["horizontal", "vertical"]) -> tuple[Contradiction, ...]:
    """Directions for which a table has two attenuations.

    Parameters
    ----------
    table : tuple of (angle, attenuation)
        [degrees, dB]
    kind : {'horizontal', 'vertical'}
        Angles of a horizontal table go round: 0 and 360 degrees, -90 and 270 are one direction.

    Returns
    -------
    contradictions : tuple of Contradiction
        In order of angle, each direction once, its least attenuation beside its greatest.
    """
    turned: dict[float, list[tuple[float, float]]] = {}
    for angle, loss_db in table:
        turned.setdefault(angle % 360.0 if kind == "horizontal" else angle, []).append((loss_db, angle))
    return tuple(
        Contradiction(min(found)[1], min(found)[0], max(found)[1], max(found)[0])
        for _, found in sorted(turned.items())
        if min(found)[0] != max(found)[0]
    )


def read_table(text: str, *, kind: Literal["horizontal", "vertical"]) -> tuple[Table, tuple[Problem, ...]]:
    """A pattern table from CSV.

    Parameters
    ----------
    text : str
        One line an angle: angle in degrees, attenuation in dB (positive). A first line
        ``angle_deg,attenuation_db`` is optional. Separated by comma, semicolon (then decimals may have a
        comma) or tab; empty lines and lines that begin with # do not count.
    kind : {'horizontal', 'vertical'}
        Horizontal: -180 to 360 degrees clockwise from the antenna's direction. Vertical: elevation, -90 to 90.

    Returns
    -------
    table : tuple of (angle, attenuation)
        In order of angle.
    problems : tuple of Problem
        Warnings: gaps, no direction of maximum. Each says where.

    Raises
    ------
    PlanError
        With every line that cannot be used.
    """
    separator = next((s for s in (";", "\t") if s in text), ",")
    rows: dict[float, tuple[float, int]] = {}
    problems: list[Problem] = []
    for number, cells in enumerate(csv.reader(text.splitlines(), delimiter=separator), start=1):
        joined = "".join(cells).strip().lower()
        if not joined or joined.startswith("#") or (not rows and joined == "".join(_COLUMNS)):
            continue
        try:
            angle, loss_db = _row(cells, kind)
        except ValueError as error:
            what, expected = error.args
            problems.append(Problem(f"line {number}", what, expected, code="antenna-row-unreadable"))
            continue
        key = angle % 360.0 if kind == "horizontal" else angle
        if key in rows and rows[key][0] != loss_db:
            problems.append(
                Problem(
                    f"line {number}",
                    f"{angle:g} degrees has {loss_db:g} dB here and {rows[key][0]:g} dB on line {rows[key][1]}",
                    "one attenuation for each angle (0 and 360 are the same)",
                    code="antenna-contradicts-itself",
                    values={"angle_deg": angle, "loss_db": loss_db, "other_loss_db": rows[key][0]},
                )
            )
        rows[key] = (loss_db, number)
    if not problems and len(rows) < 2:
        what = f"holds {len(rows)} angles"
        problems.append(Problem("file", what, "two angles or more, one a line", code="antenna-table-short"))
    if problems:
        raise PlanError(problems)
    table = tuple((angle, rows[angle][0]) for angle in sorted(rows))
    return table, tuple(_doubts(table, kind))


def _row(cells: list[str], kind: str) -> tuple[float, float]:
    """Angle and attenuation of one line; ValueError(what, expected) when it has none."""
    filled = [c.strip() for c in cells if c.strip()]
    if len(filled) != 2:
        raise ValueError(f"has {len(filled)} columns", "two: angle in degrees, attenuation in dB")
    numbers = []
    for name, cell in zip(_COLUMNS, filled, strict=True):
        try:
            numbers.append(decimal(cell))
        except ValueError:
            raise ValueError(f"{name} is {cell!r}", "a number") from None
    angle, loss_db = numbers
    least, greatest = (-180.0, 360.0) if kind == "horizontal" else (-90.0, 90.0)
    if not least <= angle <= greatest:
        raise ValueError(f"angle_deg is {angle:g}", f"{least:g} to {greatest:g} degrees")
    if math.isnan(loss_db) or loss_db < 0:
        raise ValueError(f"attenuation_db is {loss_db:g}", "0 or more: attenuation, not gain")
    return angle, min(loss_db, GREATEST_LOSS_DB)


def _doubts(table: Table, kind: str) -> list[Problem]:
    """Warnings about a table that can be used."""
    found = []
    least_db = min(loss for _, loss in table)
    if least_db > GREATEST_OFFSET_DB:
        found.append(
            Problem(
                "file",
                f"the least attenuation is {least_db:g} dB",
                "0 dB in the direction of maximum, for which the e.r.p. is stated",
                "warning",
                code="antenna-no-maximum",
                values={"least_db": least_db},
            )
        )
    angles = [angle for angle, _ in table]
    around = [*angles, angles[0] + 360.0] if kind == "horizontal" else angles
    for here, there in pairwise(around):
        if there - here > LARGEST_GAP_DEG:
            found.append(
                Problem(
                    "file",
                    f"nothing is given between {here:g} and {there % 360.0 if there >= 360.0 else there:g} degrees",
                    f"an attenuation every {LARGEST_GAP_DEG:g} degrees or closer",
                    "warning",
                    code="antenna-gap",
                    values={"from_deg": here, "to_deg": there},
                )
            )
    return found
