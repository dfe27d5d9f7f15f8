"""The answer of ``point``: every signal at one receiving point."""

from typing import Any

from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.signals import PointSignals, Signal, signals_at
from sfn.reception.significance import criteria
from sfn.systems.service import service
from sfn.terrain.ground import Ground
from sfn.timing import delay_table


def point_signals(
    network: Network,
    *,
    lat_deg: float,
    lon_deg: float,
    rx_height_m: float | None = None,
    rx_ground_m: float | None = None,
    as_set: bool = False,
    ground: Ground | None = None,
) -> PointSignals:
    """Signals at a receiving point, with the computed settings in force, or with what is set now.

    Parameters
    ----------
    network : Network
    lat_deg, lon_deg : float
        The point on WGS84. [degrees]
    rx_height_m, rx_ground_m : float, optional
        Receiving antenna above ground, and the ground above sea level. [m]
    as_set : bool
        Launches with what is set now instead of the computed settings.
    ground : Ground, optional
        Terrain, from `sfn.terrain.ground.open_ground`; a smooth earth where not given.

    Raises
    ------
    PlanError
        If a position or the service cannot be used.
    """
    placed = place(network)
    launches = delay_table(network, placed=placed).launches(as_set=as_set)
    return signals_at(
        network,
        launches,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        placed=placed,
        counts=criteria(network, service(network.service)),
        ground=ground,
        rx_height_m=rx_height_m,
        rx_ground_m=rx_ground_m,
    )


def document(found: PointSignals) -> dict[str, Any]:
    """The JSON document of ``point --json``."""
    return {
        "lat": found.lat_deg,
        "lon": found.lon_deg,
        "rx_height_m": found.rx_height_m,
        "rx_ground_m": found.rx_ground_m,
        "smooth_earth": found.smooth,
        "usable": found.usable,
        "uncovered": list(found.uncovered),
        "signals": [_signal(signal) for signal in found.signals],
        "delay_spread_us": found.delay_spread_us,
    }


def _signal(signal: Signal) -> dict[str, Any]:
    """One signal; `distance_m` is the ground distance under the name that early scripts use."""
    return {
        "site": signal.site,
        "name": signal.site_name,
        "ground_m": signal.ground_m,
        "distance_m": signal.ground_m,
        "path_m": signal.path_m,
        "bearing_deg": signal.bearing_deg,
        "level_dbuvm": signal.level_dbuvm,
        "level_1pct_dbuvm": signal.level_1pct_dbuvm,
        "travel_us": signal.travel_us,
        "launch_us": signal.launch_us,
        "arrival_us": signal.arrival_us,
        "delay_difference_us": signal.delay_difference_us,
        "level_difference_db": signal.level_difference_db,
        "significant": signal.significant,
    }
