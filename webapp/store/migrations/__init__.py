"""From a database of an older program to this one's tables: after a copy, in one transaction, never backwards.

A new table or column is a line in `webapp.store.schema` and a module in ``versions``: ``revision`` a word with its
number, ``down_revision`` the one before. `tests/webapp/test_migrations.py` holds the two to the same tables, and
migrates the first database that ever was.
"""

import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, MetaData, inspect
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem

# Databases from before their version was written into them, by the newest table that they have.
UNMARKED = (("entries", "0002_entries"), ("networks", "0001_networks"))

# Tables that no database has from before its version was written into it.
MARKED = frozenset(
    {"users", "sessions", "tokens", "links", "audit", "drafts", "overlays", "attempts", "common", "jobs"}
)


def prepare(engine: Engine, metadata: MetaData, *, file: Path | None) -> Path | None:
    """Bring a database to the newest tables.

    Parameters
    ----------
    engine : Engine
    metadata : MetaData
        The newest tables.
    file : Path, optional
        The SQLite file, which is copied before anything in it is changed; None for any other database.

    Returns
    -------
    copy : Path or None
        The copy, where the database was of an older version.

    Raises
    ------
    PlanError
        If the database was made by a newer program, or has tables of something else.
    """
    script = _script()
    newest = script.get_current_head()
    with engine.begin() as connection:
        there = _version(connection)
    if there == newest:
        return None
    if there is not None:
        _known(script, there)
    copied = None if there is None or file is None else copy_of(file, before=str(newest))
    with engine.execution_options(writes=True).begin() as connection:
        # Asked again inside: another process may have been first.
        held = _version(connection)
        if held is None:
            metadata.create_all(connection)
            MigrationContext.configure(connection).stamp(script, str(newest))
        elif held != newest:
            _upgrade(connection, script, held)
    return copied


def copy_of(file: Path, *, before: str) -> Path:
    """A copy of a SQLite database beside it, by SQLite's own backup, so that a running writer does no harm."""
    made = file.with_name(f"{file.name}.before-{before}-{datetime.now(UTC):%Y%m%dT%H%M%S%f}")
    with sqlite3.connect(file) as source, sqlite3.connect(made) as target:
        source.backup(target)
    target.close()
    source.close()
    return made


def versions() -> tuple[str, ...]:
    """Every version of the tables, the oldest first."""
    return tuple(reversed([script.revision for script in _script().walk_revisions()]))


def _version(connection: Connection) -> str | None:
    """The version of the tables there; None where there are none yet."""
    tables = set(inspect(connection).get_table_names())
    marked = MigrationContext.configure(connection).get_current_revision() if "alembic_version" in tables else None
    if marked is not None:
        return marked
    if tables & MARKED:
        what = "the database has lost the note of its version (alembic_version)"
        expected = "the last backup: python -m webapp restore FILE --replace"
        raise PlanError([Problem("database", what, expected, code="store-version-lost")])
    return next((version for table, version in UNMARKED if table in tables), None)


def _known(script: ScriptDirectory, version: str) -> None:
    """Refuse a version that this program does not know."""
    if version not in [one.revision for one in script.walk_revisions()]:
        what = f"the database is of version {version}, which this program does not know"
        expected = f"a newer program, or a backup of version {script.get_current_head()} or older"
        raise PlanError([Problem("database", what, expected, code="store-newer", values={"version": version})])


def _upgrade(connection: Connection, script: ScriptDirectory, held: str, *, to: str = "head") -> None:
    """Run what is missing; a database without its version is first given it."""
    context = MigrationContext.configure(connection)
    if context.get_current_revision() is None:
        context.stamp(script, held)

    def missing(revision: Any, _context: MigrationContext) -> Any:
        """The steps from there to the newest."""
        return script._upgrade_revs(to, revision)

    steps: Callable[..., Any] = missing
    with EnvironmentContext(Config(), script, fn=steps) as environment:
        environment.configure(connection=connection)
        environment.run_migrations()


def _script() -> ScriptDirectory:
    """The steps."""
    return ScriptDirectory(str(Path(__file__).parent))
