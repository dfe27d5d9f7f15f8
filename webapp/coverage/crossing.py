"""Two signals made to meet at a clicked place: the offset, the device's setting, what it costs elsewhere."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.study.compared import Compared, compared, in_short, served_says
from sfn.study.crossing import Crossing, crossing
from sfn.study.losers import PlaceChange
from sfn.study.what_if import WhatIf
from webapp.config.addresses import Room
from webapp.config.limits import Latitude, Longitude
from webapp.coverage.zones import coverage_of, zones_of
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, ReadableStatedDep
from webapp.shell.render import page
from webapp.standing.tries import TriesDep
from webapp.work.map_heights import key_of_try, tried_over

router = Room("crossing")
PLACES_SHOWN_N = 6


@dataclass(frozen=True, slots=True)
class CrossingPart(Context):
    """The offset with which two signals meet at a place, for the map's side."""

    TEMPLATE: ClassVar[str] = "coverage/crossing_part.html"
    network: NetworkHead
    """Which network, in which revision."""
    found: Crossing
    """The offset, and what it leaves at the place."""
    cost: Compared
    """Area and people by class and site, as planned and with the offset."""
    in_short: str
    """What it gains and loses over the map against the plan, in a sentence."""
    served_planned: str
    """Area and people served as planned, in words."""
    served_then: str
    """The same with the offset."""
    losing: tuple[PlaceChange, ...]
    """Places where most people lose adequate service, or the margin falls most."""
    losing_n: int
    """How many places lose, those not shown among them."""
    offset: str
    """The offset as a form's field holds it."""
    offsets: tuple[tuple[str, str], ...]
    """All offsets that a save takes, by site."""
    is_state: bool
    """Whether a planned state is shown, which is not saved from here."""


@router.get("/networks/{network_id}/map/{key}/crossing")
def show(
    request: Request, opened: ReadableStatedDep, maps: MapsDep, key: str, tries: TriesDep, lat: Latitude,
    lon: Longitude, fill_in: str, against: str,
) -> Response:  # fmt: skip
    """The offset of `fill_in` with which it meets `against` at a place."""
    network = opened.network
    coverage_of(opened, maps, key)
    found = crossing(
        network, tries, lat_deg=lat, lon_deg=lon, fill_in=fill_in, against=against, problems_of=maps.checked,
        ground=maps.ground(network),
    )  # fmt: skip
    planned = zones_of(opened, maps, key, WhatIf(state=tries.state))[0]
    then = zones_of(opened, maps, key, found.what)[0]
    cost = compared(planned, then)
    radiating = tried_over(maps, network, WhatIf(levers=tries.levers)).network
    # With the levers too: a relay that is tried elsewhere launches otherwise before the offset and with it.
    with_offsets = tried_over(maps, network, WhatIf(found.what.offsets_us, state=tries.state, levers=tries.levers))
    effect = maps.effect(radiating, key_of_try(maps, network, radiating, key), with_offsets)
    losing = effect.losing if effect else ()
    offsets = tuple((site, f"{value:.12g}") for site, value in found.what.against(network).offsets_us.items())
    return page(
        request,
        CrossingPart(
            opened.head, found, cost, in_short(cost), served_says(planned), served_says(then),
            losing[:PLACES_SHOWN_N], len(losing), f"{found.offset_us:.12g}", offsets, network.state is not None,
        ),
    )  # fmt: skip
