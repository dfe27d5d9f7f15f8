"""What a programme sounds like at a point of an FM network."""

import io
import secrets
from dataclasses import dataclass
from typing import ClassVar, Literal

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.study.heard import PHASES, Heard, Programme, heard, own_programme, shipped_programme
from sfn.systems.of_network import service_of
from webapp.config.addresses import Room, to
from webapp.coverage.point import judged_at
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, ReadableDep, UploadsDep
from webapp.shell.following import found as followed
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.standing.tries import TriesDep, height_of, query_of
from webapp.work.jobs import Progress
from webapp.work.measurements import safe_name

router = Room("hear")


@dataclass(frozen=True, slots=True)
class HeardPage(Context):
    """A programme as heard at a point, beside the same undisturbed."""

    TEMPLATE: ClassVar[str] = "coverage/heard.html"
    TAB: ClassVar[str] = "point"
    network: NetworkHead
    """Which network, in which revision."""
    found: Heard
    """The two sounds and how they came about."""
    at: str
    """The point."""
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    job: str
    """Where the sounds are kept."""
    back: str
    """Address of the point."""


@dataclass(frozen=True, slots=True)
class Played:
    """A job's result: the sounds, and of which point."""

    found: Heard
    at: str
    rx_height_m: str
    says: tuple[str, ...]
    query: tuple[tuple[str, str], ...]


@router.post("/networks/{network_id}/point/hear/upload")
def play(
    opened: ReadableDep, maps: MapsDep, jobs: JobsDep, tries: TriesDep, form: FormDep, files: UploadsDep
) -> Response:
    """Start making the two sounds."""
    if service_of(opened.network).kind != "fm":
        raise PlanError(
            [Problem("service", f"{opened.network.service} is not FM", "an FM network", code="service-not-fm")]
        )
    at, height = form.get("at", ""), form.get("rx_height_m", "")
    typed = locate(text=at, where="at")
    judged, now = judged_at(opened, maps, tries, typed.lat_deg, typed.lon_deg, height_of(height))
    phase, stereo = form.get("phase", PHASES[0]), form.get("receiver", "stereo") == "stereo"
    programme: Programme | None = None
    for chosen in files.get("programme", ()):
        programme = own_programme(io.BytesIO(chosen.file.read()), name=safe_name(chosen.filename or "programme"))
    query = tuple(query_of(tries.against(opened.network)))

    def work(progress: Progress) -> Played:
        def tell(what: str, done: int, total: int) -> None:
            progress.tell(what, done=done, total=total)

        made = heard(judged.point, programme=programme or shipped_programme(), phase=phase, stereo=stereo, tell=tell)
        return Played(made, at, height, now.says, query)

    job = jobs.start(work, title="A programme as it is heard", key=secrets.token_urlsafe(9), short=True)
    job.result_url = to("hear.show", opened.head.id, job.id)
    return RedirectResponse(to("jobs.show", job.id), 303)


@router.get("/networks/{network_id}/point/hear/{job}")
def show(request: Request, opened: ReadableDep, jobs: JobsDep, job: str) -> Response:
    """The two sounds, to be played one after the other."""
    made = _played(jobs, job)
    back = to("point.show", opened.head.id, at=made.at, rx_height_m=made.rx_height_m, query=made.query)
    return page(request, HeardPage(opened.head, made.found, made.at, made.says, job, back))


@router.get("/networks/{network_id}/point/hear/{job}/{sound}.wav")
def sound(jobs: JobsDep, job: str, sound: Literal["received", "undisturbed"]) -> Response:
    """One of the two sounds."""
    found = _played(jobs, job).found
    return Response(found.received if sound == "received" else found.undisturbed, media_type="audio/wav")


def _played(jobs: JobsDep, job: str) -> Played:
    """The result of a job that is still kept."""
    ended = followed(jobs, job)
    if not isinstance(ended.result, Played):
        raise RefusedError(404)
    return ended.result
