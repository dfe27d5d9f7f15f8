"""The air that levels are worked out with: delta N and N0 in force, what maps have, what is usual, what a change does.

One pair holds for the whole network. The ITU's digital maps of P.1812 say what the median is at a place; who has them
brings them. Without them there is advice by latitude and sea, named as what it is.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sfn.check.ground import USUAL_DELTA_N, USUAL_N0, WARM_DEG
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.propagation.p1812 import path_loss
from sfn.propagation.refractivity import Refractivity, RefractivityMaps
from sfn.propagation.smooth_earth import EARTH_RADIUS_KM, effective_radius
from sfn.terrain.sea import COAST_KM, sea_km

# How far from a mast a change is shown, over a smooth earth inland. [km]
DISTANCES_KM = (40.0, 80.0, 150.0)
STEP_KM = 0.25
# What the document takes: tenths, within its bounds.
BOUNDS = {"delta_n": (10.0, 120.0), "surface_refractivity_n0": (200.0, 450.0)}


@dataclass(frozen=True, slots=True)
class Advice:
    """What is usual at a latitude, by the sea or not; from memory, not from a map."""

    delta_n: tuple[float, float]
    """From, to. [N-units/km]"""
    surface_refractivity_n0: tuple[float, float] | None
    """From, to. [N-units]  None: nothing is known better than the usual."""
    warm: bool
    """Within 35 degrees of the equator."""
    coastal: bool
    """Within 50 km of a sea."""


@dataclass(frozen=True, slots=True)
class AirLine:
    """One site, or the middle of the network."""

    site_id: str
    """Empty: the middle."""
    name: str
    lat_deg: float
    lon_deg: float
    advice: Advice
    mapped: Refractivity | None
    """By the maps; None without them."""


@dataclass(frozen=True, slots=True)
class AirChange:
    """What other air does to a level over a smooth earth inland."""

    distance_km: float
    median_db: float
    """At 50 % of time. [dB]"""
    rare_db: float
    """At 1 % of time. [dB]"""


@dataclass(frozen=True, slots=True)
class Air:
    """The air in force beside others."""

    in_force: Refractivity
    origin: str
    """``usual`` (the document's defaults), ``maps`` (those of the maps at the middle, in tenths) or ``typed``."""
    earth_factor: float
    """Effective over true radius of the earth, in force."""
    lines: tuple[AirLine, ...]
    """The middle of the network first; empty where no site has a place."""
    offered: Refractivity | None
    """The maps' at the middle, in tenths: what may be taken up. None without maps."""
    offered_factor: float | None
    changes: tuple[AirChange, ...]
    """What taking it up does; empty where nothing would change."""
    tx_height_m: float
    """Of the highest antenna over its ground, for which changes are shown. [m]"""
    rx_height_m: float


def advised(lat_deg: float, lon_deg: float) -> Advice:
    """What is usual at a place (from memory: the maps of P.1812 go before it)."""
    warm, coastal = abs(lat_deg) < WARM_DEG, sea_km(lat_deg, lon_deg) <= COAST_KM
    if not warm:
        return Advice((USUAL_DELTA_N, USUAL_DELTA_N), (USUAL_N0, USUAL_N0), warm, coastal)
    if coastal:
        return Advice((50.0, 80.0), (340.0, 390.0), warm, coastal)
    return Advice((40.0, 60.0), None, warm, coastal)


def air_of(network: Network, placed: Mapping[str, Located], maps: RefractivityMaps | None) -> Air:
    """Delta N and N0 of a network, beside the maps' and what is usual.

    Parameters
    ----------
    network : Network
    placed : mapping of str to Located
        Where its sites stand; those without a place are left out.
    maps : RefractivityMaps or None

    Returns
    -------
    Air
    """
    in_force = Refractivity(network.delta_n, network.surface_refractivity_n0)
    where = [(s.id, s.name, placed[s.id].lat_deg, placed[s.id].lon_deg) for s in network.sites if s.id in placed]
    if where:
        where = [("", "", *middle_of([at[2] for at in where], [at[3] for at in where])), *where]
    lines = tuple(
        AirLine(key, name, lat, lon, advised(lat, lon), maps.at(lat, lon) if maps else None)
        for key, name, lat, lon in where
    )
    offered = _in_tenths(lines[0].mapped) if lines and lines[0].mapped else None
    tx_height_m = max(max(s.antenna_m for s in network.sites), 1.0)
    changes: tuple[AirChange, ...] = ()
    if offered is not None and offered != in_force:
        changes = tuple(_change(network, in_force, offered, tx_height_m, km) for km in DISTANCES_KM)
    origin = "typed"
    if in_force == Refractivity(USUAL_DELTA_N, USUAL_N0):
        origin = "usual"
    elif in_force == offered:
        origin = "maps"
    return Air(
        in_force, origin, effective_radius(in_force.delta_n) / EARTH_RADIUS_KM, lines, offered,
        effective_radius(offered.delta_n) / EARTH_RADIUS_KM if offered else None, changes, tx_height_m,
        network.receiver.height_m,
    )  # fmt: skip


def middle_of(lat_deg: list[float], lon_deg: list[float]) -> tuple[float, float]:
    """Mean latitude, and the middle of the longitudes round the earth. [degrees]"""
    east = np.radians(lon_deg)
    return float(np.mean(lat_deg)), float(np.degrees(np.arctan2(np.sin(east).mean(), np.cos(east).mean())))


def _in_tenths(found: Refractivity) -> Refractivity:
    """To a tenth, within what a document may have."""
    (least_dn, most_dn), (least_n0, most_n0) = BOUNDS["delta_n"], BOUNDS["surface_refractivity_n0"]
    return Refractivity(
        round(min(max(found.delta_n, least_dn), most_dn), 1),
        round(min(max(found.surface_refractivity_n0, least_n0), most_n0), 1),
    )


def _change(network: Network, old: Refractivity, new: Refractivity, mast_m: float, far_km: float) -> AirChange:
    """Levels with the new air less those with the old, over a smooth earth inland."""
    d = np.append(np.arange(0.0, far_km - STEP_KM / 2, STEP_KM), far_km)
    found = [
        path_loss(
            d, np.zeros(d.size), frequency_mhz=network.frequency_mhz, tx_height_m=mast_m,
            rx_height_m=max(network.receiver.height_m, 1.0), polarisation="V", time_pct=time_pct, latitude_deg=50.0,
            delta_n=air.delta_n, surface_refractivity_n0=air.surface_refractivity_n0,
        ).loss_db
        for time_pct in (50.0, 1.0)
        for air in (old, new)
    ]  # fmt: skip
    return AirChange(far_km, float(found[0] - found[1]), float(found[2] - found[3]))
