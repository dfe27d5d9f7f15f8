"""The same as the pages, as JSON."""

import json
from collections.abc import Callable
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from sfn.cli import main
from webapp.store.passwords import token_hash
from webapp.store.store import Store

Document = dict[str, Any]


@pytest.fixture
def made(client: TestClient, example: Document) -> str:
    """The address of a network made through the API."""
    answer = client.post("/api/networks", json={"document": example, "author": "script"})
    assert 201 == answer.status_code
    return str(answer.headers["location"])


def test_make_read_change(client: TestClient, made: str, example: Document) -> None:
    """A document goes in and comes out; a change names its base and becomes a revision."""
    read = client.get(made).json()
    assert example == read["document"]
    assert (1, "script", "made by a script") == (read["revision"], read["author"], read["reason"])
    changed = {**example, "notes": "changed"}
    body = {"document": changed, "base_revision": 1, "author": "script", "reason": "a note"}
    assert 2 == client.put(made, json=body).json()["revision"]
    assert [2, 1] == [r["revision"] for r in client.get(f"{made}/revisions").json()]
    assert example == client.get(f"{made}?revision=1").json()["document"]
    differences = client.get(f"{made}/compare?old=1&new=2").json()
    assert [{"where": "notes", "old": example["notes"], "new": "changed"}] == differences
    listed = client.get("/api/networks").json()
    assert [("Example valley FM", 3, 2)] == [(n["name"], n["sites"], n["revision"]) for n in listed]


def test_conflict_carries_both(client: TestClient, made: str, example: Document) -> None:
    """The second saver gets 409 with base, theirs and mine, and nothing is written."""
    first = {"document": {**example, "notes": "first"}, "base_revision": 1, "author": "a", "reason": "r"}
    second = deepcopy(first)
    second["document"]["notes"] = "second"
    client.put(made, json=first)
    answer = client.put(made, json=second)
    assert 409 == answer.status_code
    told = answer.json()
    assert example["notes"] == told["base"]["document"]["notes"]
    assert "first" == told["theirs"]["document"]["notes"]
    assert "second" == told["mine"]["notes"]
    assert 2 == told["theirs"]["revision"]
    assert 'was saved by "a"' in told["problems"][0]["what"]


def test_restore_delete_undelete(client: TestClient, made: str, example: Document) -> None:
    """Going back goes forward; deletion is undone."""
    client.put(made, json={"document": {**example, "notes": "x"}, "base_revision": 1, "author": "a", "reason": "r"})
    body = {"revision": 1, "base_revision": 2, "author": "a"}
    assert 3 == client.post(f"{made}/restore", json=body).json()["revision"]
    assert 409 == client.post(f"{made}/restore", json=body).status_code
    json_only = {"content-type": "application/json"}
    assert 204 == client.delete(made, headers=json_only).status_code
    assert 404 == client.get(made).status_code
    assert 1 == len(client.get("/api/networks?deleted=true").json())
    assert 204 == client.post(f"{made}/undelete", headers=json_only).status_code
    assert example == client.get(made).json()["document"]


def test_refusals_are_problems(client: TestClient, made: str, example: Document) -> None:
    """Every refusal has the same form: where, what, expected, severity."""
    wrong = deepcopy(example)
    wrong["sites"][0]["antenna_m"] = -1
    wrong["colour"] = 1
    answers = [
        client.post("/api/networks", json={"document": wrong, "author": "a"}),
        client.post("/api/networks", json={"document": [], "author": "a"}),
        client.post("/api/networks", json={"author": ""}),
        client.post("/api/networks", content=b"{", headers={"content-type": "application/json"}),
        client.post(
            "/api/networks", content=b'{"author": "a", "author": "b"}', headers={"content-type": "application/json"}
        ),
        client.get("/api/networks/99"),
        client.get(f"{made}?revision=x"),
        client.get("/api/nothing"),
        client.get("/api/jobs/unknown"),
    ]
    assert [422, 422, 422, 422, 422, 404, 422, 404, 404] == [a.status_code for a in answers]
    for answer in answers:
        for problem in answer.json()["problems"]:
            assert {"where", "what", "expected", "severity"} <= set(problem)
    assert ["sites[0].antenna_m", "colour"] == [p["where"] for p in answers[0].json()["problems"]]
    assert "author" == answers[4].json()["problems"][0]["where"]


def test_changing_calls_of_other_sites_are_refused(client: TestClient, made: str, example: Document) -> None:
    """A page elsewhere can send a plain form but no JSON body, and its browser says where it came from."""
    assert 403 == client.post(f"{made}/undelete").status_code
    assert 403 == client.post("/api/networks", data={"document": "{}"}).status_code
    body = {"document": example, "author": "a"}
    assert 403 == client.post("/api/networks", json=body, headers={"origin": "http://elsewhere.example"}).status_code
    assert 403 == client.post("/api/networks", json=body, headers={"sec-fetch-site": "cross-site"}).status_code
    assert 1 == len(client.get("/api/networks").json())


def test_with_a_password_a_changing_call_needs_the_token(
    client_with: Callable[..., TestClient], example: Document
) -> None:
    """Neither nothing nor a bare session changes anything; the token does, from anywhere."""
    password_hash = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1).hash("several words do well")
    client = client_with(password_hash=password_hash, api_token_hash=token_hash("secret"))
    body = {"document": example, "author": "a"}
    assert 401 == client.post("/api/networks", json=body).status_code
    page = client.get("/log-in").text
    token = page.partition('name="csrf_token" value="')[2].partition('"')[0]
    client.post("/log-in", data={"csrf_token": token, "password": "several words do well"})
    assert 200 == client.get("/api/networks").status_code
    assert 403 == client.post("/api/networks", json=body).status_code
    assert 201 == client.post("/api/networks", json=body, headers={"authorization": "Bearer secret"}).status_code
    mine = client.get("/").text.partition('name="csrf_token" value="')[2].partition('"')[0]
    assert 201 == client.post("/api/networks", json=body, headers={"x-csrf-token": mine}).status_code


def test_everything_is_described(client: TestClient) -> None:
    """Each operation has its sentence, on the page and for programs; pages are not in the description."""
    schema = client.get("/api/openapi.json").json()
    page = client.get("/api").text
    for path, methods in schema["paths"].items():
        assert path.startswith("/api/")
        assert path in page
        for operation in methods.values():
            assert operation["description"]
    assert "Bearer" in page


def test_answers_are_those_of_the_command_line(
    client: TestClient, made: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Delays, point and check answer what the commands print with ``--json``; a missing proof only the record knows."""
    agrees = {f"lock-{key}": "agrees" for key in ("carrier", "pilot", "deviation", "polarity")}
    for site in ("north", "south", "gap"):
        proof = {"kind": "lock", "site": site, "author": "B. Field", **agrees}
        number = made.rpartition("/")[2]
        assert client.post(f"/api/pages/networks/{number}/timeline", json=proof).status_code < 300
    file = str(Path(__file__).parents[1] / "sfn" / "example-network.json")
    for command, address in (
        (["delays", file], "delays"),
        (["check", file], "check"),
        (["point", file, "--at", "36.28,-84.2"], "point?lat=36.28&lon=-84.2"),
    ):
        main([*command, "--json"])
        ours, theirs = client.get(f"{made}/{address}").json(), json.loads(capsys.readouterr().out)
        assert theirs.pop("radiated_before", None) is None, (
            "a document that the command is told; the record has its own"
        )
        assert ours.pop("urgent", []) == [], "a command has no record of issues; none is urgent here"
        assert theirs == {**ours, **({"revision": None} if "revision" in ours else {})}, address
    assert "lat" == client.get(f"{made}/point?lat=95&lon=0").json()["problems"][0]["where"]


def test_what_a_script_sends_wrong_is_said_to_a_script(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """Broken JSON, a key that is not known, a number that is none, a body without its kind: each in words."""
    number = store.create(example, author="test", reason="test").network_id
    at, kind = f"/api/networks/{number}", {"Content-Type": "application/json"}
    broken = client.put(at, content=b'{"a":', headers=kind).json()["problems"][0]
    assert ("body", "is no JSON that can be read", "one JSON document") == tuple(
        broken[key] for key in ("where", "what", "expected")
    )
    body = {"document": example, "base_revision": 1, "author": "me", "reason": "x", "raeson": "y"}
    unknown = client.put(at, json=body)
    assert unknown.status_code == 422
    assert "is not known here" == unknown.json()["problems"][0]["what"]
    assert store.read(number).revision.number == 1
    nan = client.get(f"{at}/point?lat=x&lon=1").json()["problems"][0]
    assert ("cannot be 'x'", "a number") == (nan["what"], nan["expected"])
    refused = client.post(f"/api/pages/networks/{number}/measurements", data={"csv": "x"})
    assert refused.status_code == 403
    assert "Content-Type: application/json" in refused.json()["problems"][0]["expected"]
