"""The change under way: the control room follows it, confirms steps on a call, orders everything back."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.study.live_change import Step, steps_of
from sfn.timeline.held import instant
from webapp.config.addresses import Room, to
from webapp.config.settings import Settings
from webapp.on_air.change import change_page
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, NetworkDep, Opened, SettingsDep, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page, when
from webapp.shell.saving import author_of
from webapp.standing.release import released
from webapp.standing.under_way import Live, begin, confirm, end, live_of, order_back
from webapp.store.approvals import APPROVED, EMERGENCY, Approval
from webapp.store.store import Store
from webapp.work.maps import Maps

router = Room("live")


@dataclass(frozen=True, slots=True)
class LivePage(Context):
    """Each step, its reading, the time to the deadline, and the way back of every site."""

    TEMPLATE: ClassVar[str] = "on_air/live.html"
    TAB: ClassVar[str] = "change"
    network: NetworkHead
    """Which network, in which revision."""
    live: Live | None
    """The change under way; None where none is."""
    steps: tuple[Step, ...]
    """What a change that begins now would do."""
    why_not: str
    """Why none can begin now; empty where one can."""
    deadline: str
    """By when the old values go back, as the work order says it."""
    now: str
    """When this was looked up, in UTC."""
    emergency: str
    """That it goes ahead without an approver, who issued it in an emergency, and why; empty where it does not."""
    approved: str
    """Who approved the plan of a change that had begun in an emergency, and when; empty where nobody did."""
    typed: str
    """A deadline that was typed and cannot be taken."""
    problems: tuple[Problem, ...]
    """What keeps the change from beginning as typed."""


@router.get("/networks/{network_id}/change/live")
def show(request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """Where the change stands, or how to begin one."""
    return page(request, live_page(network, store, maps, settings))


def live_page(
    network: Opened,
    store: Store,
    maps: Maps,
    settings: Settings,
    *,
    typed: str = "",
    problems: tuple[Problem, ...] = (),
) -> LivePage:
    """The page; with a deadline that was `typed` and why it cannot be taken."""
    live = live_of(store, maps, network.head.id)
    steps: tuple[Step, ...] = ()
    why_not, emergency = "", "" if live is None else str(live.begun.body.get(EMERGENCY) or "")
    approved = "" if live is None or not emergency else _approved_since(store, live)
    if live is None:
        found = released(network, store, maps)
        try:
            made = change_page(network, store, maps, settings)
            plan, unapproved = made.plan, made.approval.state == "not approved"
            emergency = _urgent(made.approval)
            stopped = unapproved or plan.problems or any(not found.of(one.site.id).issued for one in plan.changes)
            why_not = "" if not stopped else "the sheets of the sites that change are not all issued"
            why_not = f"NOT APPROVED: {made.approval.says}" if unapproved else why_not
            steps = () if stopped else steps_of(plan)  # a value that is withheld is told nobody
        except PlanError as refused:
            why_not = "; ".join(problem.what for problem in refused.problems)
    order = network.network.work_order
    deadline = (order.rollback_deadline if order else None) or ""
    now = when(datetime.now(UTC))
    return LivePage(network.head, live, steps, why_not, deadline, now, emergency, approved, typed, problems)


def _approved_since(store: Store, live: Live) -> str:
    """Who approved the plan after the change had begun without."""
    given = [one for one in store.entries.of(live.begun.network_id, kind=APPROVED) if one.id > live.begun.id]
    last = next((one for one in reversed(given) if one.revision == live.revision), None)
    return "" if last is None else f"{last.made_by} on {when(last.made_at)}"


def _urgent(approval: Approval) -> str:
    """What is said of a plan that goes ahead in an emergency; empty for any other."""
    return approval.says if approval.state == "emergency" else ""


@router.post("/networks/{network_id}/change/confirm/begin")
def start(
    request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, form: FormDep
) -> Response:
    """Begin: steps and old values are written down."""
    by, typed = author_of(form), form.get("deadline", "").strip()
    at, now = instant(typed), datetime.now(UTC)
    if at is None or at <= now:
        what = f"{typed[:40]!r} is no time to come" if typed else "nothing says by when the old values go back"
        expected = f"a time in UTC, as {now:%Y-%m-%d} 23:30; it is {now:%Y-%m-%d %H:%M} now"
        problem = Problem("deadline", what, expected, code="deadline-missing", fields=("deadline",))
        shown = live_page(network, store, maps, settings, typed=typed, problems=(problem,))
        return page(request, shown, status=422)
    found = released(network, store, maps)
    made = change_page(network, store, maps, settings)
    if made.approval.state == "not approved":
        approved = "an approval on the page of the change plan"
        raise RefusedError(422, Problem("plan", made.approval.says, approved, code="plan-not-approved"))
    begin(network, store, found, made.plan, by=by, deadline_at=at, emergency=_urgent(made.approval))
    notice(request, "The change has begun. Every telephone with a link shows whose turn it is.")
    return RedirectResponse(to("live.show", network.head.id), 303)


@router.post("/networks/{network_id}/change/confirm/step")
def step(request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep) -> Response:
    """A site said on a call that its step is made, or taken back."""
    live, by, said_by = _running(store, maps, network), author_of(form), form.get("said_by", "").strip()
    if not said_by or len(said_by) > 120:
        what = "nothing says who called" if not said_by else "the name is longer than 120 characters"
        raise RefusedError(
            422, Problem("said_by", what, "the name of who is at the site", code="name-missing", fields=("said_by",))
        )
    name = confirm(live, store, network.head.id, site_id=form.get("site", ""), said_by=said_by, by=by)
    notice(request, f"Written down for {name}.")
    return RedirectResponse(to("live.show", network.head.id), 303)


@router.post("/networks/{network_id}/change/confirm/back")
def go_back(request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep) -> Response:
    """Everything goes back."""
    order_back(_running(store, maps, network), store, network.head.id, by=author_of(form))
    notice(
        request, "Everything goes back, the last step first. Telephones without a connection do not know: call them."
    )
    return RedirectResponse(to("live.show", network.head.id), 303)


@router.post("/networks/{network_id}/change/confirm/end")
def finish(request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep) -> Response:
    """The change is over."""
    live = _running(store, maps, network)
    if not live.change.finished and form.get("unfinished") != "yes":
        turn = live.change.turn
        left = "" if turn is None else turn.step.site_name
        what, expected = f"the change is not finished: {left} is left", "every step made, or the box ticked"
        raise RefusedError(422, Problem("unfinished", what, expected, code="change-unfinished", fields=("unfinished",)))
    end(live, store, network.head.id, by=author_of(form))
    notice(request, "The change is over.")
    return RedirectResponse(to("live.show", network.head.id), 303)


def _running(store: Store, maps: Maps, network: Opened) -> Live:
    """The change under way; refused where there is none."""
    live = live_of(store, maps, network.head.id)
    if live is None:
        nothing = Problem("change", "no change is under way", "one that has begun", code="no-change-under-way")
        raise RefusedError(422, nothing)
    return live
