"""The road for scripts: ``/api/networks/ID/road``, as JSON and as files; part of the interface of `webapp.api`."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Response
from pydantic import BaseModel, Field

from sfn.answer.road_document import document
from sfn.answer.road_files import MEDIA, road_file
from sfn.answer.road_plan import PlannedRoad, planned_road
from sfn.answer.what_if import WhatIf
from sfn.answer.window_try import WindowTry
from sfn.survey.drive_log import log_of_levels
from sfn.survey.track import track_of
from webapp.dependencies import MapsDep, Opened, ReadableDep
from webapp.limits import Latitude, Longitude, Number
from webapp.maps import Maps
from webapp.pages.map_files import named, stamp_of

router = APIRouter(tags=["answers"])


class LevelMeasured(BaseModel):
    """A level measured on the road."""

    lat: Latitude
    lon: Longitude
    level_dbuvm: Annotated[float, Field(ge=-50, le=160, description="[dBuV/m]")]
    site: Annotated[str, Field(description="Whose signal, by its id; empty for all on air together.")] = ""


class RoadAsked(BaseModel):
    """A line to drive along, and what is tried on the way; sites by their ids."""

    line: Annotated[
        list[tuple[Latitude, Longitude]],
        Field(min_length=2, max_length=20_000, description="[latitude, longitude] pairs on WGS 84. [degrees]"),
    ]
    spacing_m: Annotated[float, Field(ge=5, le=10_000, description="Distance of samples. [m]")] = 100.0
    rx_height_m: Annotated[float | None, Field(ge=1, le=3000, description="Above ground. [m]")] = None
    as_set: Annotated[bool, Field(description="With what is set now, not with the computed settings.")] = False
    offsets_us: Annotated[dict[str, Number], Field(description="Offsets tried, positive is later. [us]")] = {}
    clocks_late_us: Annotated[dict[str, Number], Field(description="Clocks that are late by so much. [us]")] = {}
    routes: Annotated[dict[str, str], Field(description="Routes tried, with the main route's setting.")] = {}
    off_air: Annotated[list[str], Field(description="Sites off the air.")] = []
    strategy: Annotated[str, Field(description="How OFDM receivers place their window; the network's where empty.")] = (
        ""
    )
    backoff_us: Annotated[float | None, Field(description="Back-off of that strategy. [us]")] = None
    threshold_db: Annotated[float | None, Field(description="How far down the strategy first looks. [dB]")] = None
    log: Annotated[
        list[LevelMeasured], Field(max_length=200_000, description="Measured levels to hold against the prediction.")
    ] = []


@router.post("/networks/{network_id}/road")
def answer_road(opened: ReadableDep, maps: MapsDep, body: RoadAsked) -> dict[str, Any]:
    """Reception along a road, as ``python -m sfn road --json`` answers."""
    return document(_planned(opened, maps, body), revision=opened.head.revision.number)


@router.post(
    "/networks/{network_id}/road.{form}",
    response_class=Response,
    responses={200: {"content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in MEDIA.values()}}},
)
def road_as_file(
    opened: ReadableDep, maps: MapsDep, body: RoadAsked, form: Literal["csv", "geojson", "kml", "svg", "png"]
) -> Response:
    """The same as a file: a table, lines for maps, or the chart; with revision, checksum and what is tried."""
    made = _planned(opened, maps, body)
    by = stamp_of(opened, made.found.says)
    return Response(road_file(made, form, by), media_type=MEDIA[form], headers=named(by, "road", form))


def _planned(opened: Opened, maps: Maps, body: RoadAsked) -> PlannedRoad:
    """The road that was asked for."""
    network = opened.network
    levels = [(one.lat, one.lon, one.level_dbuvm, one.site) for one in body.log]
    sites = tuple(site.id for site in network.sites)
    return planned_road(
        network,
        track_of(body.line, source="line"),
        tries=WhatIf(
            body.offsets_us,
            body.clocks_late_us,
            body.routes,
            frozenset(body.off_air),
            WindowTry(body.strategy, body.backoff_us, body.threshold_db),
        ),
        as_set=body.as_set,
        spacing_m=body.spacing_m,
        rx_height_m=body.rx_height_m,
        log=log_of_levels(levels, source="log", sites=sites) if levels else None,
        ground=maps.ground(network),
        folder=maps.terrain_folder,
    )
