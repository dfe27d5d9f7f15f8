"""One site's chains: the order of their stages, and the stages themselves."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.plan import Stage
from sfn.plan.proposal import place_in_chain
from webapp.config.addresses import Room
from webapp.describe.chain_drawn import ChainDrawn, chains_drawn, length_of, name_of, sharing
from webapp.describe.edit_form import Editor, editor, sheet, stands_now
from webapp.describe.site import index_of, saved_id
from webapp.forms.fields import LONGEST_MENU, Field, Group, Sheet, all_problems
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import NetworkDep, base_head
from webapp.shell.render import page
from webapp.standing.editing import Draft, fresh, looked_at

router = Room("chain")
SELDOM = ("model", "firmware", "reference_plane", "shapes_waveform", "identical", "adapts", "note")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a chain: which stage stands there."""

    choice: Field
    place: str
    """Field name, for the buttons that move and remove it."""
    shared: bool
    """Whether other sites pass it too, so that a copy for this chain alone means something."""


@dataclass(frozen=True, slots=True)
class RouteForm:
    """One chain of a site."""

    name: str
    """Field name of the chain."""
    fields: Group
    steps: tuple[Step, ...]
    next: Field
    """An empty step at the end, to put a known stage on."""
    settings: tuple[Field, ...]
    """What each delay field is set to while this route is in use."""
    insert_at: str
    """Field name of the place where a new stage goes: before the feeder."""
    before: str
    """The stage that stands there now; empty at the end."""
    drawn: ChainDrawn
    """The chain as it is."""


@dataclass(frozen=True, slots=True)
class StageForm:
    """One stage on a site's chains."""

    fields: Group
    more: Group
    """What is seldom needed."""
    summary: str
    """Kind, latency and how it is known, in a line."""
    open: bool
    """Whether it is shown at length: it is new, or something is wrong in it."""
    shared_with: tuple[str, ...]
    """Names of the other sites whose chains pass it."""
    inside: tuple[Field, ...]
    """Of a time-stamped section: the stages it covers, and an empty one."""


@dataclass(frozen=True, slots=True)
class ChainPage(Context):
    """One site's chains and the stages on them."""

    TEMPLATE: ClassVar[str] = "describe/chain.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    name: str
    """The site's name."""
    routes: tuple[RouteForm, ...]
    """Its chains, one a route."""
    stages: tuple[StageForm, ...]
    """Every stage on them, once, in the order of the signal."""
    known: tuple[str, ...]
    """Short names of all stages, where they are too many for a menu."""


@router.get("/networks/{network_id}/sites/{site_id}/chain")
def show(request: Request, network: NetworkDep, site_id: str) -> Response:
    """One site's chains."""
    return shown(request, fresh(network.saved), index_of(network.document, site_id))


def shown(request: Request, draft: Draft, index: int, *, status: int = 200) -> Response:
    """The page of a draft's chains."""
    draft = looked_at(draft, request.app.state.maps, request.app.state.store)
    held, site = sheet(draft), draft.document["sites"][index]
    routes = tuple(route_form(held, site, index, n) for n in range(len(site.get("chains") or ())))
    stages = tuple(stage_form(held, index, n) for n in stages_on(draft.document, site))
    groups = [route.fields for route in routes] + [stage.fields for stage in stages]
    steps = [step.place for route in routes for step in route.steps]
    about = (f"sites[{index}].chains", *(f"stages[{n}]" for n in stages_on(draft.document, site)))
    stands = stands_now(request.app.state.store, draft, saved_id(draft, site))
    context = ChainPage(
        network=base_head(request, draft.base),
        editor=editor(draft, "chain", index=index, groups=groups, names=steps, about=about, stands=stands),
        name=name_of(site, index),
        routes=routes,
        stages=stages,
        known=tuple(str(s.get("id", "")) for s in draft.document["stages"])
        if len(held.ids["stages"]) > LONGEST_MENU
        else (),
    )
    return page(request, context, status=status)


def route_form(held: Sheet, site: Mapping[str, Any], index: int, number: int) -> RouteForm:
    """One chain's form."""
    name = f"sites-{index}-chains-{number}"
    entries = site["chains"][number].get("stages") or ()
    known = {stage.get("id"): stage for stage in held.document["stages"]}
    at = place_in_chain(str((known.get(one) or {}).get("kind")) for one in entries)
    settings = tuple(
        held.named(f"{name}-set-{n}", key=str(f.get("name")), label=str(f.get("name")), unit=str(f.get("unit", "")))
        for n, f in enumerate(site.get("delay_fields") or ())
    )
    return RouteForm(
        name=name,
        fields=held.group(name),
        steps=tuple(
            Step(step(held, f"{name}-stages-{n}"), f"{name}-stages-{n}", bool(sharing(held.document, index, one)))
            for n, one in enumerate(entries)
        ),
        next=step(held, f"{name}-stages-{len(entries)}"),
        settings=settings,
        insert_at=f"{name}-stages-{at}",
        before=str(entries[at]) if at < len(entries) else "",
        drawn=chains_drawn(held.document, index)[number],
    )


def step(held: Sheet, place: str) -> Field:
    """Which stage stands at a place of a chain."""
    return held.choice(place, key="stages", label="stage")


def stage_form(held: Sheet, index: int, number: int) -> StageForm:
    """One stage's form."""
    stage = held.document["stages"][number]
    shared = sharing(held.document, index, stage.get("id"))
    inside: tuple[Field, ...] = ()
    if stage.get("kind") == "time-stamped section":
        count = len(stage.get("inside") or ()) + 1
        inside = tuple(step(held, f"stages-{number}-inside-{n}") for n in range(count))
    fields = held.group(f"stages-{number}", title=str(stage.get("id", "")), leave_out=SELDOM)
    more = held.group(f"stages-{number}", leave_out=[key for key in Stage.model_fields if key not in SELDOM])
    return StageForm(
        fields=fields,
        more=more,
        summary=summary(stage),
        open=any(one.needed for one in fields.fields)
        or any(True for part in (fields, more) for _ in all_problems(part)),
        shared_with=shared,
        inside=inside,
    )


def summary(stage: Mapping[str, Any]) -> str:
    """``encoder, 850 µs ± 2 µs, measured 2026-09-14``: as it was typed."""
    pieces = [str(stage.get("kind", ""))]
    if length := length_of(stage):
        pieces.append(f"{length} ± {stage['tolerance_us']} µs" if "tolerance_us" in stage else length)
    pieces.append(f"{stage.get('source') or 'not said how it is known'} {stage.get('date') or ''}".strip())
    return ", ".join(pieces)


def stages_on(document: Mapping[str, Any], site: Mapping[str, Any]) -> list[int]:
    """Positions of the stages on a site's chains and inside its time-stamped sections, in the signal's order."""
    known = {stage.get("id"): n for n, stage in enumerate(document["stages"])}
    order: dict[int, None] = {}
    for chain in site.get("chains") or ():
        for entry in chain.get("stages") or ():
            if entry in known:
                order[known[entry]] = None
                inside = document["stages"][known[entry]].get("inside") or ()
                order.update({known[e]: None for e in inside if e in known})
    return list(order)
