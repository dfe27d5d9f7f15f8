"""What changes figures or stops work is in the record, whoever does it and whatever the disk says."""

import io
import resource
import signal
from collections.abc import Callable
from typing import Any

import pytest
from argon2 import PasswordHasher
from starlette.testclient import TestClient

from tests.webapp.conftest import token_in
from webapp.config.settings import Settings
from webapp.store import passwords
from webapp.store.store import Store

WORDS = "several words do well"
TEAM = {"Admin": "administrator", "Ann": "planner", "Bob": "planner", "Vera": "viewer"}


@pytest.fixture
def by(client_with: Callable[..., TestClient], store: Store, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A browser with somebody signed in, all of one application."""
    monkeypatch.setattr(passwords, "PasswordHasher", lambda: PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
    for name, role in TEAM.items():
        store.accounts.add(name, role=role, password=WORDS)
    app = client_with().app

    def make(name: str) -> TestClient:
        client = TestClient(app, base_url="http://127.0.0.1:8430", raise_server_exceptions=False)
        sent = {"csrf_token": token_in(client.get("/log-in").text), "name": name, "password": WORDS}
        assert client.post("/log-in", data=sent, follow_redirects=False).status_code == 303
        return client

    return make


def send(client: TestClient, address: str, files: Any = None, **fields: str) -> Any:
    """Send a form with its token."""
    sent = {"csrf_token": token_in(client.get("/account").text), **fields}
    return client.post(address, data=sent, files=files, follow_redirects=False)


def test_own_services_and_files_are_in_the_record(
    by: Any, store: Store, example: dict[str, Any], terrain_file: bytes
) -> None:
    """They make issued sheets stale and move every level: who sent them stands there."""
    number = store.create(example, author="Ann", reason="first").network_id
    admin = by("Admin")
    assert send(admin, "/services/upload").status_code == 422, "an empty body is no wish to take services away"
    assert send(admin, "/services/upload", text="").status_code == 303
    files = {"files": ("hill.tif", io.BytesIO(terrain_file))}
    assert send(by("Ann"), f"/networks/{number}/terrain/upload", files, name="hills").status_code == 303
    told = [(one.who, one.action, one.subject) for one in store.audit.lines(most=20)]
    assert ("Admin", "own services taken away", "services.toml") in told
    assert ("Ann", "terrain files", "hills") in told


@pytest.fixture
def terrain_file() -> bytes:
    """A small raster."""
    import numpy as np
    from rasterio.io import MemoryFile
    from rasterio.transform import from_origin

    with MemoryFile() as held:
        with held.open(
            driver="GTiff", width=20, height=20, count=1, dtype="float32", crs="EPSG:4326",
            transform=from_origin(-84.2, 36.3, 0.001, 0.001),
        ) as out:  # fmt: skip
            out.write(np.full((20, 20), 300.0, "float32"), 1)
        return bytes(held.read())


def test_a_full_disk_at_a_terrain_file_is_said_in_words(
    by: Any, store: Store, settings: Settings, example: dict[str, Any]
) -> None:
    """507 as for a save, and nothing half is left. The system's bound of a file's length stands for the disk."""
    number = store.create(example, author="Ann", reason="first").network_id
    ann, before = by("Ann"), resource.getrlimit(resource.RLIMIT_FSIZE)
    files = {"files": ("hill.tif", io.BytesIO(bytes(900_000)))}
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, before[1]))
    try:
        answer = send(ann, f"/networks/{number}/terrain/upload", files, name="hills")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
    assert answer.status_code == 507, answer.text
    assert "the disk is full: the files were not kept" in answer.text
    assert [*(settings.data_folder / "terrain").rglob("*")] == []


def test_nobody_stops_what_another_started(by: Any, store: Store) -> None:
    """A viewer cannot; who started it, and who plans, can: and it is in the record."""
    vera, ann = by("Vera"), by("Ann")
    jobs = vera.app.state.jobs  # type: ignore[attr-defined]
    job = jobs.start(lambda progress: None, title="levels", key="k", result_url=None)
    job.started_by = "Ann"
    refused = send(vera, f"/jobs/{job.id}/cancel")
    assert "You may not do this" in refused.text
    assert "somebody whose role plans: planner, administrator" in refused.text
    assert "form was not sent" not in refused.text
    assert refused.status_code == 403
    assert "Vera did not start this" in refused.text.replace("&#39;", "'")
    assert not job.progress.cancelled
    assert send(vera, f"/api/jobs/{job.id}/cancel").status_code == 403
    assert not job.progress.cancelled
    assert send(ann, f"/jobs/{job.id}/cancel").status_code == 303
    assert job.progress.cancelled
    (line,) = store.audit.lines(action="job cancelled")
    assert (line.who, line.subject, line.body) == ("Ann", "levels", {"started_by": "Ann"})
