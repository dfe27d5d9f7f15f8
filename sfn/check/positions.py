"""Where the sites stand: each by itself, and beside each other."""

from collections.abc import Mapping
from dataclasses import replace

from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.plausible import Standing, implausible
from sfn.geodesy.position import Located
from sfn.plan import Network, Site
from sfn.timing.tolerated import tolerated_error


def position_problems(network: Network, placed: Mapping[str, Located]) -> tuple[Problem, ...]:
    """Every doubt about where the sites stand.

    Parameters
    ----------
    network : Network
    placed : mapping of site id to Located
        From `sfn.geodesy.sites`; a site that is not in it is left out.

    Returns
    -------
    problems : tuple of Problem
        With ``doubt_m`` and ``doubt_us`` among their values where they are worth something: errors where that is more
        than the tolerated launch error, else warnings. Each touches the site it is about.
    """
    tolerated_us = _tolerated(network)
    sites = [
        Standing(index, site.id, site.name, placed[site.id], site.fed_off_air_from is not None, site.mast or "")
        for index, site in enumerate(network.sites)
        if site.id in placed
    ]
    found = [
        problem
        for at in sites
        for problem in located_problems(at.located, network.sites[at.index], index=at.index, tolerated_us=tolerated_us)
    ]
    return (*found, *(weighed(problem, tolerated_us) for problem in implausible(sites)))


def located_problems(located: Located, site: Site, *, index: int, tolerated_us: float) -> tuple[Problem, ...]:
    """What is doubtful about the position of one site.

    Parameters
    ----------
    located : Located
    site : Site
    index : int
        The site's place in the document.
    tolerated_us : float
        Launch error that may stay. [us]
    """
    where, touches = f"sites[{index}].position", (Touch(site.id),)
    found = (doubt.problem(where, name=site.name, touches=touches) for doubt in located.doubts)
    return tuple(weighed(problem, tolerated_us) for problem in found)


def weighed(problem: Problem, tolerated_us: float) -> Problem:
    """An error where a doubt is worth more than may stay; what has no worth stays as it is."""
    doubt_us = problem.values.get("doubt_us")
    worth_it = isinstance(doubt_us, int | float) and doubt_us > tolerated_us
    return replace(problem, severity="error") if worth_it else problem


def _tolerated(network: Network) -> float:
    """The tolerated launch error; none where the service is not known, which is said elsewhere. [us]"""
    try:
        return tolerated_error(network)
    except PlanError:
        return 0.0
