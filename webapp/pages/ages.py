"""How old and how sure the numbers are; changes of firmware entered; a site's history."""

from datetime import UTC, datetime
from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.ages import LaunchSeen, ages, changed_document
from sfn.answer.history import History, Saved, Visit, histories, history_csv
from sfn.answer.sheet import Sheet, sheet
from sfn.check.review import review
from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.report.history_chart import history_chart
from sfn.timing.tolerated import tolerated_error
from webapp import addresses
from webapp.contexts.ages import AgesPage, ChangeTyped, HistoryPage
from webapp.dependencies import FormDep, ListsDep, NetworkDep, Opened, StoreDep
from webapp.documents import network_of
from webapp.problems import RefusedError
from webapp.readings import READING, kept
from webapp.render import notice, page
from webapp.saving import author_of, save
from webapp.store import Saved as Kept, Store

router = APIRouter(include_in_schema=False)
MOST_REVISIONS = 200
MEDIA = {"svg": "image/svg+xml", "png": "image/png"}


@router.get("/networks/{network_id}/ages")
def show(request: Request, opened: NetworkDep, store: StoreDep) -> Response:
    """Every site, the worst first."""
    return page(request, _page(opened, store))


@router.post("/networks/{network_id}/ages")
def change(request: Request, opened: NetworkDep, store: StoreDep, form: FormDep, lists: ListsDep) -> Response:
    """Enter a change of firmware or mode on some stages, as a new revision."""
    typed = ChangeTyped(tuple(lists.get("stage", ())), form.get("firmware", ""), form.get("day", ""))
    try:
        author = author_of(form)
        today = f"{datetime.now(UTC):%Y-%m-%d}"
        made = changed_document(
            opened.document, typed.stages, firmware=typed.firmware, day=typed.day.strip(), today=today
        )
        reason = f"{typed.firmware.strip()} since {typed.day.strip()}: {', '.join(typed.stages)}"
        save(request, store, opened, made, form, author=author, reason=reason[:500])
    except PlanError as error:
        return page(request, _page(opened, store, typed=typed, problems=error.problems), status=422)
    notice(request, "Saved as a new revision. What must be measured again stands first.")
    return RedirectResponse(addresses.ages(opened.head.id), 303)


@router.get("/networks/{network_id}/ages/{site_id}")
def show_site(request: Request, opened: NetworkDep, store: StoreDep, site_id: str) -> Response:
    """One site over time."""
    found, left_out = _history(opened, store, site_id)
    return page(request, HistoryPage(opened.head, found, left_out))


@router.get("/networks/{network_id}/ages/{site_id}/history.{form}")
def chart(opened: NetworkDep, store: StoreDep, site_id: str, form: Literal["svg", "png", "csv"]) -> Response:
    """The same as a chart or a table."""
    found, _ = _history(opened, store, site_id)
    if form == "csv":
        named = {"Content-Disposition": f'attachment; filename="history-{found.site_id}.csv"'}
        return Response(history_csv([found]), media_type="text/csv; charset=utf-8", headers=named)
    made = history_chart(
        name=found.name,
        set_us=[(one.at, one.set_us) for one in found.planned],
        off_us=[(one.at, one.off_us) for one in found.visits if one.off_us is not None],
        set_off_us=[(one.at, one.set_off_us) for one in found.visits if one.set_off_us is not None],
        as_set_us=list(found.as_set_us),
        tolerated_us=tolerated_error(opened.network),
        until=f"{datetime.now(UTC):%Y-%m-%d %H:%M}",
        picture=form,
    )
    return Response(made, media_type=MEDIA[form])


def _page(
    opened: Opened, store: Store, *, typed: ChangeTyped | None = None, problems: tuple[Problem, ...] = ()
) -> AgesPage:
    """The page; launches are the newest readings of each site."""
    today = f"{datetime.now(UTC):%Y-%m-%d}"
    seen = {
        site: LaunchSeen(visit.at[:10], visit.off_us)
        for site, visit in _visits(opened, store)
        if visit.off_us is not None
    }
    return AgesPage(
        network=opened.head,
        found=ages(opened.network, today=today, seen=seen),
        typed=typed or ChangeTyped(day=today),
        problems=problems,
    )


def _history(opened: Opened, store: Store, site_id: str) -> tuple[History, int]:
    """A site over time, and how many older revisions are left out."""
    if all(site.id != site_id for site in opened.network.sites):
        raise RefusedError(404)
    revisions = list(reversed(store.history(opened.head.id)))
    chosen = revisions[-MOST_REVISIONS:]
    saves = [
        Saved(
            one.number,
            f"{one.saved_at:%Y-%m-%d %H:%M}",
            one.author,
            one.reason,
            _network_of(store.read(opened.head.id, one.number)),
        )
        for one in chosen
    ]
    found = histories(saves, _visits(opened, store, site_id))
    return next(one for one in found if one.site_id == site_id), len(revisions) - len(chosen)


def _network_of(saved: Kept) -> Network:
    """A revision as the engine reads it."""
    return network_of(saved.document, saved.own_services)


def _visits(opened: Opened, store: Store, site_id: str | None = None) -> list[tuple[str, Visit]]:
    """Readings, each held against the revision that it was made under, the oldest first."""
    networks: dict[int, Network] = {opened.head.revision.number: opened.network}
    sheets: dict[tuple[int, str], Sheet | None] = {}
    found = []
    for entry in store.entries.of(opened.head.id, kind=READING, site_id=site_id):
        key = (entry.revision, entry.site_id)
        if key not in sheets:
            if entry.revision not in networks:
                networks[entry.revision] = _network_of(store.read(opened.head.id, entry.revision))
            there = any(site.id == entry.site_id for site in networks[entry.revision].sites)
            sheets[key] = sheet(review(networks[entry.revision], problems=()), entry.site_id) if there else None
        made = sheets[key]
        if made is None:
            continue
        one = kept(made, [entry])[0]
        judged = one.found
        if judged is None or one.reading.route != made.routes[0].row.route:  # the history is that of the main route
            continue
        off = sum(line.off_us for line in judged.settings) if judged.settings else None
        at = str(entry.body["taken_at"])[:16]
        visit = Visit(at, entry.made_by, entry.revision, off, judged.measured_us, judged.off_us, judged.tolerated_us)
        found.append((entry.site_id, visit))
    return sorted(found, key=lambda pair: pair[1].at)
