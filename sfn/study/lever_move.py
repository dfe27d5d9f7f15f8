"""A site tried at another place: where it then stands, how high the ground is there, and what that leaves open."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.line import inverse
from sfn.geodesy.position import Located, locate
from sfn.plan import Network, Site
from sfn.report.numbers import number
from sfn.study.lever_try import Lever, moves
from sfn.terrain.ground import Ground, ground_at

FURTHEST_M = 200_000.0
"""Further than this from where it stands a site is taken for a typing error."""


def grounded(network: Network, levers: Mapping[str, Lever], ground: Ground | None) -> dict[str, Lever]:
    """Levers with the height of the ground where a site is tried elsewhere: as typed, else the terrain's.

    Parameters
    ----------
    network : Network
    levers : mapping of site id to Lever
        Without problems, but for what is asked here.
    ground : Ground, optional
        The network's terrain; None where none is at hand.

    Returns
    -------
    levers : dict

    Raises
    ------
    PlanError
        With a problem for each position that cannot be read or is far from the site's own, and for each whose ground
        nobody knows.
    """
    sites = {site.id: site for site in network.sites}
    made, problems = dict(levers), list[Problem]()
    for name, lever in levers.items():
        site = sites.get(name)
        if site is None or not lever.position or not moves(lever, site):
            continue
        try:
            there, here = locate(text=lever.position, where=f"position-{name}"), _located(site)
        except PlanError as error:
            problems += [replace(one, where=f"position-{name}", touches=(Touch(name),)) for one in error.problems]
            continue
        away_m = float(inverse(here.lat_deg, here.lon_deg, there.lat_deg, there.lon_deg)[0])
        if away_m > FURTHEST_M:
            problems.append(
                Problem(
                    f"position-{name}",
                    f"{lever.position!r} lies {away_m / 1000:.0f} km from where {site.name} stands",
                    f"a place at most {FURTHEST_M / 1000:.0f} km from it; another site is added on its own page",
                    code="moved-too-far", touches=(Touch(name),), values={"away_m": away_m, "most_m": FURTHEST_M},
                )
            )  # fmt: skip
        elif lever.ground_m is None:
            height_m = None if ground is None else ground_at(ground, there.lat_deg, there.lon_deg)
            if height_m is None:
                problems.append(
                    Problem(
                        f"ground-height-{name}",
                        f"{site.name} is tried at {lever.position}, where no terrain says how high the ground is",
                        "the ground's height there in metres above sea level, typed beside the position",
                        code="ground-height-missing", touches=(Touch(name),),
                    )
                )  # fmt: skip
            else:
                made[name] = replace(lever, ground_m=height_m)
    if problems:
        raise PlanError(problems)
    return made


def moved_says(site: Site, now: Site, typed: Lever) -> str:
    """Where a site is tried instead, in words.

    Parameters
    ----------
    site, now : Site
        As planned, and as tried.
    typed : Lever
        Before `grounded` looked anything up.
    """
    here, there = _located(site), _located(now)
    away, towards, _ = (float(one) for one in inverse(here.lat_deg, here.lon_deg, there.lat_deg, there.lon_deg))
    whence = "as typed" if typed.ground_m is not None else "by the terrain"
    return (
        f"stands {number(away / 1000.0, 2)} km towards {number(towards % 360.0, 0)}° of its place, at "
        f"{typed.position} (ground {number(now.ground_m, 1)} m above sea level {whence}, instead of "
        f"{number(site.ground_m, 1)} m)"
    )


def beyond_move(network: Network, moved: Mapping[str, Site]) -> Iterator[str]:
    """What a try of another place leaves open, a sentence each.

    Parameters
    ----------
    network : Network
        As planned.
    moved : mapping of site id to Site
        Those that stand elsewhere, as tried.
    """
    for site in network.sites:
        if site.id in moved and site.fed_off_air_from is None:
            yield (
                f"{site.name} is fed at its new place by links that nobody has planned: its chains keep the latencies "
                "of the old place, and its setting is to be worked out anew with the new ones"
            )
    names = {site.id: site.name for site in network.sites}
    for site in network.sites:
        if site.fed_off_air_from is not None and {site.id, site.fed_off_air_from} & moved.keys():
            yield (
                f"{site.name} receives {names[site.fed_off_air_from]} over another way then and counts as set anew for "
                "it: with the setting of its sheet it would launch earlier or later by what the way differs"
            )
    tried = network.model_copy(update={"sites": tuple(moved.get(site.id, site) for site in network.sites)})
    plain_m = tried.plain_m  # of a part of a network it stays where the whole one's lies
    if network.terrain is None and plain_m != network.plain_m:
        yield (
            f"without a terrain the smooth earth lies as low as the lowest site, at {number(plain_m, 1)} m as tried "
            f"instead of {number(network.plain_m, 1)} m: the levels of all sites follow"
        )


def move_doubts(moved: Mapping[str, Site], placed: Mapping[str, Located]) -> tuple[Problem, ...]:
    """What is unsure of the new places themselves: warnings of how they were read, by site."""
    return tuple(
        replace(one, where=f"position-{name}", what=f"{site.name} as tried: {one.what}", touches=(Touch(name),))
        for name, site in moved.items()
        for one in placed[name].warnings
    )


def _located(site: Site) -> Located:
    """Where a site stands."""
    return locate(**site.position.model_dump(exclude_none=True))
