"""The real application over a real store in a folder of its own."""

import html
import json
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from tests.webapp.small_postgres import LEFT_OUT as NO_POSTGRES, SmallPostgres, programs
from webapp.app import create_app
from webapp.config.settings import Settings
from webapp.store import passwords
from webapp.store.store import Store

# Store, record, people, what is read at the sites, and walks through pages: everything that asks the database otherwise
# than by number. The rest runs on SQLite alone.
BOTH_STORES = frozenset(
    {
        "test_store", "test_audit", "test_acts_recorded", "test_users", "test_links", "test_steps", "test_overlays",
        "test_timeline", "test_standing_kept", "test_measured_rows", "test_networks", "test_live", "test_rows_sealed",
        "test_jobs_kept",
    }
)  # fmt: skip
EXAMPLE = Path(__file__).parents[1] / "sfn" / "example-network.json"


def token_in(html: str) -> str:
    """The form token in a page."""
    found = re.search(r'name="csrf_token" value="([^"]+)"', html)
    assert found, "the page has no form token"
    return found[1]


def start_levels(client: TestClient, address: str) -> str:
    """Start a map's levels as its page does, and wait; gives the page as it is then."""
    shown = client.get(address).text
    form = re.search(r'<form id="start"[^>]*action="([^"]+)".*?</form>', shown, re.S)
    if form:
        held = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[0]))
        answer = client.post(html.unescape(form[1]), data=held, headers={"Accept": "application/json"})
        assert answer.status_code == 202, answer.text
        job = client.app.state.jobs.find(answer.json()["id"])  # type: ignore[attr-defined]
        assert job.ended.wait(120)
        assert job.state == "finished", job.problems
        shown = client.get(address).text
    assert "data-job" not in shown
    return shown


@pytest.fixture
def example() -> dict[str, Any]:
    """The worked example's document."""
    document: dict[str, Any] = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    return document


@pytest.fixture
def quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Passwords are hashed as quickly as can be."""
    monkeypatch.setattr(passwords, "PasswordHasher", lambda: PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run the tests of some modules on both stores; one that is marked `sqlite` looks at SQLite's own file."""
    twice = metafunc.module.__name__.rpartition(".")[2] in BOTH_STORES
    if twice and "database" in metafunc.fixturenames and not any(metafunc.definition.iter_markers("sqlite")):
        metafunc.parametrize("database", ["sqlite", "postgresql"], indirect=True)


@pytest.fixture(scope="session")
def postgres() -> Iterator[SmallPostgres]:
    """A PostgreSQL server of this worker; in CI it must be there."""
    found = programs()
    if found is None or find_spec("psycopg") is None:
        assert os.environ.get("CI") != "true", "CI needs postgresql (.ci/run installs it) and psycopg"
        pytest.skip(f"left out, {NO_POSTGRES} (Debian: postgresql; Python: psycopg)")
    made = SmallPostgres(found)
    yield made
    made.end()


@pytest.fixture
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The address of a database that nobody else uses."""
    if getattr(request, "param", "sqlite") == "sqlite":
        yield f"sqlite:///{tmp_path / 'networks.sqlite'}"
        return
    server: SmallPostgres = request.getfixturevalue("postgres")
    with server.database() as url:
        yield url


@pytest.fixture
def settings(tmp_path: Path, database: str) -> Settings:
    """Settings of an application that nobody else uses."""
    return Settings(tmp_path, database, session_key="test-key-of-the-tests-that-nobody-guesses")


@pytest.fixture
def store(settings: Settings) -> Iterator[Store]:
    """A store on disk."""
    made = Store(settings.database_url)
    yield made
    made.close()


@pytest.fixture
def client_with(settings: Settings, store: Store) -> Iterator[Callable[..., TestClient]]:
    """A client of the application, with some settings changed."""
    opened = []

    def make(**changes: Any) -> TestClient:
        app = create_app(replace(settings, **changes), store)
        client = TestClient(app, base_url="http://127.0.0.1:8430", raise_server_exceptions=False)
        opened.append(client.__enter__())
        return client

    yield make
    for client in opened:
        client.__exit__(None, None, None)


@pytest.fixture
def client(client_with: Callable[..., TestClient]) -> TestClient:
    """A client of the application as it starts on a fresh machine."""
    return client_with()


@pytest.fixture
def post(client: TestClient) -> Callable[..., Any]:
    """Send a form as a page would, with its token; gives the answer before any redirect."""

    def send(address: str, *, by: TestClient = client, files: Any = None, **fields: str) -> Any:
        token = token_in(by.get("/").text)
        return by.post(address, data={"csrf_token": token, **fields}, files=files, follow_redirects=False)

    return send


def when_made(client: TestClient, answer: Any) -> Any:
    """An answer that goes to a job where the machine is busy: what the job makes."""
    if answer.status_code != 303:
        return answer
    job = client.app.state.jobs.find(answer.headers["location"].rpartition("/")[2])  # type: ignore[attr-defined]
    assert job.ended.wait(120)
    assert job.state == "finished", job.problems
    return client.get(answer.headers["location"])


@pytest.fixture
def issue(client: TestClient, store: Store, post: Callable[..., Any]) -> Callable[[int], int]:
    """Sign off what needs it and issue every sheet, as the office does; gives the revision that is issued."""

    def act(number: int) -> int:
        revision = str(store.read(number).revision.number)
        for site in store.read(number).document["sites"]:
            address = f"/networks/{number}/sheets/{site['id']}"
            if f'action="{address}/sign"' in client.get(address).text:
                assert post(f"{address}/sign", revision=revision, signed_by="A. Engineer").status_code == 303
        answer = post(f"/networks/{number}/sheets/issue", revision=revision, issued_by="A. Planner")
        assert answer.status_code == 303, answer.text
        return store.read(number).revision.number

    return act
