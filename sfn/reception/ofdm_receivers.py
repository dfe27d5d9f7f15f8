"""What a document says of OFDM receivers: how levels vary around them, and how they place their window."""

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.reception.drawn import USUAL_CORRELATION, Spread
from sfn.systems.ofdm_window import Placing, filled
from sfn.systems.service import Service


def spread_of(network: Network, carried: Service) -> Spread:
    """How levels vary over the places around a point: as the document says, the service's spread otherwise."""
    given = network.levels
    sigma_db = None if given is None else given.sigma_db
    correlation = None if given is None else given.site_correlation
    return Spread(
        carried.location_sigma_db if sigma_db is None else sigma_db,
        USUAL_CORRELATION if correlation is None else correlation,
    )


def placing_of(network: Network, carried: Service) -> Placing:
    """How the network's receivers place their window: as the document says, the service's defaults otherwise.

    Raises
    ------
    PlanError
        If its back-off is not within the guard interval.
    """
    given = network.receiver.window
    if carried.kind != "ofdm":
        return Placing()
    asked = Placing() if given is None else Placing(given.strategy, given.backoff_us, given.threshold_db)
    try:
        return filled(asked, carried)
    except ValueError as error:
        guard_us = carried.guard_us
        raise PlanError(
            [
                Problem(
                    "receiver.window.backoff_us",
                    str(error),
                    f"from 0 to {guard_us:g} us, the guard interval of {carried.name}",
                    code="back-off-outside-guard",
                    values={"backoff_us": asked.backoff_us, "guard_us": guard_us},
                )
            ]
        ) from None
