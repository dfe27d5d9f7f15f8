"""The change plan: from what is on the air to the revision in force."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from webapp import addresses
from webapp.change_page import change_page
from webapp.dependencies import FormDep, MapsDep, NetworkDep, SettingsDep, StoreDep, in_part
from webapp.limits import whole_number
from webapp.paper import Paper, pdf
from webapp.printing import as_file, printed_change
from webapp.release import released
from webapp.render import page

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
    name = f"change-plan-network-{network.head.id}-revision-{network.head.revision.number}.pdf"
    return as_file(made, name)


@router.post("/networks/{network_id}/change/levels")
def levels(network: NetworkDep, maps: MapsDep, settings: SettingsDep, form: FormDep) -> Response:
    """Work out field strengths in a job, then back to the plan."""
    against = form.get("against", "")
    back = addresses.change(network.head.id, whole_number(against))
    part = in_part(network).network
    wanted = maps.wanted(part, bounds=None, pixel_m=None, most=settings.limits.grid_points)
    job = maps.start(part, wanted, result_url=back)
    return RedirectResponse(back if job is None else addresses.job(job.id), 303)
