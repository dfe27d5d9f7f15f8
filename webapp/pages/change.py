"""The change plan: from what is on the air to the revision in force."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import Problem
from webapp import addresses
from webapp.approvals import approve
from webapp.change_page import change_page
from webapp.dependencies import FormDep, MapsDep, NetworkDep, PersonDep, SettingsDep, StoreDep, in_part
from webapp.limits import LONGEST_PERSON_N, whole_number
from webapp.paper import Paper, pdf
from webapp.printing import as_file, printed_change
from webapp.problems import RefusedError
from webapp.release import planners, released
from webapp.render import notice, page
from webapp.roles import another_person

router = APIRouter(include_in_schema=False)


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
    unapproved = "-not-approved" if context.approval.state == "not approved" else ""
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
    another_person(person, planners(network, store), approval=settings.approval)
    against, number = form.get("against", "").strip(), network.head.revision.number
    made = change_page(network, store, maps, settings, against=against)
    if (form.get("revision"), form.get("checksum")) != (str(number), made.plan.checksum):
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
    note, old = form.get("note", "").strip()[:500], f"revision {against}" if against else "what is set now"
    approve(store, network.head.id, revision=number, checksum=made.plan.checksum, by=by, note=note, against=old)
    notice(request, f"Approved by {by}: revision {number}, checksum {made.plan.checksum}.")
    return RedirectResponse(addresses.change(network.head.id, whole_number(against)), 303)


@router.post("/networks/{network_id}/change/levels")
def levels(network: NetworkDep, maps: MapsDep, settings: SettingsDep, form: FormDep) -> Response:
    """Work out field strengths in a job, then back to the plan."""
    against = form.get("against", "")
    back = addresses.change(network.head.id, whole_number(against))
    part = in_part(network).network
    wanted = maps.wanted(part, bounds=None, pixel_m=None, most=settings.limits.grid_points)
    job = maps.start(part, wanted, result_url=back)
    return RedirectResponse(back if job is None else addresses.job(job.id), 303)
