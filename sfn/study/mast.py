"""A place where a transmitter might stand, and the network as it would be with one there, before anything is built.

Nobody has fed such a place yet. Where its latency from the studio is not known, its device is taken to reach every
whole step round the common delay: what can be said then is when it must launch, not what is dialled in.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sfn.chain import MAIN
from sfn.errors import PlanError, Problem
from sfn.geodesy.line import inverse
from sfn.geodesy.position import Located
from sfn.plan import Antenna, Chain, DelayField, Network, Position, Power, Site, Stage
from sfn.plan.proposal import name_for
from sfn.study.lever_try import ALL_ROUND, TABLES, has_tables
from sfn.timing.device import UNKNOWN, device

WITHIN_STEPS_N = 10_000_000
"""Steps either way that a stand-in for a device reaches: any offset of a document, in any unit."""


@dataclass(frozen=True, slots=True)
class Mast:
    """A place for a new transmitter.

    Parameters
    ----------
    name : str
    position : mapping
        As a document has it.
    at : Located
    ground_m : float
        Ground above sea level. [m]
    antenna_m : float
        Middle of the antenna above ground. [m]
    erp_kw : Power
        In the direction of maximum.
    pattern : str
        Id of the site whose pattern it must have, or `ALL_ROUND`; empty: whatever serves most.
    azimuth_deg : float, optional
        Where that pattern must point, from true north. [degrees]
    feed_us : float, optional
        Latency from the network's reference point to its antenna; None: not known. [us]
    said : tuple of str
        How it was found, and what is doubtful about it.
    """

    name: str
    position: Mapping[str, Any]
    at: Located
    ground_m: float
    antenna_m: float
    erp_kw: Power
    pattern: str = ""
    azimuth_deg: float | None = None
    feed_us: float | None = None
    said: tuple[str, ...] = field(default=())


def neighbour(network: Network, placed: Mapping[str, Located], lat_deg: float, lon_deg: float, like: str = "") -> Site:
    """The site whose chain and device a new one would have: the one named, else the nearest fed from the studio.

    Raises
    ------
    PlanError
        If the one named is not there or has no device that can be set, or no site has.
    """
    fit = [site for site in network.sites if _settable(site)]
    if like:
        fit = [site for site in fit if site.id == like]
    if not fit:
        what = (
            f"{like} is no site that a new one can be like" if like else "there is no site that a new one can be like"
        )
        expected = "one fed from the studio, with a delay field of known unit"
        raise PlanError([Problem("like", what, expected, code="no-site-to-be-like", fields=("like",))])
    return min(fit, key=lambda site: _away_m(placed[site.id], lat_deg, lon_deg))


def _settable(site: Site) -> bool:
    """Whether it is fed from the studio and its delay can be set."""
    known = all(one.unit != UNKNOWN for one in site.delay_fields)
    return site.fed_off_air_from is None and bool(site.delay_fields) and known


def _away_m(at: Located, lat_deg: float, lon_deg: float) -> float:
    """How far a place is. [m]"""
    return float(inverse(at.lat_deg, at.lon_deg, lat_deg, lon_deg)[0])


def with_mast(network: Network, mast: Mast, like: Site, *, name: str, common_us: float) -> Network:
    """The network with a new transmitter at a mast at the end of its sites, alike in all directions.

    Parameters
    ----------
    network : Network
        With its common delay held.
    mast : Mast
    like : Site
        Whose device it has.
    name : str
        Its id, which no site has.
    common_us : float
        The common delay. [us]

    Returns
    -------
    network : Network
        One stage stands for its chain: as long as its feed is known to be, else as long as the common delay, with a
        field of the device's finest step that reaches every whole step to either side.
    """
    stage_id = name_for(f"{name}-feed", [stage.id for stage in network.stages])
    latency_us = common_us if mast.feed_us is None else mast.feed_us
    stage = Stage(id=stage_id, kind="other", latency_us=latency_us, source="assumed")
    fields = tuple(one.model_copy(update={"set": None}) for one in like.delay_fields)
    site = Site(
        id=name, name=mast.name, position=Position(**mast.position), ground_m=mast.ground_m, antenna_m=mast.antenna_m,
        erp_kw=mast.erp_kw, on_air=True, delay_fields=fields if mast.feed_us is not None else (_every_step(fields),),
        chains=(Chain(route=MAIN, stages=(stage_id,)),),
    )  # fmt: skip
    # The plain that stands in the place of terrain stays where it is: the levels of the others rest on it.
    return network.of_sites((*network.sites, site)).model_copy(update={"stages": (*network.stages, stage)})


def _every_step(fields: Sequence[DelayField]) -> DelayField:
    """The finest of some fields, without limits and insertion delay: what a device not yet fed can be relied on for."""
    finest = fields[device(fields).coarse_first[-1]]
    most = WITHIN_STEPS_N * finest.step
    free = {"least": -most, "greatest": most, "insertion_us": 0.0, "sign": "later", "set": None}
    return finest.model_copy(update=free)


def library(network: Network) -> dict[str, Antenna]:
    """Patterns that the network has, by the id of the first site with it: the same tables count once."""
    found: dict[str, Antenna] = {}
    for site in network.sites:
        tables = pattern_of(network, site.id)
        if tables is not None and tables not in found.values():
            found[site.id] = tables
    return found


def pattern_of(network: Network, name: str) -> Antenna | None:
    """The pattern of one site of a network; None where it has none, or is not there."""
    antenna = next((site.antenna for site in network.sites if site.id == name), None)
    if antenna is None or not has_tables(antenna):
        return None
    return Antenna(**{key: getattr(antenna, key) for key in TABLES})


def turns(antenna: Antenna) -> bool:
    """Whether a pattern differs between bearings, so that it matters where it points."""
    planes = (antenna, antenna.vertical_plane)
    return any(plane is not None and plane.horizontal is not None for plane in planes)


def with_pattern(network: Network, name: str, antenna: Antenna | None, azimuth_deg: float) -> Network:
    """The network with a pattern at a site, pointing so; None: alike in all directions."""
    made = None if antenna is None else antenna.model_copy(update={"azimuth_deg": azimuth_deg})
    sites = tuple(site.model_copy(update={"antenna": made}) if site.id == name else site for site in network.sites)
    return network.model_copy(update={"sites": sites})


def patterns_of(mast: Mast, known: Mapping[str, Antenna]) -> dict[str, Antenna | None]:
    """The patterns that are tried at a mast: all, beside none at all; or the one it must have."""
    if mast.pattern == ALL_ROUND:
        return {ALL_ROUND: None}
    if mast.pattern:
        return {mast.pattern: known[mast.pattern]}
    return {ALL_ROUND: None, **known}
