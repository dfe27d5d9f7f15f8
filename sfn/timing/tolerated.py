"""How much launch error may stay: one figure for sheets, checks, positions and verdicts."""

from sfn.plan import Network
from sfn.systems.of_network import service_of

# A tenth of what the service tolerates is far below what anybody hears, and above what a counter resolves.
TOLERATED_PART_RATIO = 0.1


def tolerated_error(network: Network) -> float:
    """Largest launch error that may stay: the work order's, or a part of the service's tolerance. [us]

    Raises
    ------
    PlanError
        If the work order names none and the network's service is not known.
    """
    order = network.work_order
    given = order.tolerated_error_us if order else None
    return given or TOLERATED_PART_RATIO * service_of(network).tolerance_us


def tolerated_says(network: Network) -> str:
    """Where the tolerated error is from, where nobody gave one; empty where the work order does."""
    order = network.work_order
    given = order is not None and order.tolerated_error_us is not None
    return "" if given else "a tenth of the service's tolerance, none was given"
