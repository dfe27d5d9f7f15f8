"""Sites and chains of one network, and its document as a file."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from sfn.plan import Position, Site
from webapp.contexts.network import ChainLine, NetworkPage, SiteLine
from webapp.dependencies import NetworkDep, StoreDep
from webapp.documents import as_text
from webapp.render import page

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}")
def show(request: Request, network: NetworkDep) -> Response:
    """The network at a glance."""
    sites = tuple(site_line(index, site) for index, site in enumerate(network.network.sites))
    return page(request, NetworkPage(network=network.head, sites=sites))


@router.get("/networks/{network_id}/export.json")
def export(store: StoreDep, network_id: int, revision: int | None = None) -> Response:
    """The document of a revision, the newest by default."""
    saved = store.read(network_id, revision)
    name = f"network-{network_id}-revision-{saved.revision.number}.json"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(as_text(saved.document), media_type="application/json", headers=headers)


def site_line(index: int, site: Site) -> SiteLine:
    """What the list says of a site."""
    return SiteLine(
        index=index,
        id=site.id,
        name=site.name,
        position=written(site.position),
        on_air=site.on_air,
        offset_us=site.offset_us,
        chains=tuple(ChainLine(chain.route, chain.stages) for chain in site.chains),
    )


def written(position: Position) -> str:
    """A position as it was typed, with its reference system where that is not WGS 84."""
    text = position.text or f"E {position.easting_m:.2f} m, N {position.northing_m:.2f} m"
    return text if position.crs == "EPSG:4326" else f"{text} ({position.crs})"
