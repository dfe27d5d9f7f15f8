"""Transmitters of other programmes: their ids and positions, and whether something protects against each of them."""

from collections.abc import Iterable

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.reception.other_network import others_of, others_placed
from sfn.reception.others import protection_ratios
from sfn.systems.service import Service


def other_problems(network: Network, carried: Service | None) -> Iterable[Problem]:
    """What is doubtful about the transmitters of other programmes.

    Parameters
    ----------
    network : Network
    carried : Service or None
        None where the service is not known.
    """
    listed = network.other_transmitters or ()
    seen: set[str] = set()
    for i, one in enumerate(listed):
        if one.id in seen:
            yield Problem(
                f"other_transmitters[{i}].id", f"is {one.id}, like another one's", "an id of its own",
                code="others-alike", fields=("id",), values={"id": one.id},
            )  # fmt: skip
        seen.add(one.id)
        if carried is not None and protection_ratios(one, carried) is None:
            yield Problem(
                f"other_transmitters[{i}].steady_ratio_db",
                f"{one.name}, {one.spacing_khz:g} kHz away, has no protection ratio and {carried.name} none for that "
                "spacing: it does not count",
                "steady_ratio_db and tropospheric_ratio_db of it",
                "warning",
                code="others-without-ratio",
                fields=("steady_ratio_db", "tropospheric_ratio_db"),
                values={"spacing_khz": one.spacing_khz},
                said={"other_name": one.name, "service_name": carried.name},
            )
    theirs = others_of(network)
    if theirs is not None:
        try:
            others_placed(theirs)
        except PlanError as refused:
            yield from refused.problems
