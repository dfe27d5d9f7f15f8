"""The chains of a draft's site as they are: drawn beside forms, and what the stages of a new site are asked for."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sfn.plan import Stage
from sfn.plan.proposal import asked_at_place
from webapp.forms.fields import Group, Sheet
from webapp.forms.needed import missing_in
from webapp.forms.places import anchor
from webapp.standing.editing import Draft

MOST_OTHERS_N = 8


@dataclass(frozen=True, slots=True)
class StageDrawn:
    """One stage in a drawing of a chain."""

    name: str
    kind: str
    length: str
    """Latency or length as it was typed; empty where none is."""
    shared_with: tuple[str, ...]
    """Names of the other sites whose chains pass it."""


@dataclass(frozen=True, slots=True)
class ChainDrawn:
    """One route from the reference point to the antenna."""

    route: str
    stages: tuple[StageDrawn, ...]


@dataclass(frozen=True, slots=True)
class StageAsk:
    """What one stage is asked for."""

    title: str
    kind: str
    fields: Group


def chains_drawn(document: Mapping[str, Any], index: int) -> tuple[ChainDrawn, ...]:
    """The chains of a site; drafts may have gaps."""
    known = {stage.get("id"): stage for stage in document.get("stages") or ()}
    return tuple(
        ChainDrawn(
            str(chain.get("route", "")),
            tuple(_drawn(document, index, str(one), known.get(one) or {}) for one in chain.get("stages") or ()),
        )
        for chain in document["sites"][index].get("chains") or ()
    )


def name_of(site: Mapping[str, Any], index: int) -> str:
    """A site's name for people, also before it has one."""
    return str(site.get("name") or site.get("id") or f"site {index + 1}")


def sharing(document: Mapping[str, Any], index: int, stage_id: object) -> tuple[str, ...]:
    """Names of the other sites whose chains pass a stage."""
    return tuple(
        name_of(site, n)
        for n, site in enumerate(document["sites"])
        if n != index and any(stage_id in (chain.get("stages") or ()) for chain in site.get("chains") or ())
    )


def length_of(stage: Mapping[str, Any]) -> str:
    """``850 us``, ``40 m``, ``12 km and 100 us``: as it was typed; empty where nothing is."""
    length = stage.get("latency_us", stage.get("release_delay_us"))
    if length is not None:
        return f"{length} µs"
    if stage.get("length_m") is not None:
        return f"{stage['length_m']} m"
    if stage.get("path_km") is not None:
        return f"{stage['path_km']} km and {stage.get('equipment_us', '?')} µs"
    return ""


def stage_asks(held: Sheet, draft: Draft, site: Mapping[str, Any]) -> tuple[StageAsk, ...]:
    """What the stages of a site that is not saved yet are asked for: what belongs to its place, and what is missing."""
    passed = {one for chain in site.get("chains") or () for one in chain.get("stages") or ()}
    held_by_sections = (stage for stage in draft.document.get("stages") or () if stage.get("id") in passed)
    passed |= {one for stage in list(held_by_sections) for one in stage.get("inside") or ()}
    before = {stage.get("id") for stage in draft.base.document.get("stages") or ()}
    asks = []
    for number, stage in enumerate(draft.document.get("stages") or ()):
        if stage.get("id") in passed and stage.get("id") not in before:
            where = f"stages-{number}"
            missing = [k for p in (*draft.needed, *draft.problems) if anchor(p.where) == where for k in missing_in(p)]
            keys = list(dict.fromkeys((asked_at_place(str(stage.get("kind"))), *missing)))
            kept = [key for key in keys if key in Stage.model_fields]
            if kept:
                fields = held.group(where, leave_out=[key for key in Stage.model_fields if key not in kept])
                asks.append(StageAsk(str(stage.get("id", "")), str(stage.get("kind", "")), fields))
    return tuple(asks)


def others_of(document: Mapping[str, Any], index: int) -> tuple[tuple[int, str], ...]:
    """Sites with a chain from the studio whose chain and devices may be proposed for another, the last first."""
    sites = list(enumerate(document.get("sites") or ()))
    return tuple(
        (n, name_of(site, n)) for n, site in reversed(sites) if n != index and not site.get("fed_off_air_from")
    )[:MOST_OTHERS_N]


def _drawn(document: Mapping[str, Any], index: int, name: str, stage: Mapping[str, Any]) -> StageDrawn:
    return StageDrawn(name, str(stage.get("kind", "")), length_of(stage), sharing(document, index, name))
