"""How old and how sure the numbers are; changes of firmware entered; a site's history."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import ClassVar, Literal

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.ages import changed_document
from sfn.errors import PlanError, Problem
from sfn.report.history_chart import history_chart
from sfn.study.ages import Ages, StageAge, ages
from sfn.study.history import History, Visit, histories, history_csv
from sfn.timing.tolerated import tolerated_error
from webapp.config.addresses import Room, to
from webapp.prove.happened import launches_of, reported_events, revisions_of
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, ListsDep, MapsDep, NetworkDep, Opened, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of, save
from webapp.shell.windows import Shown, Window, window
from webapp.store.store import Store
from webapp.work.maps import Maps

router = Room("ages")
MEDIA = {"svg": "image/svg+xml", "png": "image/png"}


@dataclass(frozen=True, slots=True)
class ChangeTyped:
    """A change of firmware or mode as it was typed."""

    stages: tuple[str, ...] = ()
    firmware: str = ""
    day: str = ""


@dataclass(frozen=True, slots=True)
class AgesPage(Context):
    """Every site's number: how old, how sure, what must be measured again."""

    TEMPLATE: ClassVar[str] = "prove/ages.html"
    TAB: ClassVar[str] = "ages"
    network: NetworkHead
    """Which network, in which revision."""
    found: Ages
    """Sites and stages, the worst first."""
    typed: ChangeTyped
    """The change as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with it."""
    stages: Window[StageAge]
    """Those of its stages that stand here."""
    choices: tuple[StageAge, ...]
    """Every stage, to choose from, by its short name."""


@dataclass(frozen=True, slots=True)
class HistoryPage(Context):
    """One site over time."""

    TEMPLATE: ClassVar[str] = "prove/history.html"
    TAB: ClassVar[str] = "ages"
    network: NetworkHead
    """Which network, in which revision."""
    found: History
    """Settings and readings, the oldest first."""
    left_out: int
    """Older revisions that are not looked at."""
    visits: Window[Visit]
    """Those of its visits that stand here, the newest first."""


@router.get("/networks/{network_id}/ages")
def show(request: Request, opened: NetworkDep, store: StoreDep, stages: Shown = "") -> Response:
    """Every site, the worst first; of many stages the part that is asked for."""
    return page(request, _page(opened, store, stages=stages))


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
    return RedirectResponse(to("ages.show", opened.head.id), 303)


@router.get("/networks/{network_id}/ages/{site_id}")
def show_site(
    request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, site_id: str, part: Shown = ""
) -> Response:
    """One site over time; of many visits the part that is asked for."""
    found, left_out = _history(opened, store, maps, site_id)
    return page(request, HistoryPage(opened.head, found, left_out, window(found.visits[::-1], part)))


@router.get("/networks/{network_id}/ages/{site_id}/history.{form}")
def chart(
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    site_id: str,
    form: Literal["svg", "png", "csv"],
    narrow: bool = False,
) -> Response:
    """The same as a chart, for a telephone where it is to be narrow, or as a table."""
    found, _ = _history(opened, store, maps, site_id)
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
        narrow=narrow,
    )
    return Response(made, media_type=MEDIA[form])


def _page(
    opened: Opened,
    store: Store,
    *,
    typed: ChangeTyped | None = None,
    problems: tuple[Problem, ...] = (),
    stages: str = "",
) -> AgesPage:
    """The page; launches are the newest on the timeline of each site."""
    today = f"{datetime.now(UTC):%Y-%m-%d}"
    found = ages(opened.network, today=today, seen=launches_of(opened, store))
    return AgesPage(
        network=opened.head,
        found=found,
        typed=typed or ChangeTyped(day=today),
        problems=problems,
        stages=window(found.stages, stages),
        choices=tuple(sorted(found.stages, key=lambda one: one.stage.id)),
    )


def _history(opened: Opened, store: Store, maps: Maps, site_id: str) -> tuple[History, int]:
    """A site over time, and how many older revisions are left out; kept until something is entered."""

    def made() -> tuple[History, int]:
        """All of it, read anew."""
        changes, left_out = revisions_of(opened, store)
        found = histories(opened.network, (*changes, *reported_events(opened, store, site_id=site_id)))
        return next(one for one in found if one.site_id == site_id), left_out

    if all(site.id != site_id for site in opened.network.sites):
        raise RefusedError(404)
    return maps.worked_out(f"history {site_id}", opened.network, made)
