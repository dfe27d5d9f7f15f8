"""Every address has one name and is written once; every name that a template or a handler uses is there, with its gaps."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from jinja2 import nodes

import webapp
from webapp.app import ROUTERS
from webapp.config.addresses import ROUTES, Room, beside, to
from webapp.config.bundled import folder
from webapp.shell.render import environment

HERE = Path(webapp.__file__).parent


def in_templates() -> Iterator[tuple[str, str, int]]:
    """Where a template asks for an address, of which route, and how many gaps it fills."""
    whole = folder("templates")
    for path in sorted(whole.rglob("*.html")):
        tree = environment().parse(path.read_text(encoding="utf-8"))
        for call in tree.find_all(nodes.Call):
            if isinstance(call.node, nodes.Name) and call.node.name == "to":
                name = call.args[0]
                assert isinstance(name, nodes.Const), (path.name, call.lineno, "a route is named as it is")
                yield f"{path.name} {call.lineno}", name.value, len(call.args) - 1


def in_handlers() -> Iterator[tuple[str, str, int]]:
    """The same of the application's modules."""
    for path in sorted(HERE.rglob("*.py")):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "to" and call.args:
                name, given = call.args[0], call.args[1:]
                if isinstance(name, ast.Constant):
                    assert not any(isinstance(one, ast.Starred) for one in given), (path.name, call.lineno)
                    yield f"{path.name} {call.lineno}", str(name.value), len(given)


def test_every_address_that_is_asked_for_is_there() -> None:
    """A slip in a name, or a gap too few, is found before anybody opens the page."""
    asked = [*in_templates(), *in_handlers()]
    assert len(asked) > 250
    gaps = {name: len(re.findall(r"\{", path)) for name, path in ROUTES.items()}
    assert [(where, name) for where, name, given in asked if gaps.get(name) != given] == []


def test_every_route_is_known_by_its_name() -> None:
    """Each says the page and the handler; the page is the module it stands in."""
    for router in ROUTERS:
        for route in router.routes:
            if isinstance(route, APIRoute):
                assert ROUTES[route.name] == route.path
                assert route.name == f"{router.page}.{route.name.partition('.')[2]}"


def test_two_routes_of_one_name_are_refused() -> None:
    """Else one of the two could never be named."""
    room = Room("made-up-for-this-test")

    @room.get("/one-made-up")
    def show() -> None:
        """A page."""

    try:
        with pytest.raises(ValueError, match=r"made-up-for-this-test\.show"):
            room.get("/another-made-up")(show)
    finally:
        del ROUTES["made-up-for-this-test.show"]


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        (lambda: to("networks.show"), "/"),
        (lambda: to("site.show", 3, "a/b c?"), "/networks/3/sites/a%2Fb%20c%3F"),
        (lambda: to("timeline.show", 3, site="", fragment=""), "/networks/3/timeline"),
        (lambda: to("timeline.show", 3, site="a&b", fragment="x y"), "/networks/3/timeline?site=a%26b#x%20y"),
        (lambda: to("zones.show", 1, streets=True, layer="", query=[("offset", "a:1")]),
         "/networks/1/map?streets=true&offset=a%3A1"),
        (lambda: to("zones.layer", 1, "k", "n", clock=("a:1", "b:2")),
         "/networks/1/map/k/layer/n.png?clock=a%3A1&clock=b%3A2"),
        (lambda: to("links.show", 1, query="rate=1&x=2"), "/networks/1/links?rate=1&x=2"),
        (lambda: to("sheets.show", 1, "n", revision=0), "/networks/1/sheets/n?revision=0"),
        (lambda: beside(to("zones.view", 1, "k")), "/networks/1/map/k"),
    ],
)  # fmt: skip
def test_addresses(made, expected: str) -> None:
    """By hand from RFC 3986: a gap is one segment, a field is form-encoded, what is empty is left out."""
    assert made() == expected


@pytest.mark.parametrize("given", [(), (1, 2)])
def test_gaps_are_counted(given: tuple[int, ...]) -> None:
    """Too few or too many are no address."""
    with pytest.raises(LookupError, match=r"delays\.show"):
        to("delays.show", *given)


def test_what_is_not_there_is_named() -> None:
    """No address out of a slip."""
    with pytest.raises(LookupError):
        to("delays.shwo", 1)
