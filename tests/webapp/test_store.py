"""The store: revisions, two people at once, undoable deletion, and what survives a kill."""

import os
import signal
import sqlite3
import subprocess
import sys
import threading
from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest

from sfn.errors import PlanError
from sfn.plan import checksum
from webapp.config.settings import Settings
from webapp.store.documents import network_of
from webapp.store.store import ConflictError, MissingError, Store

Document = dict[str, Any]


def changed(document: Document, **changes: Any) -> Document:
    """A copy with some of the network's own fields changed."""
    return {**deepcopy(document), **changes}


def test_every_save_is_a_revision(store: Store, example: Document) -> None:
    """Each save keeps its time, author, reason and checksum, and the document exactly as it was given."""
    first = store.create(example, author="Ada", reason="start")
    second = store.save(
        first.network_id, changed(example, notes="x"), base_revision=1, author="Ben", reason="a note for all"
    )
    assert [2, 1] == [r.number for r in store.history(first.network_id)]
    assert ("Ben", "a note for all") == (second.author, second.reason)
    assert first.checksum == checksum(network_of(example, ""))
    assert first.checksum != second.checksum
    assert example == store.read(first.network_id, 1).document
    assert list(example) == list(store.read(first.network_id, 1).document), "keys keep the order they were typed in"
    assert "x" == store.read(first.network_id).document["notes"]


def test_second_of_two_savers_is_told_and_keeps_everything(store: Store, example: Document) -> None:
    """A save from an older base writes nothing and gives back base, theirs and mine."""
    made = store.create(example, author="Ada", reason="start")
    theirs, mine = changed(example, notes="theirs"), changed(example, notes="mine")
    store.save(made.network_id, theirs, base_revision=1, author="Ben", reason="first")
    with pytest.raises(ConflictError) as caught:
        store.save(made.network_id, mine, base_revision=1, author="Cy", reason="second")
    assert example == caught.value.base.document
    assert theirs == caught.value.theirs.document
    assert mine == caught.value.mine
    assert 2 == len(store.history(made.network_id))


def test_of_many_at_once_exactly_one_wins(store: Store, example: Document) -> None:
    """Eight threads saving from the same base: one revision, seven conflicts, no other failure."""
    made = store.create(example, author="Ada", reason="start")
    outcomes: list[str] = []

    def save(n: int) -> None:
        try:
            store.save(made.network_id, changed(example, notes=str(n)), base_revision=1, author=str(n), reason="race")
            outcomes.append("saved")
        except ConflictError:
            outcomes.append("conflict")

    threads = [threading.Thread(target=save, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert ["conflict"] * 7 + ["saved"] == sorted(outcomes)
    assert 2 == len(store.history(made.network_id))


def test_restore_makes_a_new_revision(store: Store, example: Document) -> None:
    """Restoring goes forward: the old document becomes the newest revision, and nothing disappears."""
    made = store.create(example, author="Ada", reason="start")
    store.save(made.network_id, changed(example, notes="worse"), base_revision=1, author="Ben", reason="try")
    third = store.restore(made.network_id, 1, base_revision=2, author="Ada")
    assert 3 == third.number
    assert "revision 1 restored" == third.reason
    assert example == store.read(made.network_id).document


def test_unusable_document_is_never_saved(store: Store, example: Document) -> None:
    """What the engine cannot read is refused with its place, and no revision is made."""
    made = store.create(example, author="Ada", reason="start")
    with pytest.raises(PlanError) as caught:
        store.save(made.network_id, changed(example, frequency_mhz=-1), base_revision=1, author="Ben", reason="slip")
    assert ["frequency_mhz"] == [p.where for p in caught.value.problems]
    assert 1 == len(store.history(made.network_id))


def test_deleting_is_undone(store: Store, example: Document) -> None:
    """A deleted network is off the list and unreadable, and comes back whole."""
    made = store.create(example, author="Ada", reason="start")
    store.delete(made.network_id)
    assert () == store.summaries()
    assert [made.network_id] == [s.id for s in store.summaries(deleted=True)]
    with pytest.raises(MissingError):
        store.read(made.network_id)
    with pytest.raises(MissingError):
        store.save(made.network_id, example, base_revision=1, author="Ben", reason="too late")
    store.undelete(made.network_id)
    assert example == store.read(made.network_id).document
    with pytest.raises(MissingError):
        store.undelete(made.network_id)


def test_missing_network_or_revision_says_so(store: Store, example: Document) -> None:
    """What was never there raises `MissingError`, not an empty answer."""
    with pytest.raises(MissingError):
        store.read(99)
    made = store.create(example, author="Ada", reason="start")
    with pytest.raises(MissingError):
        store.read(made.network_id, 7)
    with pytest.raises(MissingError):
        store.history(99)


SAVER = """
import json, sys, time
from pathlib import Path
from webapp.store.store import Store
store = Store(sys.argv[1])
document = json.loads(Path(sys.argv[2]).read_text(encoding="utf-8"))
made = store.create(document, author="Ada", reason="start")
for n in range(1, 20):
    document["notes"] = f"save {n}"
    store.save(made.network_id, document, base_revision=n, author="Ada", reason=f"save {n}")
    print(n, flush=True)
time.sleep(60)
"""


def test_answered_save_survives_kill(settings: Settings) -> None:
    """A process is killed with SIGKILL the moment it has told of its fifth save: that save is there."""
    root = Path(__file__).parents[2]
    example = root / "tests" / "sfn" / "example-network.json"
    process = subprocess.Popen(
        [sys.executable, "-c", SAVER, settings.database_url, str(example)],
        cwd=root,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(root)},
    )
    assert process.stdout is not None
    for line in process.stdout:
        if line.strip() == "5":
            os.kill(process.pid, signal.SIGKILL)
            break
    process.stdout.close()
    assert -signal.SIGKILL == process.wait()
    store = Store(settings.database_url)
    saved = {r.number: r for r in store.history(1)}
    assert "save 5" == saved[6].reason
    assert "save 5" == store.read(1, 6).document["notes"]
    store.close()


@pytest.mark.sqlite
def test_sqlite_writes_through_to_the_disk(store: Store, settings: Settings) -> None:
    """Write-ahead log, and FULL synchronisation on the connection that writes: a power cut loses no answered save."""
    with store._writing.begin() as connection:
        assert 2 == connection.exec_driver_sql("PRAGMA synchronous").scalar(), "2 is FULL"
        assert 1 == connection.exec_driver_sql("PRAGMA foreign_keys").scalar()
    plain = sqlite3.connect(settings.database_url.removeprefix("sqlite:///"))
    assert ("wal",) == plain.execute("PRAGMA journal_mode").fetchone()
    plain.close()
