"""Who else a stage of a chain feeds."""

from typing import Any

from fastapi.testclient import TestClient

from webapp.store.store import Store


def test_a_stage_is_shared_with_the_other_sites_only(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """By the chains of the document: the converter also feeds the south; the site whose page it is stands nowhere."""
    made = store.create(example, author="me", reason="first")
    answer = client.get(f"/api/pages/networks/{made.network_id}/sites/north/chain").json()
    forms = answer["stages"]
    users = {
        stage["id"]: [s["name"] for s in example["sites"] for c in s["chains"] if stage["id"] in c["stages"]]
        for stage in example["stages"]
    }
    seen = 0
    for form in forms:
        others = [name for name in users[form["fields"]["title"]] if name != "North ridge"]
        assert form["shared_with"] == others
        seen += len(others)
    assert seen == 1
