"""What is kept of a road that was asked for, so that its levels can be computed again: plain data."""

import json
import secrets
from dataclasses import dataclass, replace
from urllib.parse import parse_qsl, urlencode

from sfn.errors import Problem
from sfn.study.road_plan import Line, line
from sfn.survey.drive_log import DriveLog
from sfn.survey.track import Track, track_of
from webapp.config.addresses import to
from webapp.coverage.map_address import MapAddress
from webapp.shell.dependencies import Opened
from webapp.work.jobs import Job, Jobs, Progress
from webapp.work.maps import Maps

FUNCTION = "road"
MOST_KEPT_VERTICES_N = 20_000
"""A longer line (a day of a receiver's track) is to be sent again."""


@dataclass(frozen=True, slots=True)
class RoadKept:
    """A road as it was asked for."""

    track: Track
    spacing_m: float
    """Between samples. [m]"""
    rx_height_m: float | None
    """Above ground; None: the network's receiver. [m]"""
    trying: list[tuple[str, str]]
    """What was tried, as an address has it."""


def kept_of(road: RoadKept) -> dict[str, str]:
    """The line and what was typed beside it, as texts."""
    track, height_m = road.track, road.rx_height_m
    points = list(zip(track.lat_deg.tolist(), track.lon_deg.tolist(), strict=True))
    return {
        "points": json.dumps(points),
        "name": track.name,
        "credit": track.credit,
        "problems": json.dumps([one.as_json() for one in track.problems]),
        "spacing_m": repr(road.spacing_m),
        "rx_height_m": "" if height_m is None else repr(height_m),
        "trying": urlencode(road.trying),
    }


def kept_again(typed: dict[str, str]) -> RoadKept:
    """The road of what was kept.

    Raises
    ------
    PlanError
        If its line is none.
    """
    points = [(float(lat), float(lon)) for lat, lon in json.loads(typed["points"])]
    doubts = tuple(
        Problem(
            one["where"], one["what"], one["expected"], one["severity"], code=one["code"], fields=tuple(one["fields"]),
            values=one["values"],
        )
        for one in json.loads(typed["problems"])
    )  # fmt: skip
    height = typed["rx_height_m"]
    return RoadKept(
        replace(track_of(points, source=typed["name"]), problems=doubts, credit=typed["credit"]),
        float(typed["spacing_m"]),
        float(height) if height else None,
        parse_qsl(typed["trying"], keep_blank_values=True),
    )


def begun(
    opened: Opened, maps: Maps, jobs: Jobs, road: RoadKept, log: DriveLog | None, *, asked: MapAddress | None = None
) -> Job:
    """A job of levels along a road, whose end is its page, or the overlap map that was `asked` for.

    What was asked for outlives the process, but for a log, and for a line too long to be kept.
    """
    network, revision = opened.network, opened.head.revision

    def work(progress: Progress) -> Line:
        def tell(site: str, done: int, total: int) -> None:
            progress.tell(f"levels of {site} along the road", done=done, total=total)

        return line(
            network, road.track, spacing_m=road.spacing_m, rx_height_m=road.rx_height_m, log=log,
            ground=maps.ground(network), folder=maps.terrain_folder, tell=tell,
        )  # fmt: skip

    def where(job_id: str) -> str:
        if asked is None:
            return to("road.show", opened.head.id, job=job_id, query=road.trying)
        beside = replace(asked, road=job_id, panel="road")
        return to("zones.show", opened.head.id, query=[*beside.query, *road.trying])

    whole = log is None and len(road.track.lat_deg) <= MOST_KEPT_VERTICES_N
    kept = {"network": opened.head.id, "revision": revision.number, "checksum": revision.checksum}
    return jobs.start(
        work,
        title="Levels along the road",
        key=secrets.token_urlsafe(9),
        result_url=where,
        function=FUNCTION,
        asked=kept | ({"typed": kept_of(road)} if whole else {}),
    )


def again(opened: Opened, maps: Maps, jobs: Jobs, typed: dict[str, str], _most: int) -> Job:
    """The levels along a line that is kept, with sites and terrain as they are now."""
    return begun(opened, maps, jobs, kept_again(typed), None)
