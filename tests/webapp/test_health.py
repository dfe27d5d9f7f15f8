"""What watches the service asks without a name, and hears whether it can work."""

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from webapp.store.passwords import hash_password
from webapp.store.store import Store


def test_both_answer_without_a_name(client_with: Callable[..., TestClient]) -> None:
    """Where a password is in force too; nothing is kept by a cache between."""
    client = client_with(password_hash=hash_password("long-enough-for-a-test"))
    assert client.get("/", follow_redirects=False).status_code == 303
    for address, said in (("/healthz", "ok"), ("/readyz", "ready")):
        answer = client.get(address, follow_redirects=False)
        assert (answer.status_code, answer.json()) == (200, {"status": said})
        assert answer.headers["cache-control"] == "no-store"


def test_a_database_that_is_gone_is_told_without_its_place(client: TestClient, store: Store, tmp_path: Path) -> None:
    """The process still answers."""
    store.close()
    for file in tmp_path.glob("networks.sqlite*"):
        file.unlink()
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert [one["code"] for one in answer.json()["problems"]] == ["store-away"]
    assert str(tmp_path) not in answer.text
    assert client.get("/healthz").status_code == 200


@pytest.mark.skipif(os.geteuid() == 0, reason="whoever may write everywhere is not stopped by a folder's rights")
def test_a_folder_without_rights_is_told(client: TestClient, tmp_path: Path) -> None:
    """Where levels and recordings could not be kept."""
    tmp_path.chmod(0o500)
    try:
        assert "data-unwritable" in client.get("/readyz").text
    finally:
        tmp_path.chmod(0o700)


def test_a_folder_that_is_gone_is_told(client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A volume that was unmounted."""
    settings = client.app.state.settings  # type: ignore[attr-defined]
    monkeypatch.setattr(client.app.state, "settings", replace(settings, data_folder=tmp_path / "away"))  # type: ignore[attr-defined]
    answer = client.get("/readyz")
    assert answer.status_code == 503
    assert [one["code"] for one in answer.json()["problems"]] == ["data-unwritable"]
    assert "away" in answer.json()["problems"][0]["what"]
    assert str(tmp_path) not in answer.text
