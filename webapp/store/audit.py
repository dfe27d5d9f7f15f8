"""The audit trail: who did what, when and from where; only ever added to, each line sealed with the one before.

A line's hash is SHA-256 over the hash of the line before it and its own fields as JSON, so that a changed, removed or
inserted line shows. A cut-off end does not show by itself: keep the last number and hash that `verify` gives elsewhere.
"""

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from contextvars import ContextVar
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Engine, Row, Select, func, insert, select
from sqlalchemy.engine import Connection

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
        within.execute(insert(audit).values(**values, before=last, hash=sealed(last, values)))

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
        with self._engine.begin() as connection:
            return tuple(_line(row) for row in connection.execute(query))

    def savers(self, network_id: int) -> dict[int, set[str]]:
        """Who saved each revision of a network, as the trail has it: proven where names were."""
        query = select(audit.c.who, audit.c.body).where(audit.c.network_id == network_id, audit.c.action == "saved")
        found: dict[int, set[str]] = {}
        with self._engine.begin() as connection:
            for row in connection.execute(query):
                try:
                    number = json.loads(row.body)["revision"]
                except (ValueError, TypeError, KeyError):  # a line that was changed: `verify` names it
                    continue
                found.setdefault(number, set()).add(row.who)
        return found

    def actions(self) -> tuple[str, ...]:
        """Every kind of thing that was done."""
        query: Select[Any] = select(audit.c.action).distinct().order_by(audit.c.action)
        with self._engine.begin() as connection:
            return tuple(connection.execute(query).scalars())

    def all(self, *, block: int = 1000) -> Iterator[Line]:
        """Every line, the oldest first."""
        last = 0
        while True:
            query = select(audit).where(audit.c.id > last).order_by(audit.c.id).limit(block)
            with self._engine.begin() as connection:
                found = [_line(row) for row in connection.execute(query)]
            yield from found
            if len(found) < block:
                return
            last = found[-1].id

    def count(self) -> int:
        """How many lines there are."""
        with self._engine.begin() as connection:
            return int(connection.execute(select(func.count()).select_from(audit)).scalar_one())

    def verify(self) -> Verified:
        """Look through the whole trail."""
        before, number, faults, last_id = START, 0, [], 0
        for line in self.all():
            number += 1
            if line.id != last_id + 1:
                faults.append(f"line {line.id}: {line.id - last_id - 1} lines before it are gone")
            if line.before != before:
                faults.append(f"line {line.id}: it does not follow the line before it")
            if line.hash != sealed(line.before, _hashed(line)):
                faults.append(f"line {line.id}: it was changed ({line.action} by {line.who or 'nobody'}, {line.at})")
            before, last_id = line.hash, line.id
        return Verified(number, before, tuple(faults[:20]))


def sealed(before: str, values: Mapping[str, Any]) -> str:
    """The hash of a line."""
    text = json.dumps([before, *(values[key] for key in _KEYS)], ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


_KEYS = ("at", "who", "role", "via", "address", "action", "network_id", "subject", "body")


def _hashed(line: Line) -> dict[str, Any]:
    """A line's fields as they were hashed."""
    values = {key: getattr(line, key) for key in _KEYS}
    return {**values, "body": json.dumps(line.body, ensure_ascii=False, allow_nan=False, sort_keys=True)}


def _line(row: Row[Any]) -> Line:
    """The record of a row."""
    values = row._asdict()
    try:
        body = json.loads(values["body"])
    except ValueError:
        body = {"unreadable": values["body"]}
    return Line(**{**values, "body": body if isinstance(body, dict) else {"unreadable": body}})
