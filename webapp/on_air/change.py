"""The change plan: from what is on air to the revision in force."""

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.study.change_plan import ChangePlan, change_plan
from sfn.study.live_change import plan_mark
from sfn.study.what_if import GREATEST_TRIED_US
from webapp.config.addresses import Room, to
from webapp.config.limits import LONGEST_PERSON_N, whole_number
from webapp.config.settings import Settings
from webapp.on_air.printing import ChangePage, as_file, printed_change
from webapp.paper import Paper, pdf
from webapp.shell.dependencies import (
    FormDep,
    MapsDep,
    NetworkDep,
    Opened,
    PersonDep,
    SettingsDep,
    StoreDep,
    in_part,
    opened,
)
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.standing.planned_by import planners
from webapp.standing.radiated_since import radiated_since
from webapp.standing.release import issued_at, released
from webapp.standing.sheet_stands import sheet_stands
from webapp.store.approvals import NOW, Plan, approval_of, approve
from webapp.store.roles import another_person
from webapp.store.store import Revision, Store
from webapp.work.maps import Maps

router = Room("change")


@router.get("/networks/{network_id}/change")
def show(
    request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, against: str = ""
) -> Response:
    """The plan against an older revision, or against what is set now."""
    return page(request, change_page(network, store, maps, settings, against=against))


@router.get("/networks/{network_id}/change.pdf")
def as_pdf(
    network: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, against: str = "", paper: Paper = "a4"
) -> Response:
    """The same as a PDF."""
    context = change_page(network, store, maps, settings, against=against)
    made = pdf(printed_change(network, context, released(network, store, maps)), paper=paper)
    unapproved = {"not approved": "-not-approved", "emergency": "-emergency"}.get(context.approval.state, "")
    name = f"change-plan-network-{network.head.id}-revision-{network.head.revision.number}{unapproved}.pdf"
    return as_file(made, name)


@router.post("/networks/{network_id}/change/approve")
def approve_plan(
    request: Request,
    network: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    person: PersonDep,
    form: FormDep,
) -> Response:
    """Approve the plan that was looked at: this revision, with this checksum, from these old values."""
    another_person(person, planners(network, store, of="plan"), approval=settings.approval)
    against, number = form.get("against", "").strip(), network.head.revision.number
    made = change_page(network, store, maps, settings, against=against)
    # A script of before names no old values: it approves those that stand now, and the approval is of them alone.
    looked_at = (form.get("revision"), form.get("checksum"), form.get("steps", made.steps))
    if looked_at != (str(number), made.plan.checksum, made.steps):
        what, expected = "the plan is another one since this page was opened", "a look at the plan as it is now"
        raise RefusedError(409, Problem("revision", what, expected, code="plan-changed-since", fields=("revision",)))
    by, held = form.get("author", "").strip()[:LONGEST_PERSON_N], made.plan.problems
    if not by:
        what = "an approval needs a name"
        raise RefusedError(422, Problem("author", what, "yours", code="author-missing", fields=("author",)))
    if made.stale:
        held += (Problem("sheets", "; ".join(made.stale), "the sheets issued anew", code="plan-stale"),)
    if not (held or made.plan.changes):
        held = (Problem("plan", "nothing is to be changed", "a plan with changes", code="nothing-to-approve"),)
    if held:
        raise RefusedError(422, *held)
    plan = _to_approve(made.plan, number, made.against)
    approve(store, network.head.id, plan, by=by, note=form.get("note", "").strip()[:500])
    notice(request, f"Approved by {by}: revision {number}, checksum {made.plan.checksum}, from {plan.against}.")
    return RedirectResponse(to("change.show", network.head.id, against=whole_number(against)), 303)


@router.post("/networks/{network_id}/change/levels")
def levels(network: NetworkDep, maps: MapsDep, settings: SettingsDep, form: FormDep) -> Response:
    """Work out field strengths in a job, then back to the plan."""
    against = form.get("against", "")
    back = to("change.show", network.head.id, against=whole_number(against))
    part = in_part(network).network
    wanted = maps.wanted(part, bounds=None, pixel_m=None, most=settings.limits.grid_points)
    job = maps.start(part, wanted, result_url=back)
    return RedirectResponse(back if job is None else to("jobs.show", job.id), 303)


def change_page(network: Opened, store: Store, maps: Maps, settings: Settings, *, against: str = "") -> ChangePage:
    """The plan against an older revision, or against what is set now.

    Raises
    ------
    PlanError
        If `against` is no older revision.
    """
    current = network.head.revision.number
    older = whole_number(against)
    if against and not (older is not None and 0 < older < current):
        expected = f"a revision from 1 to {current - 1}, or none for what is set now" if current > 1 else "none"
        raise PlanError(
            [
                Problem(
                    "against",
                    f"{against[:40]!r} is no older revision",
                    expected,
                    code="unknown-revision",
                    fields=("against",),
                )
            ]
        )
    old = opened(store.read(network.head.id, older), store, maps) if against else None
    part = in_part(network)
    try:
        key = maps.wanted(part.network, bounds=None, pixel_m=None, most=settings.limits.grid_points).key
    except PlanError:
        key = ""  # the map's own page says why there is none
    levels, found = maps.find(key), released(network, store, maps)
    people = None if levels is None else maps.listeners(part.network, levels.grid).people
    shown = key if levels is not None else ""
    plan = maps.worked_out(
        f"change against {older} over {shown}",
        part.network,
        lambda: change_plan(
            part.network,
            old=None if old is None else old.network,
            coverage=levels,
            reviewed=found.reviewed,
            issued_at=issued_at(network, store),
            people=people,
        ),
        beside=people,
    )
    revisions = tuple(one for one in store.history(network.head.id) if one.number < current)
    stale = tuple(line.stale_says for line in found.lines if line.stale_says)
    asked = settings.approval == "other"
    before = None if old is None else old.head.revision
    looked_at = _to_approve(plan, current, before)
    approval = approval_of(store, network.head.id, looked_at, asked=asked)
    stands, waiting = sheet_stands(found), _waiting(plan)
    radiated = radiated_since(network.network)
    return ChangePage(
        part.head, plan, before, revisions, shown, waiting, stale, stands, approval, looked_at.mark, radiated
    )  # fmt: skip


def _to_approve(plan: ChangePlan, number: int, before: Revision | None) -> Plan:
    """What an approval of a plan is bound to."""
    against = NOW if before is None else f"revision {before.number}"
    return Plan(number, plan.checksum, against, plan_mark(plan))


def _waiting(plan: ChangePlan) -> tuple[str, ...]:
    """The worst moment as clock errors of a map; nothing where one is beyond what a map tries."""
    if plan.worst is None or any(abs(late) > GREATEST_TRIED_US for late in plan.waiting_us.values()):
        return ()
    return tuple(f"{site}:{late:.6f}" for site, late in plan.waiting_us.items())
