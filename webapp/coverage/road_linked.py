"""A road's places, for the chart and the map that show the same one."""

from fastapi.responses import JSONResponse, Response

from sfn.answer.road_linked import road_places
from sfn.study.road_plan import on_line
from webapp.config.addresses import Room
from webapp.coverage.road import kept_line
from webapp.shell.dependencies import JobsDep, MapsDep, ReadableDep
from webapp.shell.problems import RefusedError
from webapp.standing.tries import TriesDep

router = Room("road")


@router.get("/networks/{network_id}/road/{job}/places.json")
def linked(opened: ReadableDep, maps: MapsDep, jobs: JobsDep, tries: TriesDep, job: str) -> Response:
    """Every sample: distance, place, and what is received there in a line."""
    kept = kept_line(jobs, job)
    if kept is None or not kept.holds(opened.network, maps.ground(opened.network)):
        raise RefusedError(404)
    return JSONResponse(road_places(on_line(opened.network, kept, tries).found))
