"""What a log is of, and how it is to be read where it does not say."""

from dataclasses import dataclass, field

from sfn.geodesy.sites import placed_sites
from sfn.plan import Network
from sfn.survey.log_fixes import Fixes
from sfn.survey.log_places import Order
from sfn.survey.receiver_level import LevelUnit, Receiver
from sfn.systems.service import service_named


@dataclass(frozen=True, slots=True)
class About:
    """What a log is of: sites by id, where they are, and the frequency of the network."""

    sites: tuple[str, ...] = ()
    places: tuple[tuple[float, float], ...] = ()
    frequency_mhz: float | None = None
    narrow: bool = True
    """Whether channels lie as close together as those of FM."""


@dataclass(frozen=True, slots=True)
class Reading:
    """How a log is to be read where it does not say."""

    level_unit: LevelUnit | None = None
    receiver: Receiver = field(default_factory=Receiver)
    channel: str = ""
    order: Order = "ask"
    clock_ahead_s: float | None = None
    fixes: Fixes | None = None


def about(network: Network) -> About:
    """What logs of a network are of."""
    places = tuple((p.lat_deg, p.lon_deg) for p in placed_sites(network).at.values())
    ids = tuple(site.id for site in network.sites)
    return About(
        ids,
        places,
        network.frequency_mhz,
        service_named(network.service, own_services=network.own_services).startswith("fm"),
    )
