"""Offsets by hand: numbers, curves, maps of two offsets, gains and losses, all from levels in memory."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from sfn.errors import Problem
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.report.colours import painted
from sfn.report.legend import legend
from sfn.report.maps import png
from sfn.solve.objective import Objective, Score
from sfn.study.by_hand import Ends, curve, offsets_alone, plane, tried_score
from sfn.study.effect import LABEL, SCALE, Effect
from sfn.study.what_if import WhatIf, tried
from webapp.config.addresses import Room
from webapp.config.limits import Number
from webapp.shell.context import Context
from webapp.shell.dependencies import MapsDep, Opened, ReadableDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import html
from webapp.standing.tries import TriesDep
from webapp.work.maps import Maps

router = Room("offsets_hand")
SVG = "image/svg+xml"


@dataclass(frozen=True, slots=True)
class OffsetsHand(Context):
    """What offsets set by hand do, in numbers, beside the sliders."""

    TEMPLATE: ClassVar[str] = "timing/offsets_hand.html"
    now: Score
    """With the offsets of the saved revision."""
    tried: Score
    """With those of the sliders."""
    unit: str
    """People or km2, as they are counted."""
    weighed: bool
    """Whether the network has weights."""
    doubts: tuple[Problem, ...]
    """Why the devices could not be set like that."""


@dataclass(frozen=True, slots=True)
class OffsetsEffect(Context):
    """Who gains and who loses by the sliders' offsets, beneath the map."""

    TEMPLATE: ClassVar[str] = "timing/offsets_effect.html"
    network_id: int
    """Which network."""
    found: Effect
    """The change."""


@router.get("/networks/{network_id}/offsets/{key}/numbers")
def numbers(request: Request, opened: ReadableDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """What the sliders' offsets do: a piece of the page."""
    what, placed = _objective(opened.network, maps, key), place(opened.network)
    (now, _), (then, made) = (
        tried_score(opened.network, what, offsets, placed=placed, executor=maps.executor)
        for offsets in ({}, offsets_alone(tries))
    )
    return HTMLResponse(html(request, OffsetsHand(now, then, what.unit, bool(opened.network.weights), made.doubts)))


@router.get("/networks/{network_id}/offsets/{key}/curve.svg")
def site_curve(
    opened: ReadableDep, maps: MapsDep, key: str, site: str, low: Number, high: Number, tries: TriesDep,
    best: Number | None = None,
) -> Response:  # fmt: skip
    """The objective over one site's offset."""
    what = _objective(opened.network, maps, key)
    text = curve(
        opened.network, what, offsets_alone(tries), Ends(site, low, high), placed=place(opened.network), found_us=best,
        executor=maps.executor,
    )  # fmt: skip
    return Response(text, media_type=SVG)


@router.get("/networks/{network_id}/offsets/{key}/plane.svg")
def pair_plane(
    opened: ReadableDep, maps: MapsDep, key: str, a: str, b: str, a_low: Number, a_high: Number, b_low: Number,
    b_high: Number, tries: TriesDep, a_best: Number | None = None, b_best: Number | None = None,
) -> Response:  # fmt: skip
    """The objective over two sites' offsets."""
    what = _objective(opened.network, maps, key)
    found = {site: best for site, best in ((a, a_best), (b, b_best)) if best is not None}
    text = plane(
        opened.network, what, offsets_alone(tries), (Ends(a, a_low, a_high), Ends(b, b_low, b_high)),
        placed=place(opened.network), found_us=found, executor=maps.executor,
    )  # fmt: skip
    return Response(text, media_type=SVG)


@router.get("/networks/{network_id}/offsets/{key}/effect.json")
def effect_said(request: Request, opened: ReadableDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """Who gains and who loses: a piece of the page, and where the places lie that lose."""
    found = _effect(opened, maps, key, tries)
    places = [{"name": one.name, "lat": one.lat_deg, "lon": one.lon_deg} for one in found.losing]
    return JSONResponse({"html": html(request, OffsetsEffect(opened.head.id, found)), "losing": places})


@router.get("/networks/{network_id}/offsets/{key}/effect.png")
def effect_picture(opened: ReadableDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """Gains and losses as a picture that lies exactly on the map."""
    found, computed = _effect(opened, maps, key, tries), maps.find(key)
    if computed is None:
        raise RefusedError(404)
    covered = computed.covered.reshape(computed.grid.shape)
    return Response(png(painted(found.kind, SCALE, covered=covered)), media_type="image/png")


@router.get("/networks/{network_id}/offsets/{key}/effect.svg")
def effect_legend(opened: ReadableDep) -> Response:
    """What its colours mean."""
    text = legend(LABEL, SCALE, names=[], refractivity_n=opened.network.refractivity_n)
    return Response(text, media_type=SVG)


def _effect(opened: Opened, maps: Maps, key: str, tries: WhatIf) -> Effect:
    """What the sliders' offsets do against the saved ones."""
    _objective(opened.network, maps, key)
    now = tried(opened.network, WhatIf(offsets_alone(tries)), placed=place(opened.network))
    found = maps.effect(opened.network, key, now)
    if found is None:
        raise RefusedError(404)
    return found


def _objective(network: Network, maps: Maps, key: str) -> Objective:
    """The objective over levels in memory."""
    what = maps.objective(network, key)
    if what is None:
        raise RefusedError(
            404,
            Problem(
                "offsets", "these levels are no longer in memory", "the search run again", code="no-longer-in-memory"
            ),
        )
    if what.sites != tuple(site.id for site in network.sites):
        raise RefusedError(
            409,
            Problem("offsets", "the network has other sites now", "the page opened again", code="sites-changed-since"),
        )
    return what
