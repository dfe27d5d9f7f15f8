"""What is planned to be radiated otherwise than is known to stand: sheets order delays alone."""

from sfn.plan import Network

RADIATED = frozenset({"radiated-otherwise", "radiated-unknown"})


def radiated_since(network: Network) -> str:
    """Power, antennas and sites on air that a revision plans otherwise, in words; empty where nothing is.

    It stands until somebody says on the timeline that a site radiates as planned (`webapp.store.radiates`).
    """
    told = () if network.reported is None else network.reported.problems
    apart = [one.what for one in told if one.code in RADIATED]
    if not apart:
        return ""
    return (
        f"{'; '.join(apart)}. Whoever changes it works to an order of its own, within the licence; until then map, "
        "people and the order of steps count on what does not stand. Once it is done, somebody says so on the site's "
        "timeline: Radiates as planned"
    )
