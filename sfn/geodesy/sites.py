"""The sites of a network, placed: document positions into WGS84, and the path between two of them."""

from collections.abc import Mapping
from dataclasses import dataclass

from sfn.errors import PlanError, Problem
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


def place(network: Network) -> dict[str, Located]:
    """Where every site stands in WGS84, by site id.

    Raises
    ------
    PlanError
        With one problem for each position that cannot be read or transformed.
    """
    placed: dict[str, Located] = {}
    problems: list[Problem] = []
    for i, site in enumerate(network.sites):
        try:
            placed[site.id] = locate(**site.position.model_dump(exclude_none=True))
        except PlanError as error:
            problems += [
                Problem(f"sites[{i}].position", f"site {site.name}: {p.what}", p.expected) for p in error.problems
            ]
    if problems:
        raise PlanError(problems)
    return placed


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
    at_a, at_b = placed[a.id], placed[b.id]
    ground, bearing, _ = inverse(at_a.lat_deg, at_a.lon_deg, at_b.lat_deg, at_b.lon_deg)
    rise = (b.ground_m + b.antenna_m) - (a.ground_m + a.antenna_m)
    length = path_length(ground, height_difference_m=rise)
    return Path(float(ground), float(length), float(travel_time(length, refractivity_n=refractivity_n)), float(bearing))
