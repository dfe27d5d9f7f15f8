"""Sites fed off air: isolation, gain margin, echo canceller, and what their receiving antennas hear."""

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.errors import PlanError
from sfn.study.off_air import OffAirSite, off_air_sites
from sfn.timing.readable import readable
from webapp.config.addresses import Room
from webapp.describe.chain_drawn import name_of
from webapp.describe.edit_form import Editor, editor, sheet
from webapp.forms.fields import Group, label_of
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import NetworkDep, base_head, head_without
from webapp.shell.render import page
from webapp.standing.editing import Draft, fresh, looked_at
from webapp.work.maps import Maps

router = Room("off_air")


@dataclass(frozen=True, slots=True)
class OffAirCard:
    """One site with its figures and what follows from them."""

    name: str
    parent_name: str
    fields: Group
    """How it hears its parent."""
    answer: OffAirSite | None
    """None while the document cannot be read."""
    missing: tuple[str, ...]
    """Labels of the figures that are needed and not given."""


@dataclass(frozen=True, slots=True)
class OffAirPage(Context):
    """Isolation, gain margin and what is heard, of every site fed off air."""

    TEMPLATE: ClassVar[str] = "describe/off_air.html"
    TAB: ClassVar[str] = "off-air"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    cards: tuple[OffAirCard, ...]
    """The sites fed off air, in the order of the document."""
    refused: str
    """Why nothing could be worked out, where terrain or positions cannot be used."""


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
    answers, refused = dict[int, OffAirSite](), ""
    if not (draft.problems or draft.needed):
        answers, refused, head = _answers(draft, request.app.state.maps, head)
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
    network = draft.network
    try:
        found = {one.found.index: one for one in off_air_sites(network, ground=maps.ground(network))}
        return found, "", head_without(head, readable(network))
    except PlanError as error:
        return {}, "; ".join(f"{p.where} {p.what}" for p in error.problems), head
