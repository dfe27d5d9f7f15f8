"""A document whose sites lack the height of their ground alone: fetch the ground there, type it, make the network.

Nothing is saved before every site has its height: one that nobody knows is no 0 m. The document stands in the page, or
in the job that fetches, until then.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network
from sfn.study.country import Offer, area, offer, read_for_ground
from sfn.terrain.dem import heights, terrain_from_folder
from webapp.config.addresses import Room, to
from webapp.forms.typed import number
from webapp.shell.context import Context
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, SettingsDep, StoreDep
from webapp.shell.following import found as job_found
from webapp.shell.render import notice, page
from webapp.work.countries import MadeCountry, make_country, shelf_of, usable_name, usual_name
from webapp.work.jobs import Progress
from webapp.work.maps import Maps

router = Room("lacking")
SETS = ("heights",)


@dataclass(frozen=True, slots=True)
class SiteLacking:
    """A site without a height of its ground."""

    name: str
    lat_deg: float | None
    lon_deg: float | None
    """None where its position cannot be read."""
    fetched_m: float | None
    """The ground there by the heights that were fetched, of treetops and roofs; None where they do not reach it."""
    typed: str
    """Its height, as it was typed. [m]"""


@dataclass(frozen=True, slots=True)
class LackingPage(Context):
    """Sites of a document that is not a network yet."""

    TEMPLATE: ClassVar[str] = "front/lacking.html"
    name: str
    """Of the network."""
    sites_n: int
    """How many it has."""
    sites: tuple[SiteLacking, ...]
    """Those without their height, in the order of the document."""
    offered: Offer | None
    """What the heights of their area take; None where no site is placed."""
    made: str
    """The name under which heights were fetched; empty before that."""
    document: str
    """As it was sent."""
    source: str
    """What it was sent as."""
    author: str
    """Who makes it, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was typed, or did not come."""


def held_in(content: bytes, refused: PlanError, own_services: str) -> dict[str, Any] | None:
    """The document that was refused, where its sites lack their ground and nothing else is wrong; else None."""
    if any(one.code != "key-missing" or one.fields != ("ground_m",) for one in refused.problems):
        return None
    document: dict[str, Any] = json.loads(content.decode("utf-8-sig"))
    try:
        return document if _read(document, own_services)[1] else None
    except PlanError:
        return None


def shown(
    request: Request,
    maps: Maps,
    document: Mapping[str, Any],
    *,
    source: str,
    author: str,
    made: str = "",
    typed: Sequence[str] = (),
    problems: tuple[Problem, ...] = (),
    status: int = 200,
) -> Response:
    """The page of such a document."""
    settings, store = request.app.state.settings, request.app.state.store
    network, without = _read(document, store.own_services())
    offered = None
    try:
        placed = placed_sites(network).at
        offered = offer(area(network, placed), SETS, shelf=shelf_of(settings.data_folder), sources=settings.sources)
    except PlanError as refused:
        problems += refused.problems
    context = LackingPage(
        network.name, len(network.sites), _sites(network, without, maps, made, typed), offered, made,
        json.dumps(document, ensure_ascii=False), source, author, problems,
    )  # fmt: skip
    return page(request, context, status=status)


@router.get("/networks/import/ground")
def show(request: Request, maps: MapsDep, jobs: JobsDep, found: str = "") -> Response:
    """What was fetched for a document, at its sites; without a fetch there is no document to show."""
    if not found:
        return RedirectResponse(to("networks.show"), 303)
    job = job_found(jobs, found)
    held = job.asked.get("imported") or {}
    if not held:
        return RedirectResponse(to("networks.show"), 303)
    came = job.result.problems if isinstance(job.result, MadeCountry) else job.problems
    return shown(
        request, maps, held["document"], source=held["source"], author=held["author"], made=held["name"], problems=came
    )


@router.post("/networks/import/ground")
def go_on(
    request: Request, store: StoreDep, maps: MapsDep, settings: SettingsDep, jobs: JobsDep, form: FormDep
) -> Response:
    """Fetch heights for the document's sites, or make the network with those that were typed."""
    source, author = form.get("source", "")[:200] or "the document", form.get("author", "").strip()
    try:
        document = json.loads(form.get("document", ""))
        network, without = _read(document, store.own_services())
    except (ValueError, TypeError, KeyError):
        what, expected = "is not what was imported", "the document, imported again"
        raise PlanError([Problem("document", what, expected, code="document-unreadable")]) from None
    typed = [form.get(f"height-{n}", "").strip() for n in range(len(without))]
    made = form.get("made", "")
    try:
        if form.get("act") == "fetch":
            return _fetch(document, network, source, author, store, maps, settings, jobs)
        lacking = dict(zip(without, typed, strict=True))
        whole = document | {"sites": [_with_height(site, lacking) for site in document["sites"]]}
        number_of = store.create(whole, author=author or "unnamed", reason=f"imported from {source}").network_id
    except PlanError as refused:
        return shown(
            request, maps, document, source=source, author=author, made=made, typed=typed, problems=refused.problems,
            status=422,
        )  # fmt: skip
    notice(request, "The network is made. Its ground is fetched, and taken up, under Terrain.")
    return RedirectResponse(to("network.show", number_of), 303)


def _read(document: Mapping[str, Any], own_services: str) -> tuple[Network, tuple[str, ...]]:
    """The network with 0 m where a height lacks, good for the area alone; and the ids of those sites."""
    return read_for_ground(json.dumps(document).encode(), own_services=own_services)


def _with_height(site: dict[str, Any], lacking: Mapping[str, str]) -> dict[str, Any]:
    """A site with the height that was typed for it; where nothing was, it lacks one still."""
    text = lacking.get(str(site["id"]), "")
    return site | {"ground_m": number(text)} if text else site


def _fetch(
    document: dict[str, Any], network: Network, source: str, author: str, store: StoreDep, maps: Maps,
    settings: SettingsDep, jobs: JobsDep,
) -> Response:  # fmt: skip
    """Start fetching the heights; the job keeps the document."""
    shelf, sources, placed = shelf_of(settings.data_folder), settings.sources, placed_sites(network).at
    offered = offer(area(network, placed), SETS, shelf=shelf, sources=sources)
    if offered.missing_n and not sources.allowed:
        raise PlanError([sources.forbidden()])
    name = usable_name(maps.terrain_folder, usual_name(network.name))

    def work(progress: Progress) -> MadeCountry:
        return make_country(
            maps.terrain_folder, name, offered, shelf=shelf, sources=sources, placed=placed, progress=progress
        )  # fmt: skip

    asked = {"sets": list(SETS), "files": offered.missing_n, "from": sorted({line.base for line in offered.lines})}
    store.audit.add("open data asked for", subject=name, body=asked)
    imported = {"document": document, "source": source, "author": author, "name": name}
    # A digest: a key stands in an index, which holds some thousand bytes, and a document may have millions.
    mark = hashlib.sha256(json.dumps(imported, sort_keys=True).encode()).hexdigest()
    job = jobs.start(
        work, title=f"Ground round the sites of {network.name}", key=f"country import {mark}",
        result_url=lambda job_id: to("lacking.show", found=job_id), asked={"imported": imported},
    )  # fmt: skip
    return RedirectResponse(to("jobs.show", job.id), 303)


def _sites(
    network: Network, without: Sequence[str], maps: Maps, made: str, typed: Sequence[str]
) -> tuple[SiteLacking, ...]:
    """Every site without a height, with the ground there by what was fetched."""
    placed = placed_sites(network).at
    there = [one for one in without if one in placed]
    fetched: dict[str, float] = {}
    if made and there:
        try:
            terrain = terrain_from_folder(maps.terrain_folder / f"{usable_name(maps.terrain_folder, made)} heights")
            lat, lon = (np.array([getattr(placed[one], key) for one in there]) for key in ("lat_deg", "lon_deg"))
            fetched = {
                one: round(float(m), 1)
                for one, m in zip(there, heights(terrain, lat, lon), strict=True)
                if np.isfinite(m)
            }
        except PlanError:
            fetched = {}  # nothing came: the job says why
    names = {site.id: site.name for site in network.sites}
    return tuple(
        SiteLacking(
            names[one], at.lat_deg if (at := placed.get(one)) else None, at.lon_deg if at else None, fetched.get(one),
            typed[n] if n < len(typed) else "",
        )
        for n, one in enumerate(without)
    )  # fmt: skip
