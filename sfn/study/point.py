"""The answer of ``point``: every signal at one receiving point."""

from dataclasses import dataclass

from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.point import PointQuality, point_quality, with_verdict
from sfn.reception.quality import yardstick
from sfn.reception.signals import PointSignals, signals_at
from sfn.reception.significance import criteria
from sfn.report.arrival_rows import ArrivalRows, point_rows
from sfn.report.stems import Stems, stems
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.systems.of_network import service_of
from sfn.systems.ofdm import of_strategy
from sfn.systems.ofdm_window import Placing
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable


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
    now = tried(network, tries, placed=placed, as_set=as_set, ground=ground)
    found = signals_at(
        now.network,
        now.launches,
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        placed=now.placed,
        counts=criteria(network, service_of(network)),
        ground=ground,
        rx_height_m=rx_height_m,
        rx_ground_m=rx_ground_m,
    )
    return found, now


def nothing_says(network: Network, found: PointSignals) -> str:
    """Why there is no signal at a point, in words; empty where there is one."""
    if found.signals:
        return ""
    if not any(site.on_air for site in network.sites):
        return "No site is on air: nothing is received here or anywhere"
    if found.uncovered:
        return (
            "Not worked out here: the terrain does not cover the paths to this point. That does not say that nothing "
            "is heard"
        )
    return "No signal reaches this point in this model"


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
    nothing_says: str
    """Why there is no signal; empty where there is one."""
    smooth_says: str
    """As in `sfn.reception.signals.PointSignals`."""


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
    about = (
        yard.placing, yard.carried.guard_us, yard.carried.required_cn_profile_source, nothing_says(network, point),
        point.smooth_says,
    )  # fmt: skip
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
