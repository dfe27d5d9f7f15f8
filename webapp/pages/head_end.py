"""The head-end sheet: delays that are sent in the stream, by transmitter identifier, for whoever enters them there."""

from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import Response

from webapp import addresses
from webapp.contexts.head_end import HeadEndLine, HeadEndPage, HeadEndPaper
from webapp.dependencies import MapsDep, NetworkDep, Opened, SettingsDep, StoreDep
from webapp.maps import Maps
from webapp.paper import pdf
from webapp.public import public_address
from webapp.release import released
from webapp.render import html, page
from webapp.store import Store

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/head-end")
def show(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """Every field that is entered at the head-end."""
    address = public_address(request, settings, addresses.head_end(opened.head.id))
    lines = _lines(opened, store, maps)
    return page(request, HeadEndPage(opened.head, lines, all(line.line.issued for line in lines), address))


@router.get("/networks/{network_id}/head-end.pdf")
def as_pdf(
    request: Request,
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    paper: Literal["a4", "letter"] = "a4",
) -> Response:
    """The same as a PDF."""
    address = public_address(request, settings, addresses.head_end(opened.head.id))
    lines = _lines(opened, store, maps)
    issued = all(line.line.issued for line in lines)
    body = html(request, HeadEndPaper(opened.head, lines, issued, address))
    number = opened.head.revision.number
    foot = f"head-end · {opened.head.name} · revision {number}"
    made = pdf(body, paper=paper, foot=foot, address=address, stamp="" if issued else "NOT ISSUED")
    name = f"head-end-network-{opened.head.id}-revision-{number}{'' if issued else '-not-issued'}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(made, media_type="application/pdf", headers=headers)


def _lines(opened: Opened, store: Store, maps: Maps) -> tuple[HeadEndLine, ...]:
    """The fields of all sites, in the order of the document."""
    found = []
    for line in released(opened, store, maps).lines:
        away = {f.name: f.transmitter_id or "" for f in line.sheet.site.delay_fields if f.entered_at == "head-end"}
        for route in line.sheet.routes:
            found += [HeadEndLine(line, route, f, away[f.name]) for f in route.fields if f.name in away]
    return tuple(found)
