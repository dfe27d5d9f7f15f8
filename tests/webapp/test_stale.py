"""A sheet that was issued does not change under its signature: with other figures it is stale until it is issued anew."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.on_air.site_links import made_link
from webapp.store.entries import ISSUE
from webapp.store.store import Store


def text_of(client: TestClient, address: str) -> str:
    """A page with plain spaces."""
    return client.get(address).text.replace("\u202f", " ")


@pytest.fixture
def other_figures(client: TestClient, post: Callable[..., Any]) -> Callable[[], None]:
    """Send a services file in which FM stereo bears 8 us instead of 5."""
    shipped = client.get("/services/shipped.toml").text
    start = shipped.index('id = "fm-stereo"')
    entry = shipped[shipped.rindex("[[service]]", 0, start) : shipped.index("\n[[", start)]
    changed, count = re.subn(r"(?m)^tolerance_us = .*$", "tolerance_us = 8", entry)
    assert count == 1

    def send() -> None:
        assert post("/services/upload", text=f"format = 1\n\n{changed}").status_code == 303

    return send


def test_other_figures_make_an_issued_sheet_stale_everywhere(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int],
    other_figures: Callable[[], None],
) -> None:  # fmt: skip
    """Page, technician's link, PDF, list and change plan; none shows the setting as issued."""
    number = store.create(example, author="test", reason="test").network_id
    revision = issue(number)
    sheet = f"/networks/{number}/sheets/gap"
    was = next(e.body["checksum"] for e in store.entries.of(number, kind=ISSUE, site_id="gap"))
    link = f"/site/{made_link('test-key-of-the-tests-that-nobody-guesses', network_id=number, site_id='gap', revision=revision, days=1)}"
    assert f"checksum <b>{was}</b>" in text_of(client, sheet)
    assert "repeater delay: 14.5 µs" in text_of(client, link)

    other_figures()

    now = re.search(r"checksum <b>(\w+)</b>", text_of(client, sheet))
    assert now is not None
    assert now[1] != was
    said = f"checksum {was}, now {now[1]}; issue anew"
    for page in (sheet, link, f"/networks/{number}/sheets", f"/networks/{number}/change"):
        assert said in text_of(client, page), page
    for page in (sheet, link):
        assert "STALE" in text_of(client, page)
        assert "14.5 µs" not in text_of(client, page)
    assert "stale: issue anew" in text_of(client, f"/networks/{number}/change")
    paper = client.get(f"{sheet}/sheet.pdf")
    assert "not-issued" in paper.headers["content-disposition"]


def test_it_is_signed_and_issued_anew_and_stands_again(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int],
    other_figures: Callable[[], None], post: Callable[..., Any],
) -> None:  # fmt: skip
    """The old name signed other figures: the issue waits for a new one, then the sheet is what it was issued as."""
    number = store.create(example, author="test", reason="test").network_id
    revision = issue(number)
    other_figures()
    refused = post(f"/networks/{number}/sheets/issue", revision=str(revision), issued_by="A. Planner")
    assert refused.status_code == 422
    assert "is not signed off" in refused.text

    assert issue(number) == revision
    sheet = text_of(client, f"/networks/{number}/sheets/gap")
    assert "STALE" not in sheet
    assert "repeater delay: 14.5 µs" in sheet
    assert "0.80 µs" in sheet
    assert "STALE" not in text_of(client, f"/networks/{number}/sheets")


def test_figures_taken_back_make_the_first_issue_good_again(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int],
    other_figures: Callable[[], None], post: Callable[..., Any],
) -> None:  # fmt: skip
    """The sheet is then again what was issued."""
    number = store.create(example, author="test", reason="test").network_id
    issue(number)
    before = text_of(client, f"/networks/{number}/sheets/gap")
    other_figures()
    assert post("/services/upload", text="").status_code == 303

    after = text_of(client, f"/networks/{number}/sheets/gap")
    assert "STALE" not in after
    assert re.findall(r"<h4>.*</h4>", after) == re.findall(r"<h4>.*</h4>", before)
