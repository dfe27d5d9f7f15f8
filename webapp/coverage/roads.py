"""Roads of a network's overlays: listed, or those beside a place of the map, each one click from reception along it."""

import json
from dataclasses import dataclass, replace
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.country.sets import SETS
from sfn.errors import PlanError
from sfn.study.overlay import country_file, country_overlay
from sfn.study.overlay_roads import NearRoad, Road, roads_near, roads_of
from webapp.config.addresses import Room, to
from webapp.config.limits import Latitude, Longitude
from webapp.config.settings import Settings
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, Opened, ReadableDep, SettingsDep, StoreDep
from webapp.shell.render import page
from webapp.shell.windows import Shown, Sought, Window, window
from webapp.standing.overlaid import usual_area
from webapp.standing.tries import TriesDep, query_of
from webapp.store.store import Store
from webapp.work.countries import shelf_of
from webapp.work.maps import Maps

router = Room("roads")
FETCHED, FETCHED_NAME = "fetched", "Natural Earth"
NEAR_M = 2000.0
NEAR_N = 4
"""So many of the nearest are offered beside a place."""


@dataclass(frozen=True, slots=True)
class OverlayRoads:
    """The lines of one overlay."""

    key: str
    """Its number; or that `country` brought it."""
    name: str
    roads: tuple[Road, ...]
    damaged: bool = False
    """Whether it is not what was kept: nothing of it is listed."""
    credit: str = ""
    """Whose data it is."""

    @property
    def fetched(self) -> bool:
        """Whether `country` brought it."""
        return self.key == FETCHED


@dataclass(frozen=True, slots=True)
class RoadLine:
    """A road in a list."""

    name: str
    overlay: str
    fetched: bool
    length_m: float
    """Of what lies in the network's area."""
    away_m: float | None
    """From the place that was asked for."""
    picked: str
    """How it is asked for: overlay, number and name."""


def _line(one: OverlayRoads, road: Road, away_m: float | None = None) -> RoadLine:
    """A road as pages list it."""
    return RoadLine(road.name, one.name, one.fetched, road.length_m, away_m, f"{one.key}:{road.number}:{road.name}")


@dataclass(frozen=True, slots=True)
class RoadsPage(Context):
    """Every road of the overlays, the longest first."""

    TEMPLATE: ClassVar[str] = "coverage/roads.html"
    TAB: ClassVar[str] = "road"
    network: NetworkHead
    """Which network, in which revision."""
    lines: Window[RoadLine]
    """Those of this part."""
    overlays: tuple[str, ...]
    """What was looked through."""
    damaged: tuple[str, ...]
    """Overlays that are not what was kept: nothing of them is listed."""
    sought: str
    """Part of a name; empty: all."""
    query: tuple[tuple[str, str], ...]
    """What is tried, as an address has it."""


@dataclass(frozen=True, slots=True)
class RoadsNear(Context):
    """Roads beside a place of the map."""

    TEMPLATE: ClassVar[str] = "coverage/roads_near.html"
    lines: tuple[RoadLine, ...]
    """The nearest first."""
    more: int
    """So many others lie as near."""
    within_m: float
    """How far was looked. [m]"""
    action: str
    """Where reception along one is asked for."""
    action_beside: str
    """The same, to be shown beside the map."""
    every: str
    """Where all are listed."""


@router.get("/networks/{network_id}/road/roads")
def show(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, tries: TriesDep,
    find: Sought = "", part: Shown = "",
) -> Response:  # fmt: skip
    """Roads whose name has `find` in it."""
    there = overlay_roads(opened, store, maps, settings)
    wanted = find.strip().casefold()
    every = [_line(one, road) for one in there for road in one.roads if wanted in road.name.casefold()]
    every.sort(key=lambda line: -line.length_m)
    trying = tuple(query_of(tries.against(opened.network)))
    names = tuple(one.name for one in there if one.roads)
    damaged = tuple(one.name for one in there if one.damaged)
    return page(request, RoadsPage(opened.head, window(every, part), names, damaged, find, trying))


@router.get("/networks/{network_id}/map/roads")
def near(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, tries: TriesDep,
    lat: Latitude, lon: Longitude,
) -> Response:  # fmt: skip
    """Roads beside a clicked place."""
    found: list[tuple[OverlayRoads, NearRoad]] = []
    for one in overlay_roads(opened, store, maps, settings):
        found += [(one, beside) for beside in roads_near(one.roads, lat, lon, within_m=NEAR_M)]
    found.sort(key=lambda pair: pair[1].away_m)
    lines = tuple(_line(one, beside.road, beside.away_m) for one, beside in found[:NEAR_N])
    trying = query_of(tries.against(opened.network))
    action, every = to("road.pick", opened.head.id, query=trying), to("roads.show", opened.head.id, query=trying)
    beside = to("road.pick", opened.head.id, beside=True, query=trying)
    return page(request, RoadsNear(lines, len(found) - len(lines), NEAR_M, action, beside, every))


def overlay_roads(opened: Opened, store: Store, maps: Maps, settings: Settings) -> tuple[OverlayRoads, ...]:
    """The lines of each overlay of a network; taken apart once, for an overlay never changes."""
    made = []
    for kept in store.overlays.of(opened.head.id):

        def own(number: int = kept.id) -> tuple[Road, ...]:
            return roads_of(json.loads(store.overlays.document(opened.head.id, number) or '{"features": []}'))

        try:
            roads = maps.worked_out(f"roads of overlay {kept.id}", opened.network, own)
        except PlanError:  # its text is not what was kept
            roads = ()
            kept = replace(kept, damaged=True)
        made.append(OverlayRoads(str(kept.id), kept.name, roads, kept.damaged, kept.attribution))
    shelf = shelf_of(settings.data_folder)
    if (file := country_file(shelf, "roads")) is not None:

        def fetched() -> tuple[Road, ...]:
            found = country_overlay(shelf, "roads", bounds_deg=usual_area(maps, settings, opened.network))
            return () if found is None else roads_of(found.document)

        whose = SETS["roads"].attribution
        key = f"fetched roads {file.name} {file.stat().st_mtime_ns}"
        made.append(OverlayRoads(FETCHED, FETCHED_NAME, maps.worked_out(key, opened.network, fetched), credit=whose))
    return tuple(one for one in made if one.roads or one.damaged)
