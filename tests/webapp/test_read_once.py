"""A page reads a new revision once, however many of its parts ask for the network; afterwards it is in hand."""

import json
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from sfn.plan.document import Network
from webapp.store.store import Store

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"
PAGES = (
    "",
    "/sites/{site}",
    "/delays",
    "/sheets",
    "/sheets/{site}",
    "/readings",
    "/clocks",
    "/change",
    "/timeline",
    "/sites/{site}/chain",
)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_reads_its_document_once(
    client: TestClient, store: Store, monkeypatch: pytest.MonkeyPatch, page: str
) -> None:
    """Counted where JSON becomes a network; of a second revision, when nothing is asked for the first time."""
    document = json.loads(RIDGE.read_text(encoding="utf-8"))
    number = store.create(document, author="AE", reason="demo").network_id
    address = f"/networks/{number}" + page.format(site=document["sites"][0]["id"])
    assert client.get(address).status_code == 200
    store.save(number, document | {"notes": "another"}, base_revision=1, author="AE", reason="notes")
    read_n = 0
    whole = Network.model_validate_json

    def counted(text: Any) -> Network:
        nonlocal read_n
        read_n += 1
        return whole(text)

    monkeypatch.setattr(Network, "model_validate_json", counted)
    assert client.get(address).status_code == 200
    # The timeline compares with the revision before: what was set.
    assert read_n == (2 if page == "/timeline" else 1), "only this compares both revisions"
    first = read_n
    assert client.get(address).status_code == 200
    assert read_n - first <= 1, "an editing page reads its draft, the timeline the old revision"
