"""Where approvals need another person: who planned it is found from what was saved, and an approval is of one plan."""

import csv
import io
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from copy import deepcopy
from typing import Any

import openpyxl
import pytest
from argon2 import PasswordHasher
from sqlalchemy import event
from sqlalchemy.engine import Connection
from starlette.testclient import TestClient

from tests.webapp.conftest import token_in
from webapp.config.settings import Settings
from webapp.store import passwords
from webapp.store.schema import revisions
from webapp.store.seals import seal
from webapp.store.store import Store

WORDS = "several words do well"
TEAM = {"Admin": "administrator", "Ann": "planner", "Ben": "approver", "Bea": "approver", "Con": "controller"}
By = Callable[[str], TestClient]


@pytest.fixture(autouse=True)
def _team(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Users with cheap hashes."""
    monkeypatch.setattr(passwords, "PasswordHasher", lambda: PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    for name, role in TEAM.items():
        store.accounts.add(name, role=role, password=WORDS)


@pytest.fixture
def by(client_with: Callable[..., TestClient]) -> By:
    """A browser with somebody signed in, where approval by another person is asked for."""
    held: dict[str, TestClient] = {}

    def make(name: str) -> TestClient:
        if name not in held:
            client = client_with(approval="other")
            sent = {"csrf_token": token_in(client.get("/log-in").text), "name": name, "password": WORDS}
            assert client.post("/log-in", data=sent, follow_redirects=False).status_code == 303
            held[name] = client
        return held[name]

    return make


def send(client: TestClient, address: str, **fields: str) -> Any:
    """Send a form with its token."""
    sent = {"csrf_token": token_in(client.get("/account").text), **fields}
    return client.post(address, data=sent, follow_redirects=False)


def moved(store: Store, number: int, *offsets_us: float, author: str) -> None:
    """Save other offsets as a new revision."""
    saved = store.read(number)
    document = deepcopy(saved.document)
    for site, offset_us in zip(document["sites"], offsets_us, strict=True):
        site["offset_us"] = offset_us
    store.save(number, document, base_revision=saved.revision.number, author=author, reason="moved")


def sign_and_issue(client: TestClient, store: Store, number: int, **fields: str) -> Any:
    """Sign what may be signed, then issue."""
    revision = str(store.read(number).revision.number)
    for site in store.read(number).document["sites"]:
        send(client, f"/networks/{number}/sheets/{site['id']}/sign", revision=revision)
    return send(client, f"/networks/{number}/sheets/issue", revision=revision, **fields)


def approve(client: TestClient, number: int, against: str = "") -> Any:
    """Approve what the page shows."""
    shown = client.get(f"/api/pages/networks/{number}/change", params={"against": against} if against else {}).json()
    held = {"revision": str(shown["network"]["revision"]["number"]), "checksum": shown["plan"]["checksum"]}
    return send(client, f"/networks/{number}/change/approve", **held, steps=shown["steps"], against=against)


def approval(client: TestClient, number: int, against: str = "") -> dict[str, Any]:
    """How the plan stands."""
    params = {"against": against} if against else {}
    found: dict[str, Any] = client.get(f"/api/pages/networks/{number}/change", params=params).json()["approval"]
    return found


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """A plan of Ann's in one revision, its common delay fixed."""
    example["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    return store.create(example, author="Ann", reason="first").network_id


def test_an_issue_by_another_does_not_let_the_planner_approve(by: By, store: Store, number: int) -> None:
    """Ben issues the administrator's revision: its change plan still waits for somebody else than the administrator."""
    assert sign_and_issue(by("Ben"), store, number).status_code == 303
    moved(store, number, 50, 87.5, 110, author="Admin")
    assert sign_and_issue(by("Admin"), store, number).status_code == 403
    assert sign_and_issue(by("Ben"), store, number).status_code == 303
    assert approve(by("Admin"), number).status_code == 403
    assert store.entries.of(number, kind="plan-approved") == ()
    assert approve(by("Ben"), number).status_code == 303


def test_freezing_makes_no_planner_of_the_issuer(by: By, store: Store, example: dict[str, Any]) -> None:
    """Ben's issue saves the revision that fixes the common delay; it gives the same settings, and Ann planned them."""
    made = store.create(example, author="Ann", reason="first").network_id
    assert sign_and_issue(by("Ben"), store, made).status_code == 303
    assert store.read(made).revision.author == "Ben"
    assert approve(by("Ben"), made).status_code == 303
    assert sign_and_issue(by("Bea"), store, made).status_code == 303


def test_who_loads_a_demo_planned_it(by: By, store: Store) -> None:
    """Whatever name stands in the revision: the record has who saved it."""
    admin = by("Admin")
    answer = send(admin, "/networks/demo/fm_ridge")
    made = int(answer.headers["location"].rpartition("/")[2])
    assert store.read(made).revision.author == "Admin"
    assert sign_and_issue(admin, store, made).status_code == 403


def test_a_name_of_before_does_not_hide_who_saved(by: By, store: Store, number: int) -> None:
    """A revision by "demo" that the record says the administrator saved."""
    database = str(store._engine.url.database)  # as an older program left it
    moved(store, number, 50, 87.5, 110, author="Admin")
    with sqlite3.connect(database) as held:
        held.row_factory = sqlite3.Row
        row = dict(held.execute("select * from revisions where number = 2").fetchone()) | {"author": "demo"}
        held.execute("update revisions set author = ?, seal = ? where number = 2", ("demo", seal(revisions, row)))
    assert approve(by("Admin"), number).status_code == 403
    assert approve(by("Ben"), number).status_code == 303


def test_an_approval_holds_for_the_plan_that_was_looked_at(by: By, store: Store, number: int) -> None:
    """From revision 1 is not from what is set now, and nothing can begin by it; a reading that moves an old value ends it."""
    moved(store, number, 50, 87.5, 110, author="Ann")
    moved(store, number, 50, 87.5, 112, author="Ann")
    ben, con = by("Ben"), by("Con")
    assert sign_and_issue(ben, store, number).status_code == 303
    assert approve(ben, number, against="2").status_code == 303
    assert approval(ben, number, "2")["state"] == "approved"
    for other in ("1", ""):
        found = approval(ben, number, other)
        assert found["state"] == "not approved"
        assert "from revision 2, and is none for the change from" in found["void"]
    begin = {"deadline": "2999-01-01 00:00"}
    assert send(con, f"/networks/{number}/change/confirm/begin", **begin).status_code == 422
    assert approve(ben, number).status_code == 303
    assert approval(ben, number)["state"] == "approved"
    field = store.read(number).document["sites"][0]["delay_fields"][0]
    store.entries.add(
        number, revision=3, site_id="north", kind="told", made_by="Tim",
        body={"as_set": {field["name"]: "77"}, "units": {field["name"]: field["unit"]}, "route": "main"},
    )  # fmt: skip
    found = approval(ben, number)
    assert found["state"] == "not approved"
    assert "was reported anew" in found["void"]
    assert send(con, f"/networks/{number}/change/confirm/begin", **begin).status_code == 422


def test_an_approval_of_steps_that_were_not_looked_at_is_refused(by: By, store: Store, number: int) -> None:
    """The form names what was looked at; with that of another plan, or with none of it, nothing is approved."""
    moved(store, number, 50, 87.5, 110, author="Ann")
    ben = by("Ben")
    shown = ben.get(f"/api/pages/networks/{number}/change").json()
    held = {"revision": "2", "checksum": shown["plan"]["checksum"]}
    for steps in ({"steps": ""}, {"steps": "0" * 16}):
        assert send(ben, f"/networks/{number}/change/approve", **held, **steps).status_code == 409
    assert f'name="steps" value="{shown["steps"]}"' in ben.get(f"/networks/{number}/change").text


def in_files(client: TestClient, number: int, *says: str) -> None:
    """The delay table's files say which emergencies there are, and no other."""
    expected = [f"ISSUED IN AN EMERGENCY, NOT APPROVED: {one}" for one in says]
    lines = csv.reader(io.StringIO(client.get(f"/networks/{number}/delays.csv").text))
    assert [line[1] for line in lines if line[:1] == ["urgent"]] == expected
    book = openpyxl.load_workbook(io.BytesIO(client.get(f"/networks/{number}/delays.xlsx").content))
    assert [row[1] for row in book["Delays"].values if row[0] == "urgent"] == expected


def test_an_emergency_issue_is_carried_out_and_said_everywhere(by: By, store: Store, number: int) -> None:
    """Who and why stand on the sheets, the plan, its paper name, the timeline, the phone's page and in data."""
    moved(store, number, 50, 87.5, 110, author="Ann")
    ben, con, why = by("Ben"), by("Con"), "mast on fire"
    for site in ("north", "south", "gap"):
        send(ben, f"/networks/{number}/sheets/{site}/sign", revision="2")
    assert sign_and_issue(con, store, number).status_code == 403
    assert send(con, f"/networks/{number}/sheets/issue", revision="2", emergency=why).status_code == 303

    said = f"issued in an emergency by Con on {store.entries.of(number, kind='issue')[0].made_at:%Y-%m-%d %H:%M} UTC: {why}"
    assert said in ben.get(f"/networks/{number}/sheets").text
    for page in ("sheets/north", "timeline", "change", "change/live"):
        text = ben.get(f"/networks/{number}/{page}").text
        assert why in text, page
        assert "without an approver" in text, page
    told = ben.get(f"/api/networks/{number}/timeline").json()["entries"]
    assert {one["values"]["emergency"] for one in told if one["kind"] == "issued"} == {why}
    assert approval(ben, number)["state"] == "emergency"
    assert ben.get(f"/networks/{number}/change.pdf").headers["content-disposition"].count("-emergency") == 1
    (line,) = store.audit.lines(action="emergency issue")
    assert (line.who, line.body["reason"]) == ("Con", why)

    answer = send(con, f"/networks/{number}/change/confirm/begin", deadline="2999-01-01 00:00")
    assert answer.status_code == 303, answer.text
    assert why in con.get(f"/networks/{number}/change/live").text
    pages = ("", "/delays", "/readings", "/map", "/sheets", "/change/live")
    for page in pages:
        text = ben.get(f"/networks/{number}{page}").text
        assert "ISSUED IN AN EMERGENCY, NOT APPROVED" in text, page
        assert f"revision 2 {said}" in text, page
    told = ben.get(f"/api/pages/networks/{number}/delays").json()["network"]["urgent"]
    assert len(told) == 1
    assert {"North", "South", "Gap"} <= {word.strip(",") for word in told[0].split()}
    in_files(ben, number, told[0])
    (one,) = ben.get(f"/api/networks/{number}/delays").json()["urgent"]
    (issue, *_) = store.entries.of(number, kind="issue")
    assert set(one.pop("sites")) == {"north", "south", "gap"}
    assert one == {
        "revision": 2, "checksum": store.read(number, 2).revision.checksum, "issued_by": "Con",
        "issued_at": issue.made_at.isoformat(), "reason": why, "says": told[0],
    }  # fmt: skip
    moved(store, number, 51, 87.5, 110, author="Ann")
    in_files(ben, number, told[0])
    assert "NOT APPROVED" in ben.get(f"/networks/{number}").text, "what is on the air is still that of the emergency"


def test_an_emergency_is_said_until_it_is_approved_or_issued_anew(by: By, store: Store, number: int) -> None:
    """On the network's first page; by the plan's approval, or an ordinary issue of all sites."""
    moved(store, number, 50, 87.5, 110, author="Ann")
    ben, con = by("Ben"), by("Con")
    for site in ("north", "south", "gap"):
        send(ben, f"/networks/{number}/sheets/{site}/sign", revision="2")
    assert "NOT APPROVED" not in ben.get(f"/networks/{number}").text
    assert send(con, f"/networks/{number}/sheets/issue", revision="2", emergency="mast on fire").status_code == 303
    assert "NOT APPROVED" in ben.get(f"/networks/{number}").text
    assert approve(ben, number).status_code == 303, "an approver may look at it afterwards"
    assert approval(ben, number)["state"] == "approved"
    assert "NOT APPROVED" not in ben.get(f"/networks/{number}").text
    in_files(ben, number)
    assert ben.get(f"/api/networks/{number}/delays").json()["urgent"] == []
    moved(store, number, 51, 87.5, 110, author="Ann")
    for site in ("north", "south", "gap"):
        send(ben, f"/networks/{number}/sheets/{site}/sign", revision="3")
    assert send(con, f"/networks/{number}/sheets/issue", revision="3", emergency="again").status_code == 303
    assert "again" in ben.get(f"/networks/{number}").text
    assert sign_and_issue(ben, store, number).status_code == 303
    assert "NOT APPROVED" not in ben.get(f"/networks/{number}").text


def test_no_emergency_is_written_for_who_needs_none(by: By, store: Store, number: int) -> None:
    """An approver who fills the field issues as ever."""
    assert sign_and_issue(by("Ben"), store, number, emergency="not one at all").status_code == 303
    assert store.audit.lines(action="emergency issue") == ()
    assert all("emergency" not in one.body for one in store.entries.of(number, kind="issue"))
    assert "emergency" not in by("Ben").get(f"/networks/{number}/sheets").text.replace("No emergency was", "")


def test_a_carried_sign_off_stays_that_of_who_signed(by: By, store: Store, example: dict[str, Any]) -> None:
    """Ben signs, the controller issues and freezes: sheet and record name Ben."""
    made = store.create(example, author="Ann", reason="first").network_id
    ben, con = by("Ben"), by("Con")
    for site in ("north", "south", "gap"):
        send(ben, f"/networks/{made}/sheets/{site}/sign", revision="1")
    assert send(con, f"/networks/{made}/sheets/issue", revision="1", emergency="storm").status_code == 303
    carried = store.audit.lines(action="sign-off carried")
    assert carried
    assert {(one.who, one.body["made_by"], one.body["revision"]) for one in carried} == {("Con", "Ben", 2)}
    assert {one.who for one in store.audit.lines(action="sign-off")} == {"Ben"}
    assert {one.made_by for one in store.entries.of(made, kind="sign-off")} == {"Ben"}


@contextmanager
def full_at(store: Store, room: int) -> Iterator[None]:
    """Let the database grow by so many pages and no further: SQLite then says that the disk is full."""
    with store.reading() as connection:
        now = int(connection.exec_driver_sql("PRAGMA page_count").scalar_one())

    def bound(connection: Connection, pages: int = now + room) -> None:
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")

    event.listen(store._engine, "begin", bound)
    try:
        yield
    finally:
        event.remove(store._engine, "begin", bound)
        with store.reading() as connection:
            connection.exec_driver_sql("PRAGMA max_page_count = 1000000")
        store._engine.dispose()


def test_a_full_disk_in_an_issue_leaves_all_or_nothing(
    by: By, store: Store, example: dict[str, Any], settings: Settings
) -> None:
    """SQLite's own limit of pages stands for the disk: wherever it runs full, the answer is 507 and nothing is issued."""
    made = store.create(example, author="Ann", reason="first").network_id
    ben = by("Ben")
    for site in ("north", "south", "gap"):
        send(ben, f"/networks/{made}/sheets/{site}/sign", revision="1")
    signed, refused = store.entries.of(made), 0
    for room in range(40):
        with full_at(store, room):
            answer = send(ben, f"/networks/{made}/sheets/issue", revision="1")
        if answer.status_code == 303:
            break
        assert answer.status_code == 507, answer.text
        assert "nothing was written" in answer.text
        assert store.read(made).revision.number == 1
        assert store.entries.of(made) == signed
        refused += 1
    assert refused >= 3
    assert store.read(made).revision.number == 2
    assert len(store.entries.of(made, kind="issue")) == 3
    assert store.audit.verify().faults == ()
