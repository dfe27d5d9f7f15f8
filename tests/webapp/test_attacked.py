"""Attacks, briefly: strange requests by OpenAPI, kills at random moments, editors against each other, broken caches.

`make soak` makes them long: SOAK=N multiplies what is bounded here, with another seed each time where none is given.
"""

import json
import os
import random
import re
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx2 as httpx
import hypothesis
import pytest
import schemathesis
from starlette.testclient import TestClient

from tests.webapp.conftest import start_levels, token_in
from tests.webapp.small_postgres import SmallPostgres
from tests.webapp.test_service import ROOT
from webapp.app import create_app
from webapp.config.addresses import OPENAPI
from webapp.config.settings import Settings
from webapp.store.passwords import token_hash
from webapp.store.store import Store

SOAK = int(os.environ.get("SOAK", "0"))
SEED = int(os.environ.get("SOAK_SEED", str(time.time_ns() % 2**32) if SOAK else "22"))
OPERATIONS_N = 10_000 if SOAK else 60
EXAMPLES_N = 2 + 8 * SOAK
KILLS_N = 50 if SOAK else 2
EDITORS_S = 4.0 + 26.0 * SOAK
TOKEN = "a-token-of-the-tests"
FAULTS = ("Traceback", "sqlalchemy", "psycopg", "sqlite3.")


# Strange requests


def test_no_request_that_openapi_describes_is_a_fault(
    settings: Settings, store: Store, example: dict[str, Any], client_with: Callable[..., TestClient]
) -> None:
    """Schemathesis makes requests of every kind, right and wrong ones; whatever is answered, it is no fault of ours."""
    number = store.create(example, author="Ada", reason="first").network_id
    app = client_with(api_token_hash=token_hash(TOKEN)).app
    schema = schemathesis.openapi.from_asgi(OPENAPI, app, headers={"host": "127.0.0.1:8430"})
    found = [one.ok() for one in schema.get_all_operations()]
    assert len(found) > 150
    chosen = random.Random(SEED).sample(found, min(OPERATIONS_N, len(found)))
    headers = {"Authorization": f"Bearer {TOKEN}", "host": "127.0.0.1:8430"}
    codes: dict[int, int] = {}
    for operation in chosen:

        @hypothesis.seed(SEED)
        @hypothesis.settings(
            max_examples=EXAMPLES_N, deadline=None, database=None, phases=[hypothesis.Phase.generate],
            suppress_health_check=list(hypothesis.HealthCheck),
        )  # fmt: skip
        @hypothesis.given(case=operation.as_strategy(), ours=hypothesis.strategies.booleans())
        def ask(case: Any, ours: bool) -> None:
            """One request; every other one about the network that is there."""
            if ours and "network_id" in case.path_parameters:
                case.path_parameters["network_id"] = number
            answer = case.call(headers=headers)
            codes[answer.status_code] = codes.get(answer.status_code, 0) + 1
            said = f"seed {SEED}: {case.method} {case.formatted_path} {case.query} {case.body!r}"[:1500]
            text = answer.content.decode(errors="replace")
            assert answer.status_code < 500, f"{said}: {answer.status_code} {text[:500]}"
            assert not any(fault in text for fault in FAULTS), said

        ask()
    assert sum(codes.values()) >= len(chosen), codes
    assert set(codes) & {200, 202, 303}, codes
    assert store.audit.verify().faults == ()


# Kills


@contextmanager
def served(data: Path, database: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The real process on loopback; gives it and its address."""
    command = [sys.executable, "-m", "webapp", "--port", "0", "--data", str(data), "--database", database]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        assert process.stdout is not None
        said = process.stdout.readline()
        found = re.search(r"open (http://\S+)/ in a browser", said)
        assert found, said
        threading.Thread(target=process.stdout.read, daemon=True).start()
        yield process, found[1]
    finally:
        process.kill()
        process.wait(60)
        if process.stdout is not None:
            process.stdout.close()


def _saves(address: str, answered: list[tuple[int, str]], example: dict[str, Any], base: int, mark: str) -> None:
    """Save again and again, and note what was answered, until nobody answers any more."""
    with suppress(httpx.HTTPError), httpx.Client(base_url=address, timeout=30) as client:
        token = token_in(client.get("/").text)
        for n in range(10_000):
            notes = f"{mark}, save {n}"
            document = {**example, "notes": notes}
            sent = {"document": document, "base_revision": base, "author": "Ada", "reason": notes}
            answer = client.put("/api/networks/1", json=sent, headers={"X-CSRF-Token": token})
            assert answer.status_code == 200, answer.text
            base += 1
            answered.append((base, notes))


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_what_was_answered_survives_kills_at_random_moments(
    kind: str, tmp_path: Path, example: dict[str, Any], request: pytest.FixtureRequest
) -> None:
    """SIGKILL in the midst of saving, and started again: every answered save is there, and nothing is half there."""
    if kind == "postgresql":
        server: SmallPostgres = request.getfixturevalue("postgres")
        with server.database() as url:
            _killed_again_and_again(tmp_path, url, example)
        return
    _killed_again_and_again(tmp_path, f"sqlite:///{tmp_path / 'networks.sqlite'}", example)
    with sqlite3.connect(tmp_path / "networks.sqlite") as held:
        assert held.execute("pragma integrity_check").fetchone() == ("ok",)
    held.close()


def _killed_again_and_again(data: Path, url: str, example: dict[str, Any]) -> None:
    """The cycles; the store is looked through after each."""
    (data / "secrets.json").write_text(json.dumps({"session_key": "k" * 43}), encoding="utf-8")
    moments, answered = random.Random(SEED), [(1, "first")]
    store = Store(url)
    store.create({**example, "notes": "first"}, author="Ada", reason="first")
    store.close()
    for n in range(KILLS_N):
        before_n = len(answered)
        head = Store(url)
        base = head.read(1).revision.number
        head.close()
        with served(data, url) as (process, address):
            saving = threading.Thread(target=_saves, args=(address, answered, example, base, f"cycle {n}"))
            saving.start()
            ends = time.monotonic() + 60
            while len(answered) == before_n and time.monotonic() < ends:
                time.sleep(0.005)
            time.sleep(moments.uniform(0.0, 0.6))
            process.kill()
            saving.join(60)
            assert not saving.is_alive()
        assert len(answered) > before_n, f"cycle {n}: nothing was answered before the kill"
        store = Store(url)
        for number, notes in answered[before_n:]:
            assert store.read(1, number).document["notes"] == notes, f"seed {SEED}, cycle {n}, revision {number}"
        last = store.read(1).revision.number
        assert answered[-1][0] <= last <= answered[-1][0] + 1, "at most the one that was not answered any more"
        assert store.damaged(1) == frozenset()
        found = store.audit.verify()
        assert (found.lines, found.faults) == (last, ()), f"seed {SEED}, cycle {n}"
        store.close()


# Editors against each other


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_editors_against_each_other_lose_nothing(
    kind: str, tmp_path: Path, example: dict[str, Any], request: pytest.FixtureRequest
) -> None:
    """Each adds one to a number that it has read; on PostgreSQL two applications serve them. The sum is that of saves."""
    if kind == "postgresql":
        server: SmallPostgres = request.getfixturevalue("postgres")
        with server.database() as url:
            _edited(tmp_path, url, example, applications_n=2)
    else:
        _edited(tmp_path, f"sqlite:///{tmp_path / 'networks.sqlite'}", example, applications_n=1)


def _edited(data: Path, url: str, example: dict[str, Any], *, applications_n: int) -> None:
    """Four editors for some seconds."""
    stores = [Store(url) for _ in range(applications_n)]
    settings = Settings(data, url, session_key="test-key-of-the-tests-that-nobody-guesses")
    apps = [create_app(settings, store) for store in stores]
    stores[0].create({**example, "notes": "0"}, author="Ada", reason="first")
    saved, refused, wrong = [0] * 4, [0] * 4, []
    ends = time.monotonic() + EDITORS_S

    def edit(n: int) -> None:
        """One of them."""
        client = TestClient(apps[n % applications_n], base_url="http://127.0.0.1:8430")
        token = token_in(client.get("/").text)
        while time.monotonic() < ends:
            read = client.get("/api/networks/1").json()
            document = {**read["document"], "notes": str(int(read["document"]["notes"]) + 1)}
            sent = {
                "document": document,
                "base_revision": read["revision"],
                "author": f"Editor {n}",
                "reason": "one more",
            }
            answer = client.put("/api/networks/1", json=sent, headers={"X-CSRF-Token": token})
            if answer.status_code == 200:
                saved[n] += 1
            elif answer.status_code == 409:
                refused[n] += 1
            else:
                wrong.append((answer.status_code, answer.text[:300]))

    editors = [threading.Thread(target=edit, args=(n,)) for n in range(4)]
    for one in editors:
        one.start()
    for one in editors:
        one.join(EDITORS_S + 120)
    assert wrong == []
    assert sum(refused) > 0, "nobody met anybody: the test is too short"
    head = stores[0].read(1)
    assert (int(head.document["notes"]), head.revision.number) == (sum(saved), sum(saved) + 1)
    assert stores[0].audit.verify().faults == ()
    for store in stores:
        store.close()


# Broken caches


def test_broken_caches_change_no_figure_and_are_no_fault(settings: Settings, tmp_path: Path) -> None:
    """Levels on the disk cut off, with turned bytes, emptied: worked out anew, the same, without a word to the reader."""
    dice, shown = random.Random(SEED), []
    how: list[Callable[[bytes], bytes]] = [
        lambda held: held,
        lambda held: held[: dice.randrange(len(held))],
        lambda held: b"",
        lambda held: b"\xff" * len(held),
        lambda held: _turned(held, dice),
    ]
    for broken in how + [how[-1]] * (10 * SOAK):
        files = [one for one in (tmp_path / "rasters").rglob("*") if one.is_file()]
        for file in files:
            file.write_bytes(broken(file.read_bytes()))
        assert files or not shown, "there is nothing on the disk to break"
        digests = tmp_path / "terrain-digests.json"
        if digests.is_file():
            digests.write_bytes(broken(digests.read_bytes()))
        store = Store(settings.database_url)
        with TestClient(
            create_app(settings, store), base_url="http://127.0.0.1:8430", raise_server_exceptions=False
        ) as client:
            if not shown:
                client.post("/networks/demo/fm_ridge", data={"csrf_token": token_in(client.get("/").text)})
            page = start_levels(client, "/networks/1/map?pixel_m=2000")
            found = re.search(r"/networks/1/map/\w+/file/all-layers\.csv", page)
            assert found
            answer = client.get(found[0])
            assert answer.status_code == 200, answer.text[:500]
            assert len(answer.text.splitlines()) > 200
            shown.append(answer.text)
    assert len(set(shown)) == 1


def _turned(held: bytes, dice: random.Random) -> bytes:
    """Some bytes otherwise."""
    made = bytearray(held)
    for _ in range(1 + len(made) // 500):
        made[dice.randrange(len(made))] ^= 1 << dice.randrange(8)
    return bytes(made)
