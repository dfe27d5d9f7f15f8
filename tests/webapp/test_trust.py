"""The trust page shows the stored checks, and every one of them is kept."""

import json

from starlette.testclient import TestClient

from webapp.front.trust import STORED


def test_every_stored_check_is_within_its_tolerance_and_has_a_source() -> None:
    """What the page shows was passed when it was stored."""
    rows = json.loads(STORED.read_text(encoding="utf-8"))

    assert len(rows) > 300
    assert all(abs(row["ours"] - row["theirs"]) <= row["tolerance"] for row in rows)
    assert all(row["source"].strip() and row["reason"].strip() for row in rows)


def test_the_page_groups_them_by_source(client: TestClient) -> None:
    """The worked example and the Recommendation both stand there."""
    html = client.get("/trust").text

    assert "worked example" in html
    assert "P.1812" in html
