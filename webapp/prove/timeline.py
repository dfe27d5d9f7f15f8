"""The timeline: what happened to every site in the order in which it held, and what the office enters there."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated, Any, ClassVar

from fastapi import Query, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.timeline import document
from sfn.errors import PlanError, Problem
from sfn.plan import Site
from sfn.study.timeline import Present, StateLine, Timeline, state_lines
from webapp.config.addresses import Room, to
from webapp.prove.happened import timeline_of
from webapp.shell.api_pages import PREFIX
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, NetworkDep, Opened, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of
from webapp.standing.office_entries import entry_of
from webapp.standing.readings import LABELS
from webapp.store.store import Store

router = Room("timeline")
MOST_EVENTS = 300
MOST_LIMIT = 10_000


@dataclass(frozen=True, slots=True)
class TimelinePage(Context):
    """Everything that happened, in the order in which it held."""

    TEMPLATE: ClassVar[str] = "prove/timeline.html"
    TAB: ClassVar[str] = "timeline"
    network: NetworkHead
    """Which network, in which revision."""
    found: Timeline
    """Events, present state and contradictions; of one site where it is narrowed."""
    shown: int
    """So many of the newest events are listed."""
    lines_n: int
    """How many there are."""
    left_out: int
    """Older revisions that are not looked at."""
    sites: tuple[Site, ...]
    """Every site, to choose from."""
    names: Mapping[str, str]
    """What the sites are called, by id."""
    fields: tuple[Present, ...]
    """Of the chosen site: what can be told of it, in the order of the form's fields."""
    labels: Mapping[str, str]
    """Words for the texts of a reading."""
    now: str
    """The time, in UTC, to the minute."""
    typed: Mapping[str, str]
    """What was typed and not taken."""
    problems: tuple[Problem, ...]
    """What is wrong with it."""
    states: tuple[StateLine, ...]
    """How the network is to stand later, in the order of the days."""


@router.get("/networks/{network_id}/timeline")
def show(request: Request, opened: NetworkDep, store: StoreDep, site: str = "") -> Response:
    """Every site, or one of them. Scripts get all of it."""
    return page(request, timeline_page(opened, store, site, whole=request.url.path.startswith(PREFIX)))


@router.post("/networks/{network_id}/timeline")
def enter(request: Request, opened: NetworkDep, store: StoreDep, form: FormDep) -> Response:
    """Put something on the timeline that no form of the plan and no reading says."""
    site, kind = form.get("site", ""), form.get("kind", "")
    known = site if site in {one.id for one in opened.network.sites} else ""
    made = timeline_page(opened, store, known, typed=form)
    try:
        author = author_of(form)
        body = entry_of(kind, form, network=opened.network, fields=made.fields, now=datetime.now(UTC))
        _has_site(store, opened, body.get("as_revision"), site)
    except PlanError as refused:
        return page(request, timeline_page(opened, store, known, typed=form, problems=refused.problems), status=422)
    revision = opened.head.revision.number
    store.entries.add(opened.head.id, revision=revision, site_id=site, kind=kind, made_by=author, body=body)
    request.session["author"] = author
    notice(request, "It stands on the timeline.")
    return RedirectResponse(to("timeline.show", opened.head.id, site=known), 303)


def _has_site(store: Store, opened: Opened, number: int | None, site_id: str) -> None:
    """Refuse a revision, where one is named, that is none of the network's or has no such site.

    Raises
    ------
    PlanError
    """
    if number is None:
        return
    newest = opened.head.revision.number
    there = 0 < number <= newest and any(
        site["id"] == site_id for site in store.read(opened.head.id, number).document["sites"]
    )
    if not there:
        what, expected = f"revision {number} has no site {site_id}", f"one from 1 to {newest} that has it"
        raise PlanError([Problem("as_revision", what, expected, code="unknown-revision", fields=("as_revision",))])


def timeline_page(
    opened: Opened,
    store: Store,
    site_id: str,
    *,
    typed: Mapping[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
    whole: bool = False,
) -> TimelinePage:
    """The page in any state, of the newest events or of the `whole`."""
    names = {one.id: one.name for one in opened.network.sites}
    if site_id and site_id not in names:
        raise RefusedError(404)
    happened = timeline_of(opened, store, site_id=site_id, newest=None if whole else MOST_EVENTS)
    found = happened.found
    return TimelinePage(
        network=opened.head,
        found=found,
        shown=MOST_EVENTS,
        lines_n=happened.lines_n,
        left_out=happened.left_out,
        sites=opened.network.sites,
        names=names,
        fields=found.present if site_id else (),
        labels=LABELS,
        now=f"{datetime.now(UTC):%Y-%m-%d %H:%M}",
        typed=typed or {},
        problems=problems,
        states=state_lines(opened.network, today=datetime.now(UTC).date()),
    )


for_scripts = Room("api", under="/api", tags=["answers"], include_in_schema=True)


@for_scripts.get("/networks/{network_id}/timeline")
def answer_timeline(
    opened: NetworkDep,
    store: StoreDep,
    site: str = "",
    limit: Annotated[
        int | None,
        Query(ge=1, le=MOST_LIMIT, description="So many of the newest `entries`; all of them without it."),
    ] = None,
) -> dict[str, Any]:
    """What happened to every site, or to one, the oldest first by when it held, and what stands there now.

    `entries_n` says how many entries there are, `present` rests on all of them whatever the limit.
    """
    if site and site not in {one.id for one in opened.network.sites}:
        raise RefusedError(404)
    happened = timeline_of(opened, store, site_id=site, newest=limit)
    made = document(happened.found, revision=opened.head.revision.number)
    if limit is not None:
        made["entries"] = made["entries"][-limit:]
    return made | {"entries_n": happened.lines_n, "older_revisions_not_looked_at": happened.left_out}
