"""A database in which a disk turned bits: no document is shown that nobody saved, and what is whole stays in reach."""

import random
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from sqlalchemy.exc import DatabaseError
from starlette.testclient import TestClient

from sfn.errors import PlanError
from webapp.config.settings import Settings
from webapp.store import whole_documents
from webapp.store.engines import store_problem
from webapp.store.exchange import exported
from webapp.store.store import Store
from webapp.store.whole_documents import LOOKED_AT_EVERY_S

FLIPS = 60


def saved(store: Store, example: dict[str, Any], *, revisions: int = 4) -> list[dict[str, Any]]:
    """A network with some revisions; their documents."""
    kept = [{**example, "notes": f"revision {n + 1}"} for n in range(revisions)]
    number = store.create(kept[0], author="Ada", reason="first").network_id
    for n, document in enumerate(kept[1:], 1):
        store.save(number, document, base_revision=n, author="Ada", reason="again")
    return kept


def test_no_turned_bit_is_taken_for_what_was_saved(tmp_path: Path, example: dict[str, Any]) -> None:
    """Anywhere in the file: what is read is what was saved, or refused; half of them within documents."""
    path = tmp_path / "networks.sqlite"
    store = Store(f"sqlite:///{path}")
    kept = saved(store, example)
    store.close()
    whole = path.read_bytes()
    inside = [at for at in range(len(whole)) if whole[at : at + 10] == b'"stages": ']
    drawn, refused = random.Random(14), 0
    for k in range(FLIPS):
        turned = bytearray(whole)
        at = drawn.choice(inside) + drawn.randrange(3000) if k % 2 else drawn.randrange(len(whole))
        turned[min(at, len(whole) - 1)] ^= 1 << drawn.randrange(8)
        path.write_bytes(turned)
        for beside in ("-wal", "-shm"):
            path.with_name(path.name + beside).unlink(missing_ok=True)
        refused += not as_saved(path, kept)
    assert refused > FLIPS / 5, "turned bits are found at all"


def as_saved(path: Path, kept: list[dict[str, Any]]) -> bool:
    """Whether all of a database is read; fails where it is read as something else."""
    read = 0
    try:
        store = Store(f"sqlite:///{path}")
    except PlanError:
        return False
    try:
        for n, document in enumerate(kept, 1):
            said = code_of(store, n, document)
            assert said in ("", "store-damaged")
            read += not said
    finally:
        store.close()
    return read == len(kept)


def code_of(store: Store, n: int, document: dict[str, Any]) -> str:
    """Under which code a revision is refused; empty where it is read, as what it was."""
    try:
        assert store.read(1, n).document == document
    except PlanError as refused:
        return refused.problems[0].code
    except DatabaseError as refused:
        return store_problem(refused, None).code
    return ""


@pytest.fixture
def damaged(settings: Settings, store: Store, example: dict[str, Any]) -> list[dict[str, Any]]:
    """The newest revision of a network with one digit of a latency turned: 850 became 851."""
    kept = saved(store, example)
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        change = "update revisions set document = replace(document, '\"latency_us\": 850', '\"latency_us\": 851')"
        assert behind.execute(f"{change} where number = 4").rowcount == 1
    behind.close()
    return kept


def test_a_turned_digit_is_told_on_every_page(
    damaged: list[dict[str, Any]], client: TestClient, post: Callable[..., Any]
) -> None:
    """Where, what happened, and what helps; no figure is worked out from it."""
    for address in ("/networks/1/delays", "/networks/1", "/networks/1/edit", "/networks/1/delays.csv"):
        answer = client.get(address)
        assert answer.status_code == 422, address
        assert "not what was saved: the database is damaged" in answer.text
        assert "python -m webapp restore" in answer.text
    (problem,) = client.get("/api/networks/1/delays").json()["problems"]
    assert (problem["code"], problem["where"]) == ("store-damaged", "network 1, revision 4")
    listed = client.get("/").text
    assert "document damaged: what the database has is not what was saved" in listed
    assert 'href="/networks/1/revisions"' in listed


def test_the_list_reads_each_document_once_and_in_one_query(
    settings: Settings, client: TestClient, store: Store, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A hundred networks: one query reads documents, the next list none; what is damaged since shows an hour later."""
    for n in range(100):
        store.create({**example, "name": f"Network {n}"}, author="Ada", reason="first")
    asked: list[str] = []
    event.listen(store._engine, "before_cursor_execute", lambda *given: asked.append(given[2]))

    def listed() -> tuple[str, int]:
        """The list, and how many queries read documents for it."""
        asked.clear()
        text = client.get("/").text
        return text, sum("revisions.document" in one for one in asked)

    text, reading_n = listed()
    assert (reading_n, "document damaged" in text) == (1, False)
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        change = "update revisions set document = replace(document, '98.3', '98.4')"
        assert behind.execute(f"{change} where network_id = 100").rowcount == 1
    behind.close()
    text, reading_n = listed()
    assert (reading_n, "document damaged" in text) == (0, False)
    later = time.monotonic() + LOOKED_AT_EVERY_S + 1
    monkeypatch.setattr(whole_documents.time, "monotonic", lambda: later)
    text, reading_n = listed()
    assert (reading_n, text.count("document damaged")) == (1, 1)
    assert listed()[0].count("document damaged") == 1
    assert client.get("/networks/7/delays").status_code == 200


def test_a_document_found_damaged_when_it_is_opened_shows_in_the_list(
    settings: Settings, client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """At once, though the list looked at it a moment ago."""
    kept = saved(store, example)
    assert "document damaged" not in client.get("/").text
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        behind.execute(f"update revisions set document = replace(document, '98.3', '98.4') where number = {len(kept)}")
    behind.close()
    assert client.get("/networks/1/delays").status_code == 422
    assert "document damaged" in client.get("/").text


def test_what_is_whole_can_be_made_the_newest(damaged: list[dict[str, Any]], client: TestClient, store: Store) -> None:
    """The way that the refusal names works, and the damaged revision stays refused."""
    assert client.get("/api/networks/1", params={"revision": 3}).json()["document"] == damaged[2]
    body = {"revision": 3, "base_revision": 4, "author": "Ada"}
    assert client.post("/api/networks/1/restore", json=body).status_code == 200
    assert store.read(1).document == damaged[2]
    assert client.get("/networks/1/delays").status_code == 200
    assert client.get("/api/networks/1", params={"revision": 4}).status_code == 422


def test_an_export_of_a_damaged_document_is_refused(damaged: list[dict[str, Any]], store: Store) -> None:
    """Else the digest made at its import would vouch for it."""
    with pytest.raises(PlanError) as refused:
        list(exported(store))
    assert refused.value.problems[0].where == "network 1, revision 4"
