"""Who gains and who loses by a plan: places by name with their margins, and areas where no place has a name."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.line import inverse
from sfn.geodesy.position import Located
from sfn.plan import Place
from sfn.reception.coverage import Coverage
from sfn.reception.weights import disc
from sfn.study.served import State

Doubles = NDArray[np.float64]


Flags = NDArray[np.bool_]


Weight = float  # people or km2


AREAS_N = 6


LEAST_PEOPLE = 1.0


LEAST_CHANGE_DB = 0.5


@dataclass(frozen=True, slots=True)
class PlaceChange:
    """What a plan does to one place.

    Parameters
    ----------
    name : str
    lat_deg, lon_deg : float
        Its middle. [degrees]
    people : float
        Its inhabitants.
    gained_people, lost_people : float
        Of these, as many as get adequate service, and lose it: they live evenly over the place's disc.
    margin_before_db, margin_after_db : float
        Median margin over adequate service on its disc. [dB]
    """

    name: str
    lat_deg: float
    lon_deg: float
    people: float
    gained_people: float
    lost_people: float
    margin_before_db: float
    margin_after_db: float

    @property
    def loses(self) -> bool:
        """More of its people lose adequate service than gain it, or nobody does and its margin falls."""
        if max(self.lost_people, self.gained_people) >= LEAST_PEOPLE:
            return self.lost_people > self.gained_people
        return self.margin_after_db < self.margin_before_db


@dataclass(frozen=True, slots=True)
class AreaLost:
    """One connected area that loses adequate service: people or km2, and median margins; the nearest site or place."""

    lat_deg: float
    lon_deg: float
    lost: Weight
    nearest: str
    away_m: float
    margin_before_db: float
    margin_after_db: float


def changed_places(computed: Coverage, places: Sequence[Place], before: State, after: State) -> tuple[PlaceChange, ...]:
    """Places where somebody gains or loses adequate service, or the median margin moves by 0.5 dB or more.

    Those where most people lose come first, then those where the margin falls most; the gains follow.

    Parameters
    ----------
    computed : Coverage
    places : sequence of Place
        Those off the map, or where the terrain has gaps, are left out.
    before, after : State
        Over the same coverage.
    """
    was, now = before.served, after.served
    made = []
    for place in places:
        at = disc(place, computed.grid)
        at = at[computed.covered[at]]
        margins = [_median(one.quality.margin_db[at]) for one in (before, after)]
        if at.size == 0 or not np.isfinite(margins).all():
            continue
        gained, lost = (place.people * float(part.mean()) for part in (now[at] & ~was[at], was[at] & ~now[at]))
        if max(gained, lost) >= LEAST_PEOPLE or abs(margins[1] - margins[0]) >= LEAST_CHANGE_DB:
            made.append(PlaceChange(place.name, place.lat, place.lon, place.people, gained, lost, *margins))
    return tuple(sorted(made, key=lambda p: (p.gained_people - p.lost_people, p.margin_after_db - p.margin_before_db)))


def lost_areas(
    computed: Coverage, before: State, after: State, weight: Doubles, *, near: Mapping[str, tuple[float, float]]
) -> tuple[AreaLost, ...]:
    """The largest connected areas that lose adequate service, the worst first.

    Parameters
    ----------
    weight : ndarray, shape (M,)
        People or km2 of each pixel.
    near : mapping of name to (latitude, longitude)
        Places and sites that an area may be called after.
    """
    from scipy.ndimage import label

    lost = before.served & ~after.served & (weight > 0)
    areas, count = label(lost.reshape(computed.grid.shape), structure=np.ones((3, 3)))
    flat = areas.ravel()
    sums = np.bincount(flat, weights=weight * lost, minlength=count + 1)[1:]
    lat, lon = (axis.ravel() for axis in computed.grid.points_deg)
    names, spots = list(near), np.array(list(near.values()), dtype=np.float64).reshape(-1, 2)
    made = []
    for k in np.argsort(-sums, kind="stable")[:AREAS_N]:
        inside = np.flatnonzero(flat == k + 1)
        off = (lat[inside] - lat[inside].mean()) ** 2 + (lon[inside] - lon[inside].mean()) ** 2
        middle = int(inside[np.argmin(off)])
        here = np.full(len(names), lat[middle]), np.full(len(names), lon[middle])
        away_m = inverse(spots[:, 0], spots[:, 1], *here)[0]
        nearest = int(np.argmin(away_m))
        margins = [_median(one.quality.margin_db[inside]) for one in (before, after)]
        made.append(
            AreaLost(
                float(lat[middle]), float(lon[middle]), float(sums[k]), names[nearest], float(away_m[nearest]), *margins
            )
        )
    return tuple(made)


def names_near(
    places: Sequence[Place], placed: Mapping[str, Located], names: Mapping[str, str]
) -> dict[str, tuple[float, float]]:
    """Places and sites with where they are; a site is called one."""
    sites = {f"site {names[site]}": (at.lat_deg, at.lon_deg) for site, at in placed.items()}
    return {place.name: (place.lat, place.lon) for place in places} | sites


def _median(values: NDArray[np.float32]) -> float:
    """Median of the margins that are known; NaN where none is."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else float("nan")
