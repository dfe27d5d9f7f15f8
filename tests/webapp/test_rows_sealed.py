"""Networks, revisions, drafts and overlays of which a disk turned bits: told, never taken for what was written."""

import json
import random
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError
from starlette.testclient import TestClient

from sfn.errors import PlanError
from tests.webapp.test_editing import inputs, press
from webapp.config.settings import Settings
from webapp.store import backup, restore
from webapp.store.engines import store_problem
from webapp.store.exchange import exported
from webapp.store.store import Revision, Store

FLIPS = 300
TOLD = "told"
LINES = {"type": "FeatureCollection", "features": []}


def filled(store: Store, example: dict[str, Any]) -> list[str]:
    """Three networks, the last deleted; two revisions, readings, drafts and overlays of the first; keys of the drafts."""
    for name in ("First", "Second", "Third"):
        store.create({**example, "name": name}, author="Ada", reason="first")
    store.save(1, {**example, "name": "First", "notes": "x"}, base_revision=1, author="Grace", reason="again")
    store.delete(3)
    for _ in range(2):
        store.entries.add(1, revision=1, site_id="north", kind="sign-off", made_by="Ada", body={"note": "as agreed"})
    for name in ("Roads", "Border"):
        store.overlays.add(1, name=name, attribution="Own", document={**LINES, "name": name}, says=["Cut."])
    first = store.drafts.keep(1, base_revision=2, follows="", body={"document": {"notes": "one"}})
    return [first, store.drafts.keep(1, base_revision=2, follows=first, body={"document": {"notes": "two"}})]


def asked(store: Store, drafts: list[str]) -> dict[str, Any]:
    """What the store says of each thing; `TOLD` where it says that it is damaged."""
    questions: dict[str, Callable[[], Any]] = {}
    for number in (1, 2, 3):
        questions[f"list {number}"] = lambda n=number: listed(store, n)
        questions[f"document {number}"] = lambda n=number: store.read(n, even_deleted=True)
    questions |= {
        "first revision": lambda: store.read(1, 1),
        "history": lambda: complete(store.history(1)),
        "newest": lambda: store.newest(1),
        "entries": lambda: store.entries.of(1),
        "draft 1": lambda: store.drafts.read(1, drafts[0]),
        "draft 2": lambda: store.drafts.read(1, drafts[1]),
        "redo": lambda: TOLD if store.drafts.damaged_n(1) else store.drafts.after(1, drafts[0]),
        "overlays": lambda: store.overlays.gone_n(1) or store.overlays.of(1),
        "shapes": lambda: (
            store.overlays.gone_n(1) or [store.overlays.document(1, one.id) for one in store.overlays.of(1)]
        ),
    }
    found: dict[str, Any] = {}
    for name, ask in questions.items():
        try:
            value = ask()
        except PlanError as refused:
            value = TOLD if refused.problems[0].code == "store-damaged" else refused
        except DatabaseError as refused:
            value = TOLD if store_problem(refused, None).code == "store-damaged" else refused
        several = value if isinstance(value, tuple) else (value,)
        marked = isinstance(value, int) or any(getattr(one, "damaged", False) for one in several)
        found[name] = TOLD if marked else value
    return found


def complete(found: tuple[Revision, ...]) -> Any:
    """A history, unless numbers are missing in it, which its page says."""
    return found if [one.number for one in found] == list(range(len(found), 0, -1)) else 1


def listed(store: Store, number: int) -> Any:
    """A network's line in either list; one too many counts as damage where it says so itself."""
    lines = [one for deleted in (False, True) for one in store.summaries(deleted=deleted)]
    assert all(one.damaged or one.id in (1, 2, 3) for one in lines)
    return next((one for one in lines if one.id == number), None)


def behind(store: Store, statement: str) -> None:
    """Change a database without the program: one row."""
    with store.writing() as connection:
        if not store.shared:
            connection.exec_driver_sql("pragma defer_foreign_keys = on")
        assert connection.execute(text(statement)).rowcount == 1, statement


@contextmanager
def another(store: Store) -> Iterator[Store]:
    """The same database opened anew."""
    with closing(Store(store._engine.url.render_as_string(hide_password=False))) as made:
        yield made


@pytest.mark.sqlite
def test_no_turned_bit_goes_unseen(tmp_path: Path, example: dict[str, Any]) -> None:
    """Of bits in every first page of these tables and of their indexes: what is read is what was written, or told."""
    path = tmp_path / "kept.sqlite"
    with closing(Store(f"sqlite:///{path}")) as store:
        drafts = filled(store, example)
        right = asked(store, drafts)
    assert TOLD not in right.values()
    assert None not in right.values()
    with closing(sqlite3.connect(path)) as held:
        held.execute("pragma journal_mode=delete")
        (page_n,) = held.execute("pragma page_size").fetchone()
        tables = "('networks', 'revisions', 'drafts', 'overlays')"
        roots = held.execute(f"select rootpage from sqlite_master where tbl_name in {tables}").fetchall()
    whole = path.read_bytes()
    used = [at for (root,) in roots for at in range((root - 1) * page_n, root * page_n) if whole[at]]
    drawn, told_n = random.Random(16), 0
    for _ in range(FLIPS):
        turned = bytearray(whole)
        at, bit = drawn.choice(used), drawn.randrange(8)
        turned[at] ^= 1 << bit
        path.write_bytes(turned)
        for beside in ("-wal", "-shm"):
            path.with_name(path.name + beside).unlink(missing_ok=True)
        try:
            store = Store(f"sqlite:///{path}")
        except PlanError:
            continue
        with closing(store):
            found = asked(store, drafts)
        for name, value in found.items():
            assert value in (TOLD, right[name]), (name, at, bit, value)
            told_n += value == TOLD
    assert told_n > FLIPS / 2, "turned bits are found at all"


@pytest.mark.parametrize(
    ("statement", "name"),
    [
        ("update networks set name = 'Firsu' where id = 1", "list 1"),
        ("update networks set service = 'fm-stereP' where id = 2", "list 2"),
        ("update networks set sites = 2 where id = 1", "list 1"),
        ("update networks set head = 1 where id = 1", "document 1"),
        ("update networks set deleted_at = '2026-11-30 01:00:00' where id = 2", "list 2"),
        ("update networks set deleted_at = null where id = 3", "list 3"),
        ("update networks set entries_n = 3 where id = 1", "entries"),
        ("update networks set overlays_n = 1 where id = 1", "overlays"),
        ("update networks set seal = null where id = 1", "document 1"),
        ("update revisions set author = 'Adb' where network_id = 1 and number = 1", "history"),
        ("update revisions set author = 'Adb' where network_id = 1 and number = 2", "list 1"),
        ("update revisions set reason = 'agaio' where network_id = 1 and number = 2", "newest"),
        ("update revisions set checksum = '00000000' where network_id = 1 and number = 2", "document 1"),
        ("update revisions set saved_at = '2026-01-01 00:00:00' where network_id = 1 and number = 1", "first revision"),
        ("update revisions set number = 3 where network_id = 1 and number = 2", "document 1"),
        ("update revisions set network_id = 2, number = 2 where network_id = 1 and number = 2", "list 2"),
        ("delete from revisions where network_id = 1 and number = 2", "list 1"),
        ("update drafts set body = replace(body, 'one', 'ond') where id = 1", "draft 1"),
        ("update drafts set follows = null where id = 2", "redo"),
        ("update drafts set key = 'another' where id = 2", "draft 2"),
        ("update drafts set network_id = 2 where id = 2", "draft 2"),
        ("update drafts set base_revision = 1 where id = 1", "draft 1"),
        ("update overlays set name = 'Road' where id = 1", "overlays"),
        ("update overlays set says = '[]' where id = 2", "overlays"),
        ("update overlays set document = replace(document, 'Roads', 'Roadt') where id = 1", "shapes"),
        ("update overlays set network_id = 2 where id = 1", "overlays"),
        ("delete from overlays where id = 2", "overlays"),
    ],
)
def test_each_field_is_sealed(
    store: Store, settings: Settings, tmp_path: Path, example: dict[str, Any], statement: str, name: str
) -> None:
    """On both stores; a backup says so, and an export of a network or a revision is refused."""
    drafts = filled(store, example)
    behind(store, statement)
    with another(store) as fresh:
        before = asked(fresh, drafts)
        assert before[name] == TOLD
        if "drafts" not in statement and "overlays" not in statement:
            with pytest.raises(PlanError) as refused:
                list(exported(fresh))
            assert refused.value.problems[0].code == "store-damaged"
    store.close()
    backup.backup(settings, tmp_path / "made.zip", whole=False)
    found = backup.verify(tmp_path / "made.zip")
    lesser = "drafts" in statement or ("overlays" in statement and "_n" not in statement)
    if lesser or "number = 1" in statement:  # an older revision
        assert found.remarks
        assert (found.faults, found.damage) == ((), ()), "the rest can be put back"
        said = restore.restore(settings, tmp_path / "made.zip", replace=True)
        assert set(found.remarks) <= set(said)
    else:
        assert found.damage
        assert not found.faults, "the archive is what was written"
        with pytest.raises(PlanError, match="--with-damage"):
            restore.restore(settings, tmp_path / "made.zip", replace=True)
        said = restore.restore(settings, tmp_path / "made.zip", replace=True, with_damage=True)
        assert set(found.damage) <= set(said)
        with another(store) as again:
            assert asked(again, drafts) == before, "as it was: what is damaged is told, all else is there"


@pytest.fixture
def drafts(store: Store, example: dict[str, Any]) -> list[str]:
    """Three networks, and the keys of the first one's drafts."""
    return filled(store, example)


@pytest.mark.parametrize(
    "statement",
    [
        "update networks set name = 'Firsu' where id = 1",
        "update networks set head = 1 where id = 1",
        "update networks set deleted_at = '2026-11-30 01:00:00' where id = 1",
        "update networks set overlays_n = 7, sites = 12 where id = 1",
    ],
)
def test_a_damaged_row_is_made_anew(
    drafts: list[str], store: Store, client: TestClient, post: Callable[..., Any], statement: str
) -> None:
    """The list says so, every page leads to the revisions, and there the row is what it was; the record has it."""
    right = asked(store, drafts)
    behind(store, statement)
    page = client.get("/")
    assert page.status_code == 200
    assert "damaged: the database has something else" in page.text
    assert "/networks/1/delete" not in page.text
    assert "/networks/2/delete" in page.text, "the others are as they were"
    assert [one["damaged"] for one in client.get("/api/networks").json()] == [True, False]
    for address in ("", "/delays", "/edit", "/map"):
        refused = client.get(f"/networks/1{address}")
        assert refused.status_code == 422, address
        assert "the database is damaged" in refused.text
        assert "/networks/1/revisions" in refused.text
    assert client.get("/networks/2/delays").status_code == 200
    page = client.get("/networks/1/revisions")
    assert page.status_code == 200
    assert "revision 2 is the newest, not deleted, as the record has it, 2 entries" in page.text
    assert "Readings may be gone" not in page.text
    assert post("/networks/1/damaged/row", author="Ada", reason="").status_code == 422
    assert post("/networks/1/damaged/row", author="Ada", reason="looked at the record").status_code == 303
    assert asked(store, drafts) == right
    assert client.get("/networks/1/delays").status_code == 200
    (line,) = store.audit.lines(network_id=1, action="line in the list written anew")
    assert (line.who, line.body["reason"], line.body["revision"]) == ("Ada", "looked at the record", 2)
    again = post("/networks/1/damaged/row", author="Ada", reason="twice")
    assert again.status_code == 422
    assert "is what was written" in again.text


def test_a_deleted_network_stays_deleted(drafts: list[str], store: Store, post: Callable[..., Any]) -> None:
    """By the record, when it was; a row that came back by a turned bit is not believed."""
    right = asked(store, drafts)
    behind(store, "update networks set deleted_at = null where id = 3")
    assert post("/networks/3/damaged/row", author="Ada", reason="the record says deleted").status_code == 303
    found = asked(store, drafts)
    assert found["document 3"] == right["document 3"]
    (line,) = store.summaries(deleted=True)
    assert line.id == 3
    assert line.deleted_at is not None


def test_entries_that_are_gone_leave_what_is_set_unknown(
    drafts: list[str], store: Store, client: TestClient, post: Callable[..., Any]
) -> None:
    """Nobody knows what the missing one said: the way on says so, and so does the timeline afterwards."""
    behind(store, "delete from entries where id = 1")
    refused = client.get("/networks/1/delays")
    assert refused.status_code == 422
    assert "2 entries were written, and 1 are there" in refused.text
    page = client.get("/networks/1/revisions").text
    assert "Readings may be gone" in page
    assert "it said 2" in page
    assert post("/networks/1/damaged/row", author="Ada", reason="nobody has it on paper").status_code == 303
    assert client.get("/networks/1/delays").status_code == 200
    stands = client.get("/api/networks/1/timeline").json()["present"]
    assert {(one["site"], one["value"]) for one in stands} == {("north", None), ("south", None), ("gap", None)}


@pytest.mark.sqlite
def test_a_row_that_is_gone_or_another_number_s(
    drafts: list[str], store: Store, settings: Settings, client: TestClient, post: Callable[..., Any]
) -> None:
    """Number 2 became 66: the network is in the list under its own number, the stray row goes."""
    right = asked(store, drafts)
    with closing(sqlite3.connect(settings.data_folder / "networks.sqlite")) as held, held:
        held.execute("update networks set id = 66 where id = 2")
    assert [(one.id, one.damaged) for one in store.summaries()] == [(2, True), (66, True), (1, False)]
    assert "its line in the list is gone" in client.get("/networks/2/delays").text
    assert post("/networks/2/damaged/row", author="Ada", reason="gone").status_code == 303
    assert "it is no network's" in client.get("/networks/66/revisions").text
    assert post("/networks/66/damaged/row", author="Ada", reason="a stray").status_code == 303
    found = asked(store, drafts)
    assert found["list 2"] == right["list 2"]
    assert found["document 2"] == right["document 2"]
    assert {one.id for one in store.summaries()} == {1, 2}


def test_who_saved_it_damaged_and_its_document_whole(
    drafts: list[str], store: Store, client: TestClient, post: Callable[..., Any], example: dict[str, Any]
) -> None:
    """The newest opens nothing, and is made a new revision by whoever answers for it: nothing has to be typed again."""
    behind(store, "update revisions set author = 'Gracf' where network_id = 1 and number = 2")
    refused = client.get("/networks/1/delays")
    assert refused.status_code == 422
    assert "who saved it, when and why" in refused.text
    page = client.get("/networks/1/revisions").text
    assert "who, when and why are damaged" in page
    assert "/networks/1/revisions/2/restore" in page
    assert post("/networks/1/revisions/2/restore", author="Ada").status_code == 303
    assert store.read(1).document == {**example, "name": "First", "notes": "x"}
    assert client.get("/networks/1/delays").status_code == 200
    assert "who, when and why are damaged" in client.get("/networks/1/revisions").text, "the old one says so still"


def test_a_revision_that_is_gone_is_named(drafts: list[str], store: Store, client: TestClient) -> None:
    """An older one: the pages open, and the list says which number is missing."""
    behind(store, "delete from revisions where network_id = 1 and number = 1")
    assert client.get("/networks/1/delays").status_code == 200
    page = client.get("/networks/1/revisions").text
    assert "1 revision is gone" in page
    refused = client.get("/api/networks/1", params={"revision": 1}).json()["problems"]
    assert [(one["code"], one["where"]) for one in refused] == [("store-damaged", "network 1, revision 1")]
    assert client.get("/api/networks/1", params={"revision": 3}).status_code == 404


def test_a_damaged_step_loses_nothing_that_was_typed_after_it(client: TestClient, store: Store, number: int) -> None:
    """It is refused in words with the way on; the page that came from it goes on, and is saved."""
    first = press(client, client.get(f"/networks/{number}"), "add-like 0", notes="typed first")
    second = press(client, first, "go network", notes="typed second")
    key = first.url.path.rpartition("/")[2]
    behind(store, f"update drafts set body = replace(body, 'first', 'fjrst') where key = '{key}'")
    refused = client.get(str(first.url))
    assert refused.status_code == 422
    assert f"draft {key}" in refused.text
    assert "the step before it" in refused.text
    again = client.get(str(second.url))
    assert again.status_code == 200
    assert json.loads(inputs(again.text)["draft"])["notes"] == "typed second"
    third = press(client, first, "add-like 0", notes="typed third")  # the page was still open in the browser
    assert json.loads(inputs(third.text)["draft"])["notes"] == "typed third"
    behind(store, f"update drafts set follows = 'x' where key = '{second.url.path.rpartition('/')[2]}'")
    assert "Undo and Redo may end early" in client.get(str(third.url)).text


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="Ada", reason="first").network_id


def test_a_damaged_overlay_is_not_drawn(drafts: list[str], store: Store, client: TestClient) -> None:
    """Its name stands with what to do; its shapes are refused; one that is gone is counted."""
    behind(store, "update overlays set attribution = 'Owm' where id = 1")
    behind(store, "delete from overlays where id = 2")
    page = client.get("/networks/1/map").text
    assert "delete it and bring its file again" in page
    assert "1 overlay that was kept is gone" in page
    assert 'data-overlay="1"' not in page
    refused = client.get("/networks/1/map/overlays/1.json")
    assert refused.status_code == 422
    assert store.overlays.drop(1, 1)
    page = client.get("/networks/1/map").text
    assert "is gone" not in page
    assert "bring its file again" not in page
