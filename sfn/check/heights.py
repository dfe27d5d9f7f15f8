"""Typed ground heights beside the terrain's, and sites that cover or zones do not reach."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from sfn.errors import Problem, Touch
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


@dataclass(frozen=True, slots=True)
class GroundThere:
    """What the terrain has at one place, beside what is typed."""

    terrain: str
    """Name of the terrain."""
    height_m: float | None
    """Above sea level. None where the terrain does not cover the place. [m]"""
    above_typed_m: float | None
    """How much higher it is than what is typed. None where either is not known. [m]"""
    questioned: bool
    """Whether they differ by more than is likely."""


def ground_there(terrain: Terrain, at: _Placed, *, typed_m: float | None) -> GroundThere:
    """The terrain's height at a place beside the typed one.

    Parameters
    ----------
    terrain : Terrain
    at : a position on WGS84
    typed_m : float or None
        Typed ground height above sea level. [m]
    """
    return _beside(terrain, offered_heights(terrain, {"": at})[""], typed_m)


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
    problems: list[Problem] = []
    for n, site in enumerate(network.sites):
        if site.id not in placed:
            continue
        there = _beside(terrain, offered.get(site.id), site.ground_m)
        problems += ground_problems(there, n, site=site.id, name=site.name, typed_m=site.ground_m)
    return tuple(problems)


def ground_problems(
    there: GroundThere, index: int, *, site: str, name: str, typed_m: float | None
) -> tuple[Problem, ...]:
    """What is doubtful about one site's ground: not covered, or far from what is typed; a warning, or nothing.

    Parameters
    ----------
    there : GroundThere
    index : int
        The site's place in the document.
    site, name : str
        Its id and its name.
    typed_m : float or None
        Its typed ground height. [m]
    """
    if there.height_m is None:
        return (
            Problem(
                f"sites[{index}].position",
                f"site {name}: stands where the terrain {there.terrain} is not known",
                "terrain that covers the site; without it no level can be worked out",
                "warning",
                code="terrain-missing",
                touches=(Touch(site),),
                fields=("position",),
                said={"terrain": there.terrain},
            ),
        )
    if not there.questioned:
        return ()
    return (
        Problem(
            f"sites[{index}].ground_m",
            f"site {name}: is {typed_m:g} m, the terrain {there.terrain} has {there.height_m:.0f} m there",
            f"{there.height_m:.0f} m, or a position that fits the height",
            "warning",
            code="ground-height-doubtful",
            touches=(Touch(site),),
            fields=("ground_m",),
            values={"ground_m": typed_m, "terrain_m": there.height_m},
            said={"terrain": there.terrain, "there_m": f"{there.height_m:.0f}"},
        ),
    )


def _beside(terrain: Terrain, height_m: float | None, typed_m: float | None) -> GroundThere:
    """The terrain's height beside the typed one."""
    off_m = None if height_m is None or typed_m is None else height_m - typed_m
    return GroundThere(terrain.name, height_m, off_m, off_m is not None and abs(off_m) > TOLERATED_M)


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
        beyond = [site for site in network.sites if offered.get(site.id, 0.0) is None]
        if source is not None and beyond:
            names = ", ".join(f"{site.name}" for site in beyond)
            what = f"the {words.format(source.name, names)}"
            touches = tuple(Touch(site.id) for site in beyond)
            expected = "files that cover the whole network"
            problems.append(Problem(f"{key}.folder", what, expected, "warning", code=f"{key}-missing", touches=touches))
    return tuple(problems)
