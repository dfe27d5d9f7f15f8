"""Two sites on their line, and loops of three: what no setting can remove is said, not hidden.

Launches come in as numbers. A difference is arrival of `b` minus arrival of `a`, positive = `b` later.

| symbol | name | unit |
|---|---|---|
| t_ab | `path_us`, travel time from antenna to antenna | us |
| L_i | launch time of site i | us |
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from sfn.chain import MAIN, Passed, feed_stages
from sfn.geodesy.line import Floats, inverse, path_length, travel_time
from sfn.geodesy.position import Located
from sfn.geodesy.sites import paths_between
from sfn.plan import Network, Site


@dataclass(frozen=True, slots=True)
class Pair:
    """Delay difference of two sites along the line between them."""

    a: str
    b: str
    ground_m: float
    path_us: float
    bearing_deg: float
    difference_at_a_us: float
    difference_at_b_us: float
    zero_at_m_from_a: float | None
    zero_rx_above_sea_m: float
    """Height of the receiving antenna for which `zero_at_m_from_a` holds: over the mean of the two sites' ground."""
    tolerance_us: float
    rss_us: float
    position_us: float
    """What the uncertainty of the positions may add to or take from the difference, at worst anywhere."""


@dataclass(frozen=True, slots=True)
class Triangle:
    """A loop of three sites with one point for each pair: a with b, b with c, c with a.

    `rx_above_sea_m` is the height of the receiving antenna at each point.
    """

    sites: tuple[str, str, str]
    points: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    wishes_us: tuple[float, float, float]
    misclosure_us: float
    rx_above_sea_m: tuple[float, float, float]


def pair_differences(
    network: Network, launches: Mapping[str, float], *, placed: Mapping[str, Located]
) -> tuple[Pair, ...]:
    """Every pair of sites, in document order.

    Parameters
    ----------
    network : Network
    launches : mapping of site id to launch time
        [us]
    placed : mapping of site id to Located

    Returns
    -------
    pairs : tuple of Pair
        At `a`'s antenna its own signal needs no time and `b`'s needs the path:
        ``difference_at_a = L_b + t_ab - L_a``, ``difference_at_b = L_b - L_a - t_ab``. Where it is zero for a
        receiver on the line, over the mean of the sites' ground, `zero_at_m_from_a` tells how far from `a`.
        The tolerances are those of the difference on the main routes: what both launches rest on cancels, also where
        it comes through the parent of a site fed off air.
    """
    both = list(combinations(network.sites, 2))
    if not both:
        return ()
    passed = {site_id: Passed(stages) for (site_id, route), stages in feed_stages(network).items() if route == MAIN}
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    hops = {site.id: _hops(site, parents) for site in network.sites}
    n = network.refractivity_n
    paths = paths_between(both, placed=placed, refractivity_n=n)
    above = [receiver_above_sea(a, b, network) for a, b in both]
    apart = np.array([launches[b.id] - launches[a.id] for a, b in both])
    zeros = _zeros(both, apart, np.array([path.ground_m for path in paths]), np.array(above), refractivity_n=n)
    off = [_position_m(a.id, b.id, hops[a.id] ^ hops[b.id], placed=placed) for a, b in both]
    made = []
    for (a, b), path, launch, zero, above_m, position_us in zip(
        both, paths, apart.tolist(), zeros.tolist(), above, travel_time(off, refractivity_n=n).tolist(), strict=True
    ):
        at_a, at_b = launch + path.travel_us, launch - path.travel_us
        worst, rss = passed[a.id].apart_from(passed[b.id])
        made.append(
            Pair(
                a.id, b.id, path.ground_m, path.travel_us, path.bearing_deg, at_a, at_b,
                None if math.isnan(zero) else zero, above_m, worst, rss, position_us,
            )
        )  # fmt: skip
    return tuple(made)


def _zeros(
    both: Sequence[tuple[Site, Site]], launch_us: Floats, whole_m: Floats, above_m: Floats, *, refractivity_n: float
) -> Floats:
    """Where both arrive together on each line, from the first, for receivers so high above sea level. [m]

    NaN where the two never do between the sites.
    """
    from scipy.optimize.elementwise import find_root

    tops = np.array([[site.ground_m + site.antenna_m for site in pair] for pair in both]).T
    rise_a, rise_b = above_m - tops[0], above_m - tops[1]

    def difference(ground_m: Floats, launch_us: Floats, whole_m: Floats, rise_a: Floats, rise_b: Floats) -> Floats:
        """Arrival of the second minus that of the first. [us]"""
        to_a = path_length(ground_m, height_difference_m=rise_a)
        to_b = path_length(np.maximum(whole_m - ground_m, 0.0), height_difference_m=rise_b)
        times = (travel_time(length, refractivity_n=refractivity_n) for length in (to_b, to_a))
        return launch_us + next(times) - next(times)

    given = (launch_us, whole_m, rise_a, rise_b)
    there = (whole_m > 0) & (difference(np.zeros_like(whole_m), *given) >= 0) & (difference(whole_m, *given) <= 0)
    zeros = np.full(len(both), np.nan)
    if there.any():
        bounds = (np.zeros(there.sum()), whole_m[there])
        found = find_root(difference, bounds, args=tuple(one[there] for one in given), tolerances={"xatol": 1e-4})
        zeros[there] = found.x
    return zeros


def _position_m(a: str, b: str, hops: set[tuple[str, str]], *, placed: Mapping[str, Located]) -> float:
    """How far the positions that a pair's difference rests on may be off, each as often as a path ends there. [m]

    A path to the listener ends at both sites; one more at both ends of every hop by which one of them, and not the
    other, is fed.
    """
    ends = [a, b, *(end for hop in sorted(hops) for end in hop)]
    return sum(placed[end].position_m for end in ends if end in placed)


def _hops(site: Site, parents: Mapping[str, str | None]) -> set[tuple[str, str]]:
    """The hops off air, parent and child, that bring a site its signal."""
    hops: set[tuple[str, str]] = set()
    child, parent = site.id, parents[site.id]
    while parent is not None and (parent, child) not in hops:
        hops.add((parent, child))
        child, parent = parent, parents.get(parent)
    return hops


def receiver_above_sea(a: Site, b: Site, network: Network) -> float:
    """A receiving antenna over the mean of two sites' ground, where no terrain says better. [m above sea level]"""
    return (a.ground_m + b.ground_m) / 2 + network.receiver.height_m


def wished_difference(
    a: Site,
    b: Site,
    point: tuple[float, float],
    *,
    placed: Mapping[str, Located],
    refractivity_n: float,
    rx_above_sea_m: float,
) -> float:
    """Launch of `b` minus launch of `a` that makes both arrive together at a point. [us]

    Parameters
    ----------
    a, b : Site
    point : (latitude, longitude)
        [degrees]
    placed : mapping of site id to Located
    refractivity_n : float
        [N-units]
    rx_above_sea_m : float
        Receiving antenna above sea level. [m]
    """
    times = []
    for site in (a, b):
        at = placed[site.id]
        ground, _, _ = inverse(at.lat_deg, at.lon_deg, *point)
        rise = rx_above_sea_m - site.ground_m - site.antenna_m
        times.append(float(travel_time(path_length(ground, height_difference_m=rise), refractivity_n=refractivity_n)))
    return times[0] - times[1]


def loop(
    sites: Sequence[Site],
    points: Sequence[tuple[float, float]],
    *,
    placed: Mapping[str, Located],
    refractivity_n: float,
    rx_above_sea_m: Sequence[float] = (0.0, 0.0, 0.0),
) -> Triangle:
    """Misclosure round a triangle of sites.

    Parameters
    ----------
    sites : three Site
        a, b, c.
    points : three (latitude, longitude)
        Where a and b, b and c, c and a should arrive together. [degrees]
    placed : mapping of site id to Located
    refractivity_n : float
        [N-units]
    rx_above_sea_m : three float, default 0
        Receiving antenna above sea level at each point. [m]

    Returns
    -------
    triangle : Triangle
        `misclosure_us` is the sum round a > b > c > a of the wished launch differences. No delays remove it:
        spread evenly, a third of it stays at each point.
    """
    a, b, c = sites
    wishes = tuple(
        wished_difference(p, q, point, placed=placed, refractivity_n=refractivity_n, rx_above_sea_m=above_m)
        for (p, q), point, above_m in zip(((a, b), (b, c), (c, a)), points, rx_above_sea_m, strict=True)
    )
    return Triangle(
        (a.id, b.id, c.id),
        (points[0], points[1], points[2]),
        (wishes[0], wishes[1], wishes[2]),
        math.fsum(wishes),
        (rx_above_sea_m[0], rx_above_sea_m[1], rx_above_sea_m[2]),
    )


def neighbouring_triangles(network: Network, *, placed: Mapping[str, Located]) -> tuple[tuple[str, str, str], ...]:
    """Triangles of neighbouring sites: the Delaunay triangulation of their positions, in document order.

    Returns
    -------
    triangles : tuple of three site ids
        Empty with fewer than three sites, or where all stand on one line.
    """
    from scipy.spatial import Delaunay, QhullError

    sites = [site for site in network.sites if site.on_air]
    if len(sites) < 3:
        return ()
    lat = np.array([placed[s.id].lat_deg for s in sites])
    lon = np.array([placed[s.id].lon_deg for s in sites])
    lon = (lon - lon[0] + 180.0) % 360.0 - 180.0
    flat = np.column_stack((lon * np.cos(np.radians(lat.mean())), lat))
    try:
        corners = Delaunay(flat).simplices
    except QhullError:
        return ()
    return tuple(
        (sites[i].id, sites[j].id, sites[k].id) for i, j, k in sorted(tuple(sorted(t)) for t in corners.tolist())
    )
