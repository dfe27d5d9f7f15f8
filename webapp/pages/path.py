"""One path: terrain profile, field strength, every intermediate of P.1812, travel time."""

from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from sfn.answer.path import USUAL_TIME_PCT, PathAnswer, path_answer, path_picture, resting_on
from sfn.errors import PlanError
from sfn.geodesy.position import locate
from sfn.report.derivation import derivation
from webapp import addresses
from webapp.contexts.path import PathPage, PathTyped
from webapp.dependencies import MapsDep, NetworkDep, Opened
from webapp.maps import Maps
from webapp.render import page
from webapp.tries import height_of, number_of, percentages_of

router = APIRouter(include_in_schema=False)
MEDIA: dict[str, str] = {"svg": "image/svg+xml", "png": "image/png"}


def typed_path(
    site: str = "", at: str = "", rx_height_m: str = "", rx_ground_m: str = "", time_pct: str = ""
) -> PathTyped:
    """What an address says of a path."""
    return PathTyped(site, at, rx_height_m, rx_ground_m, time_pct)


TypedDep = Annotated[PathTyped, Depends(typed_path)]


@router.get("/networks/{network_id}/path")
def show(request: Request, opened: NetworkDep, maps: MapsDep, typed: TypedDep) -> Response:
    """The form, and the path once a place is given."""
    sites, picture = opened.network.sites, addresses.path_picture(opened.head.id, **asdict(typed))
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
    content = path_picture(opened.network, _answer(opened, maps, typed), picture=form)
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
