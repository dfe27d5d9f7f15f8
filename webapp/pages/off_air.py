"""Sites fed off air: isolation, gain margin, echo canceller, and what their receiving antennas hear."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from sfn.answer.off_air import OffAirSite, off_air_sites
from sfn.errors import PlanError
from sfn.timing.readable import readable
from webapp.contexts import NetworkHead
from webapp.contexts.off_air import OffAirCard, OffAirPage
from webapp.dependencies import NetworkDep, base_head, head_without
from webapp.documents import network_of
from webapp.editing import Draft, fresh, looked_at
from webapp.forms.fields import label_of
from webapp.maps import Maps
from webapp.pages.editor import editor, sheet
from webapp.pages.site import name_of
from webapp.render import page

router = APIRouter(include_in_schema=False)


@router.get("/networks/{network_id}/off-air")
def show(request: Request, network: NetworkDep) -> Response:
    """Every site fed off air."""
    return shown(request, fresh(network.saved))


def shown(request: Request, draft: Draft, index: int = 0, *, status: int = 200) -> Response:
    """The page of a draft."""
    draft = looked_at(draft, request.app.state.maps, request.app.state.store)
    held, sites = sheet(draft), draft.document.get("sites") or ()
    fed = [(n, site) for n, site in enumerate(sites) if site.get("fed_off_air_from")]
    groups = {n: held.group(f"sites-{n}-off_air") for n, _ in fed}
    head = base_head(request, draft.base)
    answers, refused, head = ({}, "", head) if draft.problems else _answers(draft, request.app.state.maps, head)
    names = {str(site.get("id")): name_of(site, n) for n, site in enumerate(sites)}
    cards = tuple(_card(n, site, names, groups[n], answers) for n, site in fed)
    about = tuple(f"sites[{n}].off_air" for n, _ in fed) or ("network.off_air",)
    made = editor(draft, "off-air", index=index, groups=groups.values(), about=about)
    return page(request, OffAirPage(head, made, cards, refused), status=status)


def _card(
    n: int, site: dict[str, Any], names: dict[str, str], fields: Any, answers: dict[int, OffAirSite]
) -> OffAirCard:
    """One site's card."""
    parent = names.get(str(site["fed_off_air_from"]), str(site["fed_off_air_from"]))
    answer = answers.get(n)
    missing = tuple(label_of(key) for key in answer.found.missing) if answer else ()
    return OffAirCard(name_of(site, n), parent, fields, answer, missing)


def _answers(draft: Draft, maps: Maps, head: NetworkHead) -> tuple[dict[int, OffAirSite], str, NetworkHead]:
    """What follows, by the site's place, or why nothing does; and the head, with who is left out."""
    network = network_of(draft.document, draft.base.own_services)
    try:
        found = {one.found.index: one for one in off_air_sites(network, ground=maps.ground(network))}
        return found, "", head_without(head, readable(network))
    except PlanError as error:
        return {}, "; ".join(f"{p.where} {p.what}" for p in error.problems), head
