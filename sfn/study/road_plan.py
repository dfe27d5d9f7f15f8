"""A road from a line to its answer: samples, levels once, then the plan and what is tried on it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from sfn.errors import PlanError, Problem
from sfn.field.around import bounds_of
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.along import LineSignals, line_signals
from sfn.reception.coverage import levels_key
from sfn.reception.listeners import listeners
from sfn.reception.radiated import line_as_radiated, line_walked
from sfn.study.losers import names_near
from sfn.study.road import Road, road
from sfn.study.what_if import WhatIf, tried
from sfn.survey.along import Overlaid, overlaid
from sfn.survey.drive_log import DriveLog
from sfn.survey.track import Samples, Track, samples
from sfn.systems.of_network import stamped_checksum
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable

ROOM_DEG = 0.1
NAMES_PIXEL_M = 2_000.0


@dataclass(frozen=True, slots=True)
class Line:
    """A line with everything that does not change with delays; what a page keeps of a road."""

    track: Track
    samples: Samples
    signals: LineSignals
    near: Mapping[str, tuple[float, float]]
    log: DriveLog | None
    spacing_m: float
    rx_height_m: float | None
    levels: str
    """What the levels were computed from."""
    ground: Ground | None = None
    """Over which ground."""

    def holds(self, network: Network, ground: Ground) -> bool:
        """Whether the levels are those of a network still: no delay, no offset, no site stopped changes it."""
        return self.levels == _key(network, ground)


@dataclass(frozen=True, slots=True)
class PlannedRoad:
    """A road as tried, as planned where something is tried, and with the log laid on it."""

    found: Road
    before: Road | None
    measured: Overlaid | None
    table: DelayTable
    """The delay table with what is tried."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    warnings: tuple[Problem, ...]
    """What is doubtful about the line."""
    checksum: str
    """Of the document as planned, as in every file of it."""

    @property
    def were(self) -> tuple[tuple[float, float | None], ...]:
        """Of each stretch as tried: how much of it was without service as planned, and the least margin. [m, dB]"""
        return () if self.before is None else tuple(self.before.between(s.from_m, s.to_m) for s in self.found.stretches)

    @property
    def become(self) -> tuple[tuple[float, float | None], ...]:
        """Of each stretch as planned: how much of it is without service as tried, and the least margin. [m, dB]"""
        return () if self.before is None else tuple(self.found.between(s.from_m, s.to_m) for s in self.before.stretches)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Both."""
        return (*self.warnings, *self.doubts)


def line(
    network: Network,
    track: Track,
    *,
    spacing_m: float,
    rx_height_m: float | None = None,
    log: DriveLog | None = None,
    ground: Ground | None = None,
    folder: Path,
    anywhere: bool = False,
    tell: Callable[[str, int, int], None] | None = None,
) -> Line:
    """Samples of a line, levels and travel times there, and the places that it passes.

    Parameters
    ----------
    network : Network
    track : Track
    spacing_m : float
        Distance of samples. [m]
    rx_height_m : float, optional
        Receiving antenna above ground; the network's receiver where not given. [m]
    log : DriveLog, optional
        Measured levels.
    ground : Ground, optional
        Terrain; a smooth earth without it.
    folder, anywhere
        Where a file of people is looked up, as for `sfn.reception.listeners.listeners`.
    tell : callable(site name, done, total), optional

    Raises
    ------
    PlanError
        If the spacing, the height, a position or a file cannot be used.
    """
    if rx_height_m is not None and not 1 <= rx_height_m <= 3000:
        raise PlanError(
            [
                Problem(
                    "rx_height_m",
                    f"cannot be {rx_height_m:g}",
                    "1 to 3000 m above ground",
                    code="out-of-range",
                    fields=("rx_height_m",),
                )
            ]
        )
    along = samples(track, spacing_m=spacing_m)
    signals = line_signals(network, along.lat_deg, along.lon_deg, ground=ground, rx_height_m=rx_height_m, tell=tell)
    near = _names(network, along, folder=folder, anywhere=anywhere)
    key = "" if ground is None else _key(network, ground)
    return Line(track, along, signals, near, log, spacing_m, rx_height_m, key, ground)


def on_line(network: Network, of: Line, tries: WhatIf, *, as_set: bool = False) -> PlannedRoad:
    """The road with something tried; only of a site whose antenna hangs elsewhere levels are computed again.

    Parameters
    ----------
    network : Network
        As planned.
    of : Line
    tries : WhatIf
    as_set : bool
        Launches with what is set now.

    Raises
    ------
    PlanError
        If what is tried, or the log, cannot be used.
    """
    placed = place(network)
    now = tried(network, tries, placed=placed, as_set=as_set, ground=of.ground)
    places = of.samples.lat_deg, of.samples.lon_deg
    signals = line_as_radiated(now.network, line_walked(now.network, of.signals, *places, ground=of.ground))
    found = road(now, of.samples, signals, near=of.near)
    before = None
    if now.says:
        plan = tried(network, WhatIf(), placed=placed, as_set=as_set)
        before = road(plan, of.samples, of.signals, near=of.near)
    measured = None
    if of.log is not None:
        measured = overlaid(of.log, of.samples, signals.level_dbuvm, sites=signals.sites, on_air=found.sites)
    doubts = (*of.track.problems, *(() if of.log is None else of.log.origin.problems))
    return PlannedRoad(found, before, measured, now.table, now.doubts, doubts, stamped_checksum(network))


def planned_road(
    network: Network, track: Track, *, tries: WhatIf, as_set: bool = False, spacing_m: float,
    rx_height_m: float | None = None, log: DriveLog | None = None, ground: Ground | None = None, folder: Path,
    anywhere: bool = False,
) -> PlannedRoad:  # fmt: skip
    """`line` and `on_line` in one; arguments as there."""
    made = line(
        network, track, spacing_m=spacing_m, rx_height_m=rx_height_m, log=log, ground=ground, folder=folder,
        anywhere=anywhere,
    )  # fmt: skip
    return on_line(network, made, tries, as_set=as_set)


def _key(network: Network, ground: Ground) -> str:
    """What levels at the places of a line depend on."""
    return levels_key(network, "line", ground=ground)


def _names(network: Network, along: Samples, *, folder: Path, anywhere: bool) -> Mapping[str, tuple[float, float]]:
    """Places around the line, and sites."""
    south, west, north, east = bounds_of(along.lat_deg, along.lon_deg)
    bounds = (max(south - ROOM_DEG, -84.0), west - ROOM_DEG, min(north + ROOM_DEG, 84.0), east + ROOM_DEG)
    heard = listeners(network, grid_for(bounds, pixel_m=NAMES_PIXEL_M), folder=folder, anywhere=anywhere)
    return names_near(heard.places, place(network), {site.id: site.name for site in network.sites})
