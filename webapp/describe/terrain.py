"""The network's terrain, ground cover and zones: choose them, send files, take ground heights."""

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from fastapi import File, Request, UploadFile
from fastapi.responses import RedirectResponse, Response

from sfn.check.heights import height_problems, offered_heights
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import placed_sites
from sfn.study.air import Air, air_of
from sfn.terrain.census import Census
from sfn.terrain.coast import Zones, source_document
from sfn.terrain.credits import credits_typed, keep_credits
from sfn.terrain.told import told
from sfn.units import counted
from webapp.config.addresses import Room, to
from webapp.describe.revisions import save_part
from webapp.forms.ground import (
    CLASSES,
    ClassRow,
    SourceTyped,
    class_rows,
    source_document as source_sent,
    source_in,
    source_typed,
)
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, NetworkDep, Opened, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.store.store import Revision
from webapp.work.air_maps import air_maps
from webapp.work.ground_fits import odd_as_cover, unfit
from webapp.work.maps import Maps
from webapp.work.terrains import TerrainLine, source_of, take_files, value_of, zones_kept

router = Room("terrain")


@dataclass(frozen=True, slots=True)
class HeightLine:
    """One site's ground height, typed and by the terrain."""

    site_id: str
    name: str
    typed_m: float
    terrain_m: float | None
    """None where the terrain does not cover the site."""
    questioned: bool
    """Whether they differ by more than is likely."""
    ticked: bool
    """Whether the terrain's is to be taken."""


@dataclass(frozen=True, slots=True)
class SourcePart:
    """Ground cover, or zones, in the form."""

    key: str
    """``cover`` or ``zones``."""
    typed: SourceTyped
    """What is chosen, and the heights or zones of its classes."""
    rows: tuple[ClassRow, ...]
    """Classes to show; empty where none are asked for."""
    census: Census | None
    """What the chosen files hold; None where nothing is chosen or they cannot be read."""
    doubts: tuple[str, ...] = ()
    """What speaks against chosen heights above ground, though it proves nothing."""


@dataclass(frozen=True, slots=True)
class TerrainPage(Context):
    """Which terrain the network stands on."""

    TEMPLATE: ClassVar[str] = "describe/terrain.html"
    TAB: ClassVar[str] = "terrain"
    network: NetworkHead
    """Which network, in which revision."""
    chosen: str
    """What the form sends for the terrain."""
    lines: tuple[TerrainLine, ...]
    """Every terrain on offer."""
    heights: tuple[HeightLine, ...]
    """The sites' ground heights beside the terrain's; empty without terrain."""
    cover: SourcePart
    """What stands on the ground."""
    zones: SourcePart
    """Sea, coast and inland."""
    sending: dict[str, str]
    """What was typed beside files that were refused: name, unit, crs, of, credits; water, polygons."""
    author: str
    """Who saves, as it was typed."""
    reason: str
    """Why, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent, or with the terrain in force."""
    surface: bool
    """Whether its heights are those of treetops and roofs."""
    air: Air
    """Refractivity in force, by maps that were brought, and what is usual."""
    downloads: bool
    """Whether open data may be fetched here."""


@router.get("/networks/{network_id}/terrain")
def show(request: Request, opened: NetworkDep, maps: MapsDep) -> Response:
    """The terrain in force and those on offer, ground cover, zones."""
    return shown(request, opened, maps)


@router.post("/networks/{network_id}/terrain")
def choose(request: Request, store: StoreDep, opened: NetworkDep, maps: MapsDep, form: FormDep) -> Response:
    """Save another terrain, cover or zones, and the terrain's height at the sites that are ticked; or list classes."""
    if form.get("act") == "look":
        return shown(request, opened, maps, form=form)
    return save_part(
        request, store, opened.head.id, form, lambda document: _changed(document, form, maps),
        refused=lambda problems: shown(request, opened, maps, problems, form), then=to("terrain.show", opened.head.id),
    )  # fmt: skip


@router.post("/networks/{network_id}/terrain/upload")
def take(
    request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep,
    files: Annotated[list[UploadFile], File()],
) -> Response:  # fmt: skip
    """Take terrain files into a folder of their own."""
    name = form.get("name", "").strip()
    try:
        said = told(form.get("unit", "").strip(), form.get("crs", "").strip(), surface=form.get("of") == "surface")
        credits_said = credits_typed(form.get("credits", ""))
        sent = [(f.filename or "", f.file) for f in files if f.filename]
        taken = take_files(maps.terrain_folder, name, sent, said=said)
    except PlanError as refused:
        return shown(request, opened, maps, refused.problems, form)
    if credits_said:
        keep_credits(maps.terrain_folder / name, credits_said, {})
    told_of = {"files": [sent_name for sent_name, _ in sent][:20], "count": taken.count, "credits": credits_said}
    store.audit.add("terrain files", subject=name, network_id=opened.head.id, body=told_of)
    besides = f" Left out, being no rasters: {', '.join(taken.left_out[:20])}." if taken.left_out else ""
    lie = "lies" if taken.count == 1 else "lie"
    there = f"{counted(taken.count, 'terrain file')} {lie} in {name}"
    notice(request, f"{there}. Choose it below to stand the network on it.{besides}")
    return RedirectResponse(to("terrain.show", opened.head.id), 303)


@router.post("/networks/{network_id}/coast/upload")
def make_zones(
    request: Request, store: StoreDep, opened: NetworkDep, maps: MapsDep, form: FormDep,
    coastline: Annotated[UploadFile | None, File()] = None,
) -> Response:  # fmt: skip
    """Make zones of the ground cover's water classes or of a coastline, keep them, and save the network with them."""
    name = form.get("name", "").strip()
    sent = None if coastline is None or not coastline.filename else (coastline.filename, coastline.file)
    made: list[Zones] = []

    def changed(document: dict[str, Any]) -> dict[str, Any]:
        """The document with the zones, once they are kept."""
        at = placed_sites(opened.network).at
        made.append(zones_kept(maps.terrain_folder, form, maps.ground(opened.network), at, sent))
        return document | {"zones": source_document(name)}

    def told_of(outcome: Revision) -> str:
        """What was made, also for the record."""
        body = {"revision": outcome.number, "coastline": sent[0] if sent else ""}
        store.audit.add("zones made", subject=name, network_id=opened.head.id, body=body)
        shares = ", ".join(f"{zone} {share:.0f} %" for zone, share in made[0].shares_pct.items())
        return f"Zones: {shares}. {' '.join(made[0].says)}"

    return save_part(
        request, store, opened.head.id, form, changed, also=told_of, then=to("terrain.show", opened.head.id),
        refused=lambda problems: shown(request, opened, maps, problems, form),
    )  # fmt: skip


def _changed(document: dict[str, Any], form: dict[str, str], maps: Maps) -> dict[str, Any]:
    """The document with the terrain, cover, zones and heights that the form names."""
    sources: dict[str, dict[str, Any] | None] = {
        "terrain": source_of(form.get("terrain", value_of(document.get("terrain"))))
    }
    if sources["terrain"] is not None and _surface(form, document):
        sources["terrain"] |= {"heights_of": "surface"}
    problems = _unfit(maps, sources["terrain"], form, document)
    for key in ("cover", "zones"):
        try:
            sources[key] = _source(form, key, maps) if key in form else document.get(key)
        except PlanError as refused:
            problems += refused.problems
    if problems:
        raise PlanError(problems)
    for key, source in sources.items():
        document.pop(key, None)
        if source is not None:
            document[key] = source
    for site in document["sites"]:
        height = form.get(f"height-{site['id']}", "")
        if height:
            try:
                site["ground_m"] = float(height)
            except ValueError:
                raise RefusedError(
                    422,
                    Problem(
                        "ground_m",
                        f"cannot be {height!r}",
                        "a number of metres",
                        code="not-a-number",
                        fields=("ground_m",),
                    ),
                ) from None
    return document


def _unfit(
    maps: Maps, terrain: dict[str, Any] | None, form: dict[str, str], document: dict[str, Any]
) -> tuple[Problem, ...]:
    """Why what the form names cannot be the ground, or what stands on it."""
    typed = source_typed(form, "cover") if "cover" in form else source_in(document, "cover")
    return unfit(maps, terrain, typed.folder, classes=typed.kind == CLASSES)


def _surface(form: dict[str, str], document: dict[str, Any]) -> bool:
    """Whether heights are those of treetops and roofs: as the form says; a sender that knows nothing of it keeps it."""
    if "surface-asked" in form:
        return form.get("surface") == "yes"
    held = document.get("terrain") or {}
    return bool(held.get("heights_of")) and form.get("terrain", value_of(held)) == value_of(held)


def _source(form: dict[str, str], key: str, maps: Maps) -> dict[str, Any] | None:
    """The cover or the zones that the form names, every class that occurs with its height or zone."""
    sent = source_typed(form, key)
    held = maps.census(sent.folder) if sent.folder else None
    return source_sent(sent, key, held=held)


def shown(
    request: Request,
    opened: Opened,
    maps: Maps,
    problems: tuple[Problem, ...] = (),
    form: dict[str, str] | None = None,
) -> Response:
    """The page, with what a form sent as it was typed."""
    heights: tuple[HeightLine, ...] = ()
    wrong, sent = problems, form or {}
    try:
        heights = _heights(opened, maps, sent)
    except PlanError as refused:
        wrong += refused.problems
    try:
        brought = air_maps(maps.terrain_folder)
    except PlanError as refused:
        brought, wrong = None, wrong + refused.problems
    air = air_of(opened.network, placed_sites(opened.network).at, brought)
    chosen = sent.get("terrain", value_of(opened.document.get("terrain")))
    cover, zones = (_part(opened, maps, key, sent) for key in ("cover", "zones"))
    author = sent.get("author", str(request.session.get("author", "")))
    sending = {key: sent.get(key, "") for key in ("name", "unit", "crs", "of", "credits", "water", "polygons")}
    context = TerrainPage(
        opened.head, chosen, maps.terrains(), heights, cover, zones, sending, author, sent.get("reason", ""), wrong,
        _surface(sent, opened.document), air, request.app.state.settings.sources.allowed,
    )  # fmt: skip
    return page(request, context, status=422 if problems else 200)


def _part(opened: Opened, maps: Maps, key: str, sent: dict[str, str]) -> SourcePart:
    """Cover or zones in the form: as sent, else as the document has them."""
    said = source_typed(sent, key) if key in sent else source_in(opened.document, key)
    held = maps.census(said.folder) if said.folder else None
    rows = class_rows(said, held.shares if held else ()) if said.folder and said.kind == CLASSES else ()
    doubts = odd_as_cover(maps, said.folder) if key == "cover" and said.kind != CLASSES and said.folder else ()
    return SourcePart(key, said, rows, held, doubts)


def _heights(opened: Opened, maps: Maps, sent: dict[str, str]) -> tuple[HeightLine, ...]:
    """Typed heights beside the terrain's."""
    terrain, placed = maps.ground(opened.network).terrain, placed_sites(opened.network).at
    if terrain is None:
        return ()
    offered = offered_heights(terrain, placed)
    questioned = {problem.where for problem in height_problems(opened.network, placed, terrain)}
    return tuple(
        HeightLine(
            s.id, s.name, s.ground_m, offered[s.id], f"sites[{n}].ground_m" in questioned, f"height-{s.id}" in sent
        )
        for n, s in enumerate(opened.network.sites)
        if s.id in offered
    )
