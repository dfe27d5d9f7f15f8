"""The timeline: what happened to every site in the order in which it held, and what the office enters there."""

from collections.abc import Mapping
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.timeline import state_lines
from sfn.errors import PlanError, Problem
from webapp import addresses
from webapp.contexts.timeline import TimelinePage
from webapp.dependencies import FormDep, NetworkDep, Opened, StoreDep
from webapp.happened import timeline_of
from webapp.office_entries import entry_of
from webapp.problems import RefusedError
from webapp.readings import LABELS
from webapp.render import notice, page
from webapp.saving import author_of
from webapp.store import Store

router = APIRouter(include_in_schema=False)
MOST_EVENTS = 300


@router.get("/networks/{network_id}/timeline")
def show(request: Request, opened: NetworkDep, store: StoreDep, site: str = "") -> Response:
    """Every site, or one of them."""
    return page(request, timeline_page(opened, store, site))


@router.post("/networks/{network_id}/timeline")
def enter(request: Request, opened: NetworkDep, store: StoreDep, form: FormDep) -> Response:
    """Put something on the timeline that no form of the plan and no reading says."""
    site, kind = form.get("site", ""), form.get("kind", "")
    known = site if site in {one.id for one in opened.network.sites} else ""
    made = timeline_page(opened, store, known, typed=form)
    try:
        author = author_of(form)
        body = entry_of(kind, form, network=opened.network, fields=made.fields, now=datetime.now(UTC))
    except PlanError as refused:
        return page(request, timeline_page(opened, store, known, typed=form, problems=refused.problems), status=422)
    revision = opened.head.revision.number
    store.entries.add(opened.head.id, revision=revision, site_id=site, kind=kind, made_by=author, body=body)
    request.session["author"] = author
    notice(request, "It stands on the timeline.")
    return RedirectResponse(addresses.timeline(opened.head.id, known), 303)


def timeline_page(
    opened: Opened,
    store: Store,
    site_id: str,
    *,
    typed: Mapping[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> TimelinePage:
    """The page in any state."""
    names = {one.id: one.name for one in opened.network.sites}
    if site_id and site_id not in names:
        raise RefusedError(404)
    found, left_out = timeline_of(opened, store, site_id=site_id)
    return TimelinePage(
        network=opened.head,
        found=found,
        shown=MOST_EVENTS,
        left_out=left_out,
        sites=opened.network.sites,
        names=names,
        fields=found.present if site_id else (),
        labels=LABELS,
        now=f"{datetime.now(UTC):%Y-%m-%d %H:%M}",
        typed=typed or {},
        problems=problems,
        states=state_lines(opened.network, today=datetime.now(UTC).date()),
    )
