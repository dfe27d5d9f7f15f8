"""A backup while it runs, a look through it, and the drill: lose everything, restore, and find it as it was."""

import os
import random
import sqlite3
import tempfile
import threading
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event
from starlette.testclient import TestClient

from sfn.errors import PlanError
from tests.webapp.conftest import token_in
from webapp.__main__ import main
from webapp.app import create_app
from webapp.config.settings import Settings, read_settings
from webapp.on_air.site_links import open_link, token_of
from webapp.shell.problems import RefusedError
from webapp.store import exchange
from webapp.store.backup import alone, backup, verify
from webapp.store.restore import restore
from webapp.store.store import Store

KEY = "k" * 43


@pytest.fixture
def kept(store: Store, settings: Settings, example: dict[str, Any]) -> Store:
    """A store with two networks, one deleted, an entry, a user; a secrets file and a terrain file beside it."""
    number = store.create(example, author="Ada", reason="first").network_id
    store.save(number, {**example, "name": "Größe µ"}, base_revision=1, author="Grace", reason="renamed")
    store.entries.add(number, revision=2, site_id="north", kind="sign-off", made_by="Ada", body={"note": "yes"})
    store.delete(store.create(example, author="Ada", reason="second").network_id)
    store.accounts.add("Ada", role="administrator", password="several words do well")
    (settings.data_folder / "secrets.json").write_text(f'{{"session_key": "{KEY}"}}', encoding="utf-8")
    (settings.data_folder / "terrain" / "hills").mkdir(parents=True)
    (settings.data_folder / "terrain" / "hills" / "a.tif").write_bytes(b"heights" * 1000)
    return store


def state(store: Store) -> Any:
    """All that a store holds, apart from the record."""
    networks = [*store.summaries(), *store.summaries(deleted=True)]
    return (
        networks,
        [
            store.read(n.id, number, even_deleted=True)
            for n in networks
            for number in range(1, n.revision + 1)
        ],
        [store.entries.of(n.id) for n in networks],
        store.accounts.users(),
    )  # fmt: skip


def test_the_drill(kept: Store, settings: Settings, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Backup by the command, everything lost, restore by the command on another machine: all is as it was."""
    archive, elsewhere = tmp_path / "b.zip", tmp_path / "elsewhere"
    where = ["--data", str(settings.data_folder), "--database", settings.database_url]
    assert main([*where, "backup", str(archive), "--whole"]) == 0
    assert archive.stat().st_mode & 0o077 == 0, "nobody else reads password hashes"
    assert main([*where, "backup-verify", str(archive)]) == 0
    assert "2 networks, 3 revisions" in capsys.readouterr().out
    assert main(["--data", str(elsewhere), "restore", str(archive)]) == 0
    assert main(["--data", str(elsewhere), "restore", str(archive)]) == 2, "nothing is replaced unasked"
    assert "--replace" in capsys.readouterr().err
    back = read_settings({}, data_folder=str(elsewhere))
    assert back.session_key == KEY
    assert (elsewhere / "terrain" / "hills" / "a.tif").read_bytes() == b"heights" * 1000
    again = Store(back.database_url)
    assert state(again) == state(kept)
    assert again.accounts.matches("ada", "several words do well")
    assert again.audit.verify().faults == ()
    assert again.audit.lines(most=1)[0].action == "restored"
    again.close()
    assert main([*where, "backup", str(archive)]) == 2, "no backup is overwritten"


def test_a_backup_while_it_is_written_is_one_state(kept: Store, settings: Settings, tmp_path: Path) -> None:
    """Saves go on; the backup holds whole revisions, each network's newest among them."""
    document, stop = kept.read(1).document, threading.Event()

    def saving() -> None:
        number = 2
        while not stop.is_set():
            number = kept.save(1, document, base_revision=number, author="Busy", reason="again").number

    writer = threading.Thread(target=saving)
    writer.start()
    try:
        for n in range(3):
            backup(settings, tmp_path / f"{n}.zip", whole=False)
    finally:
        stop.set()
        writer.join()
    counted = [verify(tmp_path / f"{n}.zip") for n in range(3)]
    assert [()] * 3 == [one.faults for one in counted]
    assert counted[0].revisions <= counted[2].revisions
    assert list(tmp_path.glob(".*.part")) == []
    assert list(tmp_path.glob(".backup-*")) == []


def test_restoring_keeps_what_was_there_and_names_what_is_missing(
    kept: Store, settings: Settings, tmp_path: Path
) -> None:
    """A copy of the database that gives way, and the terrain files that the backup only names."""
    archive = tmp_path / "b.zip"
    assert backup(settings, archive, whole=False).referred == 1
    (settings.data_folder / "terrain" / "hills" / "a.tif").write_bytes(b"other")
    kept.create(kept.read(1).document, author="Late", reason="after the backup")
    before = state(kept)
    kept.close()
    said = restore(settings, archive, replace=True)
    assert "another file than at the time of the backup" in said[-1]
    copy = Path(said[0].removeprefix("what was there is kept in ").partition(":")[0]) / "networks.sqlite"
    there = Store(f"sqlite:///{copy}")
    assert state(there) == before
    there.close()
    (settings.data_folder / "terrain" / "hills" / "a.tif").unlink()
    assert "named and not there" in restore(settings, archive, replace=True)[-1]


def test_what_was_taken_back_does_not_come_back_unsaid(
    client_with: Callable[..., TestClient], kept: Store, settings: Settings, tmp_path: Path
) -> None:
    """Sessions end, withdrawn links and revoked tokens stay so, later links are none, and who was ended is named."""
    ends_at = datetime.now(UTC) + timedelta(days=30)
    kept.accounts.add("Bob", role="viewer", password="several words do well")
    ada, bob = kept.accounts.find("Ada"), kept.accounts.find("Bob")
    assert ada is not None
    assert bob is not None
    session = kept.accounts.sign_in("Ada", address="")
    token = kept.accounts.add_token(ada.id, label="t", scope="write")
    first = kept.links.add(1, site_id="north", revision=2, ends_at=ends_at, made_with="link page")
    stays = kept.links.add(1, site_id="south", revision=2, ends_at=ends_at, made_with="link page")
    archive = tmp_path / "b.zip"
    backup(settings, archive, whole=False)

    later = kept.links.add(1, site_id="north", revision=2, ends_at=ends_at, made_with="link page")
    for link in (first, later):
        assert kept.links.withdraw(1, link.id)
    kept.accounts.revoke(kept.accounts.tokens(ada.id)[0].id)
    kept.accounts.sign_out(session)
    kept.accounts.end("Bob")
    kept.accounts.set_password("Ada", "other words do well too")
    kept.close()
    said = " | ".join(restore(settings, archive, replace=True))
    assert "everybody signs in anew" in said
    assert "1 link withdrawn and 1 token revoked since the backup stay so" in said
    assert "1 link of the backup can open a sheet" in said
    assert "Bob was ended since, and may come in again as viewer" in said
    assert "Ada's password is that of the backup again" in said

    again = Store(settings.database_url)
    assert again.accounts.of_session(session) is None
    assert again.accounts.of_token(token) is None
    for link, opens in ((first, False), (later, False), (stays, True)):
        signed = token_of("test-key-of-the-tests-that-nobody-guesses", link)
        if opens:
            assert open_link(again.links, "test-key-of-the-tests-that-nobody-guesses", signed).site_id == "south"
        else:
            with pytest.raises(RefusedError) as refused:
                open_link(again.links, "test-key-of-the-tests-that-nobody-guesses", signed)
            assert refused.value.status == 410
    assert again.audit.lines(action="restored")[0].body["links_still_withdrawn"] == 1
    assert again.audit.verify().faults == ()
    again.close()


def test_a_restore_sets_everything_of_before_aside(kept: Store, settings: Settings, tmp_path: Path) -> None:
    """Own services that the backup has not are not left in force, and every file that gives way is kept."""
    folder = settings.data_folder
    archive = tmp_path / "b.zip"
    backup(settings, archive, whole=True)
    (folder / "services.toml").write_text("# later", encoding="utf-8")
    (folder / "secrets.json").write_text('{"session_key": "later"}', encoding="utf-8")
    (folder / "terrain" / "hills" / "a.tif").write_bytes(b"later")
    (folder / "terrain" / "hills" / "b.tif").write_bytes(b"later too")
    kept.close()
    said = restore(settings, archive, replace=True)
    assert not (folder / "services.toml").exists()
    assert (folder / "secrets.json").read_text(encoding="utf-8") == f'{{"session_key": "{KEY}"}}'
    assert [one.name for one in (folder / "terrain" / "hills").iterdir()] == ["a.tif"]
    assert (folder / "terrain" / "hills" / "a.tif").read_bytes() == b"heights" * 1000
    (aside,) = folder.glob("before-restore-*")
    assert sorted(str(one.relative_to(aside)) for one in aside.rglob("*.*") if "-" not in one.name) == [
        "networks.sqlite", "secrets.json", "services.toml", "terrain/hills/a.tif", "terrain/hills/b.tif",
    ]  # fmt: skip
    assert (aside / "services.toml").read_text(encoding="utf-8") == "# later"
    assert f"kept in {aside}: networks.sqlite, services.toml, secrets.json, terrain" in said[0]
    assert "no services.toml: only the shipped services are in use" in said[1]
    assert list(folder.glob(".restore-*")) == []


def test_a_damaged_database_gives_way_and_that_is_said(kept: Store, settings: Settings, tmp_path: Path) -> None:
    """The reason to restore: it cannot tell what was withdrawn since, and is kept as it is."""
    archive = tmp_path / "b.zip"
    backup(settings, archive, whole=False)
    kept.close()
    (settings.data_folder / "networks.sqlite").write_bytes(b"hello" * 1000)
    said = " | ".join(restore(settings, archive, replace=True))
    assert "the database that gave way cannot be read" in said
    again = Store(settings.database_url)
    assert [n.name for n in again.summaries()] == ["Größe µ"]
    again.close()


def test_nothing_is_restored_under_a_running_application(kept: Store, settings: Settings, tmp_path: Path) -> None:
    """It holds its folder; and nobody starts while a restore is under way."""
    archive = tmp_path / "b.zip"
    backup(settings, archive, whole=False)
    with alone(settings.data_folder, shared=True), alone(settings.data_folder, shared=True):
        with pytest.raises(PlanError) as refused:
            restore(settings, archive, replace=True)
        assert refused.value.problems[0].code == "data-folder-in-use"
    with alone(settings.data_folder), pytest.raises(PlanError), alone(settings.data_folder, shared=True):
        pass


def test_every_damage_to_a_backup_is_found_and_nothing_of_it_restored(
    kept: Store, settings: Settings, tmp_path: Path
) -> None:
    """A cut, a flipped byte, a part taken out, put in or exchanged, a changed line of the record."""
    archive = tmp_path / "b.zip"
    backup(settings, archive, whole=True)
    content = archive.read_bytes()
    bad = tmp_path / "bad.zip"
    for broken in (content[: len(content) // 2], b"", b"PK"):
        bad.write_bytes(broken)
        with pytest.raises(PlanError):
            restore(settings, bad, replace=True)
    drawn = random.Random(1)
    for _ in range(40):
        at = drawn.randrange(len(content))
        bad.write_bytes(content[:at] + bytes([content[at] ^ (1 << drawn.randrange(8))]) + content[at + 1 :])
        assert damaged(bad) or parts_of(bad) == parts_of(archive), f"byte {at}"

    def rewritten(change: Callable[[dict[str, bytes]], object]) -> None:
        with zipfile.ZipFile(archive) as source:
            parts = {name: source.read(name) for name in source.namelist()}
        change(parts)
        with zipfile.ZipFile(bad, "w") as target:
            for name, part in parts.items():
                target.writestr(name, part)

    rewritten(lambda parts: parts.pop("secrets.json"))
    assert verify(bad).faults == ("secrets.json: missing",)
    rewritten(lambda parts: parts.update({"../outside": b"x"}))
    assert verify(bad).faults == ("../outside: not in the manifest",)
    rewritten(lambda parts: parts.update({"secrets.json": b"x" * len(parts["secrets.json"])}))
    assert verify(bad).faults == ("secrets.json: its content is not what was backed up",)
    assert [n.name for n in kept.summaries()] == ["Größe µ"], "what is there stands"


def damaged(archive: Path) -> bool:
    """Whether looking through it finds anything."""
    try:
        return verify(archive).faults != ()
    except PlanError:
        return True


def parts_of(archive: Path) -> dict[str, bytes]:
    """What is in it: a flipped bit of the packing may change nothing."""
    with zipfile.ZipFile(archive) as held:
        return {name: held.read(name) for name in held.namelist()}


def test_a_backup_shows_a_changed_document_and_record(kept: Store, settings: Settings, tmp_path: Path) -> None:
    """What was changed behind the program's back before the backup was made."""
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        behind.execute("update revisions set document = replace(document, '98.3', '98.4') where number = 1")
        behind.execute("update audit set who = 'Eve' where id = 2")
    behind.close()
    backup(settings, tmp_path / "b.zip", whole=False)
    found = verify(tmp_path / "b.zip")
    said = " ".join(found.damage)
    assert "network 2, revision 1: its document is not what was saved" in said
    assert "network 1, revision 1: its document is not what was saved" in " ".join(found.remarks), "an older revision"
    assert "record, line 2: it was changed" in said


def test_an_export_goes_into_another_store(kept: Store, tmp_path: Path, example: dict[str, Any]) -> None:
    """Beside what is there, under other numbers, with every revision, entry and time; all or nothing."""
    other = Store(f"sqlite:///{tmp_path / 'other.sqlite'}")
    other.create(example, author="There", reason="before")
    lines = list(exchange.exported(kept))
    assert exchange.imported(other, lines) == 2
    old, new = state(kept), state(other)
    assert [one.document for one in old[1]] == [one.document for one in new[1] if one.revision.author != "There"]
    assert [s.saved_at for s in old[0]] == [s.saved_at for s in new[0] if s.author != "There"]
    assert [e.body for es in old[2] for e in es] == [e.body for es in new[2] for e in es]
    for broken, says in (
        (lines[:-1], "cut off"),
        ([*lines[:2], *lines[3:]], "were changed"),
        ([lines[0].replace('"format": 1', '"format": 2'), *lines[1:]], "no export"),
        ([*lines[:1], '{"user": {}}\n', *lines[1:]], "other keys"),
        ([*lines[:1], "[" * 100_000, *lines[1:]], "cannot be read"),
        ([*lines[:2], lines[2].replace("fm-stereo", "no such"), *lines[3:]], "line"),
    ):
        before = state(other)
        with pytest.raises(PlanError) as refused:
            exchange.imported(other, broken)
        assert says in f"{refused.value.problems[0].where} {refused.value.problems[0].what}"
        assert state(other) == before
    other.close()


def test_a_full_disk_is_told_and_nothing_is_lost(
    client: TestClient, store: Store, example: dict[str, Any], settings: Settings
) -> None:
    """SQLite is given no more pages than it has: the save is refused in words, what was there stands, and later it goes."""
    number = store.create(example, author="Ada", reason="first").network_id
    full = [True]

    @event.listens_for(store._engine, "begin")
    def no_room(connection: Any) -> None:
        pages = connection.exec_driver_sql("pragma page_count").scalar()
        connection.exec_driver_sql(f"pragma max_page_count = {pages if full[0] else 1_000_000}")

    large = {**example, "name": "x" * 100}
    large["sites"] = [{**site, "name": site["name"] + " " * 1} for site in example["sites"]]
    body = {"document": {**large, "notes": "y" * 20_000} if "notes" in example else large, "base_revision": 1}
    refused = None
    for _ in range(60):
        answer = client.put(f"/api/networks/{number}", json={**body, "author": "Ada", "reason": "r" * 480})
        if answer.status_code != 200:
            refused = answer
            break
        body["base_revision"] += 1
    assert refused is not None
    assert refused.status_code == 507
    assert refused.json()["problems"][0]["code"] == "store-disk-full"
    assert store.read(number).revision.number == body["base_revision"]
    assert store.audit.verify().faults == ()
    full[0] = False
    again = client.put(f"/api/networks/{number}", json={**body, "author": "Ada", "reason": "room again"})
    assert again.status_code == 200


def test_a_folder_that_cannot_be_written_is_told(
    settings: Settings, store: Store, example: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    """A database opened for reading only: what is there is shown, a save and a command are refused in words."""
    store.create(example, author="Ada", reason="first")
    store.close()
    url = f"sqlite:///file:{settings.data_folder / 'networks.sqlite'}?mode=ro&uri=true"
    held = Store(url)
    with TestClient(create_app(settings, held), base_url="http://127.0.0.1:8430") as client:
        assert "Example valley" in client.get("/").text
        body = {"document": example, "base_revision": 1, "author": "Ada", "reason": "again"}
        refused = client.put("/api/networks/1", json=body)
        assert (507, "store-read-only") == (refused.status_code, refused.json()["problems"][0]["code"])
        token = token_in(client.get("/").text)
        page = client.post("/networks/1/delete", data={"csrf_token": token})
        assert page.status_code == 507
        assert "What you typed is still in the page" in page.text
    assert main(["--data", str(settings.data_folder), "--database", url, "user", "end", "Ada"]) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_a_folder_that_went_read_only_is_backed_up_and_looked_through(
    example: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    """As disks with faults do: the last saves are in SQLite's log beside the file, and come along."""
    with tempfile.TemporaryDirectory() as above:
        folder, out = Path(above) / "data", Path(above) / "out"
        for made in (Path(above), folder, out):
            made.mkdir(exist_ok=True)
            made.chmod(0o777)
        settings = read_settings({}, data_folder=str(folder))
        held = Store(settings.database_url)
        held.create(example, author="Ada", reason="first")
        for file in folder.iterdir():
            file.chmod(0o444)
        folder.chmod(0o555)
        rights = os.geteuid()
        try:
            if rights == 0:  # root may write everywhere
                os.seteuid(65534)
            assert main(["--data", str(folder), "backup", str(out / "b.zip")]) == 0
            assert "cannot be written: the record there" in capsys.readouterr().out
            assert main(["--data", str(folder), "audit-verify"]) == 0
            assert "1 lines" in capsys.readouterr().out
        finally:
            if rights == 0:
                os.seteuid(0)
            folder.chmod(0o755)
            held.close()
        assert (verify(out / "b.zip").networks, verify(out / "b.zip").faults) == (1, ())
