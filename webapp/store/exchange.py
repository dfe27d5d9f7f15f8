"""Everything in a store as JSON lines, and back into any store: for another database, or another program.

The first line says what it is; then, for each network, its row, its revisions and its entries, the oldest first; the
last line counts them. Users, tokens and the record stay behind: they belong to an installation (`webapp.store.backup`).
"""

import hashlib
import json
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.engine import Connection
from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import PlanError, Problem
from webapp.config.limits import LONGEST_LINE_N
from webapp.store import revision_rows
from webapp.store.documents import network_of
from webapp.store.entries import SET_ASIDE, Entries
from webapp.store.network_rows import counted, row_of
from webapp.store.schema import entries, networks, revisions
from webapp.store.seals import put
from webapp.store.store import Store

KIND = "sfn-delays store"
FORMAT = 1
_TABLES = {"network": networks, "revision": revisions, "entry": entries}
_HERE_ALONE = frozenset({"digest", "seal", "entries_n", "overlays_n"})
"""Of texts and rows as this store keeps them, and how many: an export has what they are of, and a digest of its own."""
_TIMES = ("deleted_at", "saved_at", "made_at")


def exported(store: Store) -> Iterator[str]:
    """The lines of a store; the whole in one state, whatever is being saved."""
    digest, count = hashlib.sha256(), 0
    with store.reading() as connection:
        for line in _lines(connection, store.entries):
            digest.update(line.encode())
            count += 1
            yield line
    yield _text({"end": {"lines": count, "sha256": digest.hexdigest()}})


def imported(store: Store, lines: Iterable[str]) -> int:
    """Put all networks of an export beside those that are there; all, or none where something is wrong.

    Returns
    -------
    networks : int
        How many; each has another number here.

    Raises
    ------
    PlanError
        If it is no export, is cut off or changed, or holds a document that cannot be read; with the line.
    """
    ids: dict[int, int] = {}
    digest, count, ended = hashlib.sha256(), 0, False
    with store.writing() as connection:
        for number, line in enumerate(lines, 1):
            said = _read(line, number)
            kind, values = next(iter(said.items()))
            if number == 1:
                if kind != "store" or values.get("kind") != KIND or values.get("format") != FORMAT:
                    raise _wrong(number, "is no export of this program", "a file that `export` wrote")
            elif kind == "end":
                if values != {"lines": count, "sha256": digest.hexdigest()}:
                    raise _wrong(number, "the lines before it were changed", "the file as `export` wrote it")
                ended = True
                continue
            else:
                _put(connection, kind, values, ids, number)
            digest.update(line.encode())
            count += 1
        if not ended:
            raise _wrong(count + 1, "the end is missing: it was cut off", "the whole file")
        store.audit.add("imported", body={"networks": len(ids)}, within=connection)
    return len(ids)


def _lines(connection: Connection, kept: Entries) -> Iterator[str]:
    """All but the end; a damaged entry that somebody set aside stays behind."""
    yield _text({"store": {"kind": KIND, "format": FORMAT}})
    numbers = select(networks.c.id).union(select(revisions.c.network_id))
    for number in sorted(connection.execute(numbers).scalars()):
        row_of(connection, number, even_deleted=True)
        network = connection.execute(select(networks).where(networks.c.id == number)).one()
        kept.look(connection, number)
        yield _text({"network": _plain(network._asdict())})
        for kind, table, order in (("revision", revisions, revisions.c.number), ("entry", entries, entries.c.id)):
            query = select(table).where(table.c.network_id == network.id).order_by(order)
            if kind == "entry":
                query = query.where(entries.c.id.not_in(kept.unsound(connection, network.id)))
            if kind == "revision":
                for row in connection.execute(revision_rows.of(number, texts=True)):
                    revision_rows.sound(row)
            for row in connection.execute(query):
                yield _text({kind: _plain(row._asdict())})


def _plain(row: dict[str, Any]) -> dict[str, Any]:
    """A row as JSON: times in ISO 8601, UTC; documents and bodies as themselves."""
    told = {key: value for key, value in row.items() if key not in _HERE_ALONE}
    made = {key: f"{value.isoformat()}Z" if isinstance(value, datetime) else value for key, value in told.items()}
    return {key: json.loads(value) if key in ("document", "body") else value for key, value in made.items()}


def _text(said: dict[str, Any]) -> str:
    return json.dumps(said, ensure_ascii=False, allow_nan=False) + "\n"


def _read(line: str, number: int) -> dict[str, Any]:
    """One line."""
    try:
        said = json.loads(line) if len(line) <= LONGEST_LINE_N else None
    except (ValueError, RecursionError):
        said = None
    if not isinstance(said, dict) or len(said) != 1 or not all(isinstance(one, dict) for one in said.values()):
        raise _wrong(number, "cannot be read", "one JSON object, as `export` wrote it")
    return said


def _put(connection: Connection, kind: str, values: dict[str, Any], ids: dict[int, int], number: int) -> None:
    """One row, under its network's number here."""
    table = _TABLES.get(kind)
    if table is None or set(values) != {column.name for column in table.c} - _HERE_ALONE:
        raise _wrong(number, f"holds {kind[:40]!r} with other keys than this program has", "an export of this version")
    row = dict(values)
    try:
        for key in _TIMES:
            if row.get(key) is not None:
                row[key] = datetime.fromisoformat(row[key].removesuffix("Z"))
        if kind == "network":
            old = row.pop("id")
            ids[old] = put(connection, networks, {**row, "entries_n": 0, "overlays_n": 0})
            return
        if row["network_id"] not in ids:
            what = f"belongs to network {str(row['network_id'])[:40]}, which does not stand before it"
            raise _wrong(number, what, "the lines in the order in which `export` wrote them")
        row["network_id"] = ids[row["network_id"]]
        if kind == "entry":
            row.pop("id")
            if row["kind"] == SET_ASIDE:  # entries have other numbers here, and the damaged one stayed behind
                row["body"] = {**row["body"], "entry": 0}
            row["body"] = json.dumps(row["body"], ensure_ascii=False)
            counted(connection, row["network_id"], 1)
        else:
            network_of(row["document"], "")  # to be readable, whatever its service says
            row["document"] = json.dumps(row["document"], ensure_ascii=False)
        put(connection, table, row)
    except PlanError as refused:
        raise _wrong(number, refused.problems[0].what, refused.problems[0].expected) from refused
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError, SQLAlchemyError) as refused:
        what = f"holds a value that no {kind} has: a number beyond 63 bits, a time that is none, or text for a number"
        raise _wrong(number, what, "an export of this version, as it was written") from refused


def _wrong(number: int, what: str, expected: str) -> PlanError:
    return PlanError([Problem(f"line {number}", what, expected, code="store-import", values={"line": number})])
