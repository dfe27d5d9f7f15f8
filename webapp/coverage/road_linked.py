"""A road's places, for the chart and the map that show the same one; and its profile beside the overlap map."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import JSONResponse, Response

from sfn.answer.road_files import MEDIA, road_profile_picture
from sfn.answer.road_linked import road_places
from sfn.study.road_plan import PlannedRoad, on_line
from sfn.study.what_if import WhatIf
from webapp.config.addresses import Room, to
from webapp.coverage.road import kept_line
from webapp.shell.context import Context
from webapp.shell.dependencies import JobsDep, MapsDep, Opened, ReadableDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.standing.tries import TriesDep, query_of
from webapp.work.jobs import Jobs
from webapp.work.maps import Maps

router = Room("road")
GONE = "That road is no longer kept here: roads are kept for a while only. Send or choose it again."
CHANGED = "Sites, heights or terrain have changed since the road was worked out: nothing of it is shown."


@dataclass(frozen=True, slots=True)
class RoadBeside(Context):
    """A road's profile in the panel of the overlap map."""

    TEMPLATE: ClassVar[str] = "coverage/road_beside.html"
    source: str
    """What the line is called."""
    made: PlannedRoad | None
    """The road as tried, and as planned; None where it cannot be shown."""
    chart: str
    """Where its profile is drawn."""
    samples: str
    """Where its places are, with what is received there."""
    line: str
    """Where it is as a line for the map."""
    route: str
    """Its page."""
    gone: str
    """Why it cannot be shown; empty where it is."""


@router.get("/networks/{network_id}/road/{job}/places.json")
def linked(opened: ReadableDep, maps: MapsDep, jobs: JobsDep, tries: TriesDep, job: str) -> Response:
    """Every sample: distance, place, and what is received there in a line."""
    return JSONResponse(road_places(_made(opened, maps, jobs, tries, job).found))


@router.get("/networks/{network_id}/road/{job}/profile.svg")
def profile(opened: ReadableDep, maps: MapsDep, jobs: JobsDep, tries: TriesDep, job: str) -> Response:
    """Level, margin and class over distance, narrow."""
    return Response(road_profile_picture(_made(opened, maps, jobs, tries, job)), media_type=MEDIA["svg"])


@router.get("/networks/{network_id}/road/{job}/beside")
def beside(request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, tries: TriesDep, job: str) -> Response:
    """The profile as a piece of the map's page; where it cannot be shown, why."""
    number, trying = opened.head.id, query_of(tries.against(opened.network))
    kept = kept_line(jobs, job)
    if kept is None:
        return page(request, RoadBeside("", None, "", "", "", to("road.show", number, query=trying), GONE))
    route = to("road.show", number, job=job, query=trying)
    if not kept.holds(opened.network, maps.ground(opened.network)):
        return page(request, RoadBeside("", None, "", "", "", route, CHANGED))
    made = on_line(opened.network, kept, tries)
    names = ("road.profile", "road.linked")
    chart, samples = (to(name, number, job, query=trying) for name in names)
    line = to("road.file", number, job, "geojson", query=trying)
    return page(request, RoadBeside(kept.track.name, made, chart, samples, line, route, ""))


def _made(opened: Opened, maps: Maps, jobs: Jobs, tries: WhatIf, job: str) -> PlannedRoad:
    """The road with what is tried.

    Raises
    ------
    RefusedError
        404 where it is not kept, or no longer holds.
    """
    kept = kept_line(jobs, job)
    if kept is None or not kept.holds(opened.network, maps.ground(opened.network)):
        raise RefusedError(404)
    return on_line(opened.network, kept, tries)
