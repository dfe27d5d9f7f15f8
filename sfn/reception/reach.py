"""How far a network is usable, so that a map shows where it stops.

Levels over a smooth earth: an estimate of distance, no map.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.field.levels import levels_at
from sfn.field.transmitter import Transmitter
from sfn.geodesy.line import direct
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.coverage import levels_key, received_plane, transmitters, usual_bounds
from sfn.reception.quality import too_weak_below_dbuvm, yardstick
from sfn.terrain.ground import Ground

FURTHEST_M = 250_000.0  # beyond it a map of the usual number of pixels says nothing about places
NEAREST_M = 1_000.0
AZIMUTHS_DEG = np.arange(0.0, 360.0, 45.0)
HALVINGS_N = 6  # 4 km in 250: the edge of a box
BEYOND = 1.05  # the edge lies inside the map
VALLEYS_M = 200.0  # so far below the lowest site the country may lie (a guess)
# Below a cliff P.1812 gives low receivers 8 to 12 dB more than a smooth earth does (tests/sfn/country/test_area.py).
OVER_HILLS_DB = 10.0
TOGETHER_DB = 6.0  # four equal signals in the guard interval
KEPT_N = 64

_known: dict[str, dict[str, float]] = {}  # a page asks at every visit; threads may both work one out


def reach_m(
    network: Network, placed: Mapping[str, Located], *, ground: Ground, over_terrain: bool = False
) -> dict[str, float]:
    """Furthest distance at which each site on air is not too weak over a smooth earth, at most `FURTHEST_M`. [m]

    What a place is served by may be less than the usable level that planning asks for (OFDM), and several signals in
    the guard interval serve where each alone is `TOGETHER_DB` too weak.

    Parameters
    ----------
    network : Network
    placed : mapping of site id to Located
    ground : Ground
        Where there is terrain, the smooth earth lies `VALLEYS_M` below the lowest site; without it, as high as that.
    over_terrain : bool
        As it will be once the network, which names a terrain, has it: what is fetched for it reaches as far as the map.

    Raises
    ------
    PlanError
        If a site or the service cannot be used.
    """
    yard = yardstick(network)
    heard = network.transmitting
    on_air = [site.id for site in network.sites if site.id in heard]
    weak_dbuvm = too_weak_below_dbuvm(yard, frequency_mhz=network.frequency_mhz)
    if yard.carried.kind == "ofdm" and len(on_air) > 1:
        weak_dbuvm -= TOGETHER_DB
    least_dbuvm = min(yard.counts.usable_dbuvm, weak_dbuvm)
    key = f"{levels_key(network, 'reach', ground=ground)} {least_dbuvm} {on_air} {over_terrain}"
    if key not in _known:
        if len(_known) >= KEPT_N:
            _known.clear()
        over = ground.terrain is not None or over_terrain
        least_dbuvm -= OVER_HILLS_DB if over else 0.0
        radiating = zip(network.sites, transmitters(network, placed), strict=True)
        _known[key] = {
            site.id: _furthest_m(network, replace(one, plain_m=_plain_m(network)) if over else one, least_dbuvm)
            for site, one in radiating
            if site.id in heard
        }
    return _known[key]


def _plain_m(network: Network) -> float:
    """Where the smooth earth lies in the place of terrain: valleys below the lowest site, no lower than the sea. [m]

    Not at sea level: a network of sites 560 to 900 m up was taken to reach 230 km each way, and served 60.
    """
    lowest_m = min(site.ground_m for site in network.sites)
    return max(lowest_m - VALLEYS_M, min(lowest_m, 0.0))


def _furthest_m(network: Network, one: Transmitter, least_dbuvm: float) -> float:
    """The furthest in the direction of the strongest field, by halving: over a smooth earth levels only fall. [m]"""

    def level(azimuth_deg: NDArray[np.float64], away_m: float) -> NDArray[np.float64]:
        """Field strength so far away. [dBuV/m]"""
        lat, lon = direct(one.lat_deg, one.lon_deg, azimuth_deg=azimuth_deg, ground_m=away_m)
        found = levels_at(
            one,
            lat,
            lon,
            rx_height_m=network.receiver.height_m,
            receiver_polarisation=received_plane(network),
        )
        return np.atleast_1d(found.level_dbuvm)

    around = level(AZIMUTHS_DEG, FURTHEST_M)
    if around.max() >= least_dbuvm:
        return FURTHEST_M
    best = AZIMUTHS_DEG[[int(np.argmax(around))]]
    near_m, far_m = NEAREST_M, FURTHEST_M
    for _ in range(HALVINGS_N):
        tried_m = (near_m + far_m) / 2
        usable = level(best, tried_m)[0] >= least_dbuvm
        near_m, far_m = (tried_m, far_m) if usable else (near_m, tried_m)
    return far_m


def bounds_to_the_edge(
    network: Network, placed: Mapping[str, Located], *, ground: Ground, over_terrain: bool = False
) -> tuple[float, float, float, float]:
    """The area that a map shows when none is given: all sites, and as far as the network is usable.

    Parameters
    ----------
    network, placed, ground, over_terrain
        As for `reach_m`.

    Returns
    -------
    bounds_deg : tuple of float
        South, west, north, east: at least `sfn.reception.coverage.usual_bounds`, at most what the terrain holds where
        every site stands in it. [degrees]
    """
    least = usual_bounds(placed, ground=ground)
    south, west, north, east = least
    for name, far_m in reach_m(network, placed, ground=ground, over_terrain=over_terrain).items():
        at, away_m = placed[name], BEYOND * far_m
        lon_deg = at.lon_deg + 360.0 * round(((west + east) / 2 - at.lon_deg) / 360.0)
        up, _ = direct(at.lat_deg, at.lon_deg, azimuth_deg=0.0, ground_m=away_m)
        down, _ = direct(at.lat_deg, at.lon_deg, azimuth_deg=180.0, ground_m=away_m)
        wide = away_m / (111_320.0 * float(np.cos(np.radians(at.lat_deg))))
        south, north = min(south, max(-85.0, float(down))), max(north, min(85.0, float(up)))
        west, east = min(west, lon_deg - wide), max(east, lon_deg + wide)
    if ground.terrain is None:
        return south, west, north, east
    edge = ground.terrain.bounds_deg
    inside = all(edge[0] <= at.lat_deg <= edge[2] and edge[1] <= at.lon_deg <= edge[3] for at in placed.values())
    if not inside:
        return south, west, north, east
    return max(south, edge[0]), max(west, edge[1]), min(north, edge[2]), min(east, edge[3])
