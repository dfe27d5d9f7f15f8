"""Every address under /api, walked by an outsider with what used to open it, with too little, or in the wrong place."""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.test_roles_walked import (
    HIDDEN,
    ROLES,
    WORDS,
    Ground,
    action_of,
    bare,
    ground,  # noqa: F401
    routes,
)
from webapp.shell.door import HELD
from webapp.store.passwords import token_hash
from webapp.store.schema import sessions, tokens
from webapp.store.seals import change

LONG_AGO = datetime(2026, 1, 1)
# What a token for reading is for, a second time: looking that everybody may, and computing what is kept nowhere.
READING = {"compute"}
Sent = Mapping[str, Any]


def interface() -> list[tuple[str, str]]:
    """Every method and path under /api."""
    return [(method, path) for method, path in routes() if path.startswith("/api")]


def made(ground: Ground, name: str, *, role: str, scope: str = "write", days: int | None = 30) -> str:  # noqa: F811
    """A token of a new user."""
    user = ground.store.accounts.add(name, role=role, password=WORDS)
    return ground.store.accounts.add_token(user.id, label="script", scope=scope, days=days)


def walker(ground: Ground) -> TestClient:  # noqa: F811
    """A client that nobody signed in with."""
    return TestClient(
        ground.by["nobody"].app, base_url="http://127.0.0.1", raise_server_exceptions=False, follow_redirects=False
    )


def ask(client: TestClient, ground: Ground, method: str, path: str, **sent: Any) -> Any:  # noqa: F811
    """One address, its gaps filled; an empty object where something is done."""
    where = path.format_map({key: str(value) for key, value in ground.gaps.items()})
    body = {} if method == "GET" else {"json": {}}
    return client.request(method, where, **{**body, **sent})


def shut(answer: Any) -> None:
    """401 in words, with how to come in; nothing of what was asked for, and nothing to sign in by."""
    assert answer.status_code == 401, answer.text[:300]
    (problem,) = answer.json()["problems"]
    assert problem["code"] == "not-signed-in"
    assert answer.headers["www-authenticate"] == "Bearer"
    assert "set-cookie" not in answer.headers


def none(_ground: Ground) -> Sent:
    """No token at all."""
    return {}


def invented(_ground: Ground) -> Sent:
    """As long as one, and nobody's."""
    return {"headers": {"Authorization": "Bearer " + "A" * 43}}


def revoked(ground: Ground) -> Sent:  # noqa: F811
    """Taken back by its user."""
    token = made(ground, "Revoked", role="administrator")
    number = ground.store.accounts.tokens()[0].id
    assert ground.store.accounts.revoke(number)
    return {"headers": {"Authorization": f"Bearer {token}"}}


def run_out(ground: Ground) -> Sent:  # noqa: F811
    """Its days are over."""
    token = made(ground, "Late", role="administrator")
    with ground.store.writing() as connection:
        assert change(connection, tokens, tokens.c.token_hash == token_hash(token), {"ends_at": LONG_AGO}) == 1
    return {"headers": {"Authorization": f"Bearer {token}"}}


def of_one_who_left(ground: Ground) -> Sent:  # noqa: F811
    """Its user was ended."""
    token = made(ground, "Left", role="administrator")
    ground.store.accounts.end("Left")
    return {"headers": {"Authorization": f"Bearer {token}"}}


def session_over(ground: Ground) -> Sent:  # noqa: F811
    """A browser's cookie, its session ended since."""
    ground.store.accounts.add("Browser", role="administrator", password=WORDS)
    client = walker(ground)
    page = client.get("/log-in").text
    found = page.split('name="csrf_token" value="', 1)[1].split('"', 1)[0]
    fields = {"csrf_token": found, "name": "Browser", "password": WORDS}
    assert client.post("/log-in", data=fields).status_code == 303
    assert client.get("/api/networks").status_code == 200, "the cookie opened it"
    with ground.store.writing() as connection:
        user = ground.store.accounts.find("Browser")
        assert user is not None
        assert change(connection, sessions, sessions.c.user_id == user.id, {"ends_at": LONG_AGO}) == 1
    return {"cookies": dict(client.cookies)}


@pytest.mark.parametrize(
    "opener", [none, invented, revoked, run_out, of_one_who_left, session_over], ids=lambda one: one.__name__
)
def test_what_opens_no_more_opens_nothing(ground: Ground, opener: Callable[[Ground], Sent]) -> None:  # noqa: F811
    """Every address, whatever it does: 401, and every row of the store is as it was."""
    sent = dict(opener(ground))
    client = walker(ground)
    client.cookies.update(sent.pop("cookies", {}))
    before = ground.kept()
    for method, path in interface():
        shut(ask(client, ground, method, path, **sent))
    assert ground.kept() == before


PLACES: Mapping[str, Callable[[str], Sent]] = {
    "header of another name": lambda token: {"headers": {"X-API-Key": token}},
    "another scheme": lambda token: {"headers": {"Authorization": f"Token {token}"}},
    "no scheme": lambda token: {"headers": {"Authorization": token}},
    "the password of a name": lambda token: {"auth": ("Placed", token)},
    "cut off": lambda token: {"headers": {"Authorization": f"Bearer {token[:-1]}"}},
    "with more": lambda token: {"headers": {"Authorization": f"Bearer {token} {token}"}},
    "as its hash": lambda token: {"headers": {"Authorization": f"Bearer {token_hash(token)}"}},
    "cookie": lambda token: {"cookies": {"token": token, "session": token, HELD: token}},
}


@pytest.fixture(scope="module")
def placed(ground: Ground) -> str:  # noqa: F811
    """A good token."""
    token = made(ground, "Placed", role="administrator")
    answer = walker(ground).get("/api/networks", headers={"Authorization": f"bearer {token}"})
    assert answer.status_code == 200, "it is good, and the scheme's case does not matter"
    return token


@pytest.mark.parametrize("place", PLACES)
def test_a_token_is_taken_from_its_header_alone(ground: Ground, placed: str, place: str) -> None:  # noqa: F811
    """A good one anywhere else opens nothing."""
    sent = dict(PLACES[place](placed))
    client = walker(ground)
    client.cookies.update(sent.pop("cookies", {}))
    for method, path in (
        ("GET", "/api/networks"),
        ("GET", "/api/pages/networks/{network_id}/delays"),
        ("POST", "/api/networks"),
    ):
        shut(ask(client, ground, method, path, **sent))


def test_a_token_in_an_address_opens_nothing(ground: Ground, placed: str) -> None:  # noqa: F811
    """Addresses end up in logs and histories: under every name that a token might be sought by, at every address."""
    names = ("token", "access_token", "api_token", "api_key", "key", "bearer", "sid", "session")
    sent = {**dict.fromkeys(names, placed), "authorization": f"Bearer {placed}", "Authorization": f"Bearer {placed}"}
    before, client = ground.kept(), walker(ground)
    for method, path in interface():
        shut(ask(client, ground, method, path, params=sent))
    assert ground.kept() == before


def test_a_token_opens_no_page(ground: Ground, placed: str) -> None:  # noqa: F811
    """Pages are for people: outside /api the header is not looked at."""
    for path in ("/", "/networks/{network_id}", "/users", "/record.jsonl", "/account"):
        answer = ask(walker(ground), ground, "GET", path, headers={"Authorization": f"Bearer {placed}"})
        assert (answer.status_code, answer.headers["location"][:7]) == (303, "/log-in"), path


def refused(answer: Any, path: str) -> None:
    """403 in words, for whose role it would be."""
    assert answer.status_code == 403, (path, answer.status_code, answer.text[:300])
    (problem,) = answer.json()["problems"]
    assert problem["code"] == "not-allowed", path
    assert "role" in problem["values"], path


@pytest.mark.parametrize("who", ["reading", "demoted"])
def test_too_small_a_scope_changes_nothing(ground: Ground, who: str) -> None:  # noqa: F811
    """A token for reading of an administrator, one for all of somebody who was one and is a viewer now."""
    token = made(ground, who, role="administrator", scope="read" if who == "reading" else "write")
    if who == "demoted":
        ground.store.accounts.set_role(who, "viewer")
    client, sent = walker(ground), {"headers": {"Authorization": f"Bearer {token}"}}
    may = READING if who == "reading" else ROLES["viewer"]
    before, walked = ground.kept(), 0
    for method, path in interface():
        guard = next((action for action, paths in HIDDEN.items() if bare(path) in paths), None)
        action = guard if method == "GET" else action_of(path)
        if action in (None, "own") or action in may:
            continue
        refused(ask(client, ground, method, path, **sent), path)
        walked += 1
    assert walked > 60, "most addresses that change something were tried"
    assert ground.kept() == before


def test_no_token_makes_another(ground: Ground, placed: str) -> None:  # noqa: F811
    """Nor changes a password, ends sessions or signs somebody in: what is one's own needs the browser and the password."""
    before = ground.kept()
    for method, path in interface():
        if method == "GET" or action_of(path) != "own":
            continue
        answer = ask(walker(ground), ground, method, path, headers={"Authorization": f"Bearer {placed}"})
        assert answer.status_code in (401, 403, 404, 422, 429), (path, answer.status_code, answer.text[:300])
    assert ground.kept() == before
    until = datetime.now(UTC).replace(tzinfo=None) + timedelta(days=29)
    assert any(str(row[6]) > str(until) for row in before["tokens"]), "it is good still"
