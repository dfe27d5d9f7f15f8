"""The same as the pages do, as JSON, for scripts: ``/api``. Described as OpenAPI at ``/api/openapi.json``.

Every refusal is ``{"problems": [{"where", "what", "expected", "severity"}]}``. With a password in force
a script sends ``Authorization: Bearer TOKEN`` (``python -m webapp --new-api-token`` prints one).
"""

from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from fastapi import Depends, Query, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from sfn.answer import check, delays, point
from sfn.errors import Problem
from sfn.reception.point import point_quality, with_verdict
from sfn.reception.quality import yardstick
from sfn.study.point import tried_signals
from sfn.terrain.credits import credits_say
from webapp.config.addresses import Room, to
from webapp.config.limits import Latitude, Longitude, NetworkId, RevisionNumber
from webapp.coverage import road
from webapp.on_air import packet
from webapp.prove import arrivals, drives, timeline
from webapp.shell.dependencies import (
    JobsDep,
    MapsDep,
    NetworkDep,
    PersonDep,
    ReadableStatedDep,
    StatedDep,
    StoreDep,
    proven,
)
from webapp.shell.following import as_json, found, stop
from webapp.shell.json_bodies import no_key_twice
from webapp.standing.told import SET_AT, doubts_of_save, put_down, since
from webapp.standing.tries import TriesDep
from webapp.store.approvals import unapproved
from webapp.store.differences import ABSENT, compared
from webapp.store.store import ConflictError, Revision, Saved, Store, Summary
from webapp.timing.delays import answered

Author = Annotated[str, Field(min_length=1, max_length=120, description="Who saves, for the record.")]
Reason = Annotated[str, Field(min_length=1, max_length=500, description="Why, for the record.")]
Document = Annotated[dict[str, Any], Field(description='A network document, "format": 1.')]


class NetworkLine(BaseModel):
    """One network in the list."""

    id: int
    name: str
    service: str
    sites: int
    revision: int
    saved_at: datetime
    author: str
    damaged: bool = False
    """Whether the database has something else of it than was written: its pages open once that is settled."""


class RevisionLine(BaseModel):
    """One save."""

    network: int
    revision: int
    saved_at: datetime
    author: str
    reason: str
    checksum: str


class SavedAnswer(RevisionLine):
    """A revision that was just saved, with every doubt about its positions and what it takes back of an issue."""

    problems: list[dict[str, Any]] = Field(default_factory=list)


class NetworkAnswer(RevisionLine):
    """A revision with its document."""

    document: Document


class NewNetwork(BaseModel):
    """A network to make."""

    model_config = ConfigDict(extra="forbid")

    document: Document
    author: Author
    reason: Reason = "made by a script"


class ChangedNetwork(BaseModel):
    """A document made from a revision."""

    model_config = ConfigDict(extra="forbid")

    document: Document
    base_revision: Annotated[RevisionNumber, Field(description="The revision that the document was made from.")]
    author: Author
    reason: Reason
    set_at: Annotated[
        str | None,
        Field(
            max_length=40,
            description="Since when present values (`set`) that it changes hold: they go on the timeline as told. "
            "Without it they are only what the document says, and a report counts before them.",
        ),
    ] = None


class Restoration(BaseModel):
    """An old revision to make the newest."""

    model_config = ConfigDict(extra="forbid")

    revision: RevisionNumber
    base_revision: Annotated[RevisionNumber, Field(description="The newest revision, as far as the caller knows.")]
    author: Author


class DifferenceLine(BaseModel):
    """One key that differs; a side that does not have it is left out."""

    where: str
    old: Any = None
    new: Any = None


class ProblemLine(BaseModel):
    """One thing that is wrong."""

    code: str
    where: str
    sites: list[str]
    routes: list[str]
    stages: list[str]
    fields: list[str]
    what: str
    expected: str
    severity: str
    values: dict[str, float | str | None]


class ProblemsAnswer(BaseModel):
    """Why something was refused."""

    problems: list[ProblemLine]


class VerdictLine(BaseModel):
    """Whether the sheet of a site may go out; reasons are the codes of what withholds it or wants a sign-off."""

    site: str
    route: str
    verdict: Literal["fit", "sign-off", "withheld"]
    reasons: list[str]


class CheckAnswer(ProblemsAnswer):
    """All that is wrong with a plan, and what follows for every sheet."""

    verdicts: list[VerdictLine]
    reported_fields_n: int


class ConflictAnswer(ProblemsAnswer):
    """Someone saved first: what both began with, what was saved, what was sent."""

    base: NetworkAnswer
    theirs: NetworkAnswer
    mine: Document


REFUSALS: dict[int | str, dict[str, Any]] = {
    401: {"model": ProblemsAnswer, "description": "A password is in force: send the token."},
    404: {"model": ProblemsAnswer, "description": "No such network or revision, or it is deleted."},
    422: {"model": ProblemsAnswer, "description": "The document cannot be used; every problem with its place."},
}
CONFLICT: dict[int | str, dict[str, Any]] = {
    409: {"model": ConflictAnswer, "description": "Someone saved first; nothing was written."}
}
router = Room("api", prefix="/api", include_in_schema=True, dependencies=[Depends(no_key_twice)], responses=REFUSALS)


@router.get("/networks", tags=["networks"])
def list_networks(store: StoreDep, deleted: bool = False) -> list[NetworkLine]:
    """All networks, the last saved first; or the deleted ones."""
    return [_line(summary) for summary in store.summaries(deleted=deleted)]


@router.post("/networks", status_code=201, tags=["networks"])
def make_network(request: Request, store: StoreDep, body: NewNetwork, response: Response) -> SavedAnswer:
    """A new network."""
    made = store.create(body.document, author=proven(request, body.author), reason=body.reason)
    response.headers["Location"] = to("api.read_network", made.network_id)
    return _saved(made, body.document, store)


@router.get("/networks/{network_id}", tags=["networks"])
def read_network(store: StoreDep, network_id: NetworkId, revision: RevisionNumber | None = None) -> NetworkAnswer:
    """The document of a network, in its newest revision or a given one."""
    return _answer(store.read(network_id, revision))


@router.put("/networks/{network_id}", responses=CONFLICT, tags=["networks"])
def save_network(request: Request, store: StoreDep, network_id: NetworkId, body: ChangedNetwork) -> SavedAnswer:
    """A new revision. On the disk when this answers."""
    author, at = proven(request, body.author), since({SET_AT: body.set_at or ""}, now=datetime.now(UTC))
    made = store.save(network_id, body.document, base_revision=body.base_revision, author=author, reason=body.reason)
    if at is not None:
        base = store.read(network_id, body.base_revision)
        put_down(store, base, body.document, number=made.number, author=author, at=at)
    return _saved(made, body.document, store)


@router.delete("/networks/{network_id}", status_code=204, tags=["networks"])
def delete_network(store: StoreDep, network_id: NetworkId) -> None:
    """Take a network off the list. Can be undone."""
    store.delete(network_id)


@router.post("/networks/{network_id}/undelete", status_code=204, tags=["networks"])
def undelete_network(store: StoreDep, network_id: NetworkId) -> None:
    """Bring a deleted network back."""
    store.undelete(network_id)


@router.get("/networks/{network_id}/revisions", tags=["revisions"])
def list_revisions(store: StoreDep, network_id: NetworkId) -> list[RevisionLine]:
    """Every save, the newest first."""
    return [_revision(revision) for revision in store.history(network_id)]


@router.get("/networks/{network_id}/compare", response_model_exclude_unset=True, tags=["revisions"])
def compare_revisions(
    store: StoreDep, network_id: NetworkId, old: RevisionNumber, new: RevisionNumber
) -> list[DifferenceLine]:
    """Every key that differs between two revisions; entries of lists are matched by their short name."""
    before, after = store.read(network_id, old).document, store.read(network_id, new).document
    lines = []
    for found_one in compared(before, after):
        sides = {"old": found_one.old, "new": found_one.new}
        lines.append(DifferenceLine(where=found_one.where, **{k: v for k, v in sides.items() if v is not ABSENT}))
    return lines


@router.post("/networks/{network_id}/restore", responses=CONFLICT, tags=["revisions"])
def restore_revision(request: Request, store: StoreDep, network_id: NetworkId, body: Restoration) -> SavedAnswer:
    """Make an old revision the newest."""
    made = store.restore(
        network_id, body.revision, base_revision=body.base_revision, author=proven(request, body.author)
    )
    return _saved(made, store.read(network_id, made.number).document, store)


@router.get("/networks/{network_id}/check", tags=["answers"])
def check_network(opened: NetworkDep, maps: MapsDep) -> CheckAnswer:
    """Every problem of the plan and every sheet's verdict, as ``python -m sfn check --json`` answers."""
    return CheckAnswer.model_validate(check.document(maps.reviewed(opened.network)))


@router.get("/networks/{network_id}/delays", tags=["answers"])
def answer_delays(opened: StatedDep, maps: MapsDep, store: StoreDep) -> dict[str, Any]:
    """The delay table, pairs and loops, as ``python -m sfn delays --json`` answers; `state` names a planned state.

    Beside it `urgent`: sheets that were issued in an emergency, until their plan is approved or they are issued anew.
    """
    urgent = unapproved(store, opened.head.id, opened.document)
    answer = delays.document(answered(opened.network, maps), revision=opened.head.revision.number)
    return answer | {"urgent": [one.as_json() for one in urgent]}


@router.get("/networks/{network_id}/point", tags=["answers"])
def answer_point(
    opened: ReadableStatedDep,
    maps: MapsDep,
    tries: TriesDep,
    lat: Latitude,
    lon: Longitude,
    rx_height_m: Annotated[float | None, Query(ge=1, le=3000, description="Above ground. [m]")] = None,
    rx_ground_m: Annotated[float | None, Query(ge=-500, le=9000, description="Above sea level. [m]")] = None,
    as_set: Annotated[bool, Query(description="With what is set now, not with the computed settings.")] = False,
) -> dict[str, Any]:
    """Every signal at a receiving point, as ``python -m sfn point --json`` answers; `offset=SITE:US` tries."""
    signals, now = tried_signals(
        opened.network,
        tries,
        lat_deg=lat,
        lon_deg=lon,
        rx_height_m=rx_height_m,
        rx_ground_m=rx_ground_m,
        as_set=as_set,
        ground=maps.ground(opened.network),
    )
    found_quality = point_quality(now.network, signals, yardstick(now.network))
    return point.document(with_verdict(signals, found_quality), found_quality) | {
        "tried": list(now.says),
        "problems": [one.as_json() for one in now.doubts],
        "credits": credits_say(opened.head.credits),
    }


@router.get("/jobs/{job_id}", tags=["jobs"])
def read_job(jobs: JobsDep, job_id: str) -> dict[str, Any]:
    """How far a computation is: state, phase, done of total."""
    return as_json(found(jobs, job_id).view())


@router.post("/jobs/{job_id}/cancel", tags=["jobs"])
def cancel_job(jobs: JobsDep, store: StoreDep, person: PersonDep, job_id: str) -> dict[str, Any]:
    """Ask a computation to stop; it does at its next step. Whoever started it may, and whoever may plan."""
    job = found(jobs, job_id)
    stop(jobs, job, person, store)
    return as_json(job.view())


def conflict_answer(conflict: ConflictError) -> JSONResponse:
    """What a script is told when someone saved first."""
    theirs = conflict.theirs.revision
    problem = Problem(
        "base_revision",
        f"revision {theirs.number} was saved by {theirs.author} since revision {conflict.base.revision.number}",
        "put your changes into `theirs` and save again",
        code="saved-by-another",
        values={"revision": theirs.number},
    )
    answer = ConflictAnswer(
        problems=[ProblemLine(**problem.as_json())],
        base=_answer(conflict.base),
        theirs=_answer(conflict.theirs),
        mine=conflict.mine,
    )
    return JSONResponse(answer.model_dump(mode="json"), 409)


def _line(summary: Summary) -> NetworkLine:
    return NetworkLine(
        id=summary.id,
        name=summary.name,
        service=summary.service,
        sites=summary.sites,
        revision=summary.revision,
        saved_at=summary.saved_at,
        author=summary.author,
        damaged=summary.damaged,
    )


def _saved(made: Revision, document: dict[str, Any], store: Store) -> SavedAnswer:
    """A save, with what is doubtful about the positions in it, takes back of an issue, or contradicts reports."""
    doubts = doubts_of_save(store, made.network_id, document)
    return SavedAnswer(**_revision(made).model_dump(), problems=[doubt.as_json() for doubt in doubts])


def _revision(revision: Revision) -> RevisionLine:
    return RevisionLine(**_fields(revision))


def _answer(saved: Saved) -> NetworkAnswer:
    return NetworkAnswer(document=saved.document, **_fields(saved.revision))


def _fields(revision: Revision) -> dict[str, Any]:
    return {
        "network": revision.network_id,
        "revision": revision.number,
        "saved_at": revision.saved_at,
        "author": revision.author,
        "reason": revision.reason,
        "checksum": revision.checksum,
    }


for part in (arrivals, drives, road, timeline, packet):
    router.include_router(part.for_scripts)
