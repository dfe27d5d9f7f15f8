"""The head-end sheet: delays that are sent in the stream, by transmitter identifier, for whoever enters them there."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from webapp import addresses
from webapp.contexts.head_end import HeadEndPage
from webapp.dependencies import MapsDep, NetworkDep, SettingsDep, StoreDep
from webapp.head_end import head_end_lines
from webapp.paper import Paper, pdf
from webapp.printing import as_file, code_says, locked, printed_head_end
from webapp.public import public_address
from webapp.release import released
from webapp.render import page

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/head-end")
def show(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """Every field that is entered at the head-end."""
    address = public_address(request, settings, addresses.head_end(opened.head.id))
    lines = head_end_lines(released(opened, store, maps))
    return page(request, HeadEndPage(opened.head, lines, all(line.line.issued for line in lines), address))


@router.get("/networks/{network_id}/head-end.pdf")
def as_pdf(
    request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, paper: Paper = "a4"
) -> Response:
    """The same as a PDF."""
    address = public_address(request, settings, addresses.head_end(opened.head.id))
    lines, number = head_end_lines(released(opened, store, maps)), opened.head.revision.number
    opens = code_says(number, locked=locked(store, settings))
    made = pdf(printed_head_end(opened, lines, address=address, opens=opens), paper=paper)
    issued = all(line.line.issued for line in lines)
    return as_file(made, f"head-end-network-{opened.head.id}-revision-{number}{'' if issued else '-not-issued'}.pdf")
