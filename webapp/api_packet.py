"""The work packet for scripts: ``/api/networks/ID/packet``; part of the interface of `webapp.api`."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from webapp.dependencies import MapsDep, NetworkDep, SettingsDep, StoreDep
from webapp.packet import packet
from webapp.paper import Paper
from webapp.printing import as_file
from webapp.public import public_base
from webapp.site_links import USUAL_DAYS

router = APIRouter(tags=["answers"])
_FILE = {"application/pdf": {"schema": {"type": "string", "format": "binary"}}}
_PDF: dict[int | str, dict[str, Any]] = {200: {"content": _FILE, "description": "The packet."}}


@router.post("/networks/{network_id}/packet", response_class=Response, responses=_PDF)
def answer_packet(
    request: Request,
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    days: Annotated[int, Query(description="How long its links last.")] = USUAL_DAYS,
    paper: Paper = "a4",
) -> Response:
    """Change plan, every sheet and signed links of the newest revision as one PDF; makes the links."""
    base = public_base(request, settings)
    made = packet(opened, store, maps, settings, base=base, days=days, paper=paper)
    return as_file(made, f"work-packet-network-{opened.head.id}-revision-{opened.head.revision.number}.pdf")
