"""What a network's plan says of the same points at which somebody measured: delay differences, levels, bearings."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.field.levels import levels_at
from sfn.field.transmitter import transmitter
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.survey.measurements import Measurement, predicted_difference
from sfn.survey.taken_up import settings_then_us
from sfn.terrain.dem import Terrain, heights
from sfn.terrain.ground import Ground
from sfn.timing import delay_table


def planned_differences(
    network: Network, measurements: Sequence[Measurement], *, terrain: Terrain | None = None, as_set: bool = False
) -> NDArray[np.float64]:
    """Delay difference that the plan gives for each measurement.

    Parameters
    ----------
    network : Network
    measurements : sequence of Measurement (M,)
    terrain : Terrain, optional
        Gives the ground at points whose `rx_ground_m` was not told; the network's plain without it.
    as_set : bool
        Launches with what is set now, not with the computed settings. Measurements made before a correction was
        taken up are held against the settings of then, see `sfn.survey.taken_up`.

    Returns
    -------
    ndarray (M,)
        Arrival of the site minus arrival of the reference site. [us]

    Raises
    ------
    PlanError
        If a position cannot be read.
    """
    placed = place(network)
    table = delay_table(network, placed=placed)
    launches, then_us = table.launches(as_set=as_set), settings_then_us(network, table, measurements, as_set=as_set)
    sites = {s.id: s for s in network.sites}
    lat, lon = np.array([m.lat_deg for m in measurements]), np.array([m.lon_deg for m in measurements])
    ground_m = np.array([m.rx_ground_m for m in measurements])
    untold = np.isnan(ground_m)
    if untold.any():
        found_m = np.nan if terrain is None else heights(terrain, lat[untold], lon[untold])
        ground_m[untold] = np.where(np.isnan(found_m), network.plain_m, found_m)

    def of(ids: list[str]) -> tuple[NDArray[np.float64], ...]:
        rows = [
            (launches[i], placed[i].lat_deg, placed[i].lon_deg, sites[i].ground_m + sites[i].antenna_m) for i in ids
        ]
        return tuple(np.array(rows, dtype=np.float64).T)

    launch, site_lat, site_lon, site_height = of([m.site for m in measurements])
    other, other_lat, other_lon, other_height = of([m.reference_site for m in measurements])
    return predicted_difference(
        launch + then_us[:, 0],
        site_lat_deg=site_lat,
        site_lon_deg=site_lon,
        site_height_m=site_height,
        reference_launch_us=other + then_us[:, 1],
        reference_lat_deg=other_lat,
        reference_lon_deg=other_lon,
        reference_height_m=other_height,
        lat_deg=lat,
        lon_deg=lon,
        rx_height_m=ground_m + network.receiver.height_m,
        refractivity_n=network.refractivity_n,
    )


def planned_levels(
    network: Network,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    *,
    ground: Ground | None = None,
    rx_height_m: float | None = None,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Level of every site at points, and the bearing of the points seen from the sites.

    Parameters
    ----------
    network : Network
    lat_deg, lon_deg : array_like (M,)
        [degrees]
    ground : Ground, optional
        Terrain; a smooth earth without it.
    rx_height_m : float, optional
        Receiving antenna above ground; the network's receiver where not given. [m]

    Returns
    -------
    level_dbuvm, bearing_deg : ndarray (S, M)
        In the order of the document; NaN where a site is not covered by terrain. [dBuV/m, degrees]

    Raises
    ------
    PlanError
        If a position cannot be read.
    """
    lat, lon = np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64)
    height_m = network.receiver.height_m if rx_height_m is None else rx_height_m
    plane = None if network.receiver.polarisation == "stronger" else network.receiver.polarisation
    placed = place(network)
    level, bearing = [], []
    for site in network.sites:
        radiated = transmitter(site, network, lat_deg=placed[site.id].lat_deg, lon_deg=placed[site.id].lon_deg)
        found = levels_at(radiated, lat, lon, rx_height_m=height_m, ground=ground, receiver_polarisation=plane)
        level.append(found.level_dbuvm)
        bearing.append(found.bearing_deg)
    return np.array(level), np.array(bearing)
