"""The answer of ``point``: every signal at one receiving point."""

from dataclasses import dataclass
from typing import Any

from sfn.answer.what_if import Tried, WhatIf, tried
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.plan.left_out import left_out_document
from sfn.reception.heard import Heard
from sfn.reception.point import PointQuality, point_quality, with_verdict
from sfn.reception.quality import yardstick
from sfn.reception.signals import PointSignals, Signal, signals_at
from sfn.reception.significance import criteria
from sfn.report.arrival_rows import ArrivalRows, point_rows
from sfn.report.stems import Stems, stems
from sfn.systems.of_network import service_of
from sfn.systems.ofdm import of_strategy
from sfn.systems.ofdm_window import Placing
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable
from sfn.units import finite_or_none


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
    return tried_signals(
        network, WhatIf(), lat_deg=lat_deg, lon_deg=lon_deg, rx_height_m=rx_height_m, rx_ground_m=rx_ground_m,
        as_set=as_set, ground=ground,
    )[0]  # fmt: skip


def tried_signals(
    network: Network,
    tries: WhatIf,
    *,
    lat_deg: float,
    lon_deg: float,
    rx_height_m: float | None = None,
    rx_ground_m: float | None = None,
    as_set: bool = False,
    ground: Ground | None = None,
) -> tuple[PointSignals, Tried]:
    """The same with something tried, and the network with that in force; arguments as for `point_signals`.

    Raises
    ------
    PlanError
        If a position or the service cannot be used, or what is tried names what the network does not have.
    """
    placed = place(network)
    now = tried(network, tries, placed=placed, as_set=as_set)
    found = signals_at(
        now.network,
        now.launches,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        placed=placed,
        counts=criteria(network, service_of(network)),
        ground=ground,
        rx_height_m=rx_height_m,
        rx_ground_m=rx_ground_m,
    )
    return found, now


@dataclass(frozen=True, slots=True)
class Judged:
    """A point as pages show it: signals, quality, arrival rows and stems; the last three None without signals."""

    point: PointSignals
    quality: PointQuality | None
    rows: ArrivalRows | None
    stems: Stems | None
    is_fm: bool
    placing: Placing
    """OFDM: how receivers place their window; margin, class and map count this one."""
    guard_us: float | None
    """OFDM: guard interval. [us]"""
    profile_source: str
    """OFDM: where the required C/N of a profile of arrivals comes from."""


def judged(network: Network, point: PointSignals, table: DelayTable) -> Judged:
    """A point with what its signals make of reception, and its pictures.

    Parameters
    ----------
    network : Network
    point : PointSignals
    table : DelayTable
    """
    yard = yardstick(network)
    is_fm = yard.carried.kind == "fm"
    quality = point_quality(network, point, yard)
    about = (yard.placing, yard.carried.guard_us, yard.carried.required_cn_profile_source)
    if quality is None:
        return Judged(point, None, None, None, is_fm, *about)
    point = with_verdict(point, quality)
    window_us = 0.0
    if yard.carried.kind == "ofdm":
        window_us = of_strategy(quality.answer)["window_us"]
    drawn = stems(
        point.signals,
        yard.carried,
        refractivity_n=network.refractivity_n,
        adequate_snr_db=yard.adequate_snr_db,
        window_us=window_us,
        listeners=None if yard.sets is None else yard.in_step().clear,
    )
    return Judged(point, quality, point_rows(point, table, network, yard.carried), drawn, is_fm, *about)


def document(found: PointSignals, quality: PointQuality | None = None) -> dict[str, Any]:
    """The JSON document of ``point --json``."""
    return {
        "lat": found.lat_deg,
        "lon": found.lon_deg,
        "rx_height_m": found.rx_height_m,
        "rx_ground_m": found.rx_ground_m,
        "smooth_earth": found.smooth,
        "usable": found.usable,
        "uncovered": list(found.uncovered),
        "over_gaps": list(found.over_gaps),
        "too_far": list(found.too_far),
        "left_out_sites": left_out_document(found.left_out),
        "signals": [_signal(signal) for signal in found.signals],
        "receiving_antenna": found.roof or None,
        "level_shifts": found.corrected or None,
        "delay_spread_us": found.delay_spread_us,
        "quality": None if quality is None else quality_document(quality),
    }


def quality_document(quality: PointQuality) -> dict[str, Any]:
    """Class, margin and what would fix it; `answer` is that of ``signals`` for the same list."""
    return {
        "class": quality.class_name,
        "for_people": quality.for_people,
        "quality_margin_db": quality.margin_db,
        "coverage_probability": quality.probability,
        "coverage_probability_independent": quality.independent_probability,
        "wanted": quality.wanted,
        "hurts": quality.hurts,
        "implementation_margin_db": quality.implementation_margin_db,
        "fixes": [
            {
                "site": fix.site,
                "change_us": fix.change_us,
                "quality_margin_db": fix.margin_db,
                "reaches_target": fix.reaches_target,
            }
            for fix in quality.fixes
        ],
        "needed_beside_others_dbuvm": None if quality.beside is None else finite_or_none(quality.beside.level_dbuvm[0]),
        "other_transmitters_say": quality.others_says,
        "other_transmitter": None if quality.beside is None else quality.beside.name_at(0),
        "answer": quality.answer,
        **_listeners(quality.heard),
    }


def _listeners(found: Heard | None) -> dict[str, Any]:
    """FM: shares of receivers, and what they rest on."""
    if found is None:
        return {}
    shares = ("stereo", "blended", "clear_stereo", "clear_mono", "upset", "good")
    return {f"share_{name}": found.share(name) for name in shares} | {
        "people_class": found.people_class,
        "classes_say": "class and for_people are the map's quick estimate and count; people_class is a figure beside "
        "them, of the shares drawn here",
        "served": found.served,
        "served_from_share": found.served_ratio,
        "shares_are_of": found.of,
        "listeners": found.blend.listeners,
        "share_that_blends": found.blend.blends_ratio,
        "wanted_snr_db": found.target_db,
        "listener_spread_db": found.spread_db,
        "shares_say": list(found.says),
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
        "antenna_db": signal.antenna_db,
        "travel_us": signal.travel_us,
        "launch_us": signal.launch_us,
        "arrival_us": signal.arrival_us,
        "delay_difference_us": signal.delay_difference_us,
        "level_difference_db": signal.level_difference_db,
        "significant": signal.significant,
    }
