"""What a roof antenna makes of the levels at places: ITU-R BT.419 and BS.599, pointed at the strongest site.

Field strengths stay what they are; what counts for reception is lowered for sites that the antenna does not point at.
Which site that is depends on what is on air, so it is worked out after levels, never kept on disk with them.

| symbol | name | unit |
|---|---|---|
| S, M | sites on air, and places | |
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.line import inverse, sphere_bearing
from sfn.geodesy.position import Located
from sfn.geodesy.sites import place, placed_sites
from sfn.plan import Network
from sfn.reception.coverage import Coverage
from sfn.systems.receiving_antenna import RoofAntenna, aimed_levels, roof_antenna

Singles = NDArray[np.float32]
Floats = NDArray[np.float64]

# Two positions written for the antennas of one mast or one compound differ by less; two masts of a network by more.
ONE_MAST_M = 250.0


def roof_of(network: Network) -> RoofAntenna | None:
    """The antenna of a network's receivers; None where they receive alike from all round.

    Raises
    ------
    PlanError
        If no Recommendation gives one for the frequency.
    """
    if network.receiver.antenna != "roof":
        return None
    try:
        return roof_antenna(network.frequency_mhz)
    except ValueError as error:
        expected = "none: alike from all round"
        raise PlanError(
            [Problem("receiver.antenna", f"no roof antenna is known: {error}", expected, code="roof-antenna-unknown")]
        ) from error


def bare_says(network: Network) -> str:
    """What must stand beside levels before the receiving antenna; empty where that receives alike from all round."""
    antenna = roof_of(network)
    if antenna is None:
        return ""
    return (
        f"The receivers' roof antenna ({antenna.name}) is not counted here: on maps, roads and at points it takes off "
        "what sites radiate that it does not point at"
    )


def behind_antenna(network: Network, level_dbuvm: NDArray[np.floating], bearing_deg: NDArray[np.floating]) -> Floats:
    """What the receiver's antenna takes off each signal, 0 or less.

    Parameters
    ----------
    network : Network
    level_dbuvm : ndarray, shape (S, M)
        Median levels of the sites on air; NaN where there is no signal. [dB(uV/m)]
    bearing_deg : ndarray, shape (S, M)
        From the places to the sites. [degrees]

    Returns
    -------
    gain_db : ndarray, shape (S, M)
        [dB]
    """
    antenna = roof_of(network)
    if antenna is None or not len(level_dbuvm):
        return np.zeros(level_dbuvm.shape)
    return np.asarray(aimed_levels(level_dbuvm, bearing_deg=bearing_deg, antenna=antenna) - level_dbuvm)


def aimed_beside(
    network: Network,
    level_dbuvm: NDArray[np.floating],
    bearing_deg: NDArray[np.floating],
    other_bearing_deg: NDArray[np.floating],
) -> Floats:
    """What the receiver's antenna, pointed at the strongest of our sites, takes off other transmitters, 0 or less.

    Parameters
    ----------
    network : Network
    level_dbuvm, bearing_deg : ndarray, shape (S, M)
        Of our sites on air, at least one. [dB(uV/m), degrees]
    other_bearing_deg : ndarray, shape (O, M)
        From the places to the other transmitters. [degrees]

    Returns
    -------
    gain_db : ndarray, shape (O, M)
        [dB]
    """
    faint = np.nanmin(np.where(np.isfinite(level_dbuvm), level_dbuvm, np.nan), axis=0, initial=0.0) - 100.0
    theirs = np.broadcast_to(faint, other_bearing_deg.shape)
    both = np.vstack([level_dbuvm, theirs]), np.vstack([bearing_deg, other_bearing_deg])
    return behind_antenna(network, *both)[len(level_dbuvm) :]


def received(network: Network, computed: Coverage, rows: NDArray[np.intp]) -> tuple[Singles, Singles]:
    """Levels at 50 % and 1 % of time of some sites as the network's receivers get them, shape (S, M). [dB(uV/m)]

    Parameters
    ----------
    network : Network
    computed : Coverage
    rows : ndarray of int
        The sites on air, as places in the first axis.

    Raises
    ------
    PlanError
        If no roof antenna is known for the frequency.
    """
    # Where all radiate nothing is copied: rows of twenty sites and a million pixels are 240 MB.
    which: slice | NDArray[np.intp] = slice(None) if len(rows) == len(computed.sites) else rows
    level, rare = computed.level_dbuvm[which], computed.level_1pct_dbuvm[which]
    if roof_of(network) is None or not len(rows):
        return level, rare
    key = tuple(rows.tolist())
    gain_db = computed.gains.get(key)
    if gain_db is None:
        gain_db = behind_antenna(network, level, bearings_to(network, computed, rows)).astype(np.float32)
        computed.gains.clear()  # the last set of sites is enough: a try goes back and forth with it
        computed.gains[key] = gain_db
    return level + gain_db, rare + gain_db


def bearings_to(network: Network, computed: Coverage, rows: NDArray[np.intp]) -> Singles:
    """Bearing of sites seen from every pixel, on the sphere, shape (S, M). [degrees]"""
    placed = place(network)
    lat_deg, lon_deg = computed.grid.lat_deg[:, None], computed.grid.lon_deg
    made = np.empty((len(rows), computed.grid.pixels_n), dtype=np.float32)
    for i, row in enumerate(rows):
        at = placed[computed.sites[row]]
        made[i] = sphere_bearing(lat_deg, lon_deg, at.lat_deg, at.lon_deg).ravel()
    return made


def masts_of(network: Network, sites: Sequence[str]) -> NDArray[np.int64]:
    """A number for each site, the same for those within `ONE_MAST_M` of each other: their levels fade together.

    Sites that only lie in one direction from a place do not. Of one whose position cannot be read nothing is said: it
    has a number of its own.

    Parameters
    ----------
    network : Network
    sites : sequence of str
        Ids.
    """
    placed = placed_sites(network).at
    return masts_at([placed.get(name) for name in sites])


def masts_at(placed: Sequence[Located | None]) -> NDArray[np.int64]:
    """The same of transmitters where they stand, None where that is not known."""
    made = np.arange(len(placed), dtype=np.int64)
    known = [(i, at) for i, at in enumerate(placed) if at is not None]
    if len(known) < 2:
        return made
    lat, lon = np.array([(at.lat_deg, at.lon_deg) for _, at in known]).T
    for at, (i, _) in enumerate(known[1:], start=1):
        apart_m = inverse(lat[at], lon[at], lat[:at], lon[:at])[0]
        near = np.flatnonzero(apart_m <= ONE_MAST_M)
        if near.size:
            made[i] = made[known[near[0]][0]]
    return made
