"""A document that takes the frozen common delay back after sheets were issued says so, wherever it is looked at."""

from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store.frozen import unfrozen
from webapp.store.store import Store

CODE = "common-delay-unfrozen"
# contracts.md, worked example: 122 100.4549 - 0 + 500.
FROZEN_US = 122_600.4549


@pytest.fixture
def number(store: Store, example: dict[str, Any], issue: Callable[[int], int]) -> int:
    """The example, its sheets issued: revision 2 has the common delay frozen."""
    made = store.create(example, author="test", reason="test").network_id
    assert issue(made) == 2
    return made


def test_an_old_revision_restored_says_that_it_thaws_the_common_delay(
    client: TestClient, post: Callable[..., Any], store: Store, number: int
) -> None:
    """On every page of the network, in the change plan, the check, the delays and the answer of the restore."""
    assert unfrozen(store, number, store.read(number).document) == ()
    assert "no longer as issued" not in client.get(f"/networks/{number}/change").text
    assert post(f"/networks/{number}/revisions/1/restore", author="Ada").status_code == 303
    for page in ("revisions", "change", "sheets", "delays", ""):
        text = client.get(f"/networks/{number}/{page}".rstrip("/")).text.replace("\u202f", " ")
        assert "Common delay no longer as issued" in text, page
        assert "frozen at 122 600.4549 µs; this revision makes it automatic again" in text, page
    for answer in ("check", "delays"):
        problems = client.get(f"/api/networks/{number}/{answer}").json()["problems"]
        (found,) = [one for one in problems if one["code"] == CODE]
        assert found["values"]["frozen_us"] == pytest.approx(FROZEN_US, abs=1e-4)
    plan = client.get(f"/api/pages/networks/{number}/change").json()
    assert [CODE] == [one["code"] for one in plan["network"]["unfrozen"]]


def test_thawing_is_signed_for_at_every_site_that_is_set_anew(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, issue: Callable[[int], int]
) -> None:
    """Nothing goes out without names; the sheets that do name the issue before and its common delay."""
    moved = store.read(number).document | {"common_delay": {"mode": "automatic", "margin_us": 700}}
    store.save(number, moved, base_revision=2, author="Ada", reason="an older export")
    answer = client.get(f"/api/networks/{number}/check").json()
    assert [one["code"] for one in answer["problems"]].count(CODE) == 1
    verdicts = {one["site"]: one for one in answer["verdicts"] if one["route"] == "main"}
    assert {site: (one["verdict"], CODE in one["reasons"]) for site, one in verdicts.items()} == dict.fromkeys(
        ("north", "south", "gap"), ("sign-off", True)
    )
    rows = client.get(f"/api/networks/{number}/delays").json()["sites"]
    assert all(CODE in row["reasons"] for row in rows)
    refused = post(f"/networks/{number}/sheets/issue", revision="3", issued_by="A. Planner")
    assert refused.status_code == 422
    text = client.get(f"/networks/{number}/sheets").text.replace("\u202f", " ")
    assert "first issue" not in text
    assert "automatic again: it was frozen when sheets went out" in text

    assert issue(number) == 4
    sheet = client.get(f"/networks/{number}/sheets/north").text.replace("\u202f", " ")
    assert "revision 2 went out with 122 600.4549 µs, this one with 122 800.4549 µs" in sheet
    assert "−200.0000 µs off the others" in sheet
    assert CODE not in client.get(f"/api/networks/{number}/check").text


def test_scripts_are_told_when_they_save(client: TestClient, store: Store, number: int) -> None:
    """PUT and restore under /api, and the same actions under /api/pages; the way back tells nothing."""
    document = store.read(number).document
    moved = {**document, "common_delay": {"mode": "fixed", "value_us": FROZEN_US + 100}}
    body = {"document": moved, "base_revision": 2, "author": "Ada", "reason": "an older export"}
    (found,) = client.put(f"/api/networks/{number}", json=body).json()["problems"]
    assert (CODE, pytest.approx(100, abs=1e-3)) == (found["code"], found["values"]["moved_us"])
    assert "every launch moves by +100.000" in found["what"]
    back = client.post(f"/api/networks/{number}/restore", json={"revision": 2, "base_revision": 3, "author": "Ada"})
    assert [] == back.json()["problems"]
    old = client.post(f"/api/networks/{number}/restore", json={"revision": 1, "base_revision": 4, "author": "Ada"})
    assert [CODE] == [one["code"] for one in old.json()["problems"]]
    again = client.post(f"/api/pages/networks/{number}/revisions/1/restore", json={"author": "Ada"})
    assert [CODE] == [one["code"] for one in again.json()["problems"]]
    fields = {"base_revision": 6, "author": "Ada", "common_delay-mode": "fixed", "common_delay-margin_us": ""}
    fields |= {"common_delay-value_us": "122600.4549"}
    saved = client.post(f"/api/pages/networks/{number}/edit", json=fields, follow_redirects=False)
    assert ["next"] == list(saved.json()), saved.text
    fields = {"base_revision": 7, "author": "Ada", "common_delay-value_us": "122601"}
    answer = client.post(f"/api/pages/networks/{number}/edit", json=fields, follow_redirects=False)
    assert [CODE] == [one["code"] for one in answer.json()["problems"]], answer.text


def test_nothing_is_said_before_the_first_issue(store: Store, example: dict[str, Any]) -> None:
    """Nothing went out: nothing is frozen."""
    made = store.create(example, author="test", reason="test").network_id
    assert unfrozen(store, made, {"common_delay": {"mode": "fixed", "value_us": 1.0}}) == ()
