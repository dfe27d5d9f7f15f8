"""The audit trail: what is written, sealed line by line, and every kind of tampering found."""

import hashlib
import json
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.webapp.conftest import token_in
from webapp.config.settings import Settings
from webapp.on_air.site_links import token_of
from webapp.store.store import Store


@pytest.fixture
def done(store: Store, example: dict[str, Any]) -> Store:
    """A store in which five things were done."""
    number = store.create(example, author="Ada", reason="first").network_id
    store.save(number, example, base_revision=1, author="Grace", reason="again")
    store.entries.add(number, revision=2, site_id="north", kind="sign-off", made_by="Ada", body={"note": "µs – yes"})
    store.delete(number)
    store.undelete(number)
    return store


def test_what_is_done_is_written_in_its_transaction(done: Store, example: dict[str, Any]) -> None:
    """Who, what, of which network; and what was refused leaves no line."""
    lines = list(done.audit.all())
    assert ["saved", "saved", "sign-off", "deleted", "deletion undone"] == [line.action for line in lines]
    assert ["Ada", "Grace", "Ada", "", ""] == [line.who for line in lines]
    assert {1} == {line.network_id for line in lines}
    with pytest.raises(Exception, match="saved by Grace"):
        done.save(1, example, base_revision=1, author="Late", reason="too late")
    assert done.audit.count() == 5
    assert [5, 4] == [line.id for line in done.audit.lines(most=2)]
    assert [2, 1] == [line.id for line in done.audit.lines(action="saved")]


def test_the_seal_is_what_it_says(done: Store) -> None:
    """SHA-256 over the hash before and the fields as a JSON list, worked out here a second time."""
    before = "0" * 64
    for line in done.audit.all():
        body = json.dumps(line.body, ensure_ascii=False, sort_keys=True)
        fields = [
            line.at,
            line.who,
            line.role,
            line.via,
            line.address,
            line.action,
            line.network_id,
            line.subject,
            body,
        ]
        text = json.dumps([before, *fields], ensure_ascii=False, separators=(",", ":"))
        before = hashlib.sha256(text.encode("utf-8")).hexdigest()
        assert line.hash == before


@pytest.mark.sqlite
@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("update audit set who = 'Eve' where id = 2", "line 2: it was changed"),
        ("update audit set body = '{}' where id = 3", "line 3: it was changed"),
        ("update audit set body = 'x' where id = 3", "line 3: it was changed"),
        ("update audit set network_id = 2 where id = 4", "line 4: it was changed"),
        ("delete from audit where id = 3", "line 4: 1 lines before it are gone"),
        ("delete from audit where id = 1", "line 2: 1 lines before it are gone"),
        ("update audit set id = 9 where id = 5", "line 9: 4 lines before it are gone"),
        ("update audit set body = '{\"a\":NaN}' where id = 2", "line 2: it was changed"),
        ("update audit set body = x'ff00' where id = 2", "line 2: it was changed"),
        (
            "update audit set body = cast(x'ff00' as text), who = cast(x'ff' as text) where id = 2",
            "line 2: it was chan",
        ),
        ('update audit set body = \'{"a":"\\ud800"}\' where id = 2', "line 2: it was changed"),
        ("update audit set body = 3, who = 4.5, at = null is null where id = 2", "line 2: it was changed"),
        (
            "update audit set id = case id when 2 then -3 when 3 then -2 end where id in (2, 3);"
            "update audit set id = -id where id < 0",
            "line 2: it does not follow the line before it",
        ),
        ("delete from audit where id > 3", "lines 4 to 5 are gone"),
        ("delete from audit", "lines 1 to 5 are gone"),
        (
            "insert into audit select -1, at, who, role, via, address, action, network_id, subject, body, 'x', hash"
            " from audit where id = 1",
            "line -1: it was put in",
        ),
    ],
)
def test_every_tampering_is_found(done: Store, settings: Settings, change: str, says: str) -> None:
    """Behind the program's back, in the file."""
    assert done.audit.verify().faults == ()
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        behind.executescript(change)
    behind.close()
    found = done.audit.verify()
    assert says in found.faults[0]
    assert all(fault.isprintable() for fault in found.faults)
    for line in (*done.audit.all(), *done.audit.lines()):
        assert json.dumps(line.as_json(), ensure_ascii=False).encode()


@pytest.mark.sqlite
def test_a_trail_made_anew_is_found_by_a_hash_that_was_noted(done: Store, settings: Settings) -> None:
    """Cut off, and SQLite's count changed too: only what was noted elsewhere tells."""
    noted = done.audit.verify().last
    assert done.audit.verify(known=noted).faults == ()
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        behind.execute("delete from audit where id > 3")
        behind.execute("update sqlite_sequence set seq = 3 where name = 'audit'")
    behind.close()
    assert done.audit.verify().faults == ()
    (fault,) = done.audit.verify(known=noted).faults
    assert "no line has the hash" in fault


@pytest.mark.sqlite
def test_a_line_with_its_own_seal_made_anew_breaks_the_next(done: Store, settings: Settings) -> None:
    """Who changes one line must change all that follow, and the last hash, which is kept elsewhere, tells."""
    from webapp.store.audit import sealed

    last = done.audit.verify().last
    line = next(one for one in done.audit.all() if one.id == 2)
    values = {**line.as_json(), "who": "Eve", "body": json.dumps(line.body, ensure_ascii=False, sort_keys=True)}
    with sqlite3.connect(settings.data_folder / "networks.sqlite") as behind:
        behind.execute("update audit set who = 'Eve', hash = ? where id = 2", (sealed(line.before, values),))
    behind.close()
    found = done.audit.verify()
    assert found.faults == ("line 3: it does not follow the line before it",)
    assert found.last == last


def test_the_record_is_a_page_and_json_lines(client: TestClient, done: Store) -> None:
    """Both of everything; the page also of one kind, and giving all of it out is written down itself."""
    page = client.get("/record", params={"action": "sign-off"}).text
    assert "µs – yes" in page
    assert "Grace" not in page
    lines = [json.loads(line) for line in client.get("/record.jsonl").text.splitlines()]
    assert [1, 2, 3, 4, 5, 6] == [line["id"] for line in lines]
    assert ("record exported", "this machine", "testclient") == tuple(lines[5][k] for k in ("action", "via", "address"))


def test_signing_in_and_failing_to_are_written(client_with: Callable[..., TestClient], store: Store) -> None:
    """With the address; the password never."""
    store.accounts.add("Ada", role="administrator", password="several words do well")
    client = client_with()
    for password in ("a wrong password", "several words do well"):
        token = client.get("/log-in").text.partition('name="csrf_token" value="')[2].partition('"')[0]
        client.post("/log-in", data={"csrf_token": token, "name": "Ada", "password": password})
    lines = list(store.audit.all())
    assert ["user added", "sign-in refused", "signed in"] == [line.action for line in lines]
    assert ["Ada", "Ada"] == [line.subject for line in lines[1:]]
    assert ["testclient", "testclient"] == [line.address for line in lines[1:]]
    assert "password" not in json.dumps([line.as_json() for line in lines[1:]]).replace("password changed", "")


@pytest.mark.usefixtures("quick_hashes")  # tries must come faster than waits end, on a machine with other work too
def test_slowed_sign_ins_wrong_passwords_and_withdrawn_links_are_written(
    client_with: Callable[..., TestClient], store: Store, example: dict[str, Any]
) -> None:
    """One line a wait, not one a try; and who is signed in is so by a session."""
    words = "several words do well"
    store.accounts.add("Ada", role="administrator", password=words)
    client = client_with()
    sent = {"csrf_token": token_in(client.get("/log-in").text), "name": "Ada"}
    codes = [client.post("/log-in", data={**sent, "password": "wrong"}).status_code for _ in range(8)]
    assert codes.count(429) >= 3
    actions = [line.action for line in store.audit.all()]
    assert actions.count("sign-in refused") == codes.count(403)
    assert 1 <= actions.count("sign-in slowed") <= codes.count(429)

    other = client_with()
    sent = {"csrf_token": token_in(other.get("/log-in").text), "name": "Ada", "password": words}
    if store.shared:  # every process on the database counts the same tries
        assert other.post("/log-in", data=sent, follow_redirects=False).status_code == 429
        other.app.state.attempts.forget(address="testclient", name="ada")  # type: ignore[attr-defined]
    assert other.post("/log-in", data=sent, follow_redirects=False).status_code == 303
    assert store.audit.lines(action="signed in")[0].via == "session"
    sent = {"csrf_token": token_in(other.get("/account").text), "now": "wrong", "password": "others do well too"}
    assert other.post("/account/password", data=sent).status_code == 403
    assert store.audit.lines(action="password refused")[0].who == "Ada"

    number = store.create(example, author="Ada", reason="first").network_id
    ends_at = datetime.now(UTC) + timedelta(days=3)
    link = store.links.add(number, site_id="north", revision=1, ends_at=ends_at, made_with="link page")
    store.links.withdraw(number, link.id)
    for _ in range(3):
        assert other.get(f"/site/{token_of('test-key-of-the-tests-that-nobody-guesses', link)}").status_code == 410
    (line,) = store.audit.lines(action="withdrawn link opened")
    assert line.subject == link.id
