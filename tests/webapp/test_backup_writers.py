"""Backups while several write: each is one moment of the store between saves, and is restored as that."""

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from webapp.config.settings import Settings, read_settings
from webapp.store.backup import backup, verify
from webapp.store.restore import restore
from webapp.store.store import Store

WRITERS, BACKUPS = 4, 3


class Writer(threading.Thread):
    """Saves one network again and again, an entry after each, and notes when each save was begun and answered."""

    def __init__(self, settings: Settings, example: dict[str, Any], stop: threading.Event) -> None:
        super().__init__()
        self.store, self.example, self.stop = Store(settings.database_url), example, stop
        self.id = self.store.create(example, author="Ada", reason="first").network_id
        self.begun_s, self.answered_s = [0.0], [0.0]

    def run(self) -> None:
        """Until told to end."""
        number = 1
        while not self.stop.is_set():
            self.begun_s.append(time.monotonic())
            document = {**self.example, "notes": str(number + 1)}
            number = self.store.save(self.id, document, base_revision=number, author="Ada", reason="again").number
            self.answered_s.append(time.monotonic())
            self.store.entries.add(
                self.id, revision=number, site_id="north", kind="note", made_by="Ada", body={"of": number}
            )
        self.store.close()


@pytest.fixture
def writers(settings: Settings, store: Store, example: dict[str, Any]) -> Iterator[list[Writer]]:
    """At work."""
    stop = threading.Event()
    made = [Writer(settings, example, stop) for _ in range(WRITERS)]
    for one in made:
        one.start()
    yield made
    stop.set()
    for one in made:
        one.join()


def test_each_backup_is_one_moment(writers: list[Writer], settings: Settings, tmp_path: Path) -> None:
    """All that was answered before it began is in it, nothing that was begun after its end, and no half of anything."""
    for n in range(BACKUPS):
        while min(len(one.answered_s) for one in writers) < 2 * n + 3:
            time.sleep(0.01)
        began_s = time.monotonic()
        backup(settings, tmp_path / f"{n}.zip", whole=False)
        ended_s = time.monotonic()
        assert verify(tmp_path / f"{n}.zip").faults == ()
        there = read_settings({"SFN_DELAYS_DATA": str(tmp_path / f"restored-{n}")})
        restore(there, tmp_path / f"{n}.zip", replace=False)
        held = Store(there.database_url)
        for one in writers:
            newest = held.read(one.id)
            answered_n = sum(at < began_s for at in one.answered_s[:])
            begun_n = sum(at < ended_s for at in one.begun_s[:])
            assert answered_n <= newest.revision.number <= begun_n
            assert newest.document.get("notes") == str(newest.revision.number)
            noted = [entry.body["of"] for entry in held.entries.of(one.id, kind="note")]
            assert noted == list(range(2, len(noted) + 2))
            assert newest.revision.number - len(noted) in (1, 2), "an entry comes after its save"
        assert held.audit.verify().faults == ()
        held.close()
