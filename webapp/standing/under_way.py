"""The newest change under way as the store keeps it: begun with its steps, ordered back, ended, and by whom."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sfn.errors import Problem
from sfn.study.change_plan import ChangePlan
from sfn.study.going_back import going_back_sheet, under_way_sheet
from sfn.study.live_change import LiveChange, LiveStep, Read, Step, live_change, steps_of
from sfn.study.sheet import Sheet
from sfn.timeline.held import Held, instant, not_sooner, text_of
from webapp.shell.dependencies import Opened, opened
from webapp.shell.problems import RefusedError
from webapp.standing.office_entries import told_body
from webapp.standing.readings import READING, Kept, kept
from webapp.standing.release import Released, released
from webapp.standing.site_folds import in_order
from webapp.store.approvals import EMERGENCY
from webapp.store.entries import Entry
from webapp.store.ledger import LEDGERS
from webapp.store.store import Store
from webapp.store.timeline import BACK, BEGUN, ENDED, TOLD, as_kept
from webapp.work.maps import Maps


@dataclass(frozen=True, slots=True)
class Live:
    """A change under way, or one that was ordered back and is over."""

    change: LiveChange
    revision: int
    begun: Entry
    ordered_back: Entry | None
    """Who ordered everything back."""
    ended: Entry | None = None
    """Who ended it."""

    def sheet(self, made: Sheet, *, revision: int) -> Sheet:
        """A site's sheet with the way back that was written down when the change began, while it is under way."""
        step = self.of(made.site.id) if revision == self.revision and self.ended is None else None
        return under_way_sheet(made, None if step is None else step.step)

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
        return repr((self.begun.id, self.ordered_back is not None, self.ended is not None, steps))


_KINDS = (BEGUN, BACK, ENDED)


@dataclass(frozen=True, slots=True)
class _Newest:
    """Entries of the change that began last."""

    begun: Entry
    back: Entry | None = None
    ended: Entry | None = None


def _newest(store: Store, network_id: int) -> _Newest | None:
    """The change that began last, over or not."""
    found: _Newest | None = None
    for entry in store.entries.of(network_id, kind=_KINDS):
        if entry.kind == BEGUN:
            found = _Newest(entry)
        elif found is not None and found.ended is None:
            found = replace(found, **{"back" if entry.kind == BACK else "ended": entry})
    return found


def live_of(store: Store, maps: Maps, network_id: int) -> Live | None:
    """The change that is under way, now; None where none is."""
    there = _newest(store, network_id)
    return None if there is None or there.ended is not None else _live(there, store, maps, network_id)


@dataclass(frozen=True, slots=True)
class TakenBack:
    """A change that was ordered back, under way or over, with each site's sheet of the old values."""

    order: Entry
    change: LiveChange
    old: Mapping[str, Sheet]


def taken_back(store: Store, maps: Maps, network_id: int) -> TakenBack | None:
    """The newest change, where it was ordered back; None where it was not, or another has begun since."""
    there = _newest(store, network_id)
    if there is None or there.back is None:
        return None
    sheets, change = _stands(there, store, maps, network_id)
    made = ((line.sheet.site.id, going_back_sheet(line.sheet, change)) for line in sheets.lines)
    return TakenBack(there.back, change, {site: old for site, old in made if old is not None})


def told_at(site_id: str, store: Store, maps: Maps, network_id: int) -> Live | None:
    """What a site's telephone speaks of: the change under way, or one that was taken back and stands so there."""
    there = _newest(store, network_id)
    if there is None or (there.ended is not None and there.back is None):
        return None
    live = _live(there, store, maps, network_id)
    step = live.of(site_id)
    return live if live.ended is None or (step is not None and step.state == "as before") else None


def _live(there: _Newest, store: Store, maps: Maps, network_id: int) -> Live:
    """How a change stands now, without new values that may not be told any more."""
    begun = there.begun
    sheets, change = _stands(there, store, maps, network_id)
    newest = store.read(network_id).revision.number
    gone = {one.site_id for one in begun_steps(begun) if newest != begun.revision or not sheets.of(one.site_id).issued}
    return Live(_veiled(change, gone), begun.revision, begun, there.back, there.ended)


def _stands(there: _Newest, store: Store, maps: Maps, network_id: int) -> tuple[Released, LiveChange]:
    """How a change stands now, and the sheets of its revision."""
    begun, back = there.begun, there.back
    plan = opened(store.read(network_id, begun.revision), store, maps)
    sheets = released(plan, store, maps)
    deadline_at = instant(str(begun.body["deadline_at"]))
    assert deadline_at is not None
    change = live_change(
        plan.network,
        begun_steps(begun),
        begun_at=begun.made_at,
        deadline_at=deadline_at,
        now=datetime.now(UTC),
        going_back=back is not None,
        read={} if back is not None else _read(store, sheets, begun),
    )
    if back is not None:
        read = _read(store, sheets, begun, back, change)
        change = replace(change, steps=tuple(replace(one, read=read.get(one.step.site_id)) for one in change.steps))
    return sheets, change


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
    steps = {one.site_id: one for one in begun_steps(begun)}
    made = {one.sheet.site.id: under_way_sheet(one.sheet, steps.get(one.sheet.site.id)) for one in found.lines}
    latest: dict[str, Read] = {}
    # What certainly held before is not even read; `not_sooner` knows times that are kept to the second.
    since = begun.made_at.replace(microsecond=0)
    numbers = LEDGERS.of(store, begun.network_id).numbers([READING], latest_from=since)
    for entry in in_order(store, begun.network_id, sorted(numbers)):
        if entry.site_id not in made:
            continue
        (one,) = kept(made[entry.site_id], [entry])
        ordered = back is not None and after(back, one)
        old = going_back_sheet(made[entry.site_id], change) if ordered and change is not None else None
        if old is not None:
            (one,) = kept(old, [entry], going_back=True)
        if one.found is None or not one.found.launches or not not_sooner(one.held.latest, begun.made_at):
            continue
        before = latest.get(entry.site_id)
        if before is None or before.held_at <= one.held.at:
            before_order, near = back is not None and not ordered, near_order(back, one)
            latest[entry.site_id] = Read(one.found, entry.made_by, one.held.at, before_order, near)
    return latest


def after(back: Entry, one: Kept) -> bool:
    """Whether a report held since an order to go back; what had arrived before the order did not."""
    return one.entry.id > back.id and since_order(back, one.held)


def since_order(back: Entry | None, held: Held) -> bool:
    """Whether what arrives now held since an order to go back; not where there is none."""
    return back is not None and held.follows(back.made_at)


def near_order(back: Entry | None, one: Kept) -> bool:
    """Whether clocks leave open on which side of an order to go back a report lies, which came after it."""
    return back is not None and one.entry.id > back.id and not one.held.sure_beside(back.made_at)


def begin(
    opened: Opened,
    store: Store,
    found: Released,
    plan: ChangePlan,
    *,
    by: str,
    deadline_at: datetime,
    emergency: str = "",
) -> None:
    """Write down that a change begins, with its steps and old values, and why without an approval where that is so.

    Raises
    ------
    RefusedError
        If one is under way, a site that changes is not issued, or nothing changes.
    """
    newest = _newest(store, opened.head.id)
    if newest is not None and newest.ended is None:
        raise _no("change", "a change is under way already", "its end first", "change-under-way")
    if not plan.changes:
        raise _no("change", "no site changes", "a plan with steps", "change-without-steps")
    waiting = [one.site.name for one in plan.changes if not found.of(one.site.id).issued]
    if waiting or plan.problems:
        what = f"the sheets of {', '.join(map(format, waiting)) or 'the sites that change'} are not issued"
        raise _no("change", what, "every sheet of the change issued, in this revision", "change-not-issued")
    unknown = [one.site.name for one in plan.changes for r in one.routes for f in r.fields if f.back.value is None]
    if unknown:
        what = f"nobody knows what to go back to at {', '.join(map(format, dict.fromkeys(unknown)))}"
        raise _no("change", what, "the present values read there first", "present-value-unknown")
    body: dict[str, Any] = {"steps": [one.as_json() for one in steps_of(plan)], "deadline_at": text_of(deadline_at)}
    body |= {EMERGENCY: emergency} if emergency else {}
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
