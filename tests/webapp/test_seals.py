"""Bits turned in readings, signatures, users, tokens, sessions and links: nothing of it is believed, and it is told."""

import random
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import DatabaseError
from starlette.testclient import TestClient

from sfn.errors import PlanError
from tests.webapp.conftest import token_in
from webapp.config.settings import Settings
from webapp.on_air.site_links import token_of
from webapp.store import backup
from webapp.store.engines import store_problem
from webapp.store.exchange import exported, imported
from webapp.store.restore import restore
from webapp.store.store import Store

WORDS = "several words do well"
NOW = datetime(2026, 11, 30, 1, 0, tzinfo=UTC)
SET = {"route": "main", "as_set": {"exciter delay": "106"}, "units": {"exciter delay": "ms"}}
FLIPS = 300

pytestmark = pytest.mark.usefixtures("quick_hashes")


def read_all(store: Store, doors: dict[str, str]) -> dict[str, Any]:
    """What the store says of entries and people, each by its name, or under which code it refuses to."""
    accounts, links = store.accounts, store.links
    asked: dict[str, Callable[[], Any]] = {
        "entries": lambda: store.entries.of(1),
        "readings of north": lambda: store.entries.of(1, kind="reading", site_id="north"),
        "session": lambda: accounts.of_session(doors["session"]),
        "token": lambda: accounts.of_token(doors["token"]),
        "link": lambda: (found := links.find(doors["link"])) and not found.damaged and found,
        "withdrawn": lambda: (found := links.find(doors["withdrawn"])) and not found.damaged and found,
        "password": lambda: accounts.matches("Ann", WORDS),
    }
    found: dict[str, Any] = {}
    for name, ask in asked.items():
        try:
            found[name] = ask()
        except PlanError as refused:
            found[name] = refused.problems[0].code
        except DatabaseError as refused:
            found[name] = store_problem(refused, None).code
    return found


@pytest.fixture
def people(tmp_path: Path, example: dict[str, Any]) -> tuple[Path, dict[str, str]]:
    """A closed database with a network, entries, users, a session, a token and two links; and what opens them."""
    path = tmp_path / "kept.sqlite"
    with closing(Store(f"sqlite:///{path}", clock=lambda: NOW)) as store:
        store.create(example, author="Ada", reason="first")
        for site in ("north", "south", "north", "south", "north"):
            store.entries.add(1, revision=1, site_id=site, kind="reading", made_by="AE", body=SET)
            store.entries.add(1, revision=1, site_id=site, kind="sign-off", made_by="Ada", body={"note": "as agreed"})
        for name, role in (("Admin", "administrator"), ("Ann", "viewer")):
            store.accounts.add(name, role=role, password=WORDS)
        ann = store.accounts.find("Ann")
        assert ann is not None
        ends_at = NOW + timedelta(days=7)
        kept = [
            store.links.add(1, site_id=site, revision=1, ends_at=ends_at, made_with="link page")
            for site in ("north", "south")
        ]
        assert store.links.withdraw(1, kept[1].id)
        doors = {
            "session": store.accounts.sign_in("Ann", address="192.0.2.1"),
            "token": store.accounts.add_token(ann.id, label="logger", scope="read", days=30),
            "link": kept[0].id,
            "withdrawn": kept[1].id,
        }
    with sqlite3.connect(path) as whole:
        whole.execute("pragma journal_mode=delete")
    whole.close()
    return path, doors


def test_no_turned_bit_is_believed(people: tuple[Path, dict[str, str]]) -> None:
    """Of bits in every page of these tables and their indexes: what is read is what was written, or it opens nothing."""
    path, doors = people
    whole = path.read_bytes()
    with closing(sqlite3.connect(path)) as held:
        (page_n,) = held.execute("pragma page_size").fetchone()
        roots = held.execute(
            "select rootpage from sqlite_master where tbl_name in ('entries','users','sessions','tokens','links')"
        ).fetchall()
    with closing(Store(f"sqlite:///{path}", clock=lambda: NOW)) as store:
        right = read_all(store, doors)
    assert right["token"].scope == "read", "the whole database opens"
    drawn, unlike = random.Random(15), 0
    used = [at for (root,) in roots for at in range((root - 1) * page_n, root * page_n) if whole[at]]
    for _ in range(FLIPS):
        turned = bytearray(whole)
        turned[drawn.choice(used)] ^= 1 << drawn.randrange(8)
        path.write_bytes(turned)
        for beside in ("-wal", "-shm"):
            path.with_name(path.name + beside).unlink(missing_ok=True)
        try:
            store = Store(f"sqlite:///{path}", clock=lambda: NOW)
        except PlanError:
            continue
        with closing(store):
            found = read_all(store, doors)
        for name, value in found.items():
            assert value == right[name] or not value or value == "store-damaged", (name, value)
            unlike += value != right[name]
    assert unlike > FLIPS / 4, "turned bits are found at all"


def behind(path: Path, *statements: str) -> None:
    """Change a database without the program; each statement changes one row."""
    with sqlite3.connect(path) as held:
        for statement in statements:
            assert held.execute(statement).rowcount == 1, statement
    held.close()


@pytest.mark.parametrize(
    ("statement", "name"),
    [
        ("""update entries set body = replace(body, '"106"', '"906"') where id = 1""", "readings of north"),
        ("update entries set revision = 5 where id = 2", "entries"),
        ("update entries set site_id = 'nor4h' where id = 9", "readings of north"),
        ("update entries set kind = 'readinf' where id = 9", "readings of north"),
        ("update entries set made_by = 'Adb' where id = 2", "entries"),
        ("update entries set made_at = '2026-11-3x' where id = 9", "readings of north"),
        ("delete from entries where id = 9", "readings of north"),
        ("update sessions set user_id = 1", "session"),
        ("update sessions set ends_at = '2036-11-30 13:00:00.000000'", "session"),
        ("update tokens set user_id = 1", "token"),
        ("update tokens set scope = 'writ'", "token"),
        ("update tokens set ends_at = '2036-12-30 01:00:00.000000'", "token"),
        ("update tokens set revoked_at = null, ends_at = null", "token"),
        ("update users set role = 'planner' where id = 2", "token"),
        ("update users set name = 'Anm' where id = 2", "session"),
        ("update links set revision = 5 where withdrawn_at is null", "link"),
        ("update links set ends_at = '2036-12-07 01:00:00.000000' where withdrawn_at is null", "link"),
        ("update links set withdrawn_at = null where withdrawn_at is not null", "withdrawn"),
        ("update links set withdrawn_at = 50 where withdrawn_at is not null", "withdrawn"),
    ],
)
def test_each_field_that_matters_is_sealed(
    people: tuple[Path, dict[str, str]], tmp_path: Path, statement: str, name: str
) -> None:
    """A digit, a revision, a site or kind that puts it out of sight, a row gone, another user, another end."""
    path, doors = people
    behind(path, statement)
    with closing(Store(f"sqlite:///{path}", clock=lambda: NOW)) as store:
        before = read_all(store, doors)
        assert before[name] in (None, False, "store-damaged")
        if "entries" in statement:
            with pytest.raises(PlanError) as refused:
                list(exported(store))
            assert refused.value.problems[0].code == "store-damaged"
    if "sessions" not in statement:  # these end with every restore
        settings = Settings(tmp_path, f"sqlite:///{path}", session_key="s" * 43)
        backup.backup(settings, tmp_path / "made.zip", whole=False)
        told = damage(tmp_path / "made.zip")
        assert any("not what was written" in one or "were written, and" in one for one in told)
        whom = {"users": "Ann" if "role" in statement else "Anm", "tokens": "logger", "links": "site "}
        table = statement.split()[1]
        assert table not in whom or any(whom[table] in one and "make another" in one for one in told), told
        with pytest.raises(PlanError, match=r"not what was written|were written, and") as refused:
            restore(settings, tmp_path / "made.zip", replace=True)
        assert {one.code for one in refused.value.problems} == {"backup-damaged"}
        said = restore(settings, tmp_path / "made.zip", replace=True, with_damage=True)
        assert set(told) <= set(said)
        opening = 0 if statement.startswith("update links") and name == "link" else 1
        assert sum("can open a sheet" in one for one in said) == opening, "what is damaged opens none"
        with closing(Store(settings.database_url, clock=lambda: NOW)) as again:
            assert read_all(again, doors) == before | {"session": None}, "what is damaged opens nothing; all else does"
            assert again.audit.lines(most=1)[0].body["damage"] == list(told)


def damage(archive: Path) -> tuple[str, ...]:
    """What looking through a backup finds that the database had lost before."""
    found = backup.verify(archive)
    assert found.faults == (), "the archive is what was written"
    return found.damage


def test_a_change_of_a_damaged_row_does_not_vouch_for_it(people: tuple[Path, dict[str, str]]) -> None:
    """A new password for a user whose role a disk has changed is refused; an end is taken, and then nobody comes in."""
    path, doors = people
    behind(path, "update users set role = 'planner' where id = 2")
    with closing(Store(f"sqlite:///{path}", clock=lambda: NOW)) as store:
        for change in (
            lambda: store.accounts.set_password("Ann", "other words that do"),
            lambda: store.accounts.set_role("Ann", "viewer"),
            lambda: store.accounts.sign_in("Ann", address=""),
        ):
            with pytest.raises(PlanError) as refused:
                change()
            assert refused.value.problems[0].code == "store-damaged"
            assert "user Ann" in refused.value.problems[0].where
        assert [one.damaged for one in store.accounts.users()] == [False, True]
        store.accounts.end("Ann")
        assert store.accounts.of_session(doors["session"]) is None
        assert store.accounts.of_token(doors["token"]) is None


def test_an_import_seals_what_it_brings(people: tuple[Path, dict[str, str]], tmp_path: Path) -> None:
    """Entries keep what they say under another network's number, and a bit turned after that is found."""
    path, _ = people
    target = tmp_path / "other.sqlite"
    with closing(Store(f"sqlite:///{path}")) as store:
        lines, entries = list(exported(store)), store.entries.of(1)
    with closing(Store(f"sqlite:///{target}")) as store:
        assert imported(store, lines) == 1
        assert [(one.kind, one.body, one.made_at) for one in store.entries.of(1)] == [
            (one.kind, one.body, one.made_at) for one in entries
        ]
        store.entries.add(1, revision=1, site_id="north", kind="reading", made_by="AE", body=SET)
        assert len(store.entries.of(1)) == len(entries) + 1
    behind(target, "update entries set site_id = 'nor4h' where id = 1")
    with closing(Store(f"sqlite:///{target}")) as store, pytest.raises(PlanError):
        store.entries.of(1)


def test_a_head_that_a_disk_has_turned_shows_no_older_plan(store: Store, settings: Settings, example: Any) -> None:
    """Revision 2 is the newest; a row that says 3, or 0, is not followed."""
    store.create(example, author="Ada", reason="first")
    store.save(1, example, base_revision=1, author="Ada", reason="again")
    for head in (1, 3, 0):
        behind(settings.data_folder / "networks.sqlite", f"update networks set head = {head}")
        with pytest.raises(PlanError) as refused:
            store.read(1)
        assert refused.value.problems[0].values == {"network": 1, "head": head, "newest": 2}


@pytest.fixture
def harmed(store: Store, settings: Settings, example: dict[str, Any], issue: Callable[[int], int]) -> tuple[int, int]:
    """A network whose sheets are issued and whose last reading of north has a digit turned: network and entry."""
    number = store.create(example, author="Ada", reason="first").network_id
    issue(number)
    field = next(site for site in example["sites"] if site["id"] == "north")["delay_fields"][0]
    body = {"route": "main", "as_set": {field["name"]: "106"}, "units": {field["name"]: field["unit"]}}
    store.entries.add(number, revision=1, site_id="north", kind="reading", made_by="AE", body=body)
    entry = store.entries.of(number, kind="reading")[-1].id
    turned = f"""update entries set body = replace(body, '"106"', '"116"') where id = {entry}"""
    behind(settings.data_folder / "networks.sqlite", turned)
    return number, entry


def test_a_damaged_reading_is_told_and_can_be_set_aside(
    harmed: tuple[int, int], client: TestClient, post: Callable[..., Any], store: Store
) -> None:
    """No page shows 116; the page of revisions opens and says how to go on; then nobody knows what north is set to."""
    number, entry = harmed
    at = f"/networks/{number}"
    for address in ("", "/delays", "/sheets/north", "/change", "/readings", "/timeline"):
        answer = client.get(at + address)
        assert answer.status_code == 422, address
        assert f"entry {entry} (reading, site north" in answer.text
        assert "not what was written: the database is damaged" in answer.text
        assert f"{at}/revisions" in answer.text, "the way out is a link"
    told = client.get(f"/api/pages{at}/timeline").json()["problems"]
    assert [(one["code"], one["values"]["entry"]) for one in told] == [("store-damaged", entry)]
    page = client.get(f"{at}/revisions").text
    assert f"Set entry {entry} aside" in page
    assert "counts as not known" in page
    aside = f"{at}/damaged/{entry}/set-aside"
    assert post(aside, author="Ada", reason="").status_code == 422
    assert post(aside, author="Ada", reason="AE was called, reads it again").status_code == 303
    assert client.get(f"{at}/delays").status_code == 200
    assert client.get(f"{at}/timeline").status_code == 200
    north = [one for one in store.entries.of(number) if one.site_id == "north" and one.kind == "told"]
    assert {value for one in north for value in one.body["as_set"].values()} == {None}
    stands = client.get(f"/api/networks/{number}/timeline").json()["present"]
    assert {one["value"] for one in stands if one["site"] == "north"} == {None}
    assert (
        "not known" in client.get(f"{at}/sheets/north").text or "nobody knows" in client.get(f"{at}/sheets/north").text
    )
    again = post(aside, author="Ada", reason="twice")
    assert again.status_code == 422
    assert "not damaged, or was set aside" in again.text


def test_a_damaged_newest_revision_is_walked_out_of(
    store: Store, settings: Settings, client: TestClient, post: Callable[..., Any], example: dict[str, Any]
) -> None:
    """The list of revisions opens, names the damaged one, and restores the one before it by a button."""
    store.create(example, author="Ada", reason="first")
    store.save(1, {**example, "notes": "second"}, base_revision=1, author="Ada", reason="again")
    turned = "update revisions set document = replace(document, '\"latency_us\": 850', '\"latency_us\": 851')"
    behind(settings.data_folder / "networks.sqlite", f"{turned} where number = 2")
    refused = client.get("/networks/1/delays")
    assert refused.status_code == 422
    assert "/networks/1/revisions" in refused.text
    page = client.get("/networks/1/revisions")
    assert page.status_code == 200
    assert "(damaged)" in page.text
    assert "(in force)" not in page.text
    assert "/networks/1/revisions/1/restore" in page.text
    assert "/networks/1/revisions/2/restore" not in page.text
    assert post("/networks/1/revisions/2/restore", author="Ada").status_code == 422
    assert post("/networks/1/revisions/1/restore", author="Ada").status_code == 303
    assert store.read(1).document == example
    page = client.get("/networks/1/revisions").text
    assert "(in force)" in page
    assert client.get("/networks/1/delays").status_code == 200


def test_a_damaged_link_opens_nothing(
    harmed_link: tuple[str, Path], client: TestClient, store: Store, post: Callable[..., Any]
) -> None:
    """On the telephone in words; in the office's list, with the way to withdraw it."""
    address, path = harmed_link
    assert client.get(address).status_code == 200
    behind(path, "update links set ends_at = '2036-12-07 01:00:00.000000'")
    answer = client.get(address)
    assert answer.status_code == 410
    assert "is damaged: it may have been withdrawn" in answer.text
    assert "damaged: it opens nothing" in client.get("/networks/1/readings/links").text
    (kept,) = store.links.of(1)
    assert post(f"/networks/1/readings/links/{kept.id}/withdraw").status_code == 303
    assert "was withdrawn" in client.get(address).text


def test_a_telephone_is_told_to_set_nothing(harmed_link: tuple[str, Path], client: TestClient, store: Store) -> None:
    """What the office has of the network is damaged: whoever stands at the site gets no figure, and no office's command."""
    address, path = harmed_link
    store.entries.add(1, revision=1, site_id="north", kind="sign-off", made_by="Ada", body={"note": "as agreed"})
    behind(path, "update entries set body = replace(body, 'agreed', 'agrefd') where body like '%agreed%'")
    answer = client.get(address)
    assert answer.status_code == 422
    assert "Set nothing, and call the control room" in answer.text
    assert "What you typed is still in this telephone" in answer.text
    assert "python -m webapp" not in answer.text


@pytest.fixture
def harmed_link(
    store: Store, settings: Settings, example: dict[str, Any], issue: Callable[[int], int]
) -> tuple[str, Path]:
    """The address of north's link, whole so far, and the database."""
    number = store.create(example, author="Ada", reason="first").network_id
    issue(number)
    kept = store.links.add(
        number, site_id="north", revision=1, ends_at=datetime.now(UTC) + timedelta(days=7), made_with="link page"
    )
    return f"/site/{token_of(settings.session_key, kept)}", settings.data_folder / "networks.sqlite"


def test_a_database_that_fails_at_the_door_says_so(
    settings: Settings, store: Store, client_with: Callable[..., TestClient]
) -> None:
    """The page of sessions overwritten: where it is found out who asks, so on every address; in words, not as a fault."""
    store.accounts.add("Admin", role="administrator", password=WORDS)
    client = client_with()
    shown = client.get("/log-in").text
    data = {"csrf_token": token_in(shown), "name": "Admin", "password": WORDS}
    assert client.post("/log-in", data=data, follow_redirects=False).status_code == 303
    assert client.get("/api/networks").status_code == 200
    store.close()
    path = settings.data_folder / "networks.sqlite"
    with closing(sqlite3.connect(path)) as held:
        held.execute("pragma wal_checkpoint(truncate)")
        (page_n,) = held.execute("pragma page_size").fetchone()
        roots = held.execute("select rootpage from sqlite_master where tbl_name = 'sessions'").fetchall()
    content = bytearray(path.read_bytes())
    for (root,) in roots:
        content[(root - 1) * page_n : root * page_n] = b"\xff" * page_n
    path.write_bytes(content)
    answer = client.get("/api/networks")
    assert answer.status_code == 507, answer.text
    (problem,) = answer.json()["problems"]
    assert problem["code"] == "store-damaged"
    assert "restore" in problem["expected"]
