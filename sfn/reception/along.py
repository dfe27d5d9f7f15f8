"""Signals of all sites along a line: levels and travel times once, whatever is tried with delays afterwards.

| symbol | name | unit |
|---|---|---|
| S, M | sites in document order, and samples along the line | |
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.field.indoors import indoor_loss_db
from sfn.field.levels import levels_at
from sfn.field.shift import site_shift
from sfn.field.transmitter import Transmitter
from sfn.geodesy.globe import FURTHEST_REACH_M
from sfn.geodesy.line import inverse, path_length, travel_time
from sfn.geodesy.sites import place, within_reach
from sfn.plan import Network
from sfn.reception.coverage import received_plane, transmitters
from sfn.reception.other_network import others_of, others_placed
from sfn.terrain.ground import Ground, averaged_says, coarsest
from sfn.terrain.treetops import on_treetops

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LineSignals:
    """Signals of S sites at M places.

    Parameters
    ----------
    sites : tuple of str
        Site ids in document order, on air or not.
    level_dbuvm, level_1pct_dbuvm : ndarray, shape (S, M)
        Exceeded for 50 % and 1 % of time, median over places; NaN where the terrain leaves the path out. [dB(uV/m)]
    travel_us : ndarray, shape (S, M)
        From antenna to antenna. [us]
    bearing_deg : ndarray, shape (S, M)
        From the places to the sites. [degrees]
    tx_bearing_deg, tx_elevation_deg : ndarray, shape (S, M)
        From the sites to the places, and at which elevation the ray leaves: what an antenna turns on. [degrees]
    radiating : tuple of Transmitter
        What the levels are of, site by site.
    rx_ground_m : ndarray, shape (M,)
        Ground above sea level; NaN where it is not known. [m]
    covered : ndarray of bool, shape (S, M)
        False where the terrain has a gap on the path.
    rx_height_m : float
        Receiving antenna above ground. [m]
    smooth : bool
        No terrain was used.
    averaged : tuple of int
        As in `sfn.reception.coverage.Coverage`.
    lat_deg, lon_deg : ndarray, shape (M,)
        The places. [degrees]
    """

    sites: tuple[str, ...]
    level_dbuvm: Floats
    level_1pct_dbuvm: Floats
    travel_us: Floats
    bearing_deg: Floats
    tx_bearing_deg: Floats
    tx_elevation_deg: Floats
    radiating: tuple[Transmitter, ...]
    rx_ground_m: Floats
    covered: NDArray[np.bool_]
    rx_height_m: float
    smooth: bool
    lat_deg: Floats
    lon_deg: Floats
    averaged: tuple[int, int, int] = (1, 1, 1)
    others: "LineSignals | None" = None
    """Of transmitters of other programmes; None where none is listed."""
    beyond_terrain: tuple[str, ...] = ()
    """Names of other programmes' transmitters that reach places over a smooth earth: the terrain leaves them out."""
    on_treetops: NDArray[np.bool_] | None = None
    """Where heights of treetops count as bare ground, shape (M,) (`sfn.terrain.treetops`); None: not looked at."""

    @property
    def averaged_says(self) -> str:
        """What must be said where the ground was made coarser; empty where it was not."""
        return averaged_says(*self.averaged)


def line_signals(
    network: Network,
    lat_deg: Floats,
    lon_deg: Floats,
    *,
    ground: Ground | None = None,
    rx_height_m: float | None = None,
    tell: Callable[[str, int, int], None] | None = None,
) -> LineSignals:
    """Levels and travel times of all sites at places in a row.

    Parameters
    ----------
    network : Network
    lat_deg, lon_deg : ndarray, shape (M,)
        [degrees]
    ground : Ground, optional
        Terrain; a smooth earth without it.
    rx_height_m : float, optional
        Receiving antenna above ground; the network's receiver where not given. [m]
    tell : callable(site name, done, total), optional
        Told before each site, and at the end.

    Raises
    ------
    PlanError
        If a position or a site cannot be used, or a site on air is over 1 500 km from one of the places.
    ValueError
        If `rx_height_m` is outside 1 to 3000 m.
    """
    height_m = network.receiver.height_m if rx_height_m is None else rx_height_m
    placed = place(network)
    within_reach(network, placed, lat_deg, lon_deg, most_m=FURTHEST_REACH_M, where="line")
    radiating = transmitters(network, placed)
    shape = (len(radiating), len(lat_deg))
    level, rare, travel, bearing, leaves, rises = (np.full(shape, np.nan) for _ in range(6))
    covered, above = np.ones(shape, dtype=bool), np.full(shape[1], np.nan)
    smooth, averaged = True, (1, 1, 1)
    for i, (one, site) in enumerate(zip(radiating, network.sites, strict=True)):
        if tell is not None:
            tell(site.name, i, len(radiating))
        found = levels_at(
            one, lat_deg, lon_deg, rx_height_m=height_m, ground=ground, receiver_polarisation=received_plane(network)
        )
        shift_db = site_shift(site, found.bearing_deg) - indoor_loss_db(network)
        level[i], rare[i], covered[i] = found.level_dbuvm + shift_db, found.level_1pct_dbuvm + shift_db, found.covered
        bearing[i] = inverse(lat_deg, lon_deg, one.lat_deg, one.lon_deg)[1]
        leaves[i], rises[i] = found.bearing_deg, found.tx_elevation_deg
        above = np.where(np.isnan(above), found.rx_ground_m, above)
        smooth &= found.smooth
        averaged = coarsest(averaged, found.averaged)
        rise_m = np.nan_to_num(found.rx_ground_m) + height_m - site.ground_m - site.antenna_m
        length_m = path_length(found.ground_distance_m, height_difference_m=rise_m)
        travel[i] = travel_time(length_m, refractivity_n=network.refractivity_n)
    if tell is not None:
        tell("all sites", len(radiating), len(radiating))
    ids = tuple(site.id for site in network.sites)
    others = other_signals(network, lat_deg, lon_deg, ground=ground, rx_height_m=height_m)
    return LineSignals(
        ids, level, rare, travel, bearing, leaves, rises, radiating, above, covered, height_m, smooth,
        np.asarray(lat_deg, dtype=np.float64), np.asarray(lon_deg, dtype=np.float64), averaged, others,
        on_treetops=on_treetops(ground, np.asarray(lat_deg), np.asarray(lon_deg), above),
    )  # fmt: skip


def other_signals(
    network: Network, lat_deg: Floats, lon_deg: Floats, *, ground: Ground | None, rx_height_m: float
) -> LineSignals | None:
    """The same of transmitters of other programmes, arguments as for `line_signals`; None where none is listed.

    Where the terrain does not cover a path they count over a smooth earth: what disturbs must not be forgotten.
    """
    theirs = others_of(network)
    if theirs is None:
        return None
    others_placed(theirs)
    made = line_signals(theirs, lat_deg, lon_deg, ground=ground, rx_height_m=rx_height_m)
    short = np.isnan(made.level_dbuvm)
    if ground is None or not short.any():
        return made
    flat = line_signals(theirs, lat_deg, lon_deg, rx_height_m=rx_height_m)
    return replace(
        made,
        level_dbuvm=np.where(short, flat.level_dbuvm, made.level_dbuvm),
        level_1pct_dbuvm=np.where(short, flat.level_1pct_dbuvm, made.level_1pct_dbuvm),
        beyond_terrain=tuple(theirs.sites[row].name for row in np.flatnonzero(short.any(axis=1))),
    )
