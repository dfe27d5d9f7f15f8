"""One site's antenna: tables sent as CSV and seen as they hang, direction and tilts."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any, ClassVar, Literal

from fastapi import File, Request, UploadFile
from fastapi.responses import Response

from sfn.antenna import Pattern, pattern, read_table
from sfn.check.antennas import pattern_problems
from sfn.errors import PlanError, Problem, at_most
from sfn.geodesy.sites import placed_sites
from sfn.plan import Antenna, Site
from sfn.report.plots import pattern_plot
from sfn.units import grouped
from webapp.config.addresses import Room, to
from webapp.describe.revisions import save_part
from webapp.describe.site import index_of
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, NetworkDep, Opened, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import page
from webapp.standing.tries import number_of

router = Room("antenna")
MOST_TABLE_BYTES = 2_000_000
NUMBERS = ("azimuth_deg", "electrical_tilt_deg", "mechanical_tilt_deg")
FIELDS = (*NUMBERS, "azimuth_from", "azimuth_date", "note")
Sent = Annotated[UploadFile | None, File()]


@dataclass(frozen=True, slots=True)
class AntennaPage(Context):
    """One site's antenna."""

    TEMPLATE: ClassVar[str] = "describe/antenna.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    site_id: str
    """Id of the site."""
    name: str
    """Its name."""
    antenna: Antenna | None
    """The antenna in force; None: alike in all directions."""
    true_deg: float | None
    """Its azimuth from true north."""
    typed: dict[str, str]
    """What the form's fields hold."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent, and doubts about the tables."""


@router.get("/networks/{network_id}/sites/{site_id}/antenna")
def show(request: Request, opened: NetworkDep, site_id: str) -> Response:
    """The antenna in force."""
    return _shown(request, opened, site_id)


@router.get("/networks/{network_id}/sites/{site_id}/antenna.svg")
def picture(opened: NetworkDep, site_id: str, plane: Literal["h", "v"] = "h") -> Response:
    """Its patterns as they hang."""
    hanging = _hanging(opened, opened.network.sites[index_of(opened.document, site_id)])
    if hanging is None:
        raise RefusedError(404)
    return Response(pattern_plot(hanging, plane=plane), media_type="image/svg+xml")


@router.post("/networks/{network_id}/sites/{site_id}/antenna")
def change(
    request: Request,
    store: StoreDep,
    opened: NetworkDep,
    site_id: str,
    form: FormDep,
    horizontal: Sent = None,
    vertical: Sent = None,
) -> Response:
    """Save the antenna; a table stays as it is where no file is sent."""
    files = {"horizontal": horizontal, "vertical": vertical}
    doubts: list[Problem] = []
    return save_part(
        request, store, opened.head.id, form, lambda document: _changed(document, site_id, form, files, doubts),
        refused=lambda problems: _shown(request, opened, site_id, problems, form),
        then=to("antenna.show", opened.head.id, site_id),
        also=lambda _: " ".join(f"Look at this: {d.what}; {d.expected}." for d in doubts),
    )  # fmt: skip


def _changed(
    made: dict[str, Any], site_id: str, form: Mapping[str, str], files: Mapping[str, UploadFile | None],
    doubts: list[Problem],
) -> dict[str, Any]:  # fmt: skip
    """The document with the antenna that was sent; doubts about its tables go into `doubts`."""
    site = made["sites"][index_of(made, site_id)]
    if form.get("do") == "remove":
        site.pop("antenna", None)
        return made
    antenna = dict(site.get("antenna") or {})
    for name in NUMBERS:
        antenna[name] = number_of(name, form.get(name, "")) or 0.0
    for name in ("azimuth_from", "azimuth_date", "note"):
        antenna[name] = form.get(name, "").strip() or None
    for kind, sent in files.items():
        if sent is not None and sent.filename:
            antenna[kind], found = _table(kind, sent)
            doubts += found
        elif form.get(f"{kind}_none"):
            antenna.pop(kind, None)
    site["antenna"] = {key: value for key, value in antenna.items() if value is not None}
    return made


def _table(kind: str, sent: UploadFile) -> tuple[list[list[float]], tuple[Problem, ...]]:
    """A pattern table out of a file; its problems name the file and the line."""
    try:
        content = sent.file.read(MOST_TABLE_BYTES + 1)
        if len(content) > MOST_TABLE_BYTES:
            what, expected = "is larger than any pattern table", f"{grouped(MOST_TABLE_BYTES)} bytes at most"
            raise PlanError([Problem(f"{sent.filename}", what, expected, code="file-too-large", fields=(kind,))])
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise PlanError(
            [Problem(f"{sent.filename}", "is not text in UTF-8", "a CSV file", code="file-unreadable")]
        ) from None
    try:
        table, doubts = read_table(text, kind="horizontal" if kind == "horizontal" else "vertical")
    except PlanError as refused:
        named = [replace(p, where=f"{sent.filename}, {p.where}") for p in refused.problems]
        raise PlanError(at_most(named, source=str(sent.filename))) from None
    return [list(row) for row in table], doubts


def _hanging(opened: Opened, site: Site) -> Pattern | None:
    """The pattern with its azimuth from true north."""
    if site.antenna is None:
        return None
    placed = placed_sites(opened.network)
    if site.id not in placed.at:
        raise PlanError(problem for problem in placed.problems if problem.touching(site.id))
    at = placed.at[site.id]
    return pattern(site.antenna, lat_deg=at.lat_deg, lon_deg=at.lon_deg, ground_m=site.ground_m)


def _shown(
    request: Request,
    opened: Opened,
    site_id: str,
    problems: tuple[Problem, ...] = (),
    form: Mapping[str, str] | None = None,
) -> Response:
    """The page; what was typed stays."""
    site = opened.network.sites[index_of(opened.document, site_id)]
    held = (opened.document["sites"][index_of(opened.document, site_id)].get("antenna") or {}) if form is None else form
    wrong, true_deg = problems, None
    try:
        hanging = _hanging(opened, site)
        true_deg = hanging.azimuth_deg if hanging else None
    except PlanError as unplaced:  # declination there is not known, the tables are
        wrong += unplaced.problems
    except ValueError as refused:
        wrong += (
            Problem(
                "antenna.azimuth_date",
                str(refused),
                "a day from 2025 to 2029",
                code="not-a-date",
                fields=("antenna.azimuth_date",),
            ),
        )
    context = AntennaPage(
        network=opened.head,
        site_id=site.id,
        name=site.name,
        antenna=site.antenna,
        true_deg=true_deg,
        typed={name: str(held.get(name) or "") for name in FIELDS},
        problems=(*wrong, *pattern_problems(site, index_of(opened.document, site_id))),
    )
    return page(request, context, status=422 if problems else 200)
