"""The delay table: what every device must be set to, with the arithmetic of each row."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.pairs import Pair
from sfn.plan import Network
from sfn.report.arrival_rows import ArrivalRows, launch_rows
from sfn.report.tables import delays_csv, delays_xlsx
from sfn.study.delays import KINDS, NO_LOOP, Delays, Loop, delays
from sfn.systems.of_network import service_of
from sfn.timing.row import DelayRow
from webapp.config.addresses import Room
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, NetworkDep, Opened, StatedDep, StoreDep
from webapp.shell.render import page
from webapp.shell.windows import USUAL_ROWS_N, Shown, Window, window
from webapp.standing.release import released
from webapp.standing.sheet_stands import SheetStands, sheet_stands
from webapp.work.maps import Maps

router = Room("delays")
MOST_ROWS_N = 100
"""Routes of a part of the table: each has its arithmetic, with a term a stage."""
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True, slots=True)
class DelaysPage(Context):
    """Delay table, pairs and loops of one network."""

    TEMPLATE: ClassVar[str] = "timing/delays.html"
    TAB: ClassVar[str] = "delays"
    network: NetworkHead
    """Which network, in which revision."""
    found: Delays
    """The table, its pairs, loops and problems."""
    rows: Window[DelayRow]
    """Those of its rows that stand here, in document order."""
    names: dict[str, str]
    """Site names by id."""
    pairs: Window[Pair]
    """Those of its pairs that stand here; all in document order where they are few, else the nearest first."""
    loops: Window[Loop]
    """Those of its loops that stand here."""
    picture: ArrivalRows
    """Launches of all routes against the common delay."""
    kinds: dict[str, str]
    """What the point of a pair's wish is, by its kind."""
    no_loop: dict[str, str]
    """Why there is no loop, by code."""
    sheets: Mapping[str, SheetStands]
    """How far each site's sheet is, by site; none of a planned state, which nobody signs."""
    states: tuple[str, ...]
    """Planned states that the table can be asked for."""


@router.get("/networks/{network_id}/delays")
def show(
    request: Request,
    opened: StatedDep,
    store: StoreDep,
    maps: MapsDep,
    state: str = "",
    rows: Shown = "",
    pairs: Shown = "",
    loops: Shown = "",
) -> Response:
    """The delay table, pairs and loops; of many rows, pairs or loops those parts that are asked for."""
    network = opened.network
    found = answered(network, maps)
    few = len(found.pairs) <= USUAL_ROWS_N
    names = {site.id: site.name for site in network.sites}
    picture = launch_rows(found.table, network, service_of(network))
    return page(
        request,
        DelaysPage(
            network=opened.head,
            found=found,
            rows=window(found.table.rows, rows, most=MOST_ROWS_N),
            names=names,
            pairs=window(found.pairs if few else sorted(found.pairs, key=lambda pair: pair.ground_m), pairs),
            loops=window(found.loops, loops, most=100),
            picture=picture,
            kinds=dict(KINDS),
            no_loop=dict(NO_LOOP),
            sheets={} if state else sheet_stands(released(opened, store, maps)),
            states=tuple(state.name for state in network.today.planned or ()),
        ),
    )


def answered(network: Network, maps: Maps) -> Delays:
    """The delays of a network on its ground, kept: the page and the interface for scripts have one answer."""
    return maps.worked_out(
        "delays", network, lambda: delays(network, problems=maps.checked(network), ground=maps.ground_if_open(network))
    )


@router.get("/networks/{network_id}/delays.csv")
def as_csv(opened: NetworkDep, maps: MapsDep) -> Response:
    """The delay table as CSV."""
    text = delays_csv(maps.reviewed(opened.network), revision=opened.head.revision.number, urgent=opened.head.urgent)
    return Response(text, media_type="text/csv; charset=utf-8", headers=_attachment(opened, "csv"))


@router.get("/networks/{network_id}/delays.xlsx")
def as_xlsx(opened: NetworkDep, maps: MapsDep) -> Response:
    """The delay table as a spreadsheet."""
    content = delays_xlsx(
        maps.reviewed(opened.network), revision=opened.head.revision.number, urgent=opened.head.urgent
    )
    return Response(content, media_type=XLSX, headers=_attachment(opened, "xlsx"))


def _attachment(opened: Opened, ending: str) -> dict[str, str]:
    """A file name that tells network and revision."""
    name = f"delays-network-{opened.head.id}-revision-{opened.head.revision.number}.{ending}"
    return {"Content-Disposition": f'attachment; filename="{name}"'}
