"""A network of one's own: the fewest fields from which a table can be worked out."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel

from sfn.errors import PlanError, Problem
from sfn.plan import DelayField, Network, Site, Stage
from sfn.study.standing import Standing, position_doubts, standing, unconfirmed
from sfn.timing.tolerated import tolerated_error
from webapp.config.addresses import Room, to
from webapp.describe.network import service_ids
from webapp.forms.fields import Group, Sheet
from webapp.forms.typed import applied
from webapp.shell.context import Context
from webapp.shell.dependencies import FormDep, StoreDep
from webapp.shell.render import anchor, notice, page
from webapp.standing.editing import asks, confirmed_in, refuse_lost, with_service_id
from webapp.store.documents import network_of

router = Room("new")

STARTING_POINT: dict[str, Any] = {
    "format": 1,
    "service": "fm-stereo",
    "reference_point": "output of the studio",
    "common_delay": {"mode": "automatic", "margin_us": 500},
    "stages": [{"id": "chain", "kind": "other", "source": "assumed"}],
    "sites": [
        {
            "id": "site",
            "position": {"crs": "EPSG:4326"},
            "erp_kw": {},
            "on_air": True,
            "offset_us": 0,
            "fed_off_air_from": None,
            "delay_fields": [{"name": "exciter delay", "unit": "us", "step": 1, "least": 0, "sign": "later", "set": 0}],
            "chains": [{"route": "main", "stages": ["chain"]}],
        }
    ],
}
# Asked for at first; everything else has its usual value and can be changed later.
NETWORK_KEPT = ("name", "service", "frequency_mhz", "reference_point", "common_delay")
SITE_KEPT = ("name", "position", "ground_m", "antenna_m", "erp_kw")
DELAY_KEPT = ("name", "unit", "step", "least", "greatest", "sign", "set")
STAGE_KEPT = ("latency_us", "tolerance_us", "source", "date")


@dataclass(frozen=True, slots=True)
class NewPage(Context):
    """The first fields of a network that is not there yet."""

    TEMPLATE: ClassVar[str] = "describe/new.html"
    fields: Group
    """Of the network."""
    site: Group
    """Of its first site."""
    delay_field: Group
    """Where that site's delay is set."""
    stage: Group
    """What stands for its whole chain until it is known better."""
    standing: Standing | None
    """Where its first site stands, on a small map, to be confirmed; None where its position cannot be read."""
    confirmed: Mapping[int, str]
    """The place that was confirmed, by the site's position in the list."""
    author: str
    """Name typed for the record."""
    problems: tuple[Problem, ...]
    """Every problem, with its place."""
    on_page: frozenset[str]
    """Names of the fields that have a problem."""


@router.get("/networks/new")
def show(request: Request) -> Response:
    """The empty form."""
    return shown(request, STARTING_POINT, {}, ())


@router.post("/networks/new")
def make(request: Request, store: StoreDep, form: FormDep) -> Response:
    """Make the network, or show the form again with what is wrong."""
    refuse_lost(STARTING_POINT, form, of="a new network")
    document = with_service_id(applied(STARTING_POINT, form), store.own_services())
    site = document["sites"][0]
    site["id"] = re.sub(r"[^a-z0-9]+", "-", str(site.get("name", "")).lower()).strip("-")[:40] or "site"
    author = form.get("author", "").strip()
    problems: tuple[Problem, ...] = (
        ()
        if author
        else (
            Problem(
                "author",
                "the record needs to know who makes this",
                "your name",
                code="author-missing",
                fields=("author",),
            ),
        )
    )
    try:
        network = network_of(document, store.own_services())
    except PlanError as refused:
        problems = (*refused.problems, *problems)
    if not problems and asks(request):
        problems = unconfirmed(document, before=None, confirmed=confirmed_in(form))
    if problems:
        return shown(request, document, form, problems)
    request.session["author"] = author
    made = store.create(document, author=author, reason="new network")
    if not asks(request):
        request.state.problems = position_doubts(network)
    notice(request, "The network is made. Its chain is one stage so far: part it where you know more.")
    return RedirectResponse(to("network.show", made.network_id), 303)


def shown(request: Request, document: dict[str, Any], form: dict[str, str], problems: tuple[Problem, ...]) -> Response:
    """The form with what was typed."""
    own_services = request.app.state.store.own_services()
    ids, finds = service_ids(own_services), {"service": to("services.found")}
    held = Sheet(document, problems, suggestions={"service": ids}, finds=finds)
    groups = (
        held.group("", leave_out=_but(Network, NETWORK_KEPT)),
        held.group("sites-0", leave_out=_but(Site, SITE_KEPT)),
        held.group("sites-0-delay_fields-0", leave_out=_but(DelayField, DELAY_KEPT)),
        held.group("stages-0", leave_out=_but(Stage, STAGE_KEPT)),
    )
    elsewhere = {id(p) for p in held.elsewhere(groups)}
    on_page = frozenset(anchor(p.where) for p in problems if id(p) not in elsewhere)
    context = NewPage(
        *groups,
        standing=standing(document, 0, before=None, tolerated_us=_tolerated(document, own_services)),
        confirmed=confirmed_in(form),
        author=form.get("author", ""),
        problems=problems,
        on_page=on_page,
    )
    return page(request, context, status=422 if problems else 200)


def _tolerated(document: dict[str, Any], own_services: str) -> float:
    """The launch error that may stay; none while the document cannot be read. [us]"""
    try:
        return tolerated_error(network_of(document, own_services))
    except PlanError:
        return 0.0


def _but(record: type[BaseModel], kept: tuple[str, ...]) -> list[str]:
    """Every key of a record but those kept."""
    return [key for key in record.model_fields if key not in kept]
