"""A digest beside every row that says who may do what, or what stands at a mast: SQLite does not see a turned bit.

| table | what a turned bit could do |
|---|---|
| entries | another setting as what stands there or is gone back to; a signature of another revision, an order gone |
| users, sessions, tokens | somebody comes in as somebody else, or for longer |
| links | a link that was withdrawn or has ended opens again, or opens another sheet |
| networks | a network is gone from the list, or back on it; an older revision in force; a lost reading not missed |
| revisions | somebody else planned it, and may approve it then |
| drafts, overlays | another figure is saved than was typed; a border or a road lies elsewhere |
| jobs | another offset is proposed than was found |

A row is sealed as it is written and looked at as it is read; a change of a row looks at it first, or it would vouch for
the damage. What is of no row (a row that is gone) shows by count: `webapp.store.entries`. Times are read as they are
kept, as text: what is no time any more must be told, not fail. A new column of one of these tables is part of its seal:
its migration seals every row anew. Long texts (`_TEXTS`) have a digest of their own, which the seal covers: a list is
looked at without reading them.
"""

import hashlib
import json
import logging
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, DateTime, Row, Select, String, Table, insert, select, type_coerce, update
from sqlalchemy.engine import Connection

from sfn.errors import Problem
from webapp.store.schema import new_id

LOG = logging.getLogger("webapp.store")

_TEXTS = {"revisions": "document", "drafts": "body", "overlays": "document", "jobs": "answer"}
"""Text of a row that `digest` beside it is of."""
_OUTSIDE = {"entries": frozenset({"digest", "id"})}
"""Of entries the number is not sealed: an import gives another. SQLite's index tells where it was turned."""
HELPS = "the last backup (python -m webapp restore FILE --replace)"


def seal(table: Table, values: Mapping[str, Any]) -> str:
    """SHA-256 of a row, by the columns of its table; what `values` leaves out is null.

    Times are taken as SQLite keeps them.
    """
    kept = [_as_kept(values.get(column.name)) for column in sealed_columns(table)]
    return hashlib.sha256(json.dumps([table.name, *kept]).encode()).hexdigest()


def sealed_columns(table: Table) -> list[Any]:
    """Columns that the seal covers, in the order of the table."""
    outside = _OUTSIDE.get(table.name, frozenset({_kept_in(table), _TEXTS.get(table.name, "")}))
    return [column for column in table.c if column.name not in outside]


def holds(table: Table, row: Row[Any] | Mapping[str, Any]) -> bool:
    """Whether a row, read by `rows`, is what was written; its long text too where that was read."""
    values, text = row if isinstance(row, Mapping) else row._asdict(), _TEXTS.get(table.name, "")
    if text in values and values["digest"] != digest_of(values[text]):
        return False
    return bool(values[_kept_in(table)] == seal(table, values))


def rows(table: Table, *, texts: bool = True) -> Select[Any]:
    """A query of a table's columns, times as they are kept; without long `texts` where nobody needs them."""
    wanted = [c for c in table.c if texts or c.name != _TEXTS.get(table.name)]
    return select(*(type_coerce(c, String).label(c.name) if isinstance(c.type, DateTime) else c for c in wanted))


def _kept_in(table: Table) -> str:
    """The column that has the seal."""
    return "seal" if "seal" in table.c else "digest"


def utc(kept: Any) -> datetime:
    """A time as it is kept, of a row that holds."""
    moment = kept if isinstance(kept, datetime) else datetime.fromisoformat(str(kept))
    return moment.replace(tzinfo=UTC)


def utc_or_none(kept: Any) -> datetime | None:
    """The same where there may be none; None too for what is no time any more."""
    try:
        return None if kept is None else utc(kept)
    except ValueError:
        return None


def put(connection: Connection, table: Table, values: Mapping[str, Any]) -> int:
    """Write a new row, with its seal; its number where the database gives one, else 0."""
    text, where = _TEXTS.get(table.name), _kept_in(table)
    values = values if text is None else {**values, "digest": digest_of(values[text])}
    if "id" in table.c and "id" not in values and table.name not in _OUTSIDE:
        number = new_id(connection.execute(insert(table).values({**values, where: ""})))
        new = {**values, "id": number}
        connection.execute(update(table).where(table.c.id == number).values({where: seal(table, new)}))
        return number
    connection.execute(insert(table).values({**values, where: seal(table, values)}))
    return 0


def change(
    connection: Connection,
    table: Table,
    where: ColumnElement[bool],
    values: Mapping[str, Any],
    *,
    damaged: bool = False,
) -> int:
    """Change rows that hold, and seal them anew; how many.

    With `damaged`, those too that do not hold: only for what takes away what they allow.
    """
    (key,) = (c for c in table.primary_key)
    done = 0
    for row in connection.execute(rows(table).where(where)).all():
        if not damaged and not holds(table, row):
            continue
        there = row._asdict()
        new = {**there, **values}
        wanted = table.c[key.name] == there[key.name]
        connection.execute(update(table).where(wanted).values({**values, _kept_in(table): seal(table, new)}))
        done += 1
    return done


def first(connection: Connection, table: Table, query: Select[Any]) -> Row[Any] | None:
    """The first row of a query made by `rows`, if it holds; damage goes to the log."""
    row = connection.execute(query.limit(1)).first()
    if row is None or holds(table, row):
        return row
    LOG.error("the database is damaged: a row of %s is not what was written; it opens nothing", table.name)
    return None


def unsound(connection: Connection, table: Table) -> tuple[Row[Any], ...]:
    """Rows that are not what was written."""
    return tuple(row for row in connection.execute(rows(table)) if not holds(table, row))


def digest_of(text: object) -> str:
    """SHA-256 of a text as the store keeps it; of what is no text any more, of how it looks."""
    return hashlib.sha256(str(text).encode("utf-8", "surrogatepass")).hexdigest()


def damaged(where: str, *, helps: str, values: Mapping[str, Any] | None = None) -> Problem:
    """That a row is not what was written.

    Parameters
    ----------
    where : str
        Whose, as far as it can still be told.
    helps : str
        What one can do, beside the last backup.
    """
    what = "what the database has of it is not what was written: the database is damaged; nothing rests on it"
    return Problem(where, what, f"{HELPS}, or {helps}", code="store-damaged", values=dict(values or {}))


def _as_kept(value: Any) -> Any:
    """A value as SQLite gives it back."""
    if not isinstance(value, datetime):
        return value.hex() if isinstance(value, bytes) else value
    return value.strftime("%Y-%m-%d %H:%M:%S.%f")
