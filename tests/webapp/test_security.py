"""Who may do what: tokens in forms, sessions, log-in slowing, host names, headers, sizes."""

from collections.abc import Callable
from typing import Any

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from sfn.errors import PlanError
from webapp.config.limits import Limits
from webapp.shell.security import local_address
from webapp.store.passwords import Attempts, hash_password, password_matches, token_hash

# Cheap parameters: the point here is the door, not the lock's strength.
CHEAP = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
PASSWORD = "several words do well"
HASH = CHEAP.hash(PASSWORD)


def token_in(html: str) -> str:
    """The form token in a page."""
    return html.partition('name="csrf_token" value="')[2].partition('"')[0]


@pytest.mark.parametrize(
    "address", ["/", "/nothing/here", "/static/style.css", "/static/leaflet/leaflet.css", "/deleted"]
)
def test_policy_allows_nothing_inline_and_nothing_foreign(client: TestClient, address: str) -> None:
    """Every answer, refusals and static files included, carries the strict policy; no page needs an exception."""
    answer = client.get(address)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "nosniff" == answer.headers["x-content-type-options"]
    if "html" in answer.headers["content-type"]:
        assert " style=" not in answer.text
        assert "<style" not in answer.text
        assert "<script>" not in answer.text


def test_form_without_its_token_is_refused(client: TestClient) -> None:
    """A changing request from elsewhere does nothing."""
    client.get("/")
    for fields in ({}, {"csrf_token": "guessed"}):
        answer = client.post("/networks/1/delete", data=fields)
        assert 403 == answer.status_code
        assert "This form was not sent" in answer.text


@pytest.mark.parametrize("headers", [{"sec-fetch-site": "cross-site"}, {"origin": "http://elsewhere.example"}])
def test_form_from_another_site_is_refused_even_with_a_token(client: TestClient, headers: dict[str, str]) -> None:
    """The browser's own word on where a form came from is believed."""
    token = token_in(client.get("/").text)
    assert 403 == client.post("/networks/1/delete", data={"csrf_token": token}, headers=headers).status_code


@pytest.mark.parametrize("host", ["rebound.example", "rebound.example:8430", "127.0.0.1.rebound.example", ""])
def test_foreign_host_name_reaches_nothing_on_loopback(client: TestClient, host: str) -> None:
    """A name that was made to point at this machine is refused before anything is read."""
    assert 421 == client.get("/", headers={"host": host}).status_code


@pytest.mark.parametrize("host", ["localhost:8430", "127.0.0.1:1", "[::1]:8430", "LOCALHOST"])
def test_own_host_names_are_answered(client: TestClient, host: str) -> None:
    """Loopback by any of its names works."""
    assert 200 == client.get("/", headers={"host": host}).status_code


def test_with_a_password_every_page_needs_a_session(client_with: Callable[..., TestClient]) -> None:
    """Pages lead to the log-in, the API answers 401; the log-in itself and its style sheet are open."""
    client = client_with(password_hash=HASH)
    answer = client.get("/deleted", follow_redirects=False)
    assert "/log-in?after=%2Fdeleted" == answer.headers["location"]
    assert 401 == client.get("/api/networks").status_code
    assert 200 == client.get("/static/style.css").status_code
    assert "Password of this installation" in client.get("/log-in").text


def test_logging_in_and_out(client_with: Callable[..., TestClient]) -> None:
    """The right password opens the page that was wanted; logging out closes it again."""
    client = client_with(password_hash=HASH)
    token = token_in(client.get("/log-in").text)
    wrong = client.post("/log-in", data={"csrf_token": token, "password": "no"})
    assert 403 == wrong.status_code
    assert "This is not the password" in wrong.text
    right = client.post("/log-in", data={"csrf_token": token, "password": PASSWORD, "after": "/deleted"})
    assert "/deleted" == right.url.path
    cookie = right.history[0].headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    client.post("/log-out", data={"csrf_token": token_in(client.get("/deleted").text)})
    assert 303 == client.get("/", follow_redirects=False).status_code


def test_new_password_ends_old_sessions(client_with: Callable[..., TestClient]) -> None:
    """A session belongs to the password it was started with."""
    client = client_with(password_hash=HASH)
    client.post("/log-in", data={"csrf_token": token_in(client.get("/log-in").text), "password": PASSWORD})
    assert 200 == client.get("/", follow_redirects=False).status_code
    renewed = client_with(password_hash=CHEAP.hash("some other words"))
    renewed.cookies = client.cookies
    assert 303 == renewed.get("/", follow_redirects=False).status_code


def test_wrong_passwords_slow_down() -> None:
    """Three wrong ones are free, then the wait doubles up to five minutes, even for the right password."""
    now = [0.0]
    attempts = Attempts(clock=lambda: now[0])
    assert [(False, 0)] * 3 == [attempts.check("no", HASH) for _ in range(3)]
    waits = []
    for _ in range(12):
        right, wait_s = attempts.check(PASSWORD, HASH)
        assert not right
        waits.append(wait_s)
        now[0] += wait_s
        attempts.check("no", HASH)
    assert [1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300] == waits
    now[0] += 300
    assert (True, 0) == attempts.check(PASSWORD, HASH)
    assert [(False, 0)] * 3 == [attempts.check("no", HASH) for _ in range(3)], "success starts afresh"


def test_waiting_is_told(client_with: Callable[..., TestClient]) -> None:
    """After too many failures the page says how long to wait."""
    client = client_with(password_hash=HASH)
    fields = {"csrf_token": token_in(client.get("/log-in").text), "password": "no"}
    answers = [client.post("/log-in", data=fields) for _ in range(4)]
    assert [403] * 3 + [429] == [answer.status_code for answer in answers]
    assert "try again in" in answers[3].text
    assert int(answers[3].headers["retry-after"]) > 0


def test_password_hash_is_argon2_and_short_ones_are_refused() -> None:
    """argon2id; the refusal says how long a password must be."""
    held = hash_password(PASSWORD)
    assert held.startswith("$argon2id$")
    assert password_matches(PASSWORD, held)
    assert not password_matches("several words do wel", held)
    with pytest.raises(PlanError) as caught:
        hash_password("short")
    assert "12 or more" in caught.value.problems[0].expected


@pytest.mark.parametrize("text", ["//elsewhere.example", "/\\elsewhere.example", "https://elsewhere.example", "x", ""])
def test_log_in_leads_nowhere_else(text: str) -> None:
    """An address outside the application becomes the first screen."""
    assert "/" == local_address(text)
    assert "/networks/1?x=1" == local_address("/networks/1?x=1")


def test_api_token_opens_the_api_only(client_with: Callable[..., TestClient]) -> None:
    """The token is for scripts; pages still need the session."""
    client = client_with(password_hash=HASH, api_token_hash=token_hash("secret"))
    good, bad = {"authorization": "Bearer secret"}, {"authorization": "Bearer other"}
    assert 200 == client.get("/api/openapi.json", headers=good).status_code
    assert 401 == client.get("/api/openapi.json", headers=bad).status_code
    assert 303 == client.get("/", headers=good, follow_redirects=False).status_code


def test_too_large_a_request_is_refused_with_the_number(client_with: Callable[..., TestClient], post: Any) -> None:
    """The declared length is refused before anything is read; the page gives the number that would do."""
    client = client_with(limits=Limits(body_bytes=1000))
    answer = post("/networks/import", by=client, files={"file": ("big.json", "x" * 2000)}, author="Ada")
    assert 413 == answer.status_code
    assert "at most 1000 bytes" in answer.text


def test_undeclared_length_is_counted(client_with: Callable[..., TestClient]) -> None:
    """A body sent in pieces without a length is refused as soon as it is too long."""
    client = client_with(limits=Limits(body_bytes=1000))
    pieces = (b"x" * 100 for _ in range(100))
    kind = {"content-type": "multipart/form-data; boundary=b"}
    assert 413 == client.post("/networks/import", content=pieces, headers=kind).status_code


def test_fault_shows_a_number_and_never_its_text(client: TestClient, caplog: pytest.LogCaptureFixture) -> None:
    """An unforeseen exception is logged under the number that the page shows, and its text stays in the log."""

    def fault() -> None:
        raise RuntimeError("secret detail")

    client.app.add_api_route("/fault", fault)  # type: ignore[attr-defined]
    answer = client.get("/fault")
    assert 500 == answer.status_code
    assert "secret detail" not in answer.text
    assert "RuntimeError" not in answer.text
    number = next(r.getMessage().split()[1] for r in caplog.records if r.name == "webapp")
    assert number in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]


def test_the_public_name_is_one_of_its_own(client_with: Callable[..., TestClient]) -> None:
    """A proxy that passes the name on: every printed link bears it. Others are refused as before."""
    client = client_with(public_url="https://sfn.example.org", password_hash="x")
    for host, status in (("sfn.example.org", 303), ("SFN.example.org:443", 303), ("evil.example", 421), ("", 421)):
        assert client.get("/", headers={"host": host}, follow_redirects=False).status_code == status, host
