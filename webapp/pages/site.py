"""One site: where it stands, what it radiates, where its delay can be set."""

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from sfn.errors import PlanError
from sfn.geodesy.position import Located, locate, three_forms
from sfn.plan import Position
from webapp.contexts.network import SitePage
from webapp.dependencies import NetworkDep, head_of
from webapp.editing import Draft, fresh, looked_at
from webapp.pages.editor import editor, sheet
from webapp.problems import RefusedError
from webapp.render import page

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/sites/{site_id}")
def show(request: Request, network: NetworkDep, site_id: str) -> Response:
    """One site's fields."""
    return shown(request, fresh(network.saved), index_of(network.document, site_id))


def shown(request: Request, draft: Draft, index: int, *, status: int = 200) -> Response:
    """The page of a draft's site."""
    draft = looked_at(draft)
    held, site = sheet(draft), draft.document["sites"][index]
    fields = held.group(f"sites-{index}", leave_out=("antenna",))
    delay_fields = tuple(
        held.group(f"sites-{index}-delay_fields-{n}", title=str(entry.get("name", "")))
        for n, entry in enumerate(site.get("delay_fields") or ())
    )
    found = located(site.get("position") or {})
    context = SitePage(
        network=head_of(draft.base),
        editor=editor(
            draft, "site", index=index, groups=(fields, *delay_fields), about=(f"sites[{index}].", "network")
        ),
        name=name_of(site, index),
        site_id=saved_id(draft, site),
        located=found,
        forms=three_forms(found.lat_deg, found.lon_deg) if found else None,
        fields=fields,
        delay_fields=delay_fields,
    )
    return page(request, context, status=status)


def located(position: Mapping[str, Any]) -> Located | None:
    """A position as the engine understands it, or None; the check says why."""
    try:
        return locate(**Position.model_validate(position).model_dump(exclude_none=True))
    except (PlanError, ValueError):
        return None


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
