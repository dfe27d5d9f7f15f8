"""All that is wrong with a network, its delay table, and what follows for every sheet: worked out together, once."""

from collections.abc import Mapping
from dataclasses import dataclass

from sfn.check.verdict import MAIN, Verdict, release_of, verdicts
from sfn.errors import Problem
from sfn.geodesy.position import Located
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network
from sfn.timing import DelayTable, delay_table


@dataclass(frozen=True, slots=True, weakref_slot=True)
class Review:
    """A network as it may, or may not, go out."""

    network: Network
    problems: tuple[Problem, ...]
    table: DelayTable
    verdicts: Mapping[tuple[str, str], Verdict]
    release: tuple[str, ...]
    """Ids of the sites that are set together."""
    placed: Mapping[str, Located]
    """Where the sites stand that can be placed."""

    def of(self, site: str, route: str = MAIN) -> Verdict:
        """The verdict of a site; its main route's is that of its sheet."""
        return self.verdicts[site, route]


def review(network: Network, *, problems: tuple[Problem, ...]) -> Review:
    """The verdicts of a network.

    Parameters
    ----------
    network : Network
    problems : tuple of Problem
        All that is wrong with it, from the one check.
    """
    placed = placed_sites(network).at
    table = delay_table(network, placed=placed)
    return Review(network, problems, table, verdicts(network, problems, table), release_of(network, table), placed)
