"""A technician's link after everything that may happen at the office: it opens, or says in words why not."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from tests.webapp.conftest import token_in
from webapp.config.settings import Settings
from webapp.on_air.site_links import token_of
from webapp.store import passwords
from webapp.store.links_kept import KeptLink
from webapp.store.schema import links
from webapp.store.seals import change
from webapp.store.store import Store

WORDS = "several words do well"
Send = Callable[..., Any]


@pytest.fixture
def number(store: Store, example: dict[str, Any], issue: Callable[[int], int]) -> int:
    """The example, issued while nobody had to sign in; then a team."""
    made = store.create(example, author="test", reason="test").network_id
    issue(made)
    return made


@pytest.fixture
def admin(
    number: int, store: Store, client_with: Callable[..., TestClient], monkeypatch: pytest.MonkeyPatch
) -> TestClient:
    """An administrator, signed in, beside a planner who made a link for each site."""
    monkeypatch.setattr(passwords, "PasswordHasher", lambda: PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    for name, role in {"Admin": "administrator", "Ann": "planner"}.items():
        store.accounts.add(name, role=role, password=WORDS)
    planner = signed_in(client_with(), "Ann")
    assert send_form(planner, f"/networks/{number}/readings/links", site="", days="14").status_code == 303
    assert {one.made_by for one in store.links.of(number)} == {"Ann"}
    return signed_in(client_with(), "Admin")


@pytest.fixture
def phone(client_with: Callable[..., TestClient]) -> TestClient:
    """A telephone that nobody signed in on."""
    return client_with()


def signed_in(client: TestClient, name: str) -> TestClient:
    """A browser with somebody signed in."""
    page = client.get("/log-in").text
    data = {"csrf_token": token_in(page), "name": name, "password": WORDS}
    assert client.post("/log-in", data=data, follow_redirects=False).status_code == 303
    return client


def send_form(client: TestClient, address: str, **fields: str) -> Any:
    """Send a form with its token."""
    return client.post(address, data={"csrf_token": token_in(client.get("/").text), **fields}, follow_redirects=False)


def given(store: Store, settings: Settings, number: int, site: str = "north") -> tuple[KeptLink, str]:
    """The link of a site, and its address."""
    kept = next(one for one in store.links.of(number) if one.site_id == site)
    return kept, f"/site/{token_of(settings.session_key, kept)}"


def sent(phone: TestClient, address: str, words: str) -> Any:
    """A reading that the telephone had in its queue."""
    data = {
        "initials": "AE",
        "plane": "antenna",
        "remarks": words,
        "sending": words,
        "phone_clock": "2026-11-29T12:00:00Z",
    }
    return phone.post(address, data=data, headers={"Accept": "application/json"})


def remarks(store: Store, number: int) -> list[str]:
    """What the office has."""
    return [str(one.body["texts"]["remarks"]) for one in store.entries.of(number, kind="reading")]


def test_it_outlives_whatever_becomes_of_its_maker(
    admin: TestClient, phone: TestClient, store: Store, settings: Settings, number: int
) -> None:
    """Another role, another password, an end: a crew at work is not cut off, and who ends the maker is told of it."""
    _, address = given(store, settings, number)
    for step, fields in (
        ("role", {"act": "role", "role": "viewer"}),
        ("password", {"act": "password", "password": "other words do well too"}),
        ("end", {"act": "end"}),
    ):
        assert send_form(admin, "/users/change", name="Ann", **fields).status_code == 303
        assert phone.get(address).status_code == 200
        assert sent(phone, address, f"after {step}").json()["kept"], step
    told = admin.get("/users").text
    assert f"stay open until they end: 3 in network {number}." in told
    assert remarks(store, number) == ["after role", "after password", "after end"]
    assert "Ann" in admin.get(f"/networks/{number}/readings/links").text, "who made it stays beside it"


def test_who_made_no_link_leaves_none(admin: TestClient, store: Store) -> None:
    """Nothing is said of links where there are none."""
    store.accounts.add("Ben", role="viewer", password=WORDS)
    send_form(admin, "/users/change", name="Ben", act="end")
    page = admin.get("/users").text
    assert "Ben may come in no more" in page
    assert "stay open" not in page


@pytest.mark.parametrize("how", ["ended", "withdrawn"])
def test_over_it_takes_nothing_and_says_why(
    how: str, admin: TestClient, phone: TestClient, store: Store, settings: Settings, number: int
) -> None:
    """Every address of it, for people and for the telephone; what was queued is asked to be kept, and a new link takes it."""
    kept, address = given(store, settings, number)
    if how == "withdrawn":
        answer = send_form(admin, f"/networks/{number}/readings/links/{kept.id}/withdraw")
        assert answer.status_code == 303, answer.text
    else:
        with store.writing() as connection:
            past = (datetime.now(UTC) - timedelta(minutes=1)).replace(tzinfo=None)
            assert change(connection, links, links.c.id == kept.id, {"ends_at": past}) == 1
    refused = sent(phone, address, "queued on the mountain")
    assert refused.status_code == 410
    (problem,) = refused.json()["problems"]
    assert problem["code"] == "link-ended"
    assert f"this link {'was withdrawn' if how == 'withdrawn' else 'ended'} on" in problem["what"]
    assert "what you typed is still kept" in problem["expected"]
    for end in ("", "/state", "/worker.js"):
        assert phone.get(address + end).status_code == 410, end
    assert "Ask the office for a new link; what you typed is still in this telephone." in phone.get(address).text
    assert remarks(store, number) == []
    again = send_form(admin, f"/networks/{number}/readings/links", site="north", days="7")
    assert again.status_code == 303
    _, new = given(store, settings, number)
    assert new != address
    assert sent(phone, new, "queued on the mountain").json()["kept"]
    assert remarks(store, number) == ["queued on the mountain"]


def test_a_deleted_network_stops_its_links_and_brings_them_back(
    admin: TestClient, phone: TestClient, store: Store, settings: Settings, number: int
) -> None:
    """In words of the technician's, and without loss."""
    _, address = given(store, settings, number)
    assert sent(phone, address, "before").json()["kept"]
    store.delete(number)
    refused = sent(phone, address, "queued")
    assert refused.status_code == 410
    (problem,) = refused.json()["problems"]
    assert problem["code"] == "network-deleted"
    assert "deleted at the control room" in problem["what"]
    for end in ("", "/state"):
        assert phone.get(address + end).status_code == 410, end
    shown = phone.get(address).text
    assert "the network of this link was deleted" in shown
    assert "To the networks" not in shown, "nothing on it leads to a log-in"
    store.undelete(number)
    assert phone.get(address).status_code == 200
    assert sent(phone, address, "queued").json()["kept"]
    assert remarks(store, number) == ["before", "queued"]
