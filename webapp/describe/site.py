"""One site: where it stands, what it radiates, where its delay can be set."""

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.check.heights import GroundThere, ground_there
from sfn.errors import PlanError
from sfn.geodesy.position import Forms, Located
from sfn.plan.proposal import DEVICE_STARTS, DeviceStart
from sfn.report.over import Over
from sfn.report.position_map import PositionMap
from sfn.study.standing import Standing, standing, where_to_stand
from sfn.terrain.dem import Terrain
from sfn.timing.readable import readable
from sfn.timing.tolerated import tolerated_error
from webapp.config.addresses import Room
from webapp.describe.chain_drawn import ChainDrawn, StageAsk, chains_drawn, name_of, others_of, stage_asks
from webapp.describe.edit_form import Editor, editor, sheet, stands_now
from webapp.forms.fields import Group
from webapp.forms.typed import number
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import NetworkDep, base_head
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.standing.editing import Draft, fresh, looked_at
from webapp.standing.overlaid import laid_over
from webapp.work.maps import Maps

router = Room("site")


@dataclass(frozen=True, slots=True)
class SitePage(Context):
    """One site: where it stands, what it radiates, where delay can be set."""

    TEMPLATE: ClassVar[str] = "describe/site.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    name: str
    """The site's name."""
    site_id: str
    """Its id in the newest revision, for its antenna's page; empty while it is not saved."""
    located: Located | None
    """Its position as it was understood; None where it cannot be."""
    forms: Forms | None
    """The same in the forms that sheets print."""
    there: GroundThere | None
    """The ground that the network's terrain has there; None without terrain."""
    standing: Standing | None
    """The same on a small map, with what is in doubt and whether it is to be confirmed."""
    confirmed: Mapping[int, str]
    """Places that were confirmed, by a site's position in the list."""
    where: PositionMap | None
    """The other sites, to click where this one stands; None where it is placed, or none of them is."""
    fields: Group
    """The site's own fields."""
    delay_fields: tuple[Group, ...]
    """Where delay can be set."""
    asks: tuple[StageAsk, ...]
    """Of a site that is not saved yet: what its own stages are asked for."""
    like: tuple[tuple[int, str], ...]
    """Of a site that is not saved yet: whose chain and devices it may have, position in the list and name."""
    chains: tuple[ChainDrawn, ...]
    """Its chains as they are."""
    starts: tuple[DeviceStart, ...]
    """What a device may count in."""


@router.get("/networks/{network_id}/sites/{site_id}")
def show(request: Request, network: NetworkDep, site_id: str) -> Response:
    """One site's fields."""
    return shown(request, fresh(network.saved), index_of(network.document, site_id))


def shown(request: Request, draft: Draft, index: int, *, status: int = 200) -> Response:
    """The page of a draft's site."""
    draft = looked_at(draft, request.app.state.maps, request.app.state.store)
    site = draft.document["sites"][index]
    terrain, tolerated_us = _known(request.app.state.maps, draft)
    over = _over(request, draft)
    stands = standing(
        draft.document,
        index,
        before=draft.base.document,
        tolerated_us=tolerated_us,
        terrain=terrain,
        across_km=draft.across_km,
        over=over,
    )
    found = stands.located if stands else None
    draft = _with_ground(draft, index, terrain, found)
    site = draft.document["sites"][index]
    new = not saved_id(draft, site)
    typed_m = typed_height(site)
    there = ground_there(terrain, found, typed_m=typed_m) if terrain and found else None
    held = sheet(draft)
    fields = held.group(f"sites-{index}", leave_out=("antenna", "level_shift"))
    asks = stage_asks(held, draft, site) if new else ()
    delay_fields = tuple(
        held.group(f"sites-{index}-delay_fields-{n}", title=str(entry.get("name", "")))
        for n, entry in enumerate(site.get("delay_fields") or ())
    )
    context = SitePage(
        network=base_head(request, draft.base),
        editor=editor(
            draft,
            "site",
            index=index,
            groups=(fields, *delay_fields, *(ask.fields for ask in asks)),
            about=(f"sites[{index}]", "network"),
            stands=stands_now(request.app.state.store, draft, saved_id(draft, site)),
        ),
        name=str(site.get("name") or "") or ("new site" if new else name_of(site, index)),
        site_id=saved_id(draft, site),
        located=found,
        forms=stands.forms if stands else None,
        there=there,
        standing=stands,
        confirmed=draft.confirmed,
        where=None if stands else where_to_stand(draft.document, index, terrain=terrain, over=over),
        fields=fields,
        delay_fields=delay_fields,
        asks=asks,
        like=others_of(draft.document, index) if new else (),
        chains=chains_drawn(draft.document, index),
        starts=DEVICE_STARTS,
    )
    return page(request, context, status=status)


def _with_ground(draft: Draft, index: int, terrain: Terrain | None, found: Located | None) -> Draft:
    """The draft with the terrain's height where none is typed: proposed, and seen before it is saved."""
    if terrain is None or found is None or draft.document["sites"][index].get("ground_m") is not None:
        return draft
    height_m = ground_there(terrain, found, typed_m=None).height_m
    if height_m is None:
        return draft
    document = deepcopy(draft.document)
    document["sites"][index]["ground_m"] = round(height_m, 1)
    needed = tuple(p for p in draft.needed if p.where != f"sites[{index}].ground_m")
    problems = tuple(p for p in draft.problems if p.where != f"sites[{index}].ground_m")
    return replace(draft.with_document(document), needed=needed, problems=problems)


def _over(request: Request, draft: Draft) -> tuple[Over, ...]:
    """Lines and names that lie over the network's maps; of one that cannot be read its own alone."""
    try:
        network = readable(draft.base.network)
    except PlanError:
        network = None
    return laid_over(request, draft.base.revision.network_id, network)


def typed_height(site: Mapping[str, Any]) -> float | None:
    """A site's ground height, where it is a number."""
    typed = number(str(site.get("ground_m", "")))
    return None if isinstance(typed, str) else float(typed)


def _known(maps: Maps, draft: Draft) -> tuple[Terrain | None, float]:
    """The network's terrain, None where it has none that opens, and the launch error that may stay. [us]"""
    try:
        network = draft.base.network
        tolerated_us = tolerated_error(network)
    except PlanError:
        return None, 0.0  # the check says why
    try:
        return maps.ground(network).terrain, tolerated_us
    except PlanError:
        return None, tolerated_us  # the Terrain page says why


def saved_id(draft: Draft, site: Mapping[str, Any]) -> str:
    """The site's id where it stands in the revision that the draft was made from, or nothing."""
    known = str(site.get("id", ""))
    return known if known in {str(s.get("id")) for s in draft.base.document.get("sites") or ()} else ""


def index_of(document: Mapping[str, Any], site_id: str) -> int:
    """The position of a site in its document; a page that is not there otherwise."""
    for n, site in enumerate(document["sites"]):
        if site["id"] == site_id:
            return n
    raise RefusedError(404)
