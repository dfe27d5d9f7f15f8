"""Every page and action under /api/pages: described, answering JSON, saving and refusing like the page."""

import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from fastapi.routing import APIRoute
from starlette.testclient import TestClient

from sfn.answer.plain import plain
from tests.sfn.networks import example as network_of_example
from webapp.app import OWN, ROUTERS
from webapp.shell.api_pages import PREFIX
from webapp.shell.form_spelled import form_fields
from webapp.store.passwords import token_hash
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="first").network_id


def page_routes() -> Iterator[tuple[str, str]]:
    """Method and path of every page and action."""
    for router in ROUTERS:
        if router in OWN:
            continue
        for route in router.routes:
            assert isinstance(route, APIRoute)
            for method in route.methods:
                yield method, route.path


def test_every_page_and_action_is_offered_and_described(client: TestClient) -> None:
    """No page without its address for scripts: with a sentence, and a form with its fields."""
    client.get("/api/pages/services")  # what was asked before takes nothing from the schema
    schema = client.get("/api/openapi.json").json()
    walked = list(page_routes())
    assert len(walked) > 100
    without_fields = set()
    for method, path in walked:
        operation = schema["paths"][PREFIX + path][method.lower()]
        assert operation["description"], path
        if method == "POST" and "requestBody" not in operation:
            without_fields.add(path)
    # Buttons that send nothing but themselves, and the editor, whose fields are those of the document (PUT /api).
    assert without_fields == {
        "/networks/demo/{key}",
        "/networks/{network_id}/delete",
        "/networks/{network_id}/map/overlays/{overlay_id}/delete",
        "/networks/{network_id}/point/direct",
        "/networks/{network_id}/undelete",
        "/networks/{network_id}/edit",
        "/jobs/{job_id}/cancel",
        "/jobs/{job_id}/again",
        "/users/tokens/{token_id}/revoke",
        "/networks/{network_id}/readings/links/{link_id}/withdraw",
    }


def test_pages_of_a_network_answer_json(client: TestClient, number: int) -> None:
    """Each page that needs nothing more than its network answers with its record."""
    asked = 0
    for method, path in page_routes():
        where = path.replace("{network_id}", str(number)).replace("{site_id}", "north")
        if method != "GET" or "{" in where or where.rpartition("/")[2].count("."):
            continue
        answer = client.get(PREFIX + where, params={"old": 1, "new": 1, "lat": 36.28, "lon": -84.19})
        assert answer.status_code == 200, (where, answer.text[:300])
        assert answer.headers["content-type"] == "application/json", where
        asked += 1
    assert asked > 25
    delays = client.get(f"{PREFIX}/networks/{number}/delays").json()
    assert delays["network"]["revision"]["number"] == 1
    assert client.get(f"{PREFIX}/networks/{number}/ages").json()["found"]["sites"][0]["latency_us"] > 0
    assert client.get(f"{PREFIX}/networks/999/ages").json()["problems"]


def test_an_action_saves_and_refuses_like_the_page(
    client: TestClient, store: Store, number: int, example: dict[str, Any]
) -> None:
    """JSON fields for a form's; what comes next is named; refusals and conflicts are JSON."""
    stage = example["sites"][0]["chains"][0]["stages"][-1]
    where = f"{PREFIX}/networks/{number}/ages"
    body = {"base": 1, "stage": [stage], "firmware": "v9", "day": "2026-11-01", "author": "script"}
    answer = client.post(where, json=body, follow_redirects=False)
    assert answer.json() == {"next": where}
    assert store.read(number).revision.author == "script"
    wrong = client.post(where, json={**body, "base": 2, "day": "soon"})
    assert wrong.status_code == 422
    assert wrong.json()["problems"][0]["what"] == "'soon' is no day"
    assert wrong.json()["typed"]["firmware"] == "v9"
    conflict = client.post(where, json={**body, "firmware": "v10"})
    assert conflict.status_code == 409
    assert conflict.json()["theirs"]["revision"] == 2
    assert client.post(where, json=[1]).status_code == 422
    assert client.post(where, json={"stage": {"a": 1}}).status_code == 422
    assert client.post(where, data=body).status_code == 403


def test_a_job_is_followed_to_its_result(client: TestClient, number: int) -> None:
    """A road: started, followed, and its page had as data."""
    sent = {"line": "36.28, -84.30\n36.33, -84.20", "spacing_m": 500}
    where = client.post(f"{PREFIX}/networks/{number}/road/upload", json=sent).json()["next"]
    for _ in range(1200):  # a busy machine
        if "/road?job=" in where:
            break
        state = client.get(where).json()
        where = state["result_api"] or where
        time.sleep(0.1)
    made = client.get(where).json()["made"]
    assert made["found"]["samples"]["distance_m"][-1] > 10_000
    assert len(made["found"]["quality"]["margin_db"]) == len(made["found"]["samples"]["distance_m"])


def test_a_token_sends_forms_and_files(
    client_with: Callable[..., TestClient], store: Store, example: dict[str, Any]
) -> None:
    """With a password in force a script with the token does what a session does, without a form's token."""
    from argon2 import PasswordHasher

    number = store.create(example, author="test", reason="first").network_id
    client = client_with(password_hash=PasswordHasher().hash("a long password"), api_token_hash=token_hash("secret"))
    where = f"{PREFIX}/networks/{number}/tables/upload"
    file = {"file": ("sites.csv", b"id,antenna_m\nnorth,77\n")}
    assert client.post(where, files=file, data={"like": "north"}).status_code == 401
    answer = client.post(where, files=file, data={"like": "north"}, headers={"Authorization": "Bearer secret"})
    assert answer.json()["found"]["rows"][0]["does"] == "changes"
    assert (
        client.get(
            f"/networks/{number}", headers={"Authorization": "Bearer secret"}, follow_redirects=False
        ).status_code
        == 303
    )


def test_forms_are_found_in_the_templates() -> None:
    """Fields by the route that they are sent to, with labels where they are fixed."""
    found = form_fields()
    assert found["ages.change"]["firmware"] == "Now runs"
    assert "offset-{{ site.id }}" in found["zones.keep"]


def test_records_become_plain() -> None:
    """Arrays, infinities, networks, pairs as keys, what has no plain form."""
    made = plain(
        {("a", 1): np.array([1.0, np.nan]), "big": np.zeros((300, 300)), "b": b"x", "f": len, "s": frozenset({3})}
    )
    assert made == {"a:1": [1.0, None], "big": {"shape": [300, 300]}, "b": None, "f": None, "s": [3]}
    assert plain(network_of_example())["name"] == "Example valley FM"
