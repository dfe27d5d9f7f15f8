"""The point on the line between two sites where both are equally strong."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.field.along import LevelsAlong
from sfn.field.shift import site_shift
from sfn.field.transmitter import transmitter
from sfn.geodesy.line import inverse, points_along
from sfn.geodesy.position import Located
from sfn.pairs import receiver_above_sea
from sfn.plan import Network, Site
from sfn.reception.coverage import received_plane
from sfn.terrain.ground import Ground

WITHIN_M = 0.001
_STRETCHES = 1024  # of the line, each looked at for a change of sign

Floats = NDArray[np.float64]
Kind = Literal["equal", "jump", "nearest to equal", "half-way"]
# A crossing over which the levels differ by more has them pass each other in a jump of the model. [dB]
JUMP_DB = 0.1


@dataclass(frozen=True, slots=True)
class EqualLevel:
    """A point of the line from one site to another, and what it is.

    Parameters
    ----------
    lat_deg, lon_deg : float
        [degrees]
    ground_m : float
        From the first site. [m]
    kind : {'equal', 'jump', 'nearest to equal', 'half-way'}
        `jump`: the levels pass each other in a jump, as behind the edge of a hill, and are nowhere equal there;
        `nearest to equal`: one site is stronger along the whole line, and there the levels differ least; `half-way`:
        they cannot be compared (below 30 MHz, no power, too far), and the point says nothing of levels.
    crossings_n : int
        How many points of equal level were found; of several this is the one nearest to the middle of the line.
    over : {'terrain', 'smooth earth'}
        Whose levels were compared. Smooth where no terrain is named, or where it does not cover the whole line.
    rx_above_sea_m : float
        Height of the receiving antenna there: above the terrain, or above the mean of the two sites' ground. [m]
    level_difference_db : float
        Level of the first over the second there. [dB] NaN `half-way`.
    """

    lat_deg: float
    lon_deg: float
    ground_m: float
    kind: Kind
    crossings_n: int
    over: Literal["terrain", "smooth earth"]
    rx_above_sea_m: float
    level_difference_db: float

    @property
    def point(self) -> tuple[float, float]:
        """Latitude and longitude. [degrees]"""
        return self.lat_deg, self.lon_deg


def equal_level(
    a: Site, b: Site, network: Network, *, placed: Mapping[str, Located], ground: Ground | None = None
) -> EqualLevel:
    """Where two sites arrive equally strong on the line between them, by the levels that a point has.

    Parameters
    ----------
    a, b : Site
        Two sites.
    network : Network
    placed : mapping of site id to Located
    ground : Ground, optional
        Terrain; a smooth earth where not given, or where it does not cover the whole line.

    Returns
    -------
    found : EqualLevel
        Of several crossings the one nearest to the middle, from whichever site one looks.

    Notes
    -----
    The whole of ITU-R P.1812 (`sfn.field.along`), with each antenna's pattern and the correction of its levels; a
    directional receiving antenna is left out, for it turns from one to the other at this very point. Each of 1024
    stretches of the line whose ends differ in sign is searched by Brent's method to a millimetre; two crossings within
    one stretch may be missed.
    """
    at_a, at_b = placed[a.id], placed[b.id]
    ends = (at_a.lat_deg, at_a.lon_deg, at_b.lat_deg, at_b.lon_deg)
    whole, azimuth, back = (float(v) for v in inverse(*ends))
    above_m = receiver_above_sea(a, b, network)
    middle = EqualLevel(*_on(ends, whole / 2), whole / 2, "half-way", 0, "smooth earth", above_m, float("nan"))
    if whole == 0.0:
        return middle
    try:
        first, second = (
            transmitter(s, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg) for s, at in ((a, at_a), (b, at_b))
        )
    except ValueError:
        return middle
    plane, height_m = received_plane(network), network.receiver.height_m

    def compared(over: Ground | None) -> tuple[Callable[[Floats], Floats], LevelsAlong]:
        """Level of the first over the second along the line [dB]; and the first alone."""
        one = LevelsAlong(first, azimuth, whole, ground=over, rx_height_m=height_m, plane=plane)
        two = LevelsAlong(second, back, whole, ground=over, rx_height_m=height_m, plane=plane)
        shift_db = float(site_shift(a, azimuth)) - float(site_shift(b, back))

        def stronger(ground_m: Floats) -> Floats:
            with np.errstate(invalid="ignore"):  # two sites without power: nothing less nothing
                return one(ground_m) - two(whole - ground_m) + shift_db

        return stronger, one

    edges = np.linspace(0.0, whole, _STRETCHES + 1)
    if ground is not None and ground.terrain is not None:
        stronger, one = compared(ground)
        values = stronger(edges)
        if np.isfinite(values).all():
            found_m, kind, crossings_n, by_db = _found(stronger, edges, values)
            rx_m = float(one.heights(np.array([found_m]))[0]) + height_m
            return EqualLevel(*_on(ends, found_m), found_m, kind, crossings_n, "terrain", rx_m, by_db)
    stronger, _ = compared(None)
    values = stronger(edges)
    if not np.isfinite(values).any():
        return middle
    found_m, kind, crossings_n, by_db = _found(stronger, edges, values)
    return EqualLevel(*_on(ends, found_m), found_m, kind, crossings_n, "smooth earth", above_m, by_db)


def _on(ends: tuple[float, float, float, float], ground_m: float) -> tuple[float, float]:
    """A point of the line. [degrees]"""
    lat, lon, _ = points_along(*ends, ground_m=[ground_m])
    return float(lat[0]), float(lon[0])


def _found(of: Callable[[Floats], Floats], edges: Floats, values: Floats) -> tuple[float, Kind, int, float]:
    """Distance, kind, number of crossings and difference there. [m], [dB]"""
    middle = float(edges[0] + edges[-1]) / 2
    at, crossings_n = _nearest_crossing(of, edges, values, middle)
    if at is None:
        nearest = int(np.argmin(np.where(np.isfinite(values), np.abs(values), np.inf)))
        return float(edges[nearest]), "nearest to equal", 0, float(values[nearest])
    by_db = float(of(np.array([at]))[0])
    return at, "jump" if abs(by_db) > JUMP_DB else "equal", crossings_n, by_db


def _nearest_crossing(
    of: Callable[[Floats], Floats], edges: Floats, values: Floats, middle: float
) -> tuple[float | None, int]:
    """Where a function is zero, at an edge or inside a stretch whose ends differ in sign, nearest to the middle.

    And how many such places there are. Only stretches that may hold the nearest are searched.
    """
    at_edges = [float(edge) for edge in edges[values == 0.0]]
    parted = _parted(values)
    away = np.abs(edges - middle)
    furthest = min([abs(at - middle) for at in at_edges] + [max(away[i], away[i + 1]) for i in parted], default=0.0)
    asked = [i for i in parted if min(away[i], away[i + 1]) <= furthest]
    found = at_edges + [_root(of, edges[i : i + 2], values[i : i + 2]) for i in asked]
    nearest = min(found, key=lambda at: (abs(at - middle), at), default=None)
    return nearest, len(at_edges) + len(parted)


def _parted(values: Floats) -> list[int]:
    """Stretches whose ends are known and differ in sign."""
    signs = np.where(np.isfinite(values), np.sign(values), 0.0)
    return [int(i) for i in np.flatnonzero(signs[:-1] * signs[1:] < 0)]


def _root(of: Callable[[Floats], Floats], ends: Floats, values: Floats) -> float:
    """The zero between two ends of different sign, or where the values jump from one sign to the other."""
    from scipy.optimize import brentq

    known = {float(end): float(value) for end, value in zip(ends, values, strict=True)}

    def value(at: float) -> float:
        """The function at one place; the ends are known."""
        return known[at] if at in known else float(of(np.array([at]))[0])

    return float(brentq(value, ends[0], ends[1], xtol=WITHIN_M))
