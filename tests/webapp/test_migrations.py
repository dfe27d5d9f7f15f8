"""Databases of older programs become this one's, after a copy; newer and damaged ones are refused in words."""

import json
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import create_engine

from sfn.errors import PlanError
from webapp.store.migrations import _script, _upgrade, versions
from webapp.store.schema import METADATA
from webapp.store.store import Store

# The first database that was ever landed, as SQLite's own .schema prints it; and the table that came next.
FIRST = """
CREATE TABLE networks (
    id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, name VARCHAR NOT NULL, service VARCHAR NOT NULL,
    sites INTEGER NOT NULL, head INTEGER NOT NULL, deleted_at DATETIME
);
CREATE TABLE revisions (
    network_id INTEGER NOT NULL, number INTEGER NOT NULL, saved_at DATETIME NOT NULL, author VARCHAR NOT NULL,
    reason VARCHAR NOT NULL, checksum VARCHAR(8) NOT NULL, document TEXT NOT NULL,
    PRIMARY KEY (network_id, number), FOREIGN KEY(network_id) REFERENCES networks (id)
);
"""
SECOND = """
CREATE TABLE entries (
    id INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT, network_id INTEGER NOT NULL, revision INTEGER NOT NULL,
    site_id VARCHAR NOT NULL, kind VARCHAR NOT NULL, made_at DATETIME NOT NULL, made_by VARCHAR NOT NULL,
    body TEXT NOT NULL, FOREIGN KEY(network_id) REFERENCES networks (id)
);
CREATE INDEX ix_entries_network_id ON entries (network_id);
"""


def old(path: Path, example: dict[str, Any], *, schema: str) -> str:
    """A database of before, with a network in it; gives its URL."""
    with sqlite3.connect(path) as made:
        made.executescript(schema)
        made.execute("insert into networks values (1, 'Example', 'fm-stereo', 3, 1, null)")
        row = (1, 1, "2026-11-25 09:20:00.000000", "Ada", "first", "abcdef01", json.dumps(example))
        made.execute("insert into revisions values (?, ?, ?, ?, ?, ?, ?)", row)
        if "entries" in schema:
            entry = (1, 1, 1, "north", "sign-off", "2026-11-25 10:00:00.000000", "Ada", '{"note": "x"}')
            made.execute("insert into entries values (?, ?, ?, ?, ?, ?, ?, ?)", entry)
    made.close()
    return f"sqlite:///{path}"


@pytest.mark.parametrize("schema", [FIRST, FIRST + SECOND], ids=["the first", "the second"])
def test_an_old_store_is_migrated_after_a_copy(tmp_path: Path, example: dict[str, Any], schema: str) -> None:
    """What was in it is in it, it can be written, its tables are this program's, and the copy is what it was."""
    path = tmp_path / "networks.sqlite"
    url = old(path, example, schema=schema)
    store = Store(url)
    assert store.read(1).document == example
    assert [one.damaged for one in (*store.summaries(), *store.history(1))] == [False, False]
    assert store.save(1, example, base_revision=1, author="Grace", reason="again").number == 2
    assert len(store.entries.of(1)) == schema.count("entries (\n")
    store.close()
    Store(url).close()  # nothing more to do
    copies = list(tmp_path.glob("networks.sqlite.before-*"))
    assert len(copies) == 1
    with sqlite3.connect(copies[0]) as copy:
        assert copy.execute("select count(*) from revisions").fetchone() == (1,)
        assert copy.execute("select count(*) from sqlite_master where name = 'users'").fetchone() == (0,)
        assert copy.execute("pragma integrity_check").fetchone() == ("ok",)
    copy.close()
    assert differences(url) == []


def test_drafts_and_overlays_of_before_are_sealed(tmp_path: Path, example: dict[str, Any]) -> None:
    """Of the version before they had a seal: read as they were, and a bit turned after that is told."""
    path = tmp_path / "networks.sqlite"
    url = old(path, example, schema=FIRST + SECOND)
    engine = create_engine(url)
    with engine.begin() as connection:
        _upgrade(connection, _script(), "0002_entries", to="0009_shared")
    engine.dispose()
    moment = "2026-11-29 10:00:00.000000"
    with sqlite3.connect(path) as made:
        body = json.dumps({"document": example})
        made.execute("insert into drafts values (1, 'key', 1, 1, null, ?, ?)", (moment, body))
        row = (1, 1, "Roads", "Own", moment, '["Cut."]', '{"features": []}')
        made.execute("insert into overlays values (?, ?, ?, ?, ?, ?, ?)", row)
    made.close()
    store = Store(url)
    step, (kept,) = store.drafts.read(1, "key"), store.overlays.of(1)
    assert step is not None
    assert step.body == {"document": example}
    assert (kept.name, kept.says, kept.damaged, store.overlays.gone_n(1)) == ("Roads", ("Cut.",), False, 0)
    assert store.overlays.document(1, 1) == '{"features": []}'
    with sqlite3.connect(path) as behind:
        behind.execute("update drafts set body = replace(body, 'north', 'nosth')")
        behind.execute("update overlays set document = replace(document, 'features', 'featuret')")
    behind.close()
    for ask in (lambda: store.drafts.read(1, "key"), lambda: store.overlays.document(1, 1)):
        with pytest.raises(PlanError, match="not what was written"):
            ask()
    store.close()
    assert len(list(tmp_path.glob(f"networks.sqlite.before-{versions()[-1][:4]}*"))) == 1


def test_a_new_store_has_the_tables_of_a_migrated_one(tmp_path: Path) -> None:
    """A table in `webapp.store.schema` without its step, or the other way round, fails here or in the test above."""
    url = f"sqlite:///{tmp_path / 'networks.sqlite'}"
    Store(url).close()
    assert differences(url) == []
    assert not list(tmp_path.glob("*.before-*"))
    with sqlite3.connect(tmp_path / "networks.sqlite") as made:
        assert made.execute("select version_num from alembic_version").fetchall() == [(versions()[-1],)]
    made.close()


def differences(url: str) -> list[Any]:
    """What a database has otherwise than `webapp.store.schema`."""
    engine = create_engine(url)
    with engine.connect() as connection:
        found = compare_metadata(MigrationContext.configure(connection), METADATA)
    engine.dispose()
    return found


def test_a_newer_store_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    """A program does not write into what it does not know."""
    path = tmp_path / "networks.sqlite"
    Store(f"sqlite:///{path}").close()
    with sqlite3.connect(path) as made:
        made.execute("update alembic_version set version_num = '9999_later'")
    made.close()
    before = path.read_bytes()
    with pytest.raises(PlanError) as refused:
        Store(f"sqlite:///{path}")
    assert ("store-newer", "9999_later") == (
        refused.value.problems[0].code, refused.value.problems[0].values["version"],
    )  # fmt: skip
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"no database at all" * 300, "store-damaged"), (b"SQLite format 3\0" + b"\xff" * 4000, "store-damaged")],
)
def test_a_damaged_store_says_so(tmp_path: Path, content: bytes, code: str) -> None:
    """And names the way out; nothing of it is overwritten."""
    path = tmp_path / "networks.sqlite"
    path.write_bytes(content)
    with pytest.raises(PlanError) as refused:
        Store(f"sqlite:///{path}")
    problem = refused.value.problems[0]
    assert (code, str(path)) == (problem.code, problem.where)
    assert "restore" in problem.expected
    assert path.read_bytes() == content


def test_a_folder_that_is_not_there_says_so(tmp_path: Path) -> None:
    """Not a traceback."""
    with pytest.raises(PlanError) as refused:
        Store(f"sqlite:///{tmp_path / 'nowhere' / 'networks.sqlite'}")
    assert refused.value.problems[0].code == "store-unreachable"
