"""The ground round the sites out of open data: what would be fetched, fetching it, and standing the network on it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.country.sets import CHOICES, SETS, Bounds, OpenSet
from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located
from sfn.geodesy.sites import placed_sites
from sfn.reception.reach import VALLEYS_M
from sfn.study.country import BEYOND_DEG, USUAL, Offer, area, choices, cut, offer
from webapp.config.addresses import Room, to
from webapp.config.settings import Settings
from webapp.describe.revisions import save_part
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, ListsDep, MapsDep, Opened, ReadableDep, SettingsDep, StoreDep
from webapp.shell.render import page
from webapp.standing.tries import area_of
from webapp.work.countries import (
    LONGEST_NAME_N,
    MadeCountry,
    made_under,
    make_country,
    names_made,
    shelf_of,
    usable_name,
    usual_name,
)
from webapp.work.jobs import Progress
from webapp.work.maps import Maps

router = Room("country")
# What each key of a document is called here.
WORDS = {"terrain": "heights", "cover": "ground cover", "zones": "sea, coast and inland", "listeners": "people"}


@dataclass(frozen=True, slots=True)
class KeyLine:
    """One part of the ground that was made, and what the network has there now."""

    key: str
    """Of the document."""
    word: str
    named: str
    """Folder or file that was made."""
    now: str
    """What the network names now; empty for nothing."""


@dataclass(frozen=True, slots=True)
class CountryPage(Context):
    """What the open sets have round the sites."""

    TEMPLATE: ClassVar[str] = "describe/country.html"
    TAB: ClassVar[str] = "terrain"
    network: NetworkHead
    """Which network, in which revision."""
    sets: tuple[OpenSet, ...]
    """Every set on offer."""
    chosen: tuple[str, ...]
    """Those that are wanted."""
    offered: Offer | None
    """What they take; None where no site is placed."""
    bounds: str
    """The area as it was typed; empty for the usual one."""
    valleys_m: float
    """How far below the lowest site the country may lie, for the usual area. [m]"""
    rim_deg: float
    """By how much the usual area reaches beyond the usual map on each side. [degrees]"""
    name: str
    """Under which it is made, as it was typed."""
    longest_n: int
    """Characters of a name."""
    made: MadeCountry | None
    """What was made under that name."""
    made_names: tuple[str, ...]
    """Other names under which something was made."""
    lines: tuple[KeyLine, ...]
    """What of it the network may stand on."""
    author: str
    """Who saves, as it was typed."""
    reason: str
    """Why, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was asked."""


@router.get("/networks/{network_id}/country")
def show(
    request: Request, opened: ReadableDep, maps: MapsDep, settings: SettingsDep, what: str = "", name: str = "",
    bounds: str = "",
) -> Response:  # fmt: skip
    """What would be fetched, and what was made under a name; nobody outside is asked."""
    return page(request, _page(request, opened, maps, settings, what=what, name=name, bounds=bounds))


@router.post("/networks/{network_id}/country/fetch")
def fetch(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, jobs: JobsDep,
    lists: ListsDep,
) -> Response:  # fmt: skip
    """Start fetching what is not here, and making it ready; or show what other sets take."""
    what, name = ",".join(lists.get("what", ())), lists.get("name", [""])[-1].strip()
    bounds = lists.get("bounds", [""])[-1].strip()
    if lists.get("act", [""])[-1] == "look":
        return page(request, _page(request, opened, maps, settings, what=what, name=name, bounds=bounds))
    try:
        if not what:
            expected = "one set at least"
            raise PlanError([Problem("what", "is empty", expected, code="nothing-chosen", fields=("what",))])
        keys, shelf, sources = choices(what, where="what"), shelf_of(settings.data_folder), settings.sources
        usable_name(maps.terrain_folder, name)
        placed = placed_sites(opened.network).at
        offered = offer(_area(opened, placed, bounds), keys, shelf=shelf, sources=sources)
        if offered.missing_n and not sources.allowed:
            raise PlanError([sources.forbidden()])
    except PlanError as refused:
        shown = _page(request, opened, maps, settings, what=what, name=name, bounds=bounds, problems=refused.problems)
        return page(request, shown, status=422)

    def work(progress: Progress) -> MadeCountry:
        return make_country(
            maps.terrain_folder, name, offered, shelf=shelf, sources=sources, placed=placed, progress=progress
        )  # fmt: skip

    asked = {"sets": list(keys), "files": offered.missing_n, "from": sorted({line.base for line in offered.lines})}
    store.audit.add("open data asked for", subject=name, network_id=opened.head.id, body=asked)
    job = jobs.start(
        work, title=f"Ground round the sites of {opened.network.name}",
        key=f"country {opened.head.id} {offered.bounds_deg} {keys} {name}",
        result_url=to("country.show", opened.head.id, what=what, name=name, bounds=bounds),
    )  # fmt: skip
    return RedirectResponse(to("jobs.show", job.id), 303)


@router.post("/networks/{network_id}/country")
def stand(
    request: Request, opened: ReadableDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, form: FormDep
) -> Response:
    """Save the network so that it stands on what was made."""
    name = form.get("name", "").strip()

    def changed(document: dict[str, Any]) -> dict[str, Any]:
        """The document with what was ticked of what was made."""
        made = made_under(maps.terrain_folder, name)
        if made is None:
            expected = "a name under which ground was fetched"
            raise PlanError([Problem("name", f"nothing lies under {name!r}", expected, code="name-unusable")])
        taken = [key for key in WORDS if key in made.keys and form.get(f"take-{key}")]
        return document | {key: made.keys[key] for key in taken}

    return save_part(
        request, store, opened.head.id, form, changed, then=to("terrain.show", opened.head.id),
        refused=lambda problems: page(
            request, _page(request, opened, maps, settings, name=name, form=form, problems=problems), status=422
        ),
        also=lambda _: "Hold the terrain's heights at the sites against those that are typed.",
    )  # fmt: skip


def _page(
    request: Request,
    opened: Opened,
    maps: Maps,
    settings: Settings,
    *,
    what: str = "",
    name: str = "",
    bounds: str = "",
    form: dict[str, str] | None = None,
    problems: tuple[Problem, ...] = (),
) -> CountryPage:
    """The page, with what was sent as it was typed."""
    sent, offered = form or {}, None
    chosen: tuple[str, ...] = USUAL
    try:
        chosen = choices(what, where="what")
        placed = placed_sites(opened.network).at
        shelf = shelf_of(settings.data_folder)
        offered = offer(_area(opened, placed, bounds), chosen, shelf=shelf, sources=settings.sources)
    except PlanError as refused:
        problems += tuple(one for one in refused.problems if one not in problems)
    usual = usual_name(opened.network.name)
    made = made_under(maps.terrain_folder, name or usual)
    return CountryPage(
        network=opened.head,
        sets=tuple(SETS[key] for key in CHOICES),
        chosen=chosen,
        offered=offered,
        bounds=bounds,
        valleys_m=VALLEYS_M,
        rim_deg=BEYOND_DEG,
        name=name or usual,
        longest_n=LONGEST_NAME_N,
        made=made,
        made_names=tuple(one for one in names_made(maps.terrain_folder) if one != (name or usual)),
        lines=_lines(made, opened.document) if made else (),
        author=sent.get("author", str(request.session.get("author", ""))),
        reason=sent.get("reason", ""),
        problems=problems,
    )


def _area(opened: Opened, placed: Mapping[str, Located], bounds: str) -> Bounds:
    """The area that was typed, else the usual one."""
    typed, _ = area_of(bounds, "")
    return area(opened.network, placed) if typed is None else cut(typed, where="bounds")


def _lines(made: MadeCountry, document: dict[str, Any]) -> tuple[KeyLine, ...]:
    """Parts of what was made, beside what the document names."""
    return tuple(
        KeyLine(key, word, _named(made.keys[key]), _named(document.get(key)))
        for key, word in WORDS.items()
        if key in made.keys
    )


def _named(value: Any) -> str:
    """What a key of a document names, in a word or two."""
    if not isinstance(value, dict):
        return ""
    listed = value.get("places")
    return str(
        value.get("folder") or value.get("file") or value.get("source") or (f"{len(listed)} places" if listed else "")
    )
