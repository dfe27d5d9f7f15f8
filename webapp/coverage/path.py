"""One path: terrain profile, field strength, every intermediate of P.1812, travel time."""

from dataclasses import asdict, dataclass
from typing import Annotated, ClassVar, Literal

from fastapi import Depends, Request
from fastapi.responses import Response

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.plan import Site
from sfn.report.derivation import Part, derivation
from sfn.study.path import USUAL_TIME_PCT, PathAnswer, path_answer, path_picture, resting_on
from sfn.terrain.credits import credits_say
from webapp.config.addresses import Room, to
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, NetworkDep, Opened
from webapp.shell.render import page
from webapp.standing.tries import height_of, number_of, percentages_of
from webapp.work.maps import Maps

router = Room("path")
MEDIA: dict[str, str] = {"svg": "image/svg+xml", "png": "image/png"}


@dataclass(frozen=True, slots=True)
class PathTyped:
    """What was typed into the form."""

    site: str = ""
    at: str = ""
    rx_height_m: str = ""
    rx_ground_m: str = ""
    time_pct: str = ""


@dataclass(frozen=True, slots=True)
class PathPage(Context):
    """Profile, field strength and every intermediate of one path."""

    TEMPLATE: ClassVar[str] = "coverage/path.html"
    TAB: ClassVar[str] = "path"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[Site, ...]
    """Its sites, to choose from."""
    typed: PathTyped
    """What was typed."""
    answer: PathAnswer | None
    """The path, once a place is given."""
    rests_on: str
    """What the answer rests on, in words."""
    parts: tuple[Part, ...]
    """The derivation."""
    picture: str
    """Address of the profile as SVG; the same with .png in its place is the other form."""
    problems: tuple[Problem, ...]
    """What is wrong with what was typed."""


def typed_path(
    site: str = "", at: str = "", rx_height_m: str = "", rx_ground_m: str = "", time_pct: str = ""
) -> PathTyped:
    """What an address says of a path."""
    return PathTyped(site, at, rx_height_m, rx_ground_m, time_pct)


TypedDep = Annotated[PathTyped, Depends(typed_path)]


@router.get("/networks/{network_id}/path")
def show(request: Request, opened: NetworkDep, maps: MapsDep, typed: TypedDep) -> Response:
    """The form, and the path once a place is given."""
    sites, picture = opened.network.sites, to("path.picture", opened.head.id, "svg", **asdict(typed))
    if not typed.at.strip():
        return page(request, PathPage(opened.head, sites, typed, None, "", (), picture, ()))
    try:
        answer = _answer(opened, maps, typed)
    except PlanError as refused:
        return page(request, PathPage(opened.head, sites, typed, None, "", (), picture, refused.problems), status=422)
    parts = derivation(answer.levels)
    return page(request, PathPage(opened.head, sites, typed, answer, resting_on(answer), parts, picture, ()))


@router.get("/networks/{network_id}/path.{form}")
def picture(opened: NetworkDep, maps: MapsDep, typed: TypedDep, form: Literal["svg", "png"]) -> Response:
    """The profile as a picture for a report."""
    whose = credits_say(opened.head.credits)
    content = path_picture(opened.network, _answer(opened, maps, typed), picture=form, credits_say=whose)
    return Response(content, media_type=MEDIA[form])


def _answer(opened: Opened, maps: Maps, typed: PathTyped) -> PathAnswer:
    """The path that is asked for; the first site where none is chosen."""
    at = locate(text=typed.at, where="at")
    return path_answer(
        opened.network,
        site_id=typed.site or opened.network.sites[0].id,
        lat_deg=at.lat_deg,
        lon_deg=at.lon_deg,
        ground=maps.ground(opened.network),
        rx_height_m=height_of(typed.rx_height_m),
        rx_ground_m=number_of("rx_ground_m", typed.rx_ground_m),
        time_pct=percentages_of(typed.time_pct) or USUAL_TIME_PCT,
    )
