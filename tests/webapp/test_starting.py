"""Looking starts nothing: no GET of any address starts a computation, whoever asks and from where."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

import webapp
from tests.webapp.conftest import token_in
from webapp.app import ROUTERS
from webapp.shell.api_pages import PREFIX
from webapp.shell.api_shapes import GROUPS
from webapp.store.store import Store

SOUND = {
    "network_id": "1", "site_id": "north", "number": "1", "old": "1", "new": "1", "lat": "36.28", "lon": "-84.19",
    "at": "36.28, -84.19", "site": "north", "a": "north", "b": "south", "form": "csv", "name": "quality_class",
    "low": "-5", "high": "5", "a_low": "-5", "a_high": "5", "b_low": "-5", "b_high": "5", "level": "54",
    "bounds": "36.18,-84.28,36.40,-84.14", "pixel_m": "2000", "only": "levels", "found": "x", "payload": "audio",
}  # fmt: skip
PAGES = sorted(path for group in GROUPS for path in (Path(webapp.__file__).parent / group).glob("*.py"))
LINK = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate", "sec-fetch-dest": "document"}


def looks() -> Iterator[APIRoute]:
    """Every address that can be looked at."""
    for router in ROUTERS:
        for route in router.routes:
            if isinstance(route, APIRoute) and "GET" in route.methods:
                yield route


def starters(tree: ast.Module) -> set[str]:
    """Functions of a module that start a computation, themselves or by one of the same module."""
    made = {node.name: node for node in tree.body if isinstance(node, ast.FunctionDef)}
    called = {
        name: {ast.unparse(one.func) for one in ast.walk(node) if isinstance(one, ast.Call)}
        for name, node in made.items()
    }
    found = {name for name, calls in called.items() if calls & STARTS}
    while more := {name for name, calls in called.items() if calls & found} - found:
        found |= more
    return found


STARTS = {"jobs.start", "maps.start", "measuring", "begun"}


def test_no_look_starts_a_computation(
    client: TestClient, store: Store, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every address with everything sound in it: from a page, from a program, behind a link of another site."""
    store.create(example, author="test", reason="first")
    jobs, begun = client.app.state.jobs, []  # type: ignore[attr-defined]
    monkeypatch.setattr(jobs, "start", lambda *_given, **named: begun.append(named["title"]))
    starting = {path.stem for path in PAGES if starters(ast.parse(path.read_text(encoding="utf-8")))}
    walked = 0
    for route in looks():
        where = re.sub(r"\{(\w+)(:\w+)?\}", lambda gap: quote(SOUND.get(gap[1], "x"), safe=""), route.path)
        params = {one.alias: SOUND[one.alias] for one in route.dependant.query_params if one.alias in SOUND}
        asked: list[tuple[str, dict[str, str]]] = [(where, {})]
        if route.endpoint.__module__.rpartition(".")[2] in starting:
            asked += [(f"{PREFIX}{where}", {}), (where, LINK)]
        for place, headers in asked:
            answer = client.get(place, params=params, headers=headers, follow_redirects=False)
            assert answer.status_code < 500, place
            assert begun == [], place
            walked += 1
    assert walked > 120
    assert jobs._jobs == {}


def test_what_starts_is_asked_by_post() -> None:
    """In the text of the program, too: a function that starts work answers to POST alone."""
    seen = set()
    for path in PAGES:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in tree.body:
            if isinstance(node, ast.FunctionDef) and node.name in starters(tree):
                asked = [ast.unparse(one) for one in node.decorator_list]
                assert all(one.startswith(("router.post(", "for_scripts.post(")) for one in asked), (
                    path.name,
                    node.name,
                )
                seen |= {path.stem} if asked else set()
    assert {"zones", "offsets", "change", "links", "losses", "hear", "drives", "road", "measurements"} <= seen


def test_seconds_of_work_are_asked_by_the_form(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """The direct simulation: not by opening its address, not behind a link; a program on this machine may."""
    number = store.create(example, author="test", reason="first").network_id
    where = f"/networks/{number}/point/direct?lat=36.36&lon=-84.3"
    for headers in ({}, LINK):
        refused = client.get(where, headers=headers)
        assert refused.status_code == 405
        assert "opening an address does not start" in refused.text
    assert client.get(f"/api/pages{where}", headers=LINK).status_code == 403
    shown = client.get(f"/networks/{number}/point?at=36.36, -84.3").text
    assert 'id="direct"' in shown
    sent = {"csrf_token": token_in(shown)}
    assert client.post(where, data=sent, headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert client.post(where).status_code == 403
    assert "simulated directly" in client.post(where, data=sent).text


def test_pieces_of_a_map_are_opened_from_its_page_alone(client: TestClient) -> None:
    """A link from elsewhere to a file of every layer draws none."""
    for where in ("map/x/files.zip", "map/x/layer/quality_class.png", "road/x/road.csv"):
        assert client.get(f"/networks/1/{where}", headers=LINK).status_code == 403


def test_a_link_from_elsewhere_shows_a_button(
    client: TestClient, store: Store, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What takes work each time it is asked for: nothing of the network is even read, and its button does the work."""
    store.create(example, author="test", reason="first")
    read: list[int] = []
    usual = store.read
    monkeypatch.setattr(
        store, "read", lambda number, *more, **named: read.append(number) or usual(number, *more, **named)
    )
    for where in (
        "point?at=36.36, -84.3&offset=north:5&offset=south:7", "point/part?lat=36.3&lon=-84.2", "offsets", "change",
        "path?site=north&at=36.36,-84.3", "change.pdf", "change/live", "sheets/north/sheet.pdf", "delays.xlsx",
        "head-end.pdf",
    ):  # fmt: skip
        read.clear()
        shown = client.get(f"/networks/1/{where}", headers=LINK)
        assert shown.status_code == 200, where
        assert "no link from elsewhere starts that" in shown.text
        assert read == []
        assert client.get(f"/api/pages/networks/1/{where}", headers=LINK).status_code == 403
    form = re.search(r'<form method="get" action="([^"]+)">(.*?)</form>', client.get(
        "/networks/1/point?at=36.36, -84.3&offset=north:5&offset=south:7", headers=LINK).text)  # fmt: skip
    assert form
    sent = re.findall(r'name="([^"]+)" value="([^"]*)"', form[2])
    assert sent == [("at", "36.36, -84.3"), ("offset", "north:5"), ("offset", "south:7")]
    own = {**LINK, "sec-fetch-site": "same-origin"}
    assert "no link from elsewhere" not in client.get(form[1], params=sent, headers=own).text
    assert "no link from elsewhere" not in client.get("/networks/1/delays", headers=LINK).text, "links open pages"
