"""What all processes on one database have in common: a few texts by name."""

import hashlib

from sqlalchemy import insert, select, update
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem
from webapp.store.schema import common

AUDIT_LINES = "audit-lines"
"""How many lines the record ever had, where the database does not count them itself."""
SESSION_KEY = "session-key"
"""By its hash: what signs cookies and links."""


def read(connection: Connection, name: str) -> str | None:
    """The text of a name; None where there is none."""
    found = connection.execute(select(common.c.value).where(common.c.name == name)).scalar()
    return None if found is None else str(found)


def put(connection: Connection, name: str, value: str) -> None:
    """Keep a text."""
    done = connection.execute(update(common).where(common.c.name == name).values(value=value))
    if done.rowcount == 0:
        connection.execute(insert(common).values(name=name, value=value))


def same_key(connection: Connection, session_key: str) -> None:
    """Note by which key this database's processes sign, or hold another process to it.

    Raises
    ------
    PlanError
        If another one signs with another key: whoever is signed in there is not here, and links there open nothing.
    """
    mine, known = hashlib.sha256(session_key.encode()).hexdigest(), read(connection, SESSION_KEY)
    if known is None:
        put(connection, SESSION_KEY, mine)
    elif known != mine:
        what = "secrets.json has another session_key than the processes that served this database before"
        expected = (
            "one data folder for all of them, or a copy of their secrets.json here; where theirs is lost, "
            f"`delete from common where name = '{SESSION_KEY}'` in the database, with every process stopped: "
            "sessions end, and links of before open nothing"
        )
        raise PlanError([Problem("data folder", what, expected, code="session-key-differs")])
