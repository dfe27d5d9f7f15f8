"""Which places lie within the disc of a much larger town, for lists of hundreds of thousands of both.

Held against every town in turn the work would grow with the square of the list. Towns are ordered by their people
instead and halved again and again; a half is left as soon as its nearest town is out of even its largest reach.
"""

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

EARTH_RADIUS_M = 111_195.0 * 180 / np.pi
"""Of the sphere that distances are taken on; 0.3 % at most off the ellipsoid's, which no disc of people is worth."""
FEW_N = 24
"""Towns that are held against each place one by one."""


def largest_town(
    lat_deg: Floats,
    lon_deg: Floats,
    people: Floats,
    *,
    reach_m: Callable[[Floats], Floats],
    least_people: float,
    ratio: float,
) -> Places:
    """The largest town that holds each place, shape (P,), as a place in the list; -1 where none does.

    A town holds a place that lies within its reach and has `ratio` times fewer people or less. Of two towns of one
    size the first in the list counts.

    Parameters
    ----------
    lat_deg, lon_deg, people : ndarray, shape (P,)
    reach_m : callable
        Of a town, from its people; it never shrinks with them. [m]
    least_people : float
        From how many on a place is a town.
    ratio : float
        Above 1: no town holds itself.
    """
    lat, lon = np.radians(lat_deg), np.radians(lon_deg)
    at = np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)
    towns = np.flatnonzero(people >= least_people)
    towns = towns[np.argsort(-people[towns], kind="stable")]
    # Of towns at one spot the largest holds all that the others hold; and no tree parts them.
    towns = towns[np.sort(np.unique(lat[towns] + 1j * lon[towns], return_index=True)[1])]
    holds = np.full(len(people), -1)
    if not towns.size:
        return holds
    chords = 2 * np.sin(reach_m(people[towns]) / (2 * EARTH_RADIUS_M))
    asked = np.flatnonzero(people * ratio <= people[towns[0]])
    for some, found in _found(at, people, towns, chords, asked, ratio):
        holds[some] = found
    return holds


def _found(
    at: Floats, people: Floats, towns: Places, chords: Floats, asked: Places, ratio: float
) -> Iterator[tuple[Places, Places]]:
    """Places, each with the largest of `towns` (the largest first) that holds it; those that none holds are left out.

    The larger half is asked first, and the smaller one only about what it left.
    """
    from scipy.spatial import cKDTree

    if len(towns) <= FEW_N:
        for town, chord in zip(towns, chords, strict=True):
            away = np.sqrt(np.sum((at[asked] - at[town]) ** 2, axis=-1))
            held = (away < chord) & (people[asked] * ratio <= people[town])
            yield asked[held], np.full(int(held.sum()), town)
            asked = asked[~held]
        return
    tree = cKDTree(at[towns], balanced_tree=False, compact_nodes=False)
    away, _ = tree.query(at[asked], distance_upper_bound=float(chords[0]) * (1 + 1e-9))
    asked = asked[np.isfinite(away)]
    if not asked.size:
        return
    half, left = len(towns) // 2, asked
    for part in (slice(None, half), slice(half, None)):
        small = people[left] * ratio <= people[towns[part][0]]
        held = [np.empty(0, dtype=np.intp)]
        for some, found in _found(at, people, towns[part], chords[part], left[small], ratio):
            held.append(some)
            yield some, found
        left = np.setdiff1d(left, np.concatenate(held), assume_unique=True)
