"""The delay table: what every device must be set to, with the arithmetic of each row."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from sfn.answer.delays import KINDS, NO_LOOP, delays
from sfn.report.arrival_rows import launch_rows
from sfn.report.tables import delays_csv, delays_xlsx
from sfn.systems.of_network import service_of
from webapp.contexts.delays import DelaysPage
from webapp.dependencies import MapsDep, NetworkDep, Opened, StatedDep, StoreDep
from webapp.release import released
from webapp.render import page
from webapp.sheet_stands import sheet_stands

router = APIRouter(include_in_schema=False)
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@router.get("/networks/{network_id}/delays")
def show(request: Request, opened: StatedDep, store: StoreDep, maps: MapsDep, state: str = "") -> Response:
    """The delay table, pairs and loops."""
    network = opened.network
    found = delays(network, problems=maps.checked(network), ground=maps.ground_if_open(network))
    names = {site.id: site.name for site in network.sites}
    picture = launch_rows(found.table, network, service_of(network))
    return page(
        request,
        DelaysPage(
            network=opened.head,
            found=found,
            names=names,
            picture=picture,
            kinds=dict(KINDS),
            no_loop=dict(NO_LOOP),
            sheets={} if state else sheet_stands(released(opened, store, maps)),
            states=tuple(state.name for state in network.today.planned or ()),
        ),
    )


@router.get("/networks/{network_id}/delays.csv")
def as_csv(opened: NetworkDep, maps: MapsDep) -> Response:
    """The delay table as CSV."""
    text = delays_csv(maps.reviewed(opened.network), revision=opened.head.revision.number)
    return Response(text, media_type="text/csv; charset=utf-8", headers=_attachment(opened, "csv"))


@router.get("/networks/{network_id}/delays.xlsx")
def as_xlsx(opened: NetworkDep, maps: MapsDep) -> Response:
    """The delay table as a spreadsheet."""
    content = delays_xlsx(maps.reviewed(opened.network), revision=opened.head.revision.number)
    return Response(content, media_type=XLSX, headers=_attachment(opened, "xlsx"))


def _attachment(opened: Opened, ending: str) -> dict[str, str]:
    """A file name that tells network and revision."""
    name = f"delays-network-{opened.head.id}-revision-{opened.head.revision.number}.{ending}"
    return {"Content-Disposition": f'attachment; filename="{name}"'}
