"""The point on the line between two sites where both are equally strong."""

from collections.abc import Mapping

import numpy as np

from sfn.field.levels import levels_at
from sfn.field.transmitter import transmitter
from sfn.geodesy.line import inverse, points_along
from sfn.geodesy.position import Located
from sfn.plan import Network, Site

_SAMPLES = 65
_ROUNDS = 4  # each narrows the line 64-fold: 6 mm on 100 km


def equal_level_point(a: Site, b: Site, network: Network, *, placed: Mapping[str, Located]) -> tuple[float, float]:
    """Where two sites arrive equally strong on the line between them, over a smooth earth.

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
        levels differ least. Terrain is left out on purpose: behind hills the levels cross many times. [degrees]
    """
    at_a, at_b = placed[a.id], placed[b.id]
    whole = float(inverse(at_a.lat_deg, at_a.lon_deg, at_b.lat_deg, at_b.lon_deg)[0])
    if whole == 0.0:
        return at_a.lat_deg, at_a.lon_deg
    radiated = [transmitter(s, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg) for s, at in ((a, at_a), (b, at_b))]
    low, high = 0.0, whole
    for _ in range(_ROUNDS):
        ground = np.linspace(low, high, _SAMPLES + 1)
        ground = (ground[:-1] + ground[1:]) / 2
        lat, lon, _ = points_along(at_a.lat_deg, at_a.lon_deg, at_b.lat_deg, at_b.lon_deg, ground_m=ground)
        level_a, level_b = (levels_at(t, lat, lon, rx_height_m=network.receiver.height_m).level_dbuvm for t in radiated)
        stronger = level_a - level_b
        crossings = np.flatnonzero((stronger[:-1] > 0) & (stronger[1:] <= 0))
        if crossings.size == 0:
            at = int(np.nanargmin(np.abs(stronger)))
            return float(lat[at]), float(lon[at])
        at = int(crossings[0])
        low, high = float(ground[at]), float(ground[at + 1])
    return float(lat[at]), float(lon[at])
