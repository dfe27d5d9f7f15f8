"""The document without what was reported of its settings: what its checksum is of, and its text."""

from sfn.plan.document import Network, Site
from sfn.plan.reported import Reported


def as_saved(network: Network) -> Network:
    """A document with every field set to what its own text says."""
    reported = network.reported
    if reported is None or not reported.planned:
        return network
    moved = {key[0] for key in reported.planned}
    sites = tuple(_as_typed(site, reported) if site.id in moved else site for site in network.sites)
    return network.model_copy(update={"sites": sites})


def _as_typed(site: Site, reported: Reported) -> Site:
    """One site."""
    said = reported.planned
    fields = tuple(
        own.model_copy(update={"set": said[key]}) if (key := (site.id, "", own.name)) in said else own
        for own in site.delay_fields
    )
    chains = tuple(
        chain
        if chain.set is None
        else chain.model_copy(update={"set": {n: said.get((site.id, chain.route, n), v) for n, v in chain.set.items()}})
        for chain in site.chains
    )
    return site.model_copy(update={"delay_fields": fields, "chains": chains})
