"""All checks of a document in one list."""

from pathlib import Path

from sfn.check.chains import chain_problems
from sfn.check.devices import device_problems
from sfn.check.heights import height_problems, reach_problems
from sfn.check.off_air import off_air_problems
from sfn.check.references import references
from sfn.check.streams import stream_problems
from sfn.errors import PlanError, Problem
from sfn.geodesy.plausible import implausible
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.systems.service import service
from sfn.terrain.dem import Terrain
from sfn.terrain.ground import open_ground
from sfn.terrain.memory import Memory
from sfn.timing import delay_table


def check(network: Network, *, terrain: Terrain | None = None) -> tuple[Problem, ...]:
    """Every problem of a document that was read.

    Parameters
    ----------
    network : Network
    terrain : Terrain, optional
        The network's terrain, opened; typed ground heights are held against it.

    Returns
    -------
    problems : tuple of Problem
        Service, positions, chains, stream plans, delay fields, settings that cannot be made. Errors make a number
        wrong or impossible, warnings make it doubtful.
    """
    found: list[Problem] = []
    try:
        carried = service(network.service)
    except PlanError as error:
        carried = None
        found += error.problems
    try:
        placed = place(network)
    except PlanError as error:
        placed = None
        found += error.problems
    if placed is not None:
        found += implausible([(site.name, placed[site.id]) for site in network.sites])
    if placed is not None and terrain is not None:
        found += height_problems(network, placed, terrain)
    found += chain_problems(network)
    found += stream_problems(network)
    if carried is not None:
        found += device_problems(network, carried)
        found += references(network)
    if placed is not None:
        found += delay_table(network, placed=placed).problems
    return tuple(found)


def check_on_ground(
    network: Network, *, folder: Path, anywhere: bool = False, memory: Memory | None = None
) -> tuple[Problem, ...]:
    """Every problem of a document and of the ground that it names; arguments as `sfn.terrain.ground.open_ground`.

    A terrain that cannot be opened is a problem like any other.
    """
    try:
        ground = open_ground(network, folder=folder, anywhere=anywhere, memory=memory)
    except PlanError as refused:
        return (*check(network), *refused.problems)
    found = (*check(network, terrain=ground.terrain), *off_air_problems(network, ground))
    if ground.cover is None and ground.zones is None:
        return found
    try:
        return (*found, *reach_problems(network, place(network), ground))
    except PlanError:
        return found  # where a site stands is said already
