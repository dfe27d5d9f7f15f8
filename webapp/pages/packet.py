"""The work packet: what it holds, what keeps it back, and its PDF."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from sfn.errors import Problem
from webapp.contexts.packet import PacketPage
from webapp.dependencies import FormDep, MapsDep, NetworkDep, SettingsDep, StoreDep
from webapp.limits import whole_number
from webapp.packet import packet, refusals
from webapp.paper import PAPERS
from webapp.printing import as_file, unprintable_says
from webapp.problems import RefusedError
from webapp.public import public_base
from webapp.release import released
from webapp.render import page
from webapp.site_links import MOST_DAYS, USUAL_DAYS

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/packet")
def show(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """What goes with it, or why there is none."""
    found = released(opened, store, maps)
    others = tuple(line.sheet.site.name for line in found.lines if not line.issued)
    reachable = bool(public_base(request, settings))
    context = PacketPage(
        opened.head, refusals(opened, found), others, reachable, unprintable_says(opened), USUAL_DAYS, MOST_DAYS
    )
    return page(request, context)


@router.post("/networks/{network_id}/packet.pdf")
def as_pdf(
    request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, form: FormDep
) -> Response:
    """The packet; its links are made."""
    days, paper = whole_number(form.get("days", "")), next((p for p in PAPERS if p == form.get("paper", "a4")), None)
    if days is None or paper is None:
        what, expected = ("the paper or the days cannot be read", "a4 or letter, and a number of days")
        raise RefusedError(422, Problem("paper", what, expected, code="unreadable-choice", fields=("paper", "days")))
    base = public_base(request, settings)
    made = packet(opened, store, maps, settings, base=base, days=days, paper=paper)
    return as_file(made, f"work-packet-network-{opened.head.id}-revision-{opened.head.revision.number}.pdf")
