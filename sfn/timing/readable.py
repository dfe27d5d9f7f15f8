"""The part of a network that can be read, and what is left out: one unreadable site does not take the others down."""

from sfn.errors import PlanError
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network
from sfn.plan.left_out import LeftOut
from sfn.timing.missing import missing_sites
from sfn.timing.table import feed_order


def readable(network: Network) -> Network:
    """The part of a network that answers can be worked out from.

    Parameters
    ----------
    network : Network

    Returns
    -------
    network : Network
        Without the sites that cannot be placed, those with a field of unknown unit, and those fed off air from one of
        them, by name in its `left_out`; the same network where there are none. The common delay still waits for the
        sites that are left out, as far as their chains say, and checksums stay those of the whole document.

    Raises
    ------
    PlanError
        If no site is left, with all that is wrong.
    """
    if network.left_out:
        return network
    gone = _left_out(network)
    if not gone:
        return network
    if len(gone) == len(network.sites):
        raise PlanError(dict.fromkeys(problem for one in gone for problem in one.problems))
    return network.without(gone)


def _left_out(network: Network) -> tuple[LeftOut, ...]:
    """Every site that cannot be used, in document order."""
    placed = placed_sites(network)
    missing = missing_sites(network, feed_order(network), placed.at)
    found = []
    for site in network.sites:
        own = tuple(problem for problem in placed.problems if problem.touching(site.id))
        one = missing.get(site.id)
        if one is not None and not (own and one.said):
            own = (*own, one.problem)
        if own:
            found.append(LeftOut(site.id, site.name, site.id if one is None else one.whose, own))
    return tuple(found)
