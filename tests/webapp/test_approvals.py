"""A change plan is approved by somebody else, for one revision and checksum; a later save ends it, and says so."""

import shutil
import subprocess
from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from tests.webapp.conftest import token_in
from webapp.store import passwords
from webapp.store.store import Store

WORDS = "several words do well"
ROLES_OF = {"Ann": "planner", "Ben": "approver", "Vera": "viewer", "Con": "controller"}


@pytest.fixture
def number(store: Store, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> int:
    """A plan that Ann made, in a store with three users."""
    monkeypatch.setattr(passwords, "PasswordHasher", lambda: PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    store.accounts.add("Admin", role="administrator", password=WORDS)
    for name, role in ROLES_OF.items():
        store.accounts.add(name, role=role, password=WORDS)
    example["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    made = store.create(example, author="Ann", reason="first").network_id
    later = deepcopy(example)
    for site, offset_us in zip(later["sites"], (50, 87.5, 110), strict=True):
        site["offset_us"] = offset_us
    store.save(made, later, base_revision=1, author="Ann", reason="moved")
    return made


@pytest.fixture
def by(client_with: Callable[..., TestClient]) -> Callable[[str], TestClient]:
    """A browser with somebody signed in, where approval by another person is asked for."""

    def make(name: str) -> TestClient:
        client = client_with(approval="other")
        sent = {"csrf_token": token_in(client.get("/log-in").text), "name": name, "password": WORDS}
        assert client.post("/log-in", data=sent, follow_redirects=False).status_code == 303
        return client

    return make


def approve(client: TestClient, number: int, against: str = "1", **changed: str) -> Any:
    """Send the form as it stands on the page."""
    plan = client.get(f"/api/pages/networks/{number}/change?against={against}").json()
    held = {"revision": str(plan["network"]["revision"]["number"]), "checksum": plan["plan"]["checksum"]}
    held["steps"] = plan["steps"]
    sent = {"csrf_token": token_in(client.get("/").text), "against": against, "note": "looked at with operations"}
    return client.post(f"/networks/{number}/change/approve", data=sent | held | changed, follow_redirects=False)


def paper(client: TestClient, number: int) -> tuple[str, str]:
    """Name and text of the PDF."""
    answer = client.get(f"/networks/{number}/change.pdf?against=1")
    assert answer.status_code == 200, answer.text[:300]
    if shutil.which("pdftotext") is None:
        pytest.skip("left out, no pdftotext on this machine: the change plan on paper")
    made = subprocess.run(["pdftotext", "-layout", "-", "-"], input=answer.content, capture_output=True, check=True)
    return answer.headers["content-disposition"], " ".join(made.stdout.decode().split())


def test_a_plan_is_not_approved_until_somebody_else_does(
    by: Callable[[str], TestClient], store: Store, number: int
) -> None:
    """On the page, on paper and in data; neither who planned it nor who may not approve can."""
    ann, ben = by("Ann"), by("Ben")
    for client in (ann, ben):
        assert "NOT APPROVED" in client.get(f"/networks/{number}/change?against=1").text
    name, text = paper(ben, number)
    assert "not-approved" in name
    assert "NOT APPROVED" in text
    assert ben.get(f"/api/pages/networks/{number}/change?against=1").json()["approval"]["state"] == "not approved"
    for client in (ann, by("Vera")):
        assert approve(client, number).status_code == 403
    assert store.entries.of(number, kind="plan-approved") == ()

    con = by("Con")
    assert "NOT APPROVED" in con.get(f"/networks/{number}/change/live").text
    sent = {"csrf_token": token_in(con.get("/").text), "deadline": "2999-01-01 00:00", "author": "Con"}
    began = con.post(f"/networks/{number}/change/confirm/begin", data=sent)
    assert began.status_code == 422
    assert "waits for an approver" in began.text
    assert approve(ben, number, author="Somebody Else").status_code == 303
    assert "NOT APPROVED" in con.get(f"/networks/{number}/change/live").text, "from revision 1 is not from what is set"
    assert approve(ben, number, "", author="Somebody Else").status_code == 303
    assert "NOT APPROVED" not in con.get(f"/networks/{number}/change/live").text
    shown = ann.get(f"/networks/{number}/change?against=1").text
    assert "NOT APPROVED" not in shown
    assert "approved by Ben on" in shown
    name, text = paper(ann, number)
    assert "not-approved" not in name
    assert "NOT APPROVED" not in text
    assert "approved by Ben" in text


def test_an_approval_is_bound_to_what_was_looked_at(by: Callable[[str], TestClient], store: Store, number: int) -> None:
    """Another revision or checksum than the page's is refused; a save ends the approval, which says so everywhere."""
    ben = by("Ben")
    assert approve(ben, number, checksum="00000000").status_code == 409
    assert approve(ben, number, revision="1").status_code == 409
    assert approve(ben, number).status_code == 303
    (entry,) = store.entries.of(number, kind="plan-approved")
    saved = store.read(number)
    assert (entry.revision, entry.made_by) == (2, "Ben")
    document = deepcopy(saved.document)
    document["sites"][1]["offset_us"] = 86.5
    store.save(number, document, base_revision=2, author="Ann", reason="a second thought")

    shown = ben.get(f"/networks/{number}/change?against=1").text
    assert "NOT APPROVED" in shown
    assert "was for revision 2 and holds no longer: revision 3 was saved since" in shown.replace("&#39;", "'")
    assert "holds no longer" in paper(ben, number)[1]
    told = ben.get(f"/api/networks/{number}/timeline").json()
    (line,) = [one for one in told["entries"] if one["kind"] == "plan-approved"]
    assert (line["who"], line["values"]["checksum"]) == ("Ben", entry.body["checksum"])
    assert line["values"]["void_since_revision"] == 3
    assert "Void since revision 3 was saved" in ben.get(f"/networks/{number}/timeline").text
    written = store.audit.lines(action="plan-approved")
    assert [(one.who, one.body["checksum"]) for one in written] == [("Ben", entry.body["checksum"])]
    assert store.audit.verify().faults == ()


def test_alone_nobody_is_asked(client: TestClient, store: Store, example: dict[str, Any], post: Any) -> None:
    """Without the setting the plan says that nobody asks for approval, and takes one all the same."""
    made = store.create(example, author="me", reason="first").network_id
    later = deepcopy(example)
    later["sites"][0]["offset_us"] = 3
    store.save(made, later, base_revision=1, author="me", reason="moved")
    plan = client.get(f"/api/pages/networks/{made}/change").json()
    assert plan["approval"]["state"] == "not asked for"
    assert "NOT APPROVED" not in paper(client, made)[1]
    if plan["plan"]["problems"] or not plan["plan"]["changes"]:
        pytest.fail("the example's plan should be one that can be carried out")
    sent = {"revision": "2", "checksum": plan["plan"]["checksum"], "steps": plan["steps"], "author": "me"}
    assert post(f"/networks/{made}/change/approve", **sent | {"author": ""}).status_code == 422
    assert post(f"/networks/{made}/change/approve", **sent).status_code == 303
    assert client.get(f"/api/pages/networks/{made}/change").json()["approval"]["state"] == "approved"


def test_a_script_of_before_approves_what_stands_now(
    client: TestClient, store: Store, example: dict[str, Any], post: Any
) -> None:
    """Without `steps` the approval is of the old values as they are, and of those alone; wrong ones are refused."""
    made = store.create(example, author="me", reason="first").network_id
    later = deepcopy(example)
    later["sites"][0]["offset_us"] = 3
    store.save(made, later, base_revision=1, author="me", reason="moved")
    plan = client.get(f"/api/pages/networks/{made}/change").json()
    sent = {"revision": "2", "checksum": plan["plan"]["checksum"], "author": "me"}
    assert post(f"/networks/{made}/change/approve", **sent, steps="other").status_code == 409
    assert post(f"/networks/{made}/change/approve", **sent).status_code == 303
    assert client.get(f"/api/pages/networks/{made}/change").json()["approval"]["state"] == "approved"
    assert client.get(f"/api/pages/networks/{made}/change?against=1").json()["approval"]["state"] != "approved"


def test_freezing_the_common_delay_keeps_the_approval(
    client: TestClient, store: Store, example: dict[str, Any], post: Any, issue: Callable[[int], int]
) -> None:
    """The issue's own revision gives the same settings: what was approved stays approved, and says for what."""
    made = store.create(example, author="me", reason="first").network_id
    later = deepcopy(example)
    later["sites"][0]["offset_us"] = 3
    store.save(made, later, base_revision=1, author="me", reason="moved")
    plan = client.get(f"/api/pages/networks/{made}/change").json()
    sent = {"revision": "2", "checksum": plan["plan"]["checksum"], "steps": plan["steps"], "author": "me"}
    assert post(f"/networks/{made}/change/approve", **sent).status_code == 303
    assert issue(made) == 3
    approval = client.get(f"/api/pages/networks/{made}/change").json()["approval"]
    assert (approval["state"], approval["by"]) == ("approved", "me")
    assert approval["note"] == "approved for revision 2, which gives the same settings"
