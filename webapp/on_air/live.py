"""The change under way: the control room follows it, confirms steps on a call, orders everything back."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.study.change_plan import ChangePlan
from sfn.study.going_back import going_back_sheet
from sfn.study.live_change import LiveChange, LiveStep, Read, Step, live_change, steps_of
from sfn.study.sheet import Sheet
from sfn.timeline.held import Held, instant, text_of
from webapp.config.addresses import Room, to
from webapp.on_air.change import change_page
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, NetworkDep, Opened, SettingsDep, StoreDep, opened
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page, when
from webapp.shell.saving import author_of
from webapp.standing.office_entries import told_body
from webapp.standing.readings import READING, Kept, kept
from webapp.standing.release import Released, released
from webapp.store.entries import Entry
from webapp.store.store import Store
from webapp.store.timeline import TOLD, as_kept
from webapp.work.maps import Maps

router = Room("live")


@dataclass(frozen=True, slots=True)
class Live:
    """A change under way."""

    change: LiveChange
    revision: int
    begun: Entry
    ordered_back: Entry | None
    """Who ordered everything back."""

    def old_sheet(self, made: Sheet, *, revision: int) -> Sheet | None:
        """What a site's sheet is while everything goes back; None where it does not, or has no step."""
        return going_back_sheet(made, self.change) if self.change.going_back and revision == self.revision else None

    def of(self, site_id: str) -> LiveStep | None:
        """The step of a site, if it has one."""
        return next((one for one in self.change.steps if one.step.site_id == site_id), None)

    @property
    def mark(self) -> str:
        """What of it a telephone shows: another one means that its page is out of date."""
        steps = [(one.step.site_id, one.state) for one in self.change.steps]
        return repr((self.begun.id, self.ordered_back is not None, steps))


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


@router.get("/networks/{network_id}/change/live")
def show(request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """Where the change stands, or how to begin one."""
    live = live_of(store, maps, network.head.id)
    steps: tuple[Step, ...] = ()
    why_not = ""
    if live is None:
        found = released(network, store, maps)
        try:
            made = change_page(network, store, maps, settings)
            plan, unapproved = made.plan, made.approval.state == "not approved"
            stopped = unapproved or plan.problems or any(not found.of(one.site.id).issued for one in plan.changes)
            why_not = "" if not stopped else "the sheets of the sites that change are not all issued"
            why_not = f"NOT APPROVED: {made.approval.says}" if unapproved else why_not
            steps = () if stopped else steps_of(plan)  # a value that is withheld is told nobody
        except PlanError as refused:
            why_not = "; ".join(problem.what for problem in refused.problems)
    order = network.network.work_order
    deadline = (order.rollback_deadline if order else None) or ""
    return page(request, LivePage(network.head, live, steps, why_not, deadline, when(datetime.now(UTC))))


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
        raise RefusedError(422, Problem("deadline", what, expected, code="deadline-missing", fields=("deadline",)))
    found = released(network, store, maps)
    made = change_page(network, store, maps, settings)
    if made.approval.state == "not approved":
        approved = "an approval on the page of the change plan"
        raise RefusedError(422, Problem("plan", made.approval.says, approved, code="plan-not-approved"))
    begin(network, store, found, made.plan, by=by, deadline_at=at)
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


BEGUN, BACK, ENDED = "change-begun", "change-back", "change-ended"


_KINDS = (BEGUN, BACK, ENDED)


def running(store: Store, network_id: int) -> tuple[Entry, Entry | None] | None:
    """The beginning of the change that is under way, and the order to go back; None where none is."""
    begun, back = None, None
    for entry in store.entries.of(network_id, kind=_KINDS):
        if entry.kind == BEGUN:
            begun, back = entry, None
        elif entry.kind == ENDED:
            begun, back = None, None
        else:
            back = entry
    return None if begun is None else (begun, back)


def live_of(store: Store, maps: Maps, network_id: int, *, found: Released | None = None) -> Live | None:
    """The change that is under way, now; None where none is."""
    there = running(store, network_id)
    if there is None:
        return None
    begun, back = there
    plan = opened(store.read(network_id, begun.revision), store)
    sheets = found or released(plan, store, maps)
    deadline_at = instant(str(begun.body["deadline_at"]))
    assert deadline_at is not None
    change = live_change(
        plan.network,
        begun_steps(begun),
        begun_at=_begun_at(begun),
        deadline_at=deadline_at,
        now=datetime.now(UTC),
        going_back=back is not None,
        read={} if back is not None else _read(store, sheets, begun),
    )
    if back is not None:
        read = _read(store, sheets, begun, back, change)
        change = replace(change, steps=tuple(replace(one, read=read.get(one.step.site_id)) for one in change.steps))
    newest = store.read(network_id).revision.number
    gone = {one.site_id for one in begun_steps(begun) if newest != begun.revision or not sheets.of(one.site_id).issued}
    return Live(_veiled(change, gone), begun.revision, begun, back)


def begun_steps(begun: Entry) -> list[Step]:
    """The steps as they were written down."""
    return [Step.of(one) for one in begun.body["steps"]]


def _veiled(change: LiveChange, gone: set[str]) -> LiveChange:
    """The same without the new values of sites whose sheet may not be gone by any more."""
    return replace(
        change,
        steps=tuple(
            one
            if one.step.site_id not in gone
            else replace(
                one,
                step=replace(one.step, fields=tuple(replace(f, value=None) for f in one.step.fields)),
                fields=tuple(replace(f, field=replace(f.field, value=None)) for f in one.fields),
            )
            for one in change.steps
        ),
    )


def _read(
    store: Store, found: Released, begun: Entry, back: Entry | None = None, change: LiveChange | None = None
) -> dict[str, Read]:
    """The latest launches of every site since the beginning; those since an order to go back are held against it."""
    made = {line.sheet.site.id: line.sheet for line in found.lines}
    latest: dict[str, Read] = {}
    for entry in store.entries.of(begun.network_id, kind=READING):
        if entry.site_id not in made:
            continue
        (one,) = kept(made[entry.site_id], [entry])
        ordered = back is not None and after(back, one)
        old = going_back_sheet(made[entry.site_id], change) if ordered and change is not None else None
        if old is not None:
            (one,) = kept(old, [entry], going_back=True)
        if one.found is None or not one.found.launches or one.held.latest < _begun_at(begun):
            continue
        before = latest.get(entry.site_id)
        if before is None or before.held_at <= one.held.at:
            latest[entry.site_id] = Read(one.found, entry.made_by, one.held.at, back is not None and not ordered)
    return latest


def after(back: Entry, one: Kept) -> bool:
    """Whether a report held since an order to go back, to the second; what had arrived before the order did not."""
    return one.entry.id > back.id and one.held.at >= back.made_at.replace(microsecond=0)


def _begun_at(begun: Entry) -> datetime:
    """When a change began, to the second: reports are kept to the second too."""
    return begun.made_at.replace(microsecond=0)


def begin(opened: Opened, store: Store, found: Released, plan: ChangePlan, *, by: str, deadline_at: datetime) -> None:
    """Write down that a change begins, with its steps and old values.

    Raises
    ------
    RefusedError
        If one is under way, a site that changes is not issued, or nothing changes.
    """
    if running(store, opened.head.id) is not None:
        raise _no("change", "a change is under way already", "its end first", "change-under-way")
    if not plan.changes:
        raise _no("change", "no site changes", "a plan with steps", "change-without-steps")
    waiting = [one.site.name for one in plan.changes if not found.of(one.site.id).issued]
    if waiting or plan.problems:
        what = f"the sheets of {', '.join(waiting) or 'the sites that change'} are not issued"
        raise _no("change", what, "every sheet of the change issued, in this revision", "change-not-issued")
    unknown = [one.site.name for one in plan.changes for r in one.routes for f in r.fields if f.back.value is None]
    if unknown:
        what = f"nobody knows what to go back to at {', '.join(dict.fromkeys(unknown))}"
        raise _no("change", what, "the present values read there first", "present-value-unknown")
    body: dict[str, Any] = {"steps": [one.as_json() for one in steps_of(plan)], "deadline_at": text_of(deadline_at)}
    _add(store, opened.head.id, opened.head.revision.number, BEGUN, by, body)


def confirm(live: Live, store: Store, network_id: int, *, site_id: str, said_by: str, by: str) -> str:
    """Write down what a site said on a call: its fields stand as this step wants them; gives the site's name.

    Raises
    ------
    RefusedError
        If it is not the site's turn.
    """
    turn, going_back = live.change.turn, live.change.going_back
    step = live.of(site_id)
    may = step is not None and (step.state == "to go back" if going_back else step is turn)
    if step is None or not may:
        first = "nothing is left to confirm" if turn is None else f"{turn.step.site_name} first"
        expected = f"{first}; what was set out of turn is entered on the timeline, as it stands"
        raise _no("site", "it is not this site's turn", expected, "step-out-of-turn")
    if not going_back and any(one.value is None for one in step.step.fields):
        raise _no(
            "site", "its sheet may not be gone by any more", "the change taken back, or ended", "change-not-issued"
        )
    routes = dict.fromkeys(one.route for one in step.step.fields)
    for route in routes:
        own = [one for one in step.step.fields if one.route == route]
        wanted = {one.name: one.back if going_back else one.value for one in own}
        words = f"step {step.number} {'taken back' if going_back else 'made'}, said on a call by {said_by}"
        body = told_body(
            {k: str(v) for k, v in wanted.items()}, {f.name: f.unit for f in own}, route=route, words=words
        )
        body |= as_kept(Held.sure(datetime.now(UTC)))
        store.entries.add(
            network_id, revision=live.revision, site_id=site_id, kind=TOLD, made_by=f"{by}, for {said_by}", body=body
        )
    return step.step.site_name


def order_back(live: Live, store: Store, network_id: int, *, by: str) -> None:
    """Order everything back, with what each site goes back to."""
    if live.ordered_back is None:
        back = {one.step.site_id: {f.field.name: f.field.back for f in one.fields} for one in live.change.steps}
        _add(store, network_id, live.revision, BACK, by, {"back": back})


def end(live: Live, store: Store, network_id: int, *, by: str) -> None:
    """Write down that the change is over, and how every step stood."""
    states = {one.step.site_id: one.state for one in live.change.steps}
    _add(store, network_id, live.revision, ENDED, by, {"states": states})


def _add(store: Store, network_id: int, revision: int, kind: str, by: str, body: dict[str, Any]) -> None:
    """Write one entry; it is about the whole network."""
    store.entries.add(network_id, revision=revision, site_id="", kind=kind, made_by=by, body=body)


def _no(where: str, what: str, expected: str, code: str) -> RefusedError:
    """A refusal."""
    return RefusedError(422, Problem(where, what, expected, code=code, fields=(where,)))
