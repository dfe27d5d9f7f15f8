"""All that is wrong with a network, in one list: pages, sheets, commands and answers all take it from here."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

from sfn.check.antennas import antenna_problems
from sfn.check.band import band_problems
from sfn.check.chains import chain_problems
from sfn.check.devices import device_problems
from sfn.check.entries import entry_problems
from sfn.check.ground import ground_basis_problems
from sfn.check.heights import height_problems, reach_problems
from sfn.check.locks import lock_problems
from sfn.check.off_air import off_air_problems
from sfn.check.others import other_problems
from sfn.check.people import people_problems
from sfn.check.positions import position_problems
from sfn.check.references import references
from sfn.check.routes import route_problems
from sfn.check.stamps import stamp_problems
from sfn.check.streams import stream_problems
from sfn.check.unjudged import unjudged_problems
from sfn.check.words import word_problems
from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.position import Located
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network
from sfn.systems.of_network import service_of
from sfn.systems.service import Service
from sfn.terrain.ground import Ground, open_ground
from sfn.terrain.memory import Memory
from sfn.timing import delay_table

SMOOTH = Ground()


def all_problems(network: Network, *, ground: Ground = SMOOTH, today: date | None = None) -> tuple[Problem, ...]:
    """All that is wrong with a network: no part of the program may ask a smaller question.

    Parameters
    ----------
    network : Network
    ground : Ground
        What the network names, opened; over a smooth earth without cover where it names nothing.
    today : date, optional
        Later days than tomorrow are to come; the present day where not given.

    Returns
    -------
    problems : tuple of Problem
        Service, positions, ground, chains, stream plans, delay fields, time references, settings that cannot be made,
        sites fed off air, reports of settings. Errors make a number wrong or impossible, warnings make it doubtful.
    """
    found: list[Problem] = []
    carried = None
    try:
        carried = service_of(network)
    except PlanError as error:
        found += _of_all(network, error.problems)  # every tolerance is the service's
    stand = placed_sites(network)
    found += stand.problems
    found += _of_places(network, stand.at, ground)
    found += antenna_problems(network)
    found += word_problems(network)
    found += entry_problems(network, today=today or datetime.now(UTC).date())
    found += people_problems(network)
    found += other_problems(network, carried)
    found += chain_problems(network)
    found += route_problems(network)
    found += stream_problems(network)
    found += stamp_problems(network, carried)
    if carried is not None:
        found += _of_service(network, carried)
    found += delay_table(network, placed=stand.at).problems
    found += off_air_problems(network, ground)
    found += () if network.reported is None else network.reported.problems
    return tuple(found)


def all_problems_in(
    network: Network, *, folder: Path, anywhere: bool = False, memory: Memory | None = None
) -> tuple[Problem, ...]:
    """`all_problems` over the ground that the document names; arguments as `sfn.terrain.ground.open_ground`.

    Ground that cannot be opened is a problem like any other: the rest is then looked at over a smooth earth.
    """
    return checked_in(network, folder=folder, anywhere=anywhere, memory=memory)[0]


def checked_in(
    network: Network, *, folder: Path, anywhere: bool = False, memory: Memory | None = None
) -> tuple[tuple[Problem, ...], Ground | None]:
    """`all_problems_in`, and the ground it was looked at over; None where that cannot be opened.

    Parameters
    ----------
    network : Network
    folder, anywhere, memory
        As for `sfn.terrain.ground.open_ground`.
    """
    try:
        ground = open_ground(network, folder=folder, anywhere=anywhere, memory=memory)
    except PlanError as refused:
        return (*all_problems(network), *unopened(refused.problems)), None
    return all_problems(network, ground=ground), ground


def unopened(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Why the ground cannot be opened, as problems of the document."""
    return tuple(replace(problem, code=problem.code or "ground-unreadable") for problem in problems)


def _of_all(network: Network, problems: Iterable[Problem]) -> Iterable[Problem]:
    """Problems that touch every site."""
    return [replace(p, touches=tuple(Touch(site.id) for site in network.sites)) for p in problems]


def _of_places(network: Network, placed: dict[str, Located], ground: Ground) -> Iterable[Problem]:
    """Where the sites stand that can be placed: beside each other, and on the ground."""
    found = [*position_problems(network, placed)]
    if ground.terrain is not None:
        found += height_problems(network, placed, ground.terrain)
    return [*found, *reach_problems(network, placed, ground), *ground_basis_problems(network, placed, ground)]


def _of_service(network: Network, carried: Service) -> Iterable[Problem]:
    """What depends on what the service bears."""
    return [
        *band_problems(network, carried),
        *device_problems(network, carried),
        *references(network),
        *lock_problems(network, carried),
        *unjudged_problems(network, carried),
    ]
