"""The sites of a network, placed: document positions into WGS84, and the path between two of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.line import inverse, path_length, travel_time
from sfn.geodesy.position import Located, locate
from sfn.plan import Network, Site


@dataclass(frozen=True, slots=True)
class Path:
    """The line between the antennas of two sites."""

    ground_m: float
    path_m: float
    travel_us: float
    bearing_deg: float


@dataclass(frozen=True, slots=True)
class Placed:
    """Where the sites stand in WGS84, by site id, and a problem for each position that cannot be read."""

    at: dict[str, Located]
    problems: tuple[Problem, ...]


def placed_sites(network: Network) -> Placed:
    """Where every site stands whose position can be read: one that cannot does not take the others down."""
    placed: dict[str, Located] = {}
    problems: list[Problem] = []
    for i, site in enumerate(network.sites):
        try:
            placed[site.id] = locate(**site.position.model_dump(exclude_none=True))
        except PlanError as error:
            problems += [
                Problem(
                    f"sites[{i}].position",
                    f"site {site.name}: {p.what}",
                    p.expected,
                    code="position-unreadable",
                    touches=(Touch(site.id),),
                    fields=("position",),
                    values={**p.values, "why": p.code},
                    said={
                        "typed": ", ".join(str(one) for one in site.position.model_dump(exclude_unset=True).values()),
                        "reason": p,
                        "reason_wanted": p,
                    },
                )
                for p in error.problems
            ]
    return Placed(placed, tuple(problems))


def place(network: Network) -> dict[str, Located]:
    """Where every site stands in WGS84, by site id.

    Raises
    ------
    PlanError
        With one problem for each position that cannot be read or transformed.
    """
    found = placed_sites(network)
    if found.problems:
        raise PlanError(found.problems)
    return found.at


def within_reach(
    network: Network,
    placed: Mapping[str, Located],
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    *,
    most_m: float,
    where: str,
) -> None:
    """Refuse points that are too far from a site on air for any path to be worked out.

    Parameters
    ----------
    network : Network
    placed : mapping of site id to Located
        From `place`.
    lat_deg, lon_deg : array_like
        The points, on WGS84. [degrees]
    most_m : float
        Greatest length of a path on the ground. [m]
    where : str
        What was given, for the problem.

    Raises
    ------
    PlanError
        With a problem for each site on air that is further from one of the points.
    """
    problems = []
    for site in network.sites:
        at = placed[site.id]
        if not site.on_air:
            continue
        furthest_m = float(np.max(inverse(at.lat_deg, at.lon_deg, lat_deg, lon_deg)[0]))
        if furthest_m > most_m:
            what = f"lies {furthest_m / 1000:.0f} km from {site.name}"
            expected = f"at most {most_m / 1000:.0f} km from every site on air"
            values = {"ground_m": furthest_m, "most_m": most_m}
            problems.append(
                Problem(where, what, expected, code="path-too-long", touches=(Touch(site.id),), values=values)
            )
    if problems:
        raise PlanError(problems)


def path_between(a: Site, b: Site, *, placed: Mapping[str, Located], refractivity_n: float) -> Path:
    """Length, travel time and bearing from antenna to antenna, from `a` to `b`.

    Parameters
    ----------
    a, b : Site
        The two sites.
    placed : mapping of site id to Located
        From `place`.
    refractivity_n : float
        Refractivity of the air along the line. [N-units]
    """
    return paths_between([(a, b)], placed=placed, refractivity_n=refractivity_n)[0]


def paths_between(
    pairs: Sequence[tuple[Site, Site]], *, placed: Mapping[str, Located], refractivity_n: float
) -> tuple[Path, ...]:
    """The same of many pairs at once, in their order."""
    at = np.array([[(placed[s.id].lat_deg, placed[s.id].lon_deg, s.ground_m + s.antenna_m) for s in p] for p in pairs])
    (lat_a, lon_a, top_a), (lat_b, lon_b, top_b) = at[:, 0].T, at[:, 1].T
    ground, bearing, _ = inverse(lat_a, lon_a, lat_b, lon_b)
    length = path_length(ground, height_difference_m=top_b - top_a)
    times = travel_time(length, refractivity_n=refractivity_n)
    return tuple(Path(*row) for row in np.stack([ground, length, times, bearing], axis=1).tolist())
