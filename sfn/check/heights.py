"""Typed ground heights beside the terrain's, and sites that cover or zones do not reach."""

from collections.abc import Mapping
from typing import Protocol

import numpy as np

from sfn.errors import Problem
from sfn.plan import Network
from sfn.terrain.dem import Terrain, heights
from sfn.terrain.ground import Ground

# A summit narrower than a terrain sample and a mast's own mound stay within this.
TOLERATED_M = 30.0


class _Placed(Protocol):
    """Where a site stands."""

    @property
    def lat_deg(self) -> float: ...
    @property
    def lon_deg(self) -> float: ...


def offered_heights(terrain: Terrain, placed: Mapping[str, _Placed]) -> dict[str, float | None]:
    """Ground height that the terrain has at each site, to offer it in a form.

    Parameters
    ----------
    terrain : Terrain
    placed : mapping of site id to a position on WGS84

    Returns
    -------
    height_m : dict of site id to float or None
        Above sea level. [m] None where the terrain does not cover the site.
    """
    lat, lon = (np.array([getattr(at, name) for at in placed.values()]) for name in ("lat_deg", "lon_deg"))
    found = heights(terrain, lat, lon)
    return {site: float(h) if np.isfinite(h) else None for site, h in zip(placed, found, strict=True)}


def height_problems(network: Network, placed: Mapping[str, _Placed], terrain: Terrain) -> tuple[Problem, ...]:
    """Sites that the terrain does not cover, and typed ground heights more than 30 m off the terrain's.

    Parameters
    ----------
    network : Network
    placed : mapping of site id to a position on WGS84
    terrain : Terrain

    Returns
    -------
    problems : tuple of Problem
        Warnings, in the order of the sites.
    """
    offered = offered_heights(terrain, placed)
    problems = []
    for n, site in enumerate(network.sites):
        height_m = offered.get(site.id)
        if height_m is None:
            problems.append(
                Problem(
                    f"sites[{n}].position",
                    f"site {site.name}: stands where the terrain {terrain.name} is not known",
                    "terrain that covers the site; without it no level can be worked out",
                    "warning",
                )
            )
        elif abs(site.ground_m - height_m) > TOLERATED_M:
            problems.append(
                Problem(
                    f"sites[{n}].ground_m",
                    f"site {site.name}: is {site.ground_m:g} m, the terrain {terrain.name} has {height_m:.0f} m there",
                    f"{height_m:.0f} m, or a position that fits the height",
                    "warning",
                )
            )
    return tuple(problems)


def reach_problems(network: Network, placed: Mapping[str, _Placed], ground: Ground) -> tuple[Problem, ...]:
    """Sites round which nothing is known of ground cover, or of zones, though the document names a source.

    Parameters
    ----------
    network : Network
    placed : mapping of site id to a position on WGS84
    ground : Ground

    Returns
    -------
    problems : tuple of Problem
        Warnings: first of the cover, then of the zones.
    """
    sources = (
        ("cover", ground.cover, "ground cover of {} does not reach {}: the ground there counts as bare"),
        ("zones", ground.zones, "zones of {} do not reach {}: all counts as inland there"),
    )
    problems = []
    for key, source, words in sources:
        offered = {} if source is None else offered_heights(source, placed)
        beyond = [site.name for site in network.sites if offered.get(site.id, 0.0) is None]
        if source is not None and beyond:
            what = f"the {words.format(source.name, ', '.join(beyond))}"
            problems.append(Problem(f"{key}.folder", what, "files that cover the whole network", "warning"))
    return tuple(problems)
