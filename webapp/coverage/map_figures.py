"""The overlap map in figures, as a page of its own: km² and people by class and site, for whoever has no script."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response
from markupsafe import Markup

from sfn.errors import Problem
from webapp.config.addresses import Room
from webapp.coverage.zones import summed_up, zones_of
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, ReadableStatedDep
from webapp.shell.render import html, page
from webapp.standing.tries import TriesDep

router = Room("map_figures")


@dataclass(frozen=True, slots=True)
class MapFigures(Context):
    """What the map's panel says in figures."""

    TEMPLATE: ClassVar[str] = "coverage/map_figures.html"
    TAB: ClassVar[str] = "zones"
    network: NetworkHead
    """Which network, in which revision."""
    says: tuple[str, ...]
    """What is tried, in words; empty where it is the plan."""
    doubts: tuple[Problem, ...]
    """Why what is tried could not be set like that."""
    figures: Markup
    """The piece of the map's page that holds its tables."""


@router.get("/networks/{network_id}/map/{key}/figures")
def show(request: Request, opened: ReadableStatedDep, maps: MapsDep, key: str, tries: TriesDep) -> Response:
    """Area and people of a map whose levels are there, as planned and as tried."""
    found, now = zones_of(opened, maps, key, tries, drawn=True)
    figures = Markup(html(request, summed_up(opened, maps, key, found, now)[0]))
    return page(request, MapFigures(opened.head, now.says, now.doubts, figures))
