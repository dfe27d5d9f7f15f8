"""Signals at one receiving point: level, travel, launch, arrival and differences, strongest first."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sfn.field.levels import levels_at
from sfn.field.transmitter import transmitter
from sfn.geodesy.line import path_length, travel_time
from sfn.geodesy.position import Located
from sfn.plan import Network, Site
from sfn.reception.significance import Criteria, delay_spread, significant


@dataclass(frozen=True, slots=True)
class Signal:
    """One site's signal at a point. Differences are this signal minus the strongest: later and stronger positive."""

    site: str
    site_name: str
    ground_m: float
    path_m: float
    bearing_deg: float
    level_dbuvm: float
    level_1pct_dbuvm: float
    travel_us: float
    launch_us: float
    arrival_us: float
    delay_difference_us: float
    level_difference_db: float
    significant: bool


@dataclass(frozen=True, slots=True)
class PointSignals:
    """Every signal at one receiving point, strongest first."""

    lat_deg: float
    lon_deg: float
    rx_height_m: float
    rx_ground_m: float
    signals: tuple[Signal, ...]
    delay_spread_us: float | None
    usable: bool
    smooth: bool


def signals_at(
    network: Network,
    launches: Mapping[str, float],
    *,
    lat_deg: float,
    lon_deg: float,
    placed: Mapping[str, Located],
    counts: Criteria,
    rx_height_m: float | None = None,
    rx_ground_m: float | None = None,
) -> PointSignals:
    """Signals of all sites on air at a receiving point.

    Parameters
    ----------
    network : Network
    launches : mapping of site id to launch time
        [us]
    lat_deg, lon_deg : float
        The point on WGS84. [degrees]
    placed : mapping of site id to Located
    counts : Criteria
        What is usable and significant.
    rx_height_m : float, optional
        Receiving antenna above ground; the network's receiver where not given. [m]
    rx_ground_m : float, optional
        Ground above sea level at the point; what the level model uses where not given. [m]

    Returns
    -------
    point : PointSignals
        ``arrival = launch + travel``; the travel time is that of the line between the antennas, ``sqrt(s^2 + dh^2)``.
    """
    height = network.receiver.height_m if rx_height_m is None else rx_height_m
    made = [
        _signal(network, site, launches[site.id], placed[site.id], (lat_deg, lon_deg), height, rx_ground_m)
        for site in network.sites
        if site.on_air
    ]
    heard = sorted((item for item in made if np.isfinite(item[0].level_dbuvm)), key=lambda item: -item[0].level_dbuvm)
    if not heard:
        ground = made[0][1] if made else rx_ground_m or 0.0
        return PointSignals(lat_deg, lon_deg, height, ground, (), None, False, all(smooth for *_, smooth in made))
    level = np.array([[signal.level_dbuvm] for signal, *_ in heard])
    arrival = np.array([[signal.arrival_us] for signal, *_ in heard])
    counted = significant(level, arrival, significant_db=counts.significant_db, guard_us=counts.guard_us)
    top = heard[0][0]
    signals = tuple(_against(signal, top, bool(counted[i, 0])) for i, (signal, *_) in enumerate(heard))
    return PointSignals(
        lat_deg,
        lon_deg,
        height,
        heard[0][1],
        signals,
        float(delay_spread(arrival, counted)[0]),
        top.level_dbuvm >= counts.usable_dbuvm,
        all(smooth for *_, smooth in heard),
    )


def _signal(
    network: Network,
    site: Site,
    launch_us: float,
    at: Located,
    point: tuple[float, float],
    height_m: float,
    rx_ground_m: float | None,
) -> tuple[Signal, float, bool]:
    """One site's signal before it is compared, the ground height used and whether the earth was smooth."""
    plane = None if network.receiver.polarisation == "stronger" else network.receiver.polarisation
    radiated = transmitter(site, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg)
    levels = levels_at(radiated, *point, rx_height_m=height_m, rx_ground_m=rx_ground_m, receiver_polarisation=plane)
    ground = float(levels.rx_ground_m)
    rise = ground + height_m - site.ground_m - site.antenna_m
    length = float(path_length(levels.ground_distance_m, height_difference_m=rise))
    travel = float(travel_time(length, refractivity_n=network.refractivity_n))
    signal = Signal(
        site.id,
        site.name,
        float(levels.ground_distance_m),
        length,
        float(levels.bearing_deg),
        float(levels.level_dbuvm),
        float(levels.level_1pct_dbuvm),
        travel,
        launch_us,
        launch_us + travel,
        0.0,
        0.0,
        False,
    )
    return signal, ground, bool(levels.smooth)


def _against(signal: Signal, top: Signal, counts: bool) -> Signal:
    """The signal with its differences from the strongest."""
    return Signal(
        signal.site,
        signal.site_name,
        signal.ground_m,
        signal.path_m,
        signal.bearing_deg,
        signal.level_dbuvm,
        signal.level_1pct_dbuvm,
        signal.travel_us,
        signal.launch_us,
        signal.arrival_us,
        signal.arrival_us - top.arrival_us,
        signal.level_dbuvm - top.level_dbuvm,
        counts,
    )
