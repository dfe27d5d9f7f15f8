"""The point on the line between two sites where both are equally strong."""

from collections.abc import Mapping

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
_SAMPLES = 65
_ROUNDS = 4  # each narrows the line 64-fold: 6 mm on 100 km

Floats = NDArray[np.float64]


def equal_level_point(a: Site, b: Site, network: Network, *, placed: Mapping[str, Located]) -> tuple[float, float]:
    """Where two sites arrive equally strong on the line between them, over a smooth earth at sea level.

    Parameters
    ----------
    a, b : Site
        Two sites.
    network : Network
    placed : mapping of site id to Located

    Returns
    -------
    point : (latitude, longitude)
        The first crossing seen from `a`; where one site is stronger along the whole line, the point where their
        levels differ least; half-way where the model does not hold (below 30 MHz). [degrees]

    Notes
    -----
    Free space and diffraction (ITU-R P.525, P.526) only. Terrain is left out on purpose: behind hills the levels
    cross many times, and a delay table must not wait for a field-strength model.
    """
    at_a, at_b = placed[a.id], placed[b.id]
    ends = (at_a.lat_deg, at_a.lon_deg, at_b.lat_deg, at_b.lon_deg)
    whole, azimuth, back = (float(v) for v in inverse(*ends))
    if whole == 0.0:
        return at_a.lat_deg, at_a.lon_deg

    def place_at(ground_m: float) -> tuple[float, float]:
        """A point of the line."""
        lat, lon, _ = points_along(*ends, ground_m=[ground_m])
        return float(lat[0]), float(lon[0])

    try:
        first, second = (
            transmitter(s, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg) for s, at in ((a, at_a), (b, at_b))
        )
    except ValueError:
        return place_at(whole / 2)
    height_m = network.receiver.height_m
    low, high = 0.0, whole
    for _ in range(_ROUNDS):
        edges = np.linspace(low, high, _SAMPLES + 1)
        ground = (edges[:-1] + edges[1:]) / 2
        stronger = _level(first, ground, azimuth, height_m) - _level(second, whole - ground, back, height_m)
        crossings = np.flatnonzero((stronger[:-1] > 0) & (stronger[1:] <= 0))
        if crossings.size == 0:
            unlike = np.where(np.isfinite(stronger), np.abs(stronger), np.inf)
            return place_at(float(ground[int(np.argmin(unlike))]) if np.isfinite(unlike).any() else whole / 2)
        at = int(crossings[0])
        low, high = float(ground[at]), float(ground[at + 1])
    return place_at((low + high) / 2)


def _level(one: Transmitter, ground_m: Floats, bearing_deg: float, height_m: float) -> Floats:
    """Median level along a line from a transmitter, its antenna's pattern towards the horizon. [dBuV/m]"""
    loss = smooth_earth_loss(
        np.where(ground_m <= GREATEST_DISTANCE_M, ground_m / 1000.0, np.nan),
        frequency_mhz=one.frequency_mhz,
        tx_height_m=min(9000.0, max(1.0, one.ground_m + one.antenna_m)),
        rx_height_m=height_m,
        polarisation=SYMBOL[one.received_plane(None)],
        delta_n=one.delta_n,
    )
    erp_dbk, off_db = radiated(one, bearing_deg, elevation_deg=0.0, plane=None)
    return np.asarray(field_strength(loss, frequency_mhz=one.frequency_mhz) + erp_dbk - off_db)
