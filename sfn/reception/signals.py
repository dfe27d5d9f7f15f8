"""Signals at one receiving point: level, travel, launch, arrival and differences, strongest first."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from sfn.field.indoors import indoor_loss_db
from sfn.field.levels import PointLevels, levels_at
from sfn.field.over_smooth import smooth_says
from sfn.field.over_treetops import place_says, way_over
from sfn.field.shift import shift_says, site_shift
from sfn.field.transmitter import Transmitter
from sfn.geodesy.globe import FURTHEST_PATH_M
from sfn.geodesy.line import inverse, path_length, travel_time
from sfn.geodesy.position import Located
from sfn.geodesy.sites import within_reach
from sfn.plan import Network, Site
from sfn.plan.left_out import LeftOut
from sfn.reception.aimed import behind_antenna, roof_of
from sfn.reception.along import LineSignals, other_signals
from sfn.reception.coverage import received_plane, transmitters
from sfn.reception.significance import Criteria, delay_spread, significant
from sfn.terrain.ground import Ground
from sfn.terrain.treetops import on_treetops


@dataclass(frozen=True, slots=True)
class Signal:
    """One site's signal at a point. Differences are this signal minus the strongest: later and stronger positive.

    Levels are those behind the receiving antenna, which takes `antenna_db` off (0 or less).
    """

    site: str
    site_name: str
    ground_m: float
    path_m: float
    bearing_deg: float
    level_dbuvm: float
    level_1pct_dbuvm: float
    antenna_db: float
    travel_us: float
    launch_us: float
    arrival_us: float
    delay_difference_us: float
    level_difference_db: float
    significant: bool


@dataclass(frozen=True, slots=True)
class PointSignals:
    """Every signal at one receiving point, strongest first.

    `uncovered` names sites that are not listed, because the terrain does not cover the path; `over_gaps` those that
    are, over a small gap in the terrain that was filled from its rim. `rx_ground_m` is None where nothing is known.
    """

    lat_deg: float
    lon_deg: float
    rx_height_m: float
    rx_ground_m: float | None
    signals: tuple[Signal, ...]
    delay_spread_us: float | None
    usable: bool
    smooth: bool
    uncovered: tuple[str, ...]
    over_gaps: tuple[str, ...]
    roof: str = ""
    """The receiving antenna where it is directional; it points at the first signal's site."""
    corrected: str = ""
    """Which levels are corrected by drive tests, in words."""
    too_far: tuple[str, ...] = ()
    """Names of sites on air that are not listed, because they are over 500 km away."""
    left_out: tuple[LeftOut, ...] = ()
    """Sites that are not listed because they cannot be read."""
    others: LineSignals | None = None
    """Transmitters of other programmes at this one place, before the receiving antenna; None where none is listed."""
    smooth_says: str = ""
    """Where the plain lies that stands in the place of terrain; empty where one is named or the ground was given."""
    treetops_say: str = ""
    """Where treetops and roofs count as bare ground, at the place and on the ways to it, in words; else empty."""


def signals_at(
    network: Network,
    launches: Mapping[str, float],
    *,
    lat_deg: float,
    lon_deg: float,
    placed: Mapping[str, Located],
    counts: Criteria,
    ground: Ground | None = None,
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
    ground : Ground, optional
        Terrain between sites and point; a smooth earth where not given.
    rx_height_m : float, optional
        Receiving antenna above ground; the network's receiver where not given. [m]
    rx_ground_m : float, optional
        Ground above sea level at the point; what the level model uses where not given. [m]

    Returns
    -------
    point : PointSignals
        ``arrival = launch + travel``; the travel time is that of the line between the antennas, ``sqrt(s^2 + dh^2)``.

    Raises
    ------
    PlanError
        If every site on air is over 500 km away.
    """
    height = network.receiver.height_m if rx_height_m is None else rx_height_m
    radiating = {site.id: one for site, one in zip(network.sites, transmitters(network, placed), strict=True)}
    on_air, too_far = _near(network, placed, lat_deg, lon_deg)
    made = [
        _signal(network, site, launches[site.id], radiating[site.id], (lat_deg, lon_deg), height, rx_ground_m, ground)
        for site in on_air
    ]
    roof = roof_of(network)
    if roof is not None:
        made = _behind(network, made, lat_deg, lon_deg, placed)
    heard = sorted((item for item in made if np.isfinite(item[0].level_dbuvm)), key=lambda item: -item[0].level_dbuvm)
    gaps = [(s.site_name, bool(np.isfinite(s.level_dbuvm))) for s, levels in made if not bool(levels.covered)]
    uncovered, over_gaps = (tuple(name for name, known in gaps if known == wanted) for wanted in (False, True))
    smooth = all(levels.smooth for _, levels in made)
    above = next((float(levels.rx_ground_m) for _, levels in made if np.isfinite(levels.rx_ground_m)), rx_ground_m)
    lies = smooth_says(network) if rx_ground_m is None else ""
    tops = _treetops_say(ground, made, placed, (lat_deg, lon_deg), above if rx_ground_m is None else None)
    if not heard:
        return PointSignals(
            lat_deg, lon_deg, height, above, (), None, False, smooth, uncovered, over_gaps, too_far=too_far,
            left_out=network.left_out, smooth_says=lies, treetops_say=tops,
        )  # fmt: skip
    level = np.array([[signal.level_dbuvm] for signal, _ in heard])
    arrival = np.array([[signal.arrival_us] for signal, _ in heard])
    counted = significant(level, arrival, significant_db=counts.significant_db, guard_us=counts.guard_us)
    top = heard[0][0]
    signals = tuple(_against(signal, top, bool(counted[i, 0])) for i, (signal, _) in enumerate(heard))
    spread = float(delay_spread(arrival, counted)[0])
    usable = top.level_dbuvm >= counts.usable_dbuvm
    named = "" if roof is None else roof.name
    return PointSignals(
        lat_deg,
        lon_deg,
        height,
        above,
        signals,
        spread,
        usable,
        smooth,
        uncovered,
        over_gaps,
        named,
        shift_says(network),
        too_far,
        network.left_out,
        other_signals(network, np.array([lat_deg]), np.array([lon_deg]), ground=ground, rx_height_m=height),
        lies,
        tops,
    )


def _treetops_say(
    ground: Ground | None,
    made: list[tuple[Signal, PointLevels]],
    placed: Mapping[str, Located],
    point: tuple[float, float],
    above_m: float | None,
) -> str:
    """Where treetops count as bare ground; `above_m` is the terrain's height of the place, None where it was given."""
    lat, lon = (np.array([value]) for value in point)
    stands = bool(on_treetops(ground, lat, lon, np.array([np.nan if above_m is None else above_m]))[0])
    ways = (
        way_over(ground, s.site_name, (placed[s.site].lat_deg, placed[s.site].lon_deg), point)
        for s, levels in made
        if np.isfinite(levels.level_dbuvm)
    )
    return place_says(stands, ways)


def _near(
    network: Network, placed: Mapping[str, Located], lat_deg: float, lon_deg: float
) -> tuple[list[Site], tuple[str, ...]]:
    """The sites on air whose path to a point is worked out, and the names of those too far; one must be near."""
    heard = network.transmitting
    on_air = [site for site in network.sites if site.id in heard]
    far = {
        site.id
        for site in on_air
        if inverse(placed[site.id].lat_deg, placed[site.id].lon_deg, lat_deg, lon_deg)[0] > FURTHEST_PATH_M
    }
    if on_air and len(far) == len(on_air):
        within_reach(network, placed, lat_deg, lon_deg, most_m=FURTHEST_PATH_M, where="at")
    return [site for site in on_air if site.id not in far], tuple(site.name for site in on_air if site.id in far)


def _behind(
    network: Network,
    made: list[tuple[Signal, PointLevels]],
    lat_deg: float,
    lon_deg: float,
    placed: Mapping[str, Located],
) -> list[tuple[Signal, PointLevels]]:
    """The signals behind a roof antenna."""
    sites = [placed[signal.site] for signal, _ in made]
    _, bearing, _ = inverse(lat_deg, lon_deg, [at.lat_deg for at in sites], [at.lon_deg for at in sites])
    level = np.array([[signal.level_dbuvm] for signal, _ in made])
    gain = behind_antenna(network, level, np.reshape(bearing, (-1, 1))).ravel()
    return [
        (
            replace(
                signal,
                level_dbuvm=signal.level_dbuvm + float(db),
                level_1pct_dbuvm=signal.level_1pct_dbuvm + float(db),
                antenna_db=float(db),
            ),
            levels,
        )
        for (signal, levels), db in zip(made, gain, strict=True)
    ]


def _signal(
    network: Network,
    site: Site,
    launch_us: float,
    radiated: Transmitter,
    point: tuple[float, float],
    height_m: float,
    rx_ground_m: float | None,
    ground: Ground | None,
) -> tuple[Signal, PointLevels]:
    """One site's signal before it is compared, and the levels it comes from."""
    levels = levels_at(
        radiated,
        *point,
        rx_height_m=height_m,
        rx_ground_m=rx_ground_m,
        ground=ground,
        receiver_polarisation=received_plane(network),
    )
    above = float(levels.rx_ground_m) if np.isfinite(levels.rx_ground_m) else rx_ground_m or 0.0
    rise = above + height_m - site.ground_m - site.antenna_m
    length = float(path_length(levels.ground_distance_m, height_difference_m=rise))
    travel = float(travel_time(length, refractivity_n=network.refractivity_n))
    shift_db = float(site_shift(site, levels.bearing_deg)) - indoor_loss_db(network)
    signal = Signal(
        site.id,
        site.name,
        float(levels.ground_distance_m),
        length,
        float(levels.bearing_deg),
        float(levels.level_dbuvm) + shift_db,
        float(levels.level_1pct_dbuvm) + shift_db,
        0.0,
        travel,
        launch_us,
        launch_us + travel,
        0.0,
        0.0,
        False,
    )
    return signal, levels


def _against(signal: Signal, top: Signal, counts: bool) -> Signal:
    """The signal with its differences from the strongest."""
    return replace(
        signal,
        delay_difference_us=signal.arrival_us - top.arrival_us,
        level_difference_db=signal.level_dbuvm - top.level_dbuvm,
        significant=counts,
    )
