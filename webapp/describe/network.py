"""A network's first page: how it stands, what is to be done next, then its sites and chains; its document as a file."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.reception.area import ClassSummary
from sfn.reception.class_says import ClassSays, class_says
from sfn.reception.classes import OTHER_STATION, TOO_WEAK, UPSET, class_words
from sfn.reception.on_treetops import ground_says
from sfn.reception.quality import yardstick
from sfn.study.overview import Due, SiteStand, due
from sfn.study.served import served_summary
from sfn.survey.readings import State
from sfn.systems.of_network import service_of
from sfn.systems.service import services
from sfn.timing import delay_table
from webapp.config.addresses import Room, to
from webapp.config.limits import NetworkId, RevisionNumber
from webapp.config.settings import Settings
from webapp.describe.chain_drawn import others_of
from webapp.describe.edit_form import Editor, editor, place_of, sheet
from webapp.forms.fields import Group
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, NetworkDep, Opened, SettingsDep, StoreDep, base_head, in_part
from webapp.shell.render import page
from webapp.shell.site_marks import site_marks
from webapp.standing.editing import Draft, fresh, looked_at
from webapp.standing.release import released
from webapp.standing.site_lines import STATES, SiteLine as SiteReported, reported_lines
from webapp.store.documents import as_text
from webapp.store.store import Revision, Store
from webapp.work.maps import Maps, Wanted

router = Room("network")
NEXT_N, CHANGES_N = 3, 4


@dataclass(frozen=True, slots=True)
class ChainLine:
    """One route of a site, in words."""

    route: str
    stages: tuple[tuple[str, bool], ...]
    """Short name of each stage from the reference point to the antenna, and whether other sites share it."""


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site in the network's list."""

    index: int
    name: str
    position: str
    on_air: bool
    offset_us: str
    chains: tuple[ChainLine, ...]


@dataclass(frozen=True, slots=True)
class Reception:
    """Area and people on the usual map, with what it rests on."""

    summary: ClassSummary
    upset_km2: float
    """Where the strongest signal alone would serve, and together they do not. [km2]"""
    upset_people: float | None
    upset: str
    """What that class is called."""
    weak_km2: float
    """[km2]"""
    weak: str
    """What that class is called."""
    other_km2: float
    """Where a station with another programme disturbs. [km2]"""
    other_people: float | None
    other: str
    """What that class is called."""
    classes: ClassSays
    """What stands beside every class."""
    says: tuple[str, ...]
    """What else the figures rest on."""


@dataclass(frozen=True, slots=True)
class NetworkStands:
    """How a network stands, before anything is typed."""

    sites: tuple[SiteStand, ...]
    """How far each site is."""
    words: Mapping[State, str]
    """What their states are called."""
    next: tuple[tuple[Due, str], ...]
    """The worst things to do, each with the page where it is done."""
    more: int
    """How many more there are."""
    reception: Reception | None
    """What the usual map says; None while its levels are not computed."""
    unserved: str
    """Why no map can be made; empty where one can."""
    changes: tuple[Revision, ...]
    """The last saves, the newest first."""
    drawn: str
    """Sites with their states, relays with their parents, as JSON for the map; empty where no site can be placed."""


@dataclass(frozen=True, slots=True)
class NetworkPage(Context):
    """Sites and chains of one network, and the network's own fields."""

    TEMPLATE: ClassVar[str] = "describe/network.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    sites: tuple[SiteLine, ...]
    """Its sites, in the order of the document."""
    fields: Group
    """The network's own fields."""
    stands: NetworkStands | None
    """How it stands; None of a draft that is not saved."""
    add_site: str
    """What the button sends that adds a site: after the last one that a proposal can be made of."""
    smooth: bool
    """Whether it names no terrain."""
    downloads: bool
    """Whether open data may be fetched here."""


@router.get("/networks/{network_id}")
def show(request: Request, network: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """The network at a glance."""
    try:
        stands = _stands(network, store, maps, settings)
    except PlanError:
        stands = None  # a plan that has no sheets at all: the page says of everything why
    return shown(request, fresh(network.saved), stands=stands)


@router.get("/networks/{network_id}/export.json")
def export(store: StoreDep, network_id: NetworkId, revision: RevisionNumber | None = None) -> Response:
    """The document of a revision, the newest by default."""
    saved = store.read(network_id, revision)
    name = f"network-{network_id}-revision-{saved.revision.number}.json"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    store.audit.add("exported", network_id=network_id, body={"revision": saved.revision.number})
    return Response(as_text(saved.document), media_type="application/json", headers=headers)


def shown(request: Request, draft: Draft, *, status: int = 200, stands: NetworkStands | None = None) -> Response:
    """The page of a draft; of what is saved with how it stands."""
    draft = looked_at(draft, request.app.state.maps, request.app.state.store)
    ids = service_ids(draft.base.own_services)
    held = replace(sheet(draft), suggestions={"service": ids}, finds={"service": to("services.found")})
    fields = held.group("", leave_out=("format", "terrain", "cover", "zones"))
    context = NetworkPage(
        network=base_head(request, draft.base),
        editor=editor(draft, "network", groups=(fields,)),
        sites=tuple(site_line(n, site, draft.document) for n, site in enumerate(draft.document.get("sites") or ())),
        fields=fields,
        stands=stands,
        add_site=f"add-like {others[0][0]}" if (others := others_of(draft.document, -1)) else "add sites",
        smooth=not draft.document.get("terrain"),
        downloads=request.app.state.settings.sources.allowed,
    )
    return page(request, context, status=status)


def _stands(opened: Opened, store: Store, maps: Maps, settings: Settings) -> NetworkStands:
    """How the network stands by its sheets, by what was reported, and by the usual map."""
    network, problems = opened.network, maps.checked(opened.network)
    reported = reported_lines(opened, store, maps, released(opened, store, maps), most=1)
    lines = {one.sheet.site.id: one for one in reported}
    stands = tuple(
        _stand(lines[site.id]) if site.id in lines else SiteStand(site.id, site.name, "withheld", "planned", "")
        for site in network.sites
    )
    things = due(stands, problems)
    part = in_part(opened)
    try:
        wanted, unserved = maps.wanted(part.network, bounds=None, pixel_m=None, most=settings.limits.grid_points), ""
    except PlanError as refused:
        wanted, unserved = None, "; ".join(problem.what for problem in refused.problems)
    return NetworkStands(
        sites=stands,
        words=STATES,
        next=tuple((one, _where(one, opened)) for one in things[:NEXT_N]),
        more=max(len(things) - NEXT_N, 0),
        reception=(
            None
            if wanted is None or part.network.unjudged
            else _reception(part.network, maps, wanted.key, doubts=problems)
        ),
        unserved=unserved,
        changes=store.history(opened.head.id, most=CHANGES_N),
        drawn=_drawn(part, stands, wanted),
    )


def _reception(network: Network, maps: Maps, key: str, *, doubts: Iterable[Problem]) -> Reception | None:
    """The usual map's figures, by its own rule, with the doubts about people; None while its levels are not there."""
    computed = maps.find(key)
    if computed is None:
        return None
    people, service = maps.listeners(network, computed.grid).people, service_of(network)
    found = served_summary(network, computed, delay_table(network).launches(), people=people)
    words = class_words(service)
    ground = "over a smooth earth, without terrain" if computed.smooth else ""
    twice = [one.what for one in doubts if one.code == "listeners-counted-twice" and people is not None]
    ofdm = service.kind == "ofdm"
    risk = "receivers that place their window by the strongest signal serve less: the map has both" if ofdm else ""
    return Reception(
        summary=found,
        upset_km2=found.area_km2[UPSET],
        upset_people=None if found.people is None else found.people[UPSET],
        upset=words[UPSET],
        weak_km2=found.area_km2[TOO_WEAK],
        weak=words[TOO_WEAK],
        other_km2=found.area_km2[OTHER_STATION],
        other_people=None if found.people is None else found.people[OTHER_STATION],
        other=words[OTHER_STATION],
        classes=class_says(network, yardstick(network)),
        says=tuple(said for said in (ground, ground_says(computed, people), *twice, risk) if said),
    )


def _stand(line: SiteReported) -> SiteStand:
    """One site, with the day of what is known of it."""
    site, issue = line.sheet.site, line.line.issue
    said = line.newest_at if line.newest_at and line.state.state != "planned" else issue.made_at if issue else None
    since = "" if said is None else f"{said:%Y-%m-%d}"
    return SiteStand(site.id, site.name, line.line.state, line.state.state, since)


def _where(one: Due, opened: Opened) -> str:
    """The page where a thing is done."""
    if one.kind in ("disagrees", "set", "measure"):
        return to("readings.show", opened.head.id)
    if one.kind in ("stale", "sign", "issue", "withheld"):
        return to("sheets.show_all", opened.head.id)
    return place_of(one.where, opened.document, opened.head.id) or to(
        "delays.show", opened.head.id, fragment="problems"
    )


def _drawn(part: Opened, stands: tuple[SiteStand, ...], wanted: Wanted | None) -> str:
    """Sites that can be placed, which relay hears which, and the ground beneath."""
    try:
        marks = site_marks(part.network)
    except PlanError:
        return ""
    states = {one.site_id: one.state for one in stands}
    feeds = [[site.fed_off_air_from, site.id] for site in part.network.sites if site.fed_off_air_from]
    ground = None
    if wanted is not None and part.network.terrain is not None:
        south, west, north, east = wanted.grid.bounds_deg
        ground = {"picture": to("zones.ground", part.head.id), "bounds": [[south, west], [north, east]]}
    return json.dumps(
        {"ground": ground, "sites": [mark | {"state": states[mark["id"]]} for mark in marks], "feeds": feeds}
    )


@lru_cache(maxsize=4)
def service_ids(own_services: str) -> tuple[str, ...]:
    """Every service by its id; the shipped ones alone while the user's own file cannot be read: the check says it."""
    try:
        known = services(own_services=own_services)
    except PlanError:
        known = services()
    return tuple(one.id for one in known)


def site_line(index: int, site: Mapping[str, Any], document: Mapping[str, Any]) -> SiteLine:
    """What the list says of a site; drafts may have gaps."""
    elsewhere = {
        entry
        for n, other in enumerate(document.get("sites") or ())
        for chain in other.get("chains") or ()
        for entry in chain.get("stages") or ()
        if n != index
    }
    chains = tuple(
        ChainLine(str(chain.get("route", "")), tuple((str(s), s in elsewhere) for s in chain.get("stages") or ()))
        for chain in site.get("chains") or ()
    )
    return SiteLine(
        index=index,
        name=str(site.get("name") or site.get("id") or f"site {index + 1}"),
        position=written(site.get("position") or {}),
        on_air=site.get("on_air") is True,
        offset_us=str(site.get("offset_us", 0)),
        chains=chains,
    )


def written(position: Mapping[str, Any]) -> str:
    """A position as it was typed, with its reference system where that is not WGS 84."""
    unit = "ft" if "easting_ft" in position else "m"
    pair = [position.get(f"{axis}_{unit}", "?") for axis in ("easting", "northing")]
    text = position.get("text") or f"E {pair[0]} {unit}, N {pair[1]} {unit}"
    crs = position.get("crs", "EPSG:4326")
    return str(text) if crs == "EPSG:4326" else f"{text} ({crs})"
