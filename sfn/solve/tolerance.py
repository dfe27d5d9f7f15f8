"""Launch errors that the chains' tolerances allow, drawn at random."""

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.timing.table import feed_order

Doubles = NDArray[np.float64]


def launch_errors(network: Network, *, draws_n: int, seed: int) -> Doubles:
    """Errors of all sites' launches.

    Parameters
    ----------
    network : Network
    draws_n, seed : int

    Returns
    -------
    errors_us : ndarray, shape (draws_n, S)
        Each stage of the main route is off by anything within its tolerance, all alike likely; a stage that two sites
        share is off by the same for both, and so are stages whose tolerance is common to one model. A site fed off air
        has its parent's error too. [us]
    """
    rng = np.random.default_rng(seed)
    drawn: dict[str, Doubles] = {}
    for stage in network.stages:
        common = stage.tolerance_kind == "model" and stage.model
        key = f"model {stage.model}" if common else f"stage {stage.id}"
        if key not in drawn:
            drawn[key] = rng.uniform(-1.0, 1.0, draws_n)
        drawn[stage.id] = drawn[key] * (stage.tolerance_us or 0.0)
    index = {site.id: i for i, site in enumerate(network.sites)}
    errors = np.zeros((draws_n, len(index)))
    for site in feed_order(network):
        chain = next((c for c in site.chains if c.route == "main"), site.chains[0])
        own = sum((drawn[name] for name in chain.stages), np.zeros(draws_n))
        parent = site.fed_off_air_from
        errors[:, index[site.id]] = own + (errors[:, index[parent]] if parent else 0.0)
    return errors
