"""One site: where it stands, what it radiates, where its delay can be set."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.check.heights import GroundThere, ground_there
from sfn.errors import PlanError
from sfn.geodesy.position import Forms, Located
from sfn.study.standing import Standing, standing
from sfn.terrain.dem import Terrain
from sfn.timing.tolerated import tolerated_error
from webapp.config.addresses import Room
from webapp.describe.edit_form import Editor, editor, sheet, stands_now
from webapp.forms.fields import Group
from webapp.forms.typed import number
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import NetworkDep, base_head
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.standing.editing import Draft, fresh, looked_at
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
    fields: Group
    """The site's own fields."""
    delay_fields: tuple[Group, ...]
    """Where delay can be set."""


@router.get("/networks/{network_id}/sites/{site_id}")
def show(request: Request, network: NetworkDep, site_id: str) -> Response:
    """One site's fields."""
    return shown(request, fresh(network.saved), index_of(network.document, site_id))


def shown(request: Request, draft: Draft, index: int, *, status: int = 200) -> Response:
    """The page of a draft's site."""
    draft = looked_at(draft, request.app.state.maps, request.app.state.store)
    site = draft.document["sites"][index]
    terrain, tolerated_us = _known(request.app.state.maps, draft)
    stands = standing(draft.document, index, before=draft.base.document, tolerated_us=tolerated_us, terrain=terrain)
    found = stands.located if stands else None
    typed_m = typed_height(site)
    there = ground_there(terrain, found, typed_m=typed_m) if terrain and found else None
    held = sheet(draft)
    fields = held.group(f"sites-{index}", leave_out=("antenna", "level_shift"))
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
            groups=(fields, *delay_fields),
            about=(f"sites[{index}]", "network"),
            stands=stands_now(request.app.state.store, draft, saved_id(draft, site)),
        ),
        name=name_of(site, index),
        site_id=saved_id(draft, site),
        located=found,
        forms=stands.forms if stands else None,
        there=there,
        standing=stands,
        confirmed=draft.confirmed,
        fields=fields,
        delay_fields=delay_fields,
    )
    return page(request, context, status=status)


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


def name_of(site: Mapping[str, Any], index: int) -> str:
    """A site's name for people, also before it has one."""
    return str(site.get("name") or site.get("id") or f"site {index + 1}")


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
