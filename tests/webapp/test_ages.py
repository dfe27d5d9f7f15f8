"""The Ages page: a change of firmware entered, and a site's history with what was read there."""

from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.standing.readings import READING
from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="first").network_id


def test_a_change_is_entered_and_marked(
    client: TestClient, post: Callable[..., Any], store: Store, number: int, example: dict[str, Any]
) -> None:
    """From the form to the document, to the mark on the page and the check."""
    stage = example["sites"][0]["chains"][0]["stages"][-1]
    form = {"base": "1", "stage": stage, "firmware": "v9", "day": "2026-11-21", "author": "Ann"}
    assert stage in client.get(f"/networks/{number}/ages").text
    assert post(f"/networks/{number}/ages", **form).status_code == 303
    saved = next(s for s in store.read(number).document["stages"] if s["id"] == stage)
    assert (saved["firmware"], saved["changed"]) == ("v9", "2026-11-21")
    html = client.get(f"/networks/{number}/ages").text
    assert f"measure again: {stage}" in html

    wrong = post(f"/networks/{number}/ages", **(form | {"day": "soon", "base": "2"}))
    assert wrong.status_code == 422
    assert "is no day" in wrong.text
    assert 'value="v9"' in wrong.text
    conflict = post(f"/networks/{number}/ages", **(form | {"firmware": "v10"}))
    assert conflict.status_code == 409
    odd = post(f"/networks/{number}/ages", **(form | {"base": "newest"}))
    assert odd.status_code == 422
    assert "the number of a revision" in odd.text


def test_a_site_has_its_history(client: TestClient, store: Store, number: int, example: dict[str, Any]) -> None:
    """Revisions that changed it, readings with their difference, chart and table."""
    site = example["sites"][0]
    example["sites"][0]["offset_us"] = site["offset_us"] + 7
    store.save(number, example, base_revision=1, author="Bo", reason="seven later")
    body = {
        "route": "main",
        "as_set": {},
        "readings_us": [100.0],
        "plane": "",
        "test_cable_us": 0.0,
        "demodulator_us": 0.0,
        "taken_at": "2026-11-20 08:30",
        "texts": {},
    }
    from sfn.check.review import review
    from sfn.study.sheet import sheet
    from webapp.store.documents import network_of

    made = sheet(review(network_of(example, ""), problems=()), site["id"])
    plane = made.routes[0].planes[-1]
    body |= {"plane": plane.plane, "readings_us": [plane.passes_us % 1e6 + 0.4]}
    store.entries.add(number, revision=2, site_id=site["id"], kind=READING, made_by="cd", body=body)
    html = client.get(f"/networks/{number}/ages/{site['id']}").text
    assert "seven later" in html
    assert "2026-11-20 08:30" in html
    assert "+0.400" in html.replace("\u202f", " ")
    assert "2026-11-20" in client.get(f"/networks/{number}/ages").text
    assert client.get(f"/networks/{number}/ages/{site['id']}/history.svg").content.startswith(b"<?xml")
    assert client.get(f"/networks/{number}/ages/{site['id']}/history.svg?narrow=true").content.startswith(b"<?xml")
    table = client.get(f"/networks/{number}/ages/{site['id']}/history.csv").text.splitlines()
    assert len(table) == 4
    assert client.get(f"/networks/{number}/ages/nowhere").status_code == 404
