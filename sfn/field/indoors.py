"""Receivers indoors: the building entry loss that a network's receivers have, and its name."""

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.propagation.building import LEAST_MHZ, NAMES, entry_loss


def indoor_loss_db(network: Network) -> float:
    """What the receivers' building takes off every level; 0 outdoors. [dB]

    Raises
    ------
    PlanError
        If ITU-R P.2109 says nothing of the frequency.
    """
    building = network.receiver.indoors
    if building is None:
        return 0.0
    try:
        return entry_loss(building, frequency_mhz=network.frequency_mhz, places_pct=_places_pct(network))
    except ValueError:
        raise PlanError(
            [
                Problem(
                    "receiver.indoors",
                    f"ITU-R P.2109 says nothing of buildings at {network.frequency_mhz:g} MHz",
                    f"receivers outdoors, or {LEAST_MHZ:g} MHz and more",
                    code="indoors-out-of-range",
                    fields=("receiver.indoors",),
                    values={"frequency_mhz": network.frequency_mhz},
                )
            ]
        ) from None


def _places_pct(network: Network) -> float:
    """Share of indoor places, half where none is given. [%]"""
    return network.receiver.indoor_places_pct or 50.0


def indoors_says(network: Network) -> str:
    """In words that levels are indoors; empty outdoors. All that rests on them says it."""
    receiver = network.receiver
    if receiver.indoors is None:
        return ""
    try:
        loss_db = indoor_loss_db(network)
    except PlanError as refused:
        return f"Levels are indoors, and cannot be worked out: {refused.problems[0].what}"
    return (
        f"Levels are indoors: {loss_db:.1f} dB are taken off, the building entry loss by ITU-R P.2109 of "
        f"{NAMES[receiver.indoors]} buildings not exceeded at {_places_pct(network):g} % of indoor places "
        "(not off single paths, contours of field strength and drive tests)"
    )


def outdoors(network: Network) -> Network:
    """The same network with its receivers outdoors, where measurements are made."""
    if network.receiver.indoors is None:
        return network
    receiver = network.receiver.model_copy(update={"indoors": None, "indoor_places_pct": None})
    return network.model_copy(update={"receiver": receiver})
