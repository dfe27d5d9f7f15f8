"""Field sheets: what a technician takes to the site, on the screen and on paper."""

from typing import Literal

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.sheet import Sheet, sheet
from sfn.check import check
from sfn.errors import Problem
from webapp import addresses
from webapp.contexts.sheets import SheetLine, SheetPage, SheetPaper, SheetsPage
from webapp.dependencies import FormDep, NetworkDep, Opened, StoreDep
from webapp.entries import SIGN_OFF, Entry
from webapp.paper import pdf, qr_svg
from webapp.problems import RefusedError
from webapp.render import html, notice, page
from webapp.store import Store

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/sheets")
def show_all(request: Request, opened: NetworkDep, store: StoreDep) -> Response:
    """Every site's sheet and its state."""
    found = check(opened.network)
    made = (sheet(opened.network, site.id, problems=found) for site in opened.network.sites)
    return page(request, SheetsPage(network=opened.head, lines=tuple(_line(one, opened, store) for one in made)))


@router.get("/networks/{network_id}/sheets/{site_id}")
def show(request: Request, opened: NetworkDep, store: StoreDep, site_id: str) -> Response:
    """One site's sheet."""
    line = sheet_line(opened, store, site_id)
    address = _absolute(request, opened, site_id)
    context = SheetPage(opened.head, line.sheet, line.signed, line.issued, address)
    return page(request, context)


@router.get("/networks/{network_id}/sheets/{site_id}/sheet.pdf")
def as_pdf(
    request: Request, opened: NetworkDep, store: StoreDep, site_id: str, paper: Literal["a4", "letter"] = "a4"
) -> Response:
    """The same sheet as a PDF."""
    line = sheet_line(opened, store, site_id)
    address = _absolute(request, opened, site_id)
    body = html(request, SheetPaper(opened.head, line.sheet, line.signed, line.issued, address))
    foot = (
        f"{line.sheet.site.name} · {opened.head.name} · revision {opened.head.revision.number} · {line.sheet.checksum}"
    )
    name = f"sheet-network-{opened.head.id}-{site_id}-revision-{opened.head.revision.number}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(pdf(body, paper=paper, foot=foot, address=address), media_type="application/pdf", headers=headers)


@router.get("/networks/{network_id}/sheets/{site_id}/qr.svg")
def as_qr(request: Request, opened: NetworkDep, site_id: str) -> Response:
    """The address of the sheet, for a phone."""
    return Response(qr_svg(_absolute(request, opened, site_id)), media_type="image/svg+xml")


@router.post("/networks/{network_id}/sheets/{site_id}/sign")
def sign(request: Request, opened: NetworkDep, store: StoreDep, site_id: str, form: FormDep) -> Response:
    """Let a sheet go out although it rests on assumed latencies."""
    name = form.get("signed_by", "").strip()
    if form.get("revision") != str(opened.head.revision.number):
        what = "the network was saved again since this sheet was opened"
        raise RefusedError(
            409,
            Problem(
                "revision",
                what,
                "a look at the new sheet, then a sign-off of that one",
                code="sheet-changed-since",
                fields=("revision",),
            ),
        )
    if not name:
        raise RefusedError(
            422, Problem("signed_by", "a sign-off needs a name", "yours", code="author-missing", fields=("signed_by",))
        )
    assumed = sheet_line(opened, store, site_id).sheet.assumed_stages
    body = {"note": form.get("note", "").strip(), "assumed_stages": list(assumed)}
    store.entries.add(
        opened.head.id, revision=opened.head.revision.number, site_id=site_id, kind=SIGN_OFF, made_by=name, body=body
    )
    notice(request, f"Signed off by {name}.")
    return RedirectResponse(addresses.sheet(opened.head.id, site_id), 303)


def sheet_line(opened: Opened, store: Store, site_id: str) -> SheetLine:
    """A site's sheet, and whether a technician may go by it."""
    return _line(sheet(opened.network, site_id, problems=check(opened.network)), opened, store)


def _line(made: Sheet, opened: Opened, store: Store) -> SheetLine:
    """A sheet is issued without errors at its site, and with a sign-off of this revision for what is assumed."""
    signed = _signed(store, opened, made.site.id)
    return SheetLine(made, signed, not made.problems and (not made.assumed_stages or signed is not None))


def _signed(store: Store, opened: Opened, site_id: str) -> Entry | None:
    """The latest sign-off of this revision's sheet."""
    entries = store.entries.of(opened.head.id, kind=SIGN_OFF, site_id=site_id)
    return next((e for e in reversed(entries) if e.revision == opened.head.revision.number), None)


def _absolute(request: Request, opened: Opened, site_id: str) -> str:
    """The sheet's address as a phone needs it."""
    return str(request.base_url).rstrip("/") + addresses.sheet(opened.head.id, site_id)
