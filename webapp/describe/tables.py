"""Sites from CSV or XLSX with a preview, and out as CSV, GeoJSON and KML."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.answer.map_files import MEDIA
from sfn.answer.site_files import read_sites, sites_csv, sites_document, sites_xlsx
from sfn.errors import PlanError, Problem
from sfn.study.site_table import COLUMNS, TEMPLATE, Understood, understood_sites
from webapp.config.addresses import Room, to
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, NetworkDep, Opened, StoreDep, UploadsDep
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of, save
from webapp.shell.stamped import as_file, named, stamp_of
from webapp.store.documents import network_of
from webapp.work.maps import Maps
from webapp.work.measurements import safe_name

router = Room("tables")


@dataclass(frozen=True, slots=True)
class TablesPage(Context):
    """Sites in and out as a table."""

    TEMPLATE: ClassVar[str] = "describe/tables.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    site_names: tuple[tuple[str, str], ...]
    """Sites that new ones may be like: id and name."""
    like: str
    """The one chosen."""
    columns: tuple[str, ...]
    """Names of columns that are known."""
    found: Understood | None
    """What was understood, once a table was sent."""
    content: str
    """The table that was sent, as CSV text, to be sent again on saving."""
    doubts: tuple[Problem, ...]
    """What keeps the changed document from being saved, or should be given a second look."""
    problems: tuple[Problem, ...]
    """What is wrong with the file."""


@dataclass(frozen=True, slots=True)
class _Sent:
    """A table as it was sent, and what was understood."""

    like: str = ""
    content: str = ""
    found: Understood | None = None


@router.get("/networks/{network_id}/tables")
def show(request: Request, opened: NetworkDep, maps: MapsDep) -> Response:
    """Files out, and the form for a table."""
    return page(request, _page(opened, maps, _Sent()))


@router.post("/networks/{network_id}/tables/upload")
def look(request: Request, opened: NetworkDep, maps: MapsDep, form: FormDep, files: UploadsDep) -> Response:
    """What a table would do, row by row; nothing is saved."""
    sent = _Sent(form.get("like", ""))
    try:
        for chosen in files.get("file", ()):
            return page(request, _page(opened, maps, _read(opened, chosen.file.read(), chosen.filename, form)))
        raise PlanError(
            [
                Problem(
                    "file",
                    "none was chosen",
                    "a CSV, XLSX or GeoJSON file of sites",
                    code="no-file-chosen",
                    fields=("file",),
                )
            ]
        )
    except PlanError as error:
        return page(request, _page(opened, maps, sent, problems=error.problems), status=422)


@router.post("/networks/{network_id}/tables")
def keep(request: Request, opened: NetworkDep, maps: MapsDep, store: StoreDep, form: FormDep) -> Response:
    """Save what was understood, as a new revision."""
    sent = _Sent(form.get("like", ""), form.get("content", ""))
    try:
        sent = _read(opened, form.get("content", "").encode(), form.get("source", "table"), form)
        author = author_of(form)
        found = sent.found
        if found is None or not found.changes_n:
            raise PlanError(
                [Problem("file", "changes nothing", "a table that does", code="nothing-changed", fields=("file",))]
            )
        network_of(found.document, opened.network.own_services)
    except PlanError as error:
        return page(request, _page(opened, maps, sent, problems=error.problems), status=422)
    reason = f"{found.changes_n} sites from {found.source}"
    save(request, store, opened, found.document, form, author=author, reason=reason)
    notice(request, f"Saved as a new revision: {reason}.")
    return RedirectResponse(to("network.show", opened.head.id), 303)


@router.get("/networks/{network_id}/sites.{form}")
def file(opened: NetworkDep, form: Literal["csv", "xlsx", "geojson", "kml"]) -> Response:
    """Every site as a file."""
    by = stamp_of(opened)
    if form == "csv":
        return Response(sites_csv(opened.network), media_type=MEDIA[form], headers=named(by, "sites", form))
    if form == "xlsx":
        return Response(sites_xlsx(opened.network), media_type=MEDIA[form], headers=named(by, "sites", form))
    return as_file(sites_document(opened.network), "sites", form, by)


@router.get("/tables/sites-template.csv")
def template() -> Response:
    """A table to be filled in."""
    headers = {"Content-Disposition": 'attachment; filename="sites-template.csv"'}
    return Response(TEMPLATE, media_type=MEDIA["csv"], headers=headers)


def _read(opened: Opened, content: bytes, name: str | None, form: Mapping[str, str]) -> _Sent:
    """A table with what it would do."""
    table = read_sites(content, source=safe_name(name or "table"))
    like = form.get("like", "")
    return _Sent(
        like,
        table.as_csv(),
        understood_sites(table, opened.document, like=like, own_services=opened.network.own_services),
    )


def _page(opened: Opened, maps: Maps, sent: _Sent, *, problems: tuple[Problem, ...] = ()) -> TablesPage:
    """The page with whatever is there to show."""
    return TablesPage(
        network=opened.head,
        site_names=tuple((str(s["id"]), str(s.get("name") or s["id"])) for s in opened.document["sites"]),
        like=sent.like,
        columns=tuple(COLUMNS),
        found=sent.found,
        content=sent.content,
        doubts=_doubts(maps, sent.found.document, opened.network.own_services)
        if sent.found and sent.found.changes_n
        else (),
        problems=problems,
    )


def _doubts(maps: Maps, document: dict[str, Any], own_services: str) -> tuple[Problem, ...]:
    """What the check says of the changed document, or why it cannot be one."""
    try:
        return maps.checked(network_of(document, own_services))
    except PlanError as error:
        return error.problems
