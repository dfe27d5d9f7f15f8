"""The audit trail: who did what, when and from where; only ever added to, each line sealed with the one before.

A line's hash is SHA-256 over the hash of the line before it and its own fields as JSON, so that a changed, removed or
inserted line shows. A cut-off end shows in SQLite's own count of the lines that were ever written, or in ours beside
PostgreSQL's table, as long as that is left alone: whoever may write the database can change it too, so note the last
hash that `verify` gives elsewhere.
"""

import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Engine, Select, func, insert, select
from sqlalchemy.engine import Connection

from webapp.store.common import AUDIT_LINES, put, read
from webapp.store.schema import audit

START = "0" * 64
"""What stands before the first line."""


@dataclass(frozen=True, slots=True)
class Acting:
    """Who is doing what is being done: set for each request and each command."""

    who: str
    role: str
    via: str
    address: str
    remark: str = ""
    """A name that was typed beside a proven one."""
    scope: str = "write"
    """Of the token that is used (`webapp.store.roles.SCOPES`)."""


_PROGRAM = Acting("", "", "program", "")
ACTING: ContextVar[Acting] = ContextVar("acting", default=_PROGRAM)


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that was done."""

    id: int
    at: str
    who: str
    role: str
    via: str
    address: str
    action: str
    network_id: int | None
    subject: str
    body: dict[str, Any]
    before: str
    hash: str

    def as_json(self) -> dict[str, Any]:
        """The line as it is given out."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Verified:
    """What looking through the trail found."""

    lines: int
    last: str
    """Hash of the last line."""
    faults: tuple[str, ...]
    """What does not hold, the first twenty."""


class Audit:
    """The audit trail in one database."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime]) -> None:
        self._engine, self._clock = engine, clock
        self._counted = engine.dialect.name == "sqlite"  # by itself, whatever is taken out

    def add(
        self,
        action: str,
        *,
        subject: str = "",
        network_id: int | None = None,
        body: Mapping[str, Any] | None = None,
        who: str | None = None,
        within: Connection | None = None,
    ) -> None:
        """Write a line, in the transaction of what it tells of where that is given; on the disk when that is."""
        if within is None:
            with self._engine.execution_options(writes=True).begin() as connection:
                self.add(action, subject=subject, network_id=network_id, body=body, who=who, within=connection)
            return
        acting = ACTING.get()
        told = dict(body or {})
        if acting.remark:
            told["typed_name"] = acting.remark
        last = within.execute(select(audit.c.hash).order_by(audit.c.id.desc()).limit(1)).scalar() or START
        values: dict[str, Any] = {
            "at": self._clock().astimezone(UTC).isoformat(timespec="microseconds"),
            "who": acting.who or who or "",
            "role": acting.role,
            "via": acting.via,
            "address": acting.address,
            "action": action,
            "network_id": network_id,
            "subject": subject[:500],
            "body": json.dumps(told, ensure_ascii=False, allow_nan=False, sort_keys=True),
        }
        numbered = {} if self._counted else {"id": self._next(within)}
        within.execute(insert(audit).values(**numbered, **values, before=last, hash=sealed(last, values)))

    def lines(
        self,
        *,
        network_id: int | None = None,
        action: str = "",
        who: str = "",
        below: int | None = None,
        most: int = 200,
    ) -> tuple[Line, ...]:
        """Lines, the newest first; of one network, one action, one name, below a number."""
        query = select(audit).order_by(audit.c.id.desc()).limit(most)
        for column, value in ((audit.c.network_id, network_id), (audit.c.action, action), (audit.c.who, who)):
            if value:
                query = query.where(column == value)
        if below is not None:
            query = query.where(audit.c.id < below)
        with self._as_it_stands() as connection:
            return tuple(_line(row._asdict()) for row in connection.execute(query))

    def savers(self, network_id: int) -> dict[int, set[str]]:
        """Who saved each revision of a network, as the trail has it: proven where names were."""
        query = select(audit.c.who, audit.c.body).where(audit.c.network_id == network_id, audit.c.action == "saved")
        found: dict[int, set[str]] = {}
        with self._as_it_stands() as connection:
            for row in connection.execute(query):
                with suppress(ValueError, TypeError, KeyError, RecursionError):  # changed: `verify` names the line
                    found.setdefault(int(json.loads(row.body)["revision"]), set()).add(str(row.who))
        return found

    def last_of(self, network_id: int, actions: Collection[str]) -> Line | None:
        """The newest line of some actions on a network; None too where that line is not what was written."""
        query = select(audit).where(audit.c.network_id == network_id, audit.c.action.in_(list(actions)))
        with self._as_it_stands() as connection:
            row = connection.execute(query.order_by(audit.c.id.desc()).limit(1)).first()
        found = None if row is None else row._asdict()
        return None if found is None or found["hash"] != _sealed_again(found) else _line(found)

    def actions(self) -> tuple[str, ...]:
        """Every kind of thing that was done."""
        query: Select[Any] = select(audit.c.action).distinct().order_by(audit.c.action)
        with self._engine.begin() as connection:
            return tuple(connection.execute(query).scalars())

    def all(self, *, block: int = 1000) -> Iterator[Line]:
        """Every line, the oldest first."""
        for row in self._rows(block):
            yield _line(row)

    def _rows(self, block: int = 1000) -> Iterator[dict[str, Any]]:
        """Every row as it stands in the file, whatever somebody may have put there."""
        last: int | None = None
        while True:
            query = select(audit).order_by(audit.c.id).limit(block)
            query = query if last is None else query.where(audit.c.id > last)
            with self._as_it_stands() as connection:
                found = [row._asdict() for row in connection.execute(query)]
            yield from found
            if len(found) < block:
                return
            last = found[-1]["id"]

    @contextmanager
    def _as_it_stands(self) -> Iterator[Connection]:
        """A connection that reads text which is none, byte by byte, instead of failing."""
        with self._engine.begin() as connection:
            driver = connection.connection.driver_connection
            usual = getattr(driver, "text_factory", None)
            if usual is None or driver is None:
                yield connection
                return
            driver.text_factory = lambda raw: raw.decode(errors="surrogateescape")
            try:
                yield connection
            finally:
                driver.text_factory = usual

    def count(self) -> int:
        """How many lines there are."""
        with self._engine.begin() as connection:
            return int(connection.execute(select(func.count()).select_from(audit)).scalar_one())

    def verify(self, *, known: str = "") -> Verified:
        """Look through the whole trail.

        Parameters
        ----------
        known : str
            The hash of a line that was noted elsewhere; nothing is looked for where it is empty.
        """
        before, number, faults, last_id, seen = START, 0, [], 0, not known
        for row in self._rows():
            number += 1
            at = f"line {row['id']}"
            if row["id"] < 1:
                faults.append(f"{at}: it was put in; lines count from 1")
            elif row["id"] != last_id + 1:
                faults.append(f"{at}: {row['id'] - last_id - 1} lines before it are gone")
            if row["before"] != before:
                faults.append(f"{at}: it does not follow the line before it")
            if row["hash"] != _sealed_again(row):
                whose = _printed(f"{row['action']} by {row['who'] or 'nobody'}, {row['at']}")[:300]
                faults.append(f"{at}: it was changed ({whose})")
            before, last_id, seen = row["hash"], max(row["id"], 0), seen or row["hash"] == known
        with self._engine.begin() as connection:
            written = self.written_in(connection)
        if written > last_id:
            faults.append(f"lines {last_id + 1} to {written} are gone: the end was cut off")
        elif written < last_id:
            faults.append(f"the count of lines says {written}, and the last is {last_id}: it was changed")
        if not seen:
            faults.append(f"no line has the hash {known[:64]}: it was cut off, or made anew")
        return Verified(number, _printed(before), tuple(faults[:MOST_FAULTS]))

    def _next(self, within: Connection) -> int:
        """The number of the next line, counted on: a sequence of PostgreSQL leaves one out for what was rolled back."""
        number = int(read(within, AUDIT_LINES) or 0) + 1
        put(within, AUDIT_LINES, str(number))
        return number

    def written_in(self, connection: Connection) -> int:
        """How many lines were ever written, by SQLite's own count or by ours."""
        if not self._counted:
            return int(read(connection, AUDIT_LINES) or 0)
        found = connection.exec_driver_sql("select seq from sqlite_sequence where name = 'audit'").scalar()
        return int(found) if isinstance(found, int) else 0


MOST_FAULTS = 20


def _sealed_again(row: Mapping[str, Any]) -> str | None:
    """The hash that a line should have; None where it holds what no line of ours does."""
    try:
        return sealed(row["before"], row)
    except (TypeError, ValueError):  # no text, no number, half a character
        return None


def _printed(value: object) -> str:
    """Whatever stands in a line, so that it can be shown."""
    return str(value).encode(errors="backslashreplace").decode()


def sealed(before: str, values: Mapping[str, Any]) -> str:
    """The hash of a line."""
    text = json.dumps([before, *(values[key] for key in _KEYS)], ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


_KEYS = ("at", "who", "role", "via", "address", "action", "network_id", "subject", "body")


def _line(row: Mapping[str, Any]) -> Line:
    """The record of a row; a body that is none of ours is shown as it stands."""
    values: dict[str, Any] = {
        key: _printed(value) if isinstance(value, str | bytes) else value for key, value in row.items()
    }
    try:
        body = json.loads(row["body"], parse_constant=_no_number)
        json.dumps(body, ensure_ascii=False).encode()
    except (TypeError, ValueError, RecursionError):
        body = {"unreadable": values["body"]}
    return Line(**{**values, "body": body if isinstance(body, dict) else {"unreadable": values["body"]}})


def _no_number(name: str) -> None:
    raise ValueError(name)
