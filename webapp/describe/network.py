"""Sites and chains of one network, and its document as a file."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.errors import PlanError
from sfn.systems.service import services
from webapp.config.addresses import Room
from webapp.config.limits import NetworkId, RevisionNumber
from webapp.describe.edit_form import Editor, editor, sheet
from webapp.forms.fields import Group
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import NetworkDep, StoreDep, base_head
from webapp.shell.render import page
from webapp.standing.editing import Draft, fresh, looked_at
from webapp.store.documents import as_text

router = Room("network")


@dataclass(frozen=True, slots=True)
class ChainLine:
    """One route of a site, in words."""

    route: str
    stages: tuple[tuple[str, bool], ...]
    """Short name of each stage from the reference point to the antenna, and whether other sites share it."""


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site in the network's list."""

    index: int
    name: str
    position: str
    on_air: bool
    offset_us: str
    chains: tuple[ChainLine, ...]


@dataclass(frozen=True, slots=True)
class NetworkPage(Context):
    """Sites and chains of one network, and the network's own fields."""

    TEMPLATE: ClassVar[str] = "describe/network.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    sites: tuple[SiteLine, ...]
    """Its sites, in the order of the document."""
    fields: Group
    """The network's own fields."""


@router.get("/networks/{network_id}")
def show(request: Request, network: NetworkDep) -> Response:
    """The network at a glance."""
    return shown(request, fresh(network.saved))


@router.get("/networks/{network_id}/export.json")
def export(store: StoreDep, network_id: NetworkId, revision: RevisionNumber | None = None) -> Response:
    """The document of a revision, the newest by default."""
    saved = store.read(network_id, revision)
    name = f"network-{network_id}-revision-{saved.revision.number}.json"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    store.audit.add("exported", network_id=network_id, body={"revision": saved.revision.number})
    return Response(as_text(saved.document), media_type="application/json", headers=headers)


def shown(request: Request, draft: Draft, *, status: int = 200) -> Response:
    """The page of a draft."""
    draft = looked_at(draft, request.app.state.maps, request.app.state.store)
    held = replace(sheet(draft), suggestions={"service": service_ids(draft.base.own_services)})
    fields = held.group("", leave_out=("format", "terrain", "cover", "zones"))
    context = NetworkPage(
        network=base_head(request, draft.base),
        editor=editor(draft, "network", groups=(fields,)),
        sites=tuple(site_line(n, site, draft.document) for n, site in enumerate(draft.document.get("sites") or ())),
        fields=fields,
    )
    return page(request, context, status=status)


def service_ids(own_services: str) -> tuple[str, ...]:
    """Every service by its id; the shipped ones alone while the user's own file cannot be read: the check says it."""
    try:
        known = services(own_services=own_services)
    except PlanError:
        known = services()
    return tuple(one.id for one in known)


def site_line(index: int, site: Mapping[str, Any], document: Mapping[str, Any]) -> SiteLine:
    """What the list says of a site; drafts may have gaps."""
    elsewhere = {
        entry
        for n, other in enumerate(document.get("sites") or ())
        for chain in other.get("chains") or ()
        for entry in chain.get("stages") or ()
        if n != index
    }
    chains = tuple(
        ChainLine(str(chain.get("route", "")), tuple((str(s), s in elsewhere) for s in chain.get("stages") or ()))
        for chain in site.get("chains") or ()
    )
    return SiteLine(
        index=index,
        name=str(site.get("name") or site.get("id") or f"site {index + 1}"),
        position=written(site.get("position") or {}),
        on_air=site.get("on_air") is True,
        offset_us=str(site.get("offset_us", 0)),
        chains=chains,
    )


def written(position: Mapping[str, Any]) -> str:
    """A position as it was typed, with its reference system where that is not WGS 84."""
    unit = "ft" if "easting_ft" in position else "m"
    pair = [position.get(f"{axis}_{unit}", "?") for axis in ("easting", "northing")]
    text = position.get("text") or f"E {pair[0]} {unit}, N {pair[1]} {unit}"
    crs = position.get("crs", "EPSG:4326")
    return str(text) if crs == "EPSG:4326" else f"{text} ({crs})"
