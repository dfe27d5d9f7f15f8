"""The answer of ``delays``: the delay table, pairs of sites and loops of three."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sfn.check import all_problems
from sfn.check.on_sheet import SheetField, on_sheet
from sfn.check.verdict import Verdict, verdicts
from sfn.errors import Problem
from sfn.geodesy.position import Located
from sfn.geodesy.sites import placed_sites
from sfn.pairs import Pair, Triangle, loop, neighbouring_triangles, pair_differences
from sfn.plan import Network
from sfn.reception.equal_level import EqualLevel, equal_level
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable, delay_table

NO_LOOP = {
    "sites-in-line": "No loop: sites in line (or at fewer than three places). A loop needs three that span an area.",
    "too-few-sites": "No loop: fewer than three sites are on air.",
}


KINDS = {
    "equal": "the point of equal levels",
    "jump": "a jump in which the levels pass each other",
    "nearest to equal": "the point nearest to equal levels",
    "half-way": "half-way: levels cannot be compared",
}


@dataclass(frozen=True, slots=True)
class Loop(Triangle):
    """A loop of three sites and where its points come from."""

    levels: tuple[EqualLevel, ...] = ()
    """The points a-b, b-c, c-a. Level differences are of the first of these over the second."""


@dataclass(frozen=True, slots=True)
class Delays:
    """All that the delay page, the command and the HTTP interface show of a network's delays.

    Sites that cannot be read are in `table.missing`, those that cannot be placed not in `placed`; pairs and loops are
    of the others.
    """

    network: Network
    placed: dict[str, Located]
    table: DelayTable
    pairs: tuple[Pair, ...]
    loops: tuple["Loop", ...]
    no_loop: str | None
    """Why there is no loop, where there might be one: see `NO_LOOP`."""
    problems: tuple[Problem, ...]
    verdicts: Mapping[tuple[str, str], Verdict]
    """Whether a sheet may go out, by site and route."""
    on_sheet: Mapping[tuple[str, str], tuple[SheetField, ...]]
    """What the sheets ask for, by site and route."""


def delays(network: Network, *, problems: tuple[Problem, ...] | None = None, ground: Ground | None = None) -> Delays:
    """The delay table of a network with everything that belongs to it.

    Parameters
    ----------
    network : Network
    problems : tuple of Problem, optional
        From `sfn.check.all_problems`; over a smooth earth where not given.
    ground : Ground, optional
        Terrain, for the points of equal level of the loops; a smooth earth where not given.
    """
    placed = placed_sites(network).at
    table = delay_table(network, placed=placed)
    launches = table.known_launches()
    sound = tuple(site for site in network.sites if site.id in placed and site.id in launches)
    others = network if len(sound) == len(network.sites) else network.model_copy(update={"sites": sound})
    pairs = pair_differences(others, launches, placed=placed)
    found = all_problems(network) if problems is None else problems
    loops = _loops(others, placed, ground)
    sites_n = sum(site.on_air for site in others.sites)
    missing = None if loops else "too-few-sites" if sites_n < 3 else "sites-in-line"
    judged = verdicts(network, found, table)
    return Delays(network, placed, table, pairs, loops, missing, found, judged, on_sheet(network, table, judged))


def _loops(network: Network, placed: dict[str, Located], ground: Ground | None) -> tuple[Loop, ...]:
    """Loops of neighbouring sites, each pair at its equal-level point."""
    sites = {site.id: site for site in network.sites}
    known: dict[tuple[str, str], EqualLevel] = {}
    made = []
    for a, b, c in neighbouring_triangles(network, placed=placed):
        edges = [(a, b), (b, c), (a, c)]
        for edge in edges:
            if edge not in known:
                known[edge] = equal_level(sites[edge[0]], sites[edge[1]], network, placed=placed, ground=ground)
        levels = (known[a, b], known[b, c], _turned(known[a, c]))
        found = loop(
            [sites[name] for name in (a, b, c)],
            [one.point for one in levels],
            placed=placed,
            refractivity_n=network.refractivity_n,
            rx_above_sea_m=[one.rx_above_sea_m for one in levels],
        )
        made.append(Loop(found.sites, found.points, found.wishes_us, found.misclosure_us, found.rx_above_sea_m, levels))
    return tuple(made)


def _turned(one: EqualLevel) -> EqualLevel:
    """The same point seen from the other site, but for `ground_m`."""
    return replace(one, level_difference_db=-one.level_difference_db)
