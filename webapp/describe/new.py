"""A network of one's own: the fewest fields from which a table can be worked out."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel

from sfn.errors import PlanError, Problem
from sfn.plan import DelayField, Network, Site, Stage
from sfn.plan.proposal import DEVICE_STARTS, DeviceStart, name_for
from sfn.study.standing import Standing, position_doubts, standing, unconfirmed
from sfn.timing.tolerated import tolerated_error
from webapp.config.addresses import Room, to
from webapp.describe.looked import looked
from webapp.describe.network import service_ids
from webapp.forms.fields import Group, Sheet
from webapp.forms.needed import names_of, parted
from webapp.forms.structure import act
from webapp.forms.typed import applied, rename
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
# The same with the chain in the parts that most have, so that further sites can share the first and copy the rest.
PARTED: dict[str, Any] = STARTING_POINT | {
    "stages": [
        {"id": "encoder", "kind": "encoder", "source": "assumed"},
        {"id": "link", "kind": "network", "source": "assumed"},
        {"id": "exciter", "kind": "modulator", "source": "assumed"},
        {"id": "feeder", "kind": "feeder", "source": "assumed"},
    ],
    "sites": [
        STARTING_POINT["sites"][0] | {"chains": [{"route": "main", "stages": ["encoder", "link", "exciter", "feeder"]}]}
    ],
}
# Asked for at first; everything else has its usual value and can be changed later.
NETWORK_KEPT = ("name", "service", "frequency_mhz", "reference_point", "common_delay")
SITE_KEPT = ("name", "position", "ground_m", "antenna_m", "erp_kw")
DELAY_KEPT = ("name", "unit", "step", "least", "greatest", "sign", "set")
STAGE_KEPT = ("latency_us", "tolerance_us", "source", "date")
FEEDER_KEPT = ("length_m", "velocity_factor", "tolerance_us", "source", "date")


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
    """What stands for its whole chain until it is known better, or its first stage."""
    more_stages: tuple[Group, ...]
    """The stages after it."""
    parted: bool
    """Whether it is in parts."""
    standing: Standing | None
    """Where its first site stands, on a small map, to be confirmed; None where its position cannot be read."""
    confirmed: Mapping[int, str]
    """The place that was confirmed, by the site's position in the list."""
    author: str
    """Name typed for the record."""
    starts: tuple[DeviceStart, ...]
    """What a device may count in."""
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
    begun = PARTED if (form.get("parted") == "yes") != (form.get("do") == "part") else STARTING_POINT
    held = _typed_of_stages(form, begun)
    refuse_lost(begun, held, of="a new network")
    document = with_service_id(applied(begun, held), store.own_services())
    if form.get("do"):  # a button that only shows the form again
        document, across_km = looked(document, 0, form)
        if form["do"].startswith("device "):
            document = act(document, form["do"])
        return shown(request, document, form, (), across_km=across_km)
    site = document["sites"][0]
    site["id"] = name_for(str(site.get("name", "")), ())
    if begun is PARTED:
        rename(document, {one: f"{site['id']}-{one}" for one in ("link", "exciter", "feeder")}, "stages")
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
    parts = "" if begun is PARTED else " Its chain is one stage so far: part it where you know more."
    notice(request, f"The network is made.{parts}")
    return RedirectResponse(to("network.show", made.network_id), 303)


def shown(
    request: Request,
    document: dict[str, Any],
    form: dict[str, str],
    problems: tuple[Problem, ...],
    *,
    across_km: float | None = None,
) -> Response:
    """The form with what was typed."""
    own_services = request.app.state.store.own_services()
    ids, finds = service_ids(own_services), {"service": to("services.found")}
    needed = frozenset() if problems else _needed(document, own_services)
    held = Sheet(document, problems, suggestions={"service": ids}, finds=finds, needed=needed)
    groups = (
        held.group("", leave_out=_but(Network, NETWORK_KEPT)),
        held.group("sites-0", leave_out=_but(Site, SITE_KEPT)),
        held.group("sites-0-delay_fields-0", leave_out=_but(DelayField, DELAY_KEPT)),
    )
    stages = tuple(_stage(held, n) for n in range(len(document["stages"])))
    elsewhere = {id(p) for p in held.elsewhere((*groups, *stages))}
    on_page = frozenset(anchor(p.where) for p in problems if id(p) not in elsewhere)
    context = NewPage(
        *groups,
        stage=stages[0],
        more_stages=stages[1:],
        parted=len(stages) > 1,
        standing=standing(
            document, 0, before=None, tolerated_us=_tolerated(document, own_services), across_km=across_km
        ),
        confirmed=confirmed_in(form),
        author=form.get("author", ""),
        starts=DEVICE_STARTS,
        problems=problems,
        on_page=on_page,
    )
    return page(request, context, status=422 if problems else 200)


def _needed(document: Mapping[str, Any], own_services: str) -> frozenset[str]:
    """Names of the fields that must still be filled in."""
    try:
        network_of(dict(document), own_services)
    except PlanError as refused:
        return names_of(parted(refused.problems, document)[0])
    return frozenset()


def _stage(held: Sheet, number: int) -> Group:
    """One stage of the chain, with what its kind is asked for."""
    stage = held.document["stages"][number]
    kept = FEEDER_KEPT if stage["kind"] == "feeder" else STAGE_KEPT
    return held.group(f"stages-{number}", title=str(stage["id"]), leave_out=_but(Stage, kept))


def _typed_of_stages(form: dict[str, str], begun: Mapping[str, Any]) -> dict[str, str]:
    """What was typed, without stages that the other form of the chain had: they go when its button is pressed."""
    gone = tuple(f"stages-{n}-" for n in range(len(begun["stages"]), len(PARTED["stages"])))
    pressed = form.get("do") == "part"
    return {name: text for name, text in form.items() if not (pressed and gone and name.startswith(gone))}


def _tolerated(document: dict[str, Any], own_services: str) -> float:
    """The launch error that may stay; none while the document cannot be read. [us]"""
    try:
        return tolerated_error(network_of(document, own_services))
    except PlanError:
        return 0.0


def _but(record: type[BaseModel], kept: tuple[str, ...]) -> list[str]:
    """Every key of a record but those kept."""
    return [key for key in record.model_fields if key not in kept]
