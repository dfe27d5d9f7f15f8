"""The answer of ``path``: one path of a network, its ground, every intermediate of P.1812, level and travel time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sfn.errors import PlanError, Problem, Touch
from sfn.field.indoors import indoor_loss_db, indoors_says
from sfn.field.over_smooth import smooth_says
from sfn.field.over_treetops import Way, length_on, place_says
from sfn.field.path import PathLevels, path_levels
from sfn.field.shift import site_shift
from sfn.field.transmitter import Transmitter, transmitter
from sfn.geodesy.globe import FURTHEST_PATH_M
from sfn.geodesy.line import inverse, travel_time
from sfn.geodesy.position import locate
from sfn.plan import Network, Site
from sfn.propagation.smooth_earth import effective_radius
from sfn.reception.aimed import bare_says
from sfn.report.numbers import db, dbuvm, degrees, km, number, us
from sfn.report.plots import path_plot
from sfn.terrain.dem import heights
from sfn.terrain.ground import Ground, GroundWindow
from sfn.terrain.sea import at_sea
from sfn.terrain.treetops import on_treetops

# What the path page and command work out where nobody asks for other percentages.
USUAL_TIME_PCT = (50.0, 10.0, 1.0)


@dataclass(frozen=True, slots=True)
class PathAnswer:
    """One path of a network.

    Parameters
    ----------
    site : Site
    lat_deg, lon_deg : float
        The receiving point. [degrees]
    rx_height_m : float
        Receiving antenna above ground. [m]
    transmitter : Transmitter
    levels : PathLevels
        Ground, losses and levels.
    travel_us : float or None
        Travel time between the antennas; None when the ground at the receiver is not known. [us]
    indoors : str
        What maps and points take off for the wall, in words; these levels are outdoors. Empty where nothing is.
    indoors_db : float
        The same as a number. [dB]
    bare : str
        That a directional receiving antenna is not counted; empty where there is none.
    smooth_says : str
        Where the plain lies that stands in the place of terrain; empty where one is named or the ground was given.
    zones_unknown_m, unknown_at_sea_m : float
        How much of the path lies beyond the zones that are named, and counts as inland; and, by a coarse list of seas,
        over the sea. [m]
    treetops_m : float
        How much of the path lies over treetops and roofs that count as bare ground. [m]
    treetops_say : str
        The same in words, and whether the receiver's place is among them; empty where none is.
    """

    site: Site
    lat_deg: float
    lon_deg: float
    rx_height_m: float
    transmitter: Transmitter
    levels: PathLevels
    travel_us: float | None
    indoors: str = ""
    indoors_db: float = 0.0
    bare: str = ""
    smooth_says: str = ""
    zones_unknown_m: float = 0.0
    unknown_at_sea_m: float = 0.0
    treetops_m: float = 0.0
    treetops_say: str = ""

    @property
    def shift_db(self) -> float:
        """What drive tests add on maps and at points; these levels are the model's alone. [dB]"""
        return float(site_shift(self.site, self.levels.bearing_deg))


def path_answer(
    network: Network,
    *,
    site_id: str,
    lat_deg: float,
    lon_deg: float,
    ground: Ground | None,
    rx_height_m: float | None = None,
    rx_ground_m: float | None = None,
    time_pct: Sequence[float] = USUAL_TIME_PCT,
) -> PathAnswer:
    """Work out one path of a network.

    Parameters
    ----------
    network : Network
    site_id : str
        The transmitter.
    lat_deg, lon_deg : float
        Receiving point. [degrees]
    ground : Ground, optional
        From `sfn.terrain.ground.open_ground`; None: a smooth earth.
    rx_height_m, rx_ground_m : float, optional
        Receiving antenna above ground (the network's receiver), ground above sea level (the terrain's). [m]
    time_pct : sequence of float
        Percentages of time. [%]

    Raises
    ------
    PlanError
        If there is no such site, its position cannot be used, the point is over 500 km away, or a quantity is
        outside the model's range.
    """
    found = [(n, s) for n, s in enumerate(network.sites) if s.id == site_id]
    if not found:
        known = ", ".join(s.id for s in network.sites)
        raise PlanError(
            [
                Problem(
                    "site",
                    f"there is no site {site_id!r}",
                    f"one of {known}",
                    code="unknown-site",
                    fields=("site",),
                    values={"site": site_id},
                )
            ]
        )
    n, site = found[0]
    at = locate(**site.position.model_dump(exclude_none=True), where=f"sites[{n}].position")
    far_m = float(inverse(at.lat_deg, at.lon_deg, lat_deg, lon_deg)[0])
    if far_m > FURTHEST_PATH_M:
        what = f"lies {far_m / 1000:.0f} km from {site.name}"
        expected = f"a point at most {FURTHEST_PATH_M / 1000:.0f} km from the site"
        values = {"ground_m": far_m, "most_m": FURTHEST_PATH_M}
        raise PlanError([Problem("at", what, expected, code="path-too-long", touches=(Touch(site.id),), values=values)])
    height_m = network.receiver.height_m if rx_height_m is None else rx_height_m
    plane = None if network.receiver.polarisation == "stronger" else network.receiver.polarisation
    try:
        radiating = transmitter(site, network, lat_deg=at.lat_deg, lon_deg=at.lon_deg)
        levels = path_levels(
            radiating,
            lat_deg,
            lon_deg,
            ground=ground or GroundWindow(),
            rx_height_m=height_m,
            rx_ground_m=float("nan") if rx_ground_m is None else rx_ground_m,
            time_pct=time_pct,
            receiver_polarisation=plane,
        )
    except ValueError as refused:
        name, _, what = str(refused).partition(" ")
        raise PlanError(
            [
                Problem(
                    f"sites[{n}]",
                    f"site {site.name}: {name} {what}",
                    "a value inside that range",
                    code="outside-propagation-model",
                    touches=(Touch(site.id),),
                )
            ]
        ) from None
    known_end = bool(np.isfinite(levels.path_m))
    laid = levels.ground
    bare = on_treetops(ground, laid.lat_deg, laid.lon_deg, laid.ground_m)
    bare[0] = False  # both ends' own heights are typed, but for a receiver's that is not given
    bare[-1] &= rx_ground_m is None
    zones = None if ground is None else ground.zones
    unknown = np.isnan(np.zeros(laid.lat_deg.shape) if zones is None else heights(zones, laid.lat_deg, laid.lon_deg))
    way = Way(site.name, length_on(laid.distance_m, bare), levels.ground_distance_m)
    return PathAnswer(
        site=site,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        rx_height_m=height_m,
        transmitter=radiating,
        levels=levels,
        travel_us=float(travel_time(levels.path_m, refractivity_n=network.refractivity_n)) if known_end else None,
        indoors=indoors_says(network),
        indoors_db=indoor_loss_db(network),
        bare=bare_says(network),
        smooth_says=smooth_says(network) if rx_ground_m is None else "",
        zones_unknown_m=length_on(laid.distance_m, unknown),
        unknown_at_sea_m=length_on(laid.distance_m, unknown & at_sea(laid.lat_deg, laid.lon_deg)),
        treetops_m=way.bare_m,
        treetops_say=place_says(bool(bare[-1]), [way]),
    )


def path_picture(
    network: Network, answer: PathAnswer, *, picture: Literal["svg", "png"], credits_say: str = ""
) -> bytes:
    """The path's profile as a picture, see `sfn.report.plots.path_plot`; `credits_say`: whose data the ground is."""
    return path_plot(
        answer.levels,
        tx_name=answer.site.name,
        rx_name=f"{degrees(answer.lat_deg, 5)}, {degrees(answer.lon_deg, 5)}",
        frequency_mhz=network.frequency_mhz,
        radius_km=effective_radius(network.delta_n),
        refractivity_n=network.refractivity_n,
        picture=picture,
        beneath=credits_say,
    )


def path_text(answer: PathAnswer) -> str:
    """The answer for people: what came out, what it rests on, then every intermediate, one column a percentage."""
    levels = answer.levels
    lines = [
        f"{answer.site.name} to {degrees(answer.lat_deg, 5)}, {degrees(answer.lon_deg, 5)}",
        f"{'along the ground':<26}{km(levels.ground_distance_m, 3)}, bearing {number(levels.bearing_deg, 2)}°",
        f"{'between the antennas':<26}{km(levels.path_m, 3)}, {us(answer.travel_us, 4)}",
        f"{'antennas above sea level':<26}{number(levels.tx_m, 1)} m, {number(levels.rx_m, 1)} m",
        f"{'ground':<26}{resting_on(answer)}",
    ]
    if answer.treetops_say:
        lines.append(f"{'beware':<26}{answer.treetops_say}")
    if answer.indoors:
        lines.append(f"{'outdoors':<26}levels here are; on maps, points and roads: {answer.indoors}")
    if answer.bare:
        lines.append(f"{'receiving antenna':<26}{answer.bare}")
    if not levels.loss:
        return "\n".join([*lines, f"{'field strength':<26}not known"])
    sees = "in line of sight" if levels.loss[0].line_of_sight else "beyond the horizon"
    lines += [
        f"{'receiver':<26}{sees}",
        f"{'ray leaves at':<26}{number(levels.loss[0].tx_elevation_deg, 3)}° elevation, "
        f"antenna takes off {db(levels.attenuation_db, 2)} of {number(10.0 ** (levels.erp_dbk / 10.0), 3)} kW e.r.p.",
        "",
        f"{'time':<16}" + "".join(f"{f'{pct:g} %':>18}" for pct in levels.time_pct),
        f"{'field strength':<16}" + "".join(f"{dbuvm(level, 2):>18}" for level in levels.level_dbuvm),
        f"{'loss':<16}" + "".join(f"{db(one.loss_db, 2):>18}" for one in levels.loss),
    ]
    for name in levels.loss[0].intermediates:
        lines.append(f"{name:<16}" + "".join(f"{one.intermediates[name]:>18.6f}" for one in levels.loss))
    return "\n".join(lines)


def resting_on(answer: PathAnswer) -> str:
    """What the answer rests on, in words."""
    return f"{_ground_says(answer)}{_zones_say(answer)}{_obstacle_says(answer)}"


def _zones_say(answer: PathAnswer) -> str:
    """Where the zones that are named end, in words; empty where they reach all the way, or none are named."""
    if answer.zones_unknown_m <= 0.0:
        return ""
    all_m = answer.levels.ground_distance_m
    said = f"; zones of sea and coast are not known on {km(answer.zones_unknown_m, 1)} of {km(all_m, 1)}: inland there"
    if answer.unknown_at_sea_m <= 0.0:
        return said
    return f"{said}, though {km(answer.unknown_at_sea_m, 1)} lie over a sea: too weak for 1 % of the time"


def _obstacle_says(answer: PathAnswer) -> str:
    """What stands before the receiver, in words; empty where its place is bare."""
    ground = answer.levels.ground
    if ground.obstacle_m is None:
        return ""
    off_m = answer.levels.ground_distance_m - ground.obstacle_m[0]
    return (
        f"; {number(off_m, 0)} m before the receiver stands what covers its place, up to "
        f"{number(ground.obstacle_m[1], 1)} m above sea level"
    )


def _ground_says(answer: PathAnswer) -> str:
    """What is known of the ground, in words."""
    ground = answer.levels.ground
    if ground.smooth:
        return f"no terrain: a smooth earth at {number(ground.ground_m[0], 0)} m above sea level" + (
            f". {answer.smooth_says}" if answer.smooth_says else ""
        )
    if ground.covered:
        return "terrain, known all the way"
    if ground.broken:
        return f"terrain is not known from {km(ground.gap_from_m, 2)} on: no answer"
    return f"terrain has a small void at {km(ground.gap_from_m, 2)}, filled from its rim"
