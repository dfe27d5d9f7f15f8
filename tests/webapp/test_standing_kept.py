"""The record that pages share is the one that would be read anew, whatever was reported, issued or saved meanwhile."""

from collections.abc import Callable
from typing import Any

from starlette.testclient import TestClient

from webapp.store.store import Store
from webapp.store.timeline import LOCK, MUTED, READING, REPLACED, TOLD, standing
from webapp.work.maps import Maps


def test_it_is_the_same_until_something_is_reported(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """Each kind of entry, an issue and a save in turn."""
    number = store.create(example, author="A", reason="first").network_id
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    other = store.create(example, author="A", reason="another").network_id
    field = {"route": "main", "settings": {"codec delay": 3, "exciter delay": 1.5}, "held_at": "2026-11-29T10:00:00Z"}
    happens: list[tuple[str, dict[str, Any]]] = [
        (TOLD, field),
        (READING, field | {"held_at": "2026-11-29T11:00:00Z"}),
        (MUTED, {}),
        (LOCK, {"agrees": True, "held_at": "2026-11-29T11:00:00Z"}),
        (REPLACED, {"fields": ["codec delay"], "held_at": "2026-11-29T12:00:00Z"}),
    ]

    def both() -> Any:
        saved = store.read(number)
        kept = maps.standing(store, saved)
        fresh = standing(store, saved)
        assert kept == fresh
        assert kept.reported == fresh.reported
        assert maps.standing(store, store.read(number)) is kept
        return kept

    before, elsewhere = both(), maps.standing(store, store.read(other))
    issue(number)
    after = both()
    assert after is not before
    for kind, body in happens:
        store.entries.add(number, revision=1, site_id="south", kind=kind, made_by="A", body=body)
        last, after = after, both()
        assert after is not last
    assert maps.standing(store, store.read(other)) is elsewhere
    head = store.read(number)
    changed = {**head.document, "name": "renamed"}
    store.save(number, changed, base_revision=head.revision.number, author="A", reason="renamed")
    assert both().name == "renamed"


def test_what_follows_from_it_is_worked_out_once(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """For the very record; an equal one has its own."""
    number = store.create(example, author="A", reason="first").network_id
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    network = maps.standing(store, store.read(number))
    assert maps.reviewed(network) is maps.reviewed(maps.standing(store, store.read(number)))
    assert maps.reviewed(network.model_copy()) is not maps.reviewed(network)
