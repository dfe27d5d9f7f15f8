"""The point on the line between two sites where both are equally strong."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.field.path import SYMBOL, radiated
from sfn.field.transmitter import Transmitter, transmitter
from sfn.geodesy.line import inverse, points_along
from sfn.geodesy.position import Located
from sfn.plan import Network, Site
from sfn.propagation.free_space import field_strength
from sfn.propagation.smooth_earth import smooth_earth_loss

GREATEST_DISTANCE_M = 3_000_000.0  # the model ends here; no level beyond
WITHIN_M = 0.001
_STRETCHES = 64  # of the line, each looked at for a change of sign

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EqualLevel:
    """A point of the line from one site to another, and what it is.

    Parameters
    ----------
    lat_deg, lon_deg : float
        [degrees]
    ground_m : float
        From the first site. [m]
    kind : {'equal', 'nearest to equal', 'half-way'}
        `nearest to equal`: one site is stronger along the whole line, and there the levels differ least; `half-way`:
        they cannot be compared (below 30 MHz, no power, too far), and the point says nothing of levels.
    crossings_n : int
        How many points of equal level there are; of several this is the one nearest to the middle of the line.
    """

    lat_deg: float
    lon_deg: float
    ground_m: float
    kind: Literal["equal", "nearest to equal", "half-way"]
    crossings_n: int

    @property
    def point(self) -> tuple[float, float]:
        """Latitude and longitude. [degrees]"""
        return self.lat_deg, self.lon_deg


def equal_level(a: Site, b: Site, network: Network, *, placed: Mapping[str, Located]) -> EqualLevel:
    """Where two sites arrive equally strong on the line between them, over a smooth earth at sea level.

    Parameters
    ----------
    a, b : Site
        Two sites.
    network : Network
    placed : mapping of site id to Located

    Returns
    -------
    found : EqualLevel
        Of several crossings the one nearest to the middle, from whichever site one looks.

    Notes
    -----
    Free space and diffraction (ITU-R P.525, P.526) only. Terrain is left out on purpose: behind hills the levels
    cross many times, and a delay table must not wait for a field-strength model. Each of 64 stretches of the line, its
    ends included, whose ends differ in sign is searched by Brent's method to a millimetre.
    """
    at_a, at_b = placed[a.id], placed[b.id]
    ends = (at_a.lat_deg, at_a.lon_deg, at_b.lat_deg, at_b.lon_deg)
    whole, azimuth, back = (float(v) for v in inverse(*ends))
    if whole == 0.0:
        return EqualLevel(at_a.lat_deg, at_a.lon_deg, 0.0, "half-way", 0)

    def found(ground_m: float, kind: Literal["equal", "nearest to equal", "half-way"], crossings_n: int) -> EqualLevel:
        """A point of the line."""
        lat, lon, _ = points_along(*ends, ground_m=[ground_m])
        return EqualLevel(float(lat[0]), float(lon[0]), ground_m, kind, crossings_n)

    try:
        first, second = (
            transmitter(s, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg) for s, at in ((a, at_a), (b, at_b))
        )
    except ValueError:
        return found(whole / 2, "half-way", 0)
    of_first, of_second = (
        _level(first, azimuth, network.receiver.height_m),
        _level(second, back, network.receiver.height_m),
    )

    def stronger(ground_m: Floats) -> Floats:
        """Level of the first over the second. [dB]"""
        with np.errstate(invalid="ignore"):  # two sites without power: nothing less nothing
            return of_first(ground_m) - of_second(whole - ground_m)

    edges = np.linspace(0.0, whole, _STRETCHES + 1)
    above = stronger(edges)
    crossings = _crossings(stronger, edges, above)
    if crossings:
        return found(min(crossings, key=lambda at: (abs(at - whole / 2), at)), "equal", len(crossings))
    if not np.isfinite(above).any():
        return found(whole / 2, "half-way", 0)
    unlike = np.where(np.isfinite(above), np.abs(above), np.inf)
    return found(float(edges[int(np.argmin(unlike))]), "nearest to equal", 0)


def equal_level_point(a: Site, b: Site, network: Network, *, placed: Mapping[str, Located]) -> tuple[float, float]:
    """Latitude and longitude of `equal_level`. [degrees]"""
    return equal_level(a, b, network, placed=placed).point


def _crossings(of: Callable[[Floats], Floats], edges: Floats, values: Floats) -> list[float]:
    """Where a function is zero: at an edge, or inside a stretch whose ends differ in sign."""
    at_edges = [float(edge) for edge in edges[values == 0.0]]
    return at_edges + [_root(of, edges[i : i + 2], values[i : i + 2]) for i in _parted(values)]


def _parted(values: Floats) -> list[int]:
    """Stretches whose ends are known and differ in sign."""
    signs = np.where(np.isfinite(values), np.sign(values), 0.0)
    return [int(i) for i in np.flatnonzero(signs[:-1] * signs[1:] < 0)]


def _root(of: Callable[[Floats], Floats], ends: Floats, values: Floats) -> float:
    """The zero between two ends of different sign; a finer look over all of it first, which costs one evaluation."""
    from scipy.optimize import brentq

    inner = np.linspace(ends[0], ends[1], _STRETCHES + 1)
    found = of(inner)
    found[[0, -1]] = values
    if (found == 0.0).any():
        return float(inner[np.flatnonzero(found == 0.0)[0]])
    i = _parted(found)[0]
    known = {float(inner[k]): float(found[k]) for k in (i, i + 1)}

    def value(at: float) -> float:
        """The function at one place; the ends are known."""
        return known[at] if at in known else float(of(np.array([at]))[0])

    return float(brentq(value, inner[i], inner[i + 1], xtol=WITHIN_M))


def _level(one: Transmitter, bearing_deg: float, height_m: float) -> Callable[[Floats], Floats]:
    """Median level over distance from a transmitter, its antenna's pattern towards the horizon. [dBuV/m]"""
    erp_dbk, off_db = (float(v) for v in radiated(one, bearing_deg, elevation_deg=0.0, plane=None))

    def level(ground_m: Floats) -> Floats:
        """At some distances."""
        loss = smooth_earth_loss(
            np.where(ground_m <= GREATEST_DISTANCE_M, ground_m / 1000.0, np.nan),
            frequency_mhz=one.frequency_mhz,
            tx_height_m=min(9000.0, max(1.0, one.ground_m + one.antenna_m)),
            rx_height_m=height_m,
            polarisation=SYMBOL[one.received_plane(None)],
            delta_n=one.delta_n,
        )
        return np.asarray(field_strength(loss, frequency_mhz=one.frequency_mhz) + erp_dbk - off_db)

    return level
