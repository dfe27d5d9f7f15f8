"""Reception along a road: a line is sent or drawn, its levels are computed once, everything tried follows at once."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from starlette.datastructures import UploadFile

from sfn.answer.road_document import document
from sfn.answer.road_files import MEDIA, road_file
from sfn.errors import PlanError, Problem
from sfn.field.around import bounds_of
from sfn.study.overlay_roads import road_track
from sfn.study.road_plan import Line, PlannedRoad, on_line, planned_road
from sfn.study.what_if import WhatIf
from sfn.survey.drive_log import DriveLog, log_of_levels
from sfn.survey.track import (
    EXPECTED,
    GREATEST_SPACING_M,
    LEAST_SPACING_M,
    USUAL_SPACING_M,
    Track,
    samples,
    track_of,
    track_of_bytes,
    typed_track,
)
from sfn.systems.fm_carried import heard_programme
from sfn.terrain.credits import credits_say
from sfn.timing.planned_state import in_state
from webapp.config.addresses import Room, to
from webapp.config.limits import whole_number
from webapp.coverage.map_address import MapAddress, asked_by
from webapp.coverage.road_asked import RoadAsked
from webapp.coverage.road_kept import RoadKept, begun
from webapp.coverage.roads import overlay_roads
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep, UploadsDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.site_marks import site_marks
from webapp.shell.stamped import named, stamp_of
from webapp.standing.tries import SiteTry, TriesDep, WindowTried, by_form, height_of, query_of, site_tries, window_tries
from webapp.work.jobs import ENDED, Jobs
from webapp.work.logs import chosen_logs, reading_of
from webapp.work.map_heights import tried_over
from webapp.work.maps import Maps
from webapp.work.measurements import number_of, safe_name

router = Room("road")
GONE = "That road is no longer kept here. Send the line again."


@dataclass(frozen=True, slots=True)
class RoadTyped:
    """The form as it was typed."""

    line: str = ""
    spacing_m: str = ""
    rx_height_m: str = ""


@dataclass(frozen=True, slots=True)
class RoadPage(Context):
    """A line to drive along, and what a receiver gets on it."""

    TEMPLATE: ClassVar[str] = "coverage/road.html"
    TAB: ClassVar[str] = "road"
    network: NetworkHead
    """Which network, in which revision."""
    typed: RoadTyped
    """The form as it was typed."""
    job: str
    """Of the levels along the line; empty where no line was sent."""
    source: str
    """What the line is called."""
    made: PlannedRoad | None
    """The road as tried, and as planned."""
    sites: tuple[SiteTry, ...]
    """What may be tried at each site."""
    window: WindowTried | None
    """How OFDM receivers place their window; None where the service has none."""
    names: dict[str, str]
    """Site names by id."""
    query: tuple[tuple[str, str], ...]
    """What is tried, as an address has it."""
    says: tuple[str, ...]
    """The same in words, while there is no line; empty where it is the plan."""
    programme: str
    """FM: what quality holds for, in words; empty for other services."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    drawn: dict[str, Any]
    """Sites and bounds, for the map."""
    shade: str
    """Where the shaded ground is found; empty where no terrain is named."""
    problems: tuple[Problem, ...]
    """What is wrong with the line, or doubtful."""
    usual_spacing_m: float
    """Distance of samples where none is typed."""
    rx_height_m: float
    """Of the network's receiver, where none is typed."""
    log_typed: Mapping[str, str]
    """What was typed of a log."""
    frequency_mhz: float
    """Of the network."""
    states: tuple[str, ...]
    """Planned states that the road can be asked for."""
    state: str
    """The one that is shown; empty: today."""


@router.get("/networks/{network_id}/road")
def show(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, tries: TriesDep,
    job: str = "",
) -> Response:  # fmt: skip
    """The form; and the road, once its levels are there."""
    most = settings.limits.grid_points
    if not job:
        try:
            says = tried_over(maps, opened.network, tries).says
        except PlanError as error:
            return page(request, _page(opened, maps, most, problems=error.problems), status=422)
        return page(request, _page(opened, maps, most, tries=tries, says=says))
    kept = kept_line(jobs, job)
    if kept is None:
        known = jobs.find(job)
        if known is not None and (known.state not in ENDED or known.view().again):
            return RedirectResponse(to("jobs.show", job), 303)
        notice(request, GONE)
        return RedirectResponse(to("road.show", opened.head.id), 303)
    if by_form(request):  # a shorter way to say the same
        trying = query_of(tries.against(opened.network))
        return RedirectResponse(to("road.show", opened.head.id, job=job, query=trying), 303)
    if not kept.holds(opened.network, maps.ground(opened.network)):
        return page(request, _page(opened, maps, most, job=job, kept=kept, tries=tries))
    try:
        made = on_line(opened.network, kept, tries)
    except PlanError as error:
        plan = on_line(opened.network, kept, WhatIf())
        context = _page(opened, maps, most, job=job, kept=kept, made=plan, problems=error.problems)
        return page(request, context, status=422)
    return page(request, _page(opened, maps, most, job=job, kept=kept, made=made, tries=tries))


@router.post("/networks/{network_id}/road/upload")
def send(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, form: FormDep,
    files: UploadsDep, tries: TriesDep,
) -> Response:  # fmt: skip
    """Start computing levels along a line that was sent, drawn or typed; what is tried in the address stays tried."""
    typed = RoadTyped(form.get("line", ""), form.get("spacing_m", ""), form.get("rx_height_m", ""))
    try:
        of, how = reading_of(form, files, opened.network)
        log = chosen_logs(files["log"], of=of, how=how)[0] if files.get("log") else None
        track = _track(files, typed, log)
        spacing_m = number_of(
            form, "spacing_m", usual=USUAL_SPACING_M, least=LEAST_SPACING_M, greatest=GREATEST_SPACING_M, unit="m"
        )
        samples(track, spacing_m=spacing_m)
        height_m = height_of(typed.rx_height_m)
    except PlanError as error:
        context = _page(
            opened, maps, settings.limits.grid_points, typed=typed, log_typed=form, tries=tries, problems=error.problems
        )
        return page(request, context, status=422)
    return _started(opened, maps, jobs, tries, track, log, spacing_m, height_m)


@router.post("/networks/{network_id}/road/picked")
def pick(
    opened: ReadableDep, store: StoreDep, maps: MapsDep, jobs: JobsDep, settings: SettingsDep, form: FormDep,
    tries: TriesDep, beside: bool = False,
) -> Response:  # fmt: skip
    """Start computing levels along a road of an overlay: `picked` is the overlay, the road's number and its name.

    `beside`: its end is the overlap map with the road's profile beside it.
    """
    key, _, rest = form.get("picked", "").partition(":")
    number, _, name = rest.partition(":")
    of = next((one for one in overlay_roads(opened, store, maps, settings) if one.key == key), None)
    if of is None:
        raise RefusedError(422, Problem("picked", "that overlay is gone", "a road of the list", code="road-gone"))
    chosen = whole_number(number)
    track = road_track(
        of.roads, -1 if chosen is None else chosen, name, overlay=of.name, fetched=of.fetched, credit=of.credit
    )
    samples(track, spacing_m=USUAL_SPACING_M)  # refused here, where it is asked for
    return _started(
        opened, maps, jobs, tries, track, None, USUAL_SPACING_M, None, asked=asked_by(form) if beside else None
    )


@router.post("/networks/{network_id}/road/again")
def again(
    request: Request, opened: ReadableDep, maps: MapsDep, jobs: JobsDep, form: FormDep, tries: TriesDep
) -> Response:
    """Compute levels along a line that was sent before, with sites and terrain as they are now."""
    kept = kept_line(jobs, form.get("job", ""))
    if kept is None:
        notice(request, GONE)
        return RedirectResponse(to("road.show", opened.head.id), 303)
    return _started(opened, maps, jobs, tries, kept.track, kept.log, kept.spacing_m, kept.rx_height_m)


@router.get("/networks/{network_id}/road/{job}/road.{form}")
def file(
    opened: ReadableDep,
    maps: MapsDep,
    jobs: JobsDep,
    tries: TriesDep,
    job: str,
    form: Literal["csv", "geojson", "kml", "svg", "png"],
    show: bool = False,
) -> Response:
    """The road as a file; `show`: for the page."""
    kept = kept_line(jobs, job)
    if kept is None or not kept.holds(opened.network, maps.ground(opened.network)):
        raise RefusedError(404)
    made = on_line(opened.network, kept, tries)
    whose = (f"line: {kept.track.credit}",) if kept.track.credit else ()
    classes = () if show else made.found.beside_says  # the page says it
    by = stamp_of(opened, made.found.says, classes=classes, besides=whose)
    headers = {} if show else named(by, "road", form)
    return Response(road_file(made, form, by), media_type=MEDIA[form], headers=headers)


def _track(files: dict[str, list[UploadFile]], typed: RoadTyped, log: DriveLog | None) -> Track:
    """The line: out of a file, or typed, or else where the log was taken."""
    for chosen in files.get("track", ()):
        return track_of_bytes(chosen.file.read(), source=safe_name(chosen.filename or "line"))
    if log is not None and not typed.line.strip():
        return track_of(
            list(zip(log.lat_deg.tolist(), log.lon_deg.tolist(), strict=True)), source=log.origin.name, recorded=True
        )
    if not typed.line.strip():
        raise PlanError(
            [
                Problem(
                    "line",
                    "there is none",
                    f"draw or type one, or choose a file: {EXPECTED}",
                    code="no-line-given",
                    fields=("line",),
                )
            ]
        )
    return typed_track(typed.line)


def kept_line(jobs: Jobs, job: str) -> Line | None:
    """The line of a job that has ended well."""
    ended = jobs.find(job)
    return ended.result if ended is not None and isinstance(ended.result, Line) else None


def _started(
    opened: Opened, maps: Maps, jobs: Jobs, tries: WhatIf, track: Track, log: DriveLog | None, spacing_m: float,
    height_m: float | None, *, asked: MapAddress | None = None,
) -> Response:  # fmt: skip
    """A job whose end is the page with its road, or the overlap map that was `asked` for, with the road beside it."""
    of = RoadKept(track, spacing_m, height_m, query_of(tries.against(opened.network)))
    job = begun(opened, maps, jobs, of, log, asked=asked)
    job.ended.wait(1.5)  # most roads are there at once
    return RedirectResponse(job.view().result_url or to("jobs.show", job.id), 303)


def _line_problems(kept: Line | None) -> tuple[Problem, ...]:
    """What is doubtful about the line, and about the log laid on it."""
    if kept is None:
        return ()
    return (*kept.track.problems, *(() if kept.log is None else kept.log.origin.problems))


def _page(
    opened: Opened,
    maps: Maps,
    most: int,
    *,
    typed: RoadTyped | None = None,
    job: str = "",
    kept: Line | None = None,
    made: PlannedRoad | None = None,
    tries: WhatIf | None = None,
    log_typed: Mapping[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    says: tuple[str, ...] = (),
) -> RoadPage:
    """The page with whatever is there to show."""
    network = opened.network
    tried_now = (tries or WhatIf()).against(network)
    wanted = maps.wanted(network, bounds=None, pixel_m=None, most=most)
    south, west, north, east = wanted.grid.bounds_deg
    area, shade = [[south, west], [north, east]], ""
    if (computed := maps.find(wanted.key)) is not None and not computed.smooth:
        shade = to("zones.shade", opened.head.id, wanted.key)
    elif network.terrain is not None:
        shade = to("zones.ground", opened.head.id)
    drawn = {"sites": site_marks(network), "area": area, "bounds": area}
    if kept is not None:
        a, b, c, d = bounds_of(kept.samples.lat_deg, kept.samples.lon_deg)
        drawn["bounds"] = [[a, b], [c, d]]
    if typed is None:
        typed = RoadTyped()
        if kept is not None:
            height = "" if kept.rx_height_m is None else f"{kept.rx_height_m:g}"
            typed = RoadTyped("", f"{kept.spacing_m:g}", height)
    return RoadPage(
        network=opened.head,
        typed=typed,
        job=job,
        source="" if kept is None else kept.track.name,
        made=made,
        window=window_tries(network, tries or WhatIf()) if made is not None else None,
        sites=() if made is None else site_tries(in_state(network, tried_now.state), tried_now, made.table),
        names={site.id: site.name for site in network.sites},
        query=tuple(query_of(tried_now)),
        says=says,
        programme=heard_programme(network),
        doubts=() if made is None else made.doubts,
        drawn=drawn,
        shade=shade,
        problems=(*problems, *_line_problems(kept)),
        usual_spacing_m=USUAL_SPACING_M,
        rx_height_m=network.receiver.height_m,
        log_typed=log_typed or {},
        frequency_mhz=network.frequency_mhz,
        states=tuple(one.name for one in network.planned or ()),
        state=tried_now.state,
    )


for_scripts = Room("api", under="/api", tags=["answers"], include_in_schema=True)


@for_scripts.post("/networks/{network_id}/road")
def answer_road(opened: ReadableDep, maps: MapsDep, body: RoadAsked) -> dict[str, Any]:
    """Reception along a road, as ``python -m sfn road --json`` answers."""
    answer = document(_planned(opened, maps, body), revision=opened.head.revision.number)
    return answer | {"credits": credits_say(opened.head.credits)}


@for_scripts.post(
    "/networks/{network_id}/road.{form}",
    response_class=Response,
    responses={200: {"content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in MEDIA.values()}}},
)
def road_as_file(
    opened: ReadableDep, maps: MapsDep, body: RoadAsked, form: Literal["csv", "geojson", "kml", "svg", "png"]
) -> Response:
    """The same as a file: a table, lines for maps, or the chart; with revision, checksum and what is tried."""
    made = _planned(opened, maps, body)
    by = stamp_of(opened, made.found.says, classes=made.found.beside_says)
    return Response(road_file(made, form, by), media_type=MEDIA[form], headers=named(by, "road", form))


def _planned(opened: Opened, maps: Maps, body: RoadAsked) -> PlannedRoad:
    """The road that was asked for."""
    network = opened.network
    levels = [(one.lat, one.lon, one.level_dbuvm, one.site) for one in body.log]
    sites = tuple(site.id for site in network.sites)
    return planned_road(
        network,
        track_of(body.line, source="line"),
        tries=body.tries,
        as_set=body.as_set,
        spacing_m=body.spacing_m,
        rx_height_m=body.rx_height_m,
        log=log_of_levels(levels, source="log", sites=sites) if levels else None,
        ground=maps.ground(network),
        folder=maps.terrain_folder,
    )
