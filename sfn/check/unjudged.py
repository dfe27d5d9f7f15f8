"""What of the same transmitter the service says nothing about."""

from collections.abc import Iterable

from sfn.errors import Problem, Touch
from sfn.plan import Network
from sfn.systems.service import Service


def unjudged_problems(network: Network, carried: Service) -> Iterable[Problem]:
    """A warning where the service is part of a transmission whose other part sets the limits."""
    if carried.unjudged:
        yield Problem(
            "service",
            f"{carried.name}: {carried.unjudged}",
            "the same network judged as the other service too, and powers of the part that is named here",
            "warning",
            code="part-unjudged",
            touches=tuple(Touch(site.id) for site in network.sites),
            fields=("service", "erp_kw"),
            values={"service": carried.id},
            said={"unjudged_english": carried.unjudged},
        )
