"""Who typed wrong passwords, and until when they wait: in one process's memory, or in a database that several share.

The tries of SQLite, which one process serves, are forgotten when it ends; those of PostgreSQL hold for every process on
the database. What was typed as a name may be a password in the wrong field: the database has only a hash of it.
"""

import hashlib
import json
import threading
import time
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import NamedTuple, Protocol

from sqlalchemy import Engine, delete, insert, select
from sqlalchemy.engine import Connection

from webapp.store.schema import attempts

Key = tuple[str, str | None]
"""An address and the name that was typed there; None for the address alone."""
MOST_KEPT = 10_000
FORGOTTEN_S = 86_400.0


class Tries(NamedTuple):
    """Wrong ones in a row, and until when the next is not looked at. [s by the clock that counts]"""

    failures: int = 0
    until_s: float = 0.0


class Held(Protocol):
    """The tries, while nobody else changes them."""

    def of(self, key: Key) -> Tries:
        """Those of a key."""

    def put(self, key: Key, tries: Tries, *, now_s: float) -> None:
        """Keep them."""

    def drop(self, key: Key) -> None:
        """Forget them."""


class Slowed(Protocol):
    """Where tries are kept."""

    def changing(self) -> AbstractContextManager[Held]:
        """The tries, for whoever looks and changes as one."""

    def now_s(self) -> float:
        """The clock that counts: the same for all who share them."""


class InMemory:
    """Tries of one process."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kept: OrderedDict[Key, Tries] = OrderedDict()

    @contextmanager
    def changing(self) -> Iterator[Held]:
        """The tries, under a lock."""
        with self._lock:
            yield self

    def now_s(self) -> float:
        """Nobody sets this clock back."""
        return time.monotonic()

    def of(self, key: Key) -> Tries:
        """Those of a key."""
        return self._kept.get(key, Tries())

    def put(self, key: Key, tries: Tries, *, now_s: float) -> None:  # noqa: ARG002  # these end with the process
        """Keep them; of too many the oldest go."""
        self._kept.pop(key, None)
        self._kept[key] = tries
        while len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)

    def drop(self, key: Key) -> None:
        """Forget them."""
        self._kept.pop(key, None)


class InDatabase:
    """Tries of every process on one database."""

    def __init__(self, engine: Engine) -> None:
        self._writing = engine.execution_options(writes=True)

    @contextmanager
    def changing(self) -> Iterator[Held]:
        """The tries, in one transaction of the database's only writer."""
        with self._writing.begin() as connection:
            yield _Rows(connection)

    def now_s(self) -> float:
        """Processes on several machines have only this one in common."""
        return time.time()


class _Rows:
    """The tries within a transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def of(self, key: Key) -> Tries:
        query = select(attempts.c.failures, attempts.c.until_s).where(attempts.c.key == _hashed(key))
        row = self._connection.execute(query).one_or_none()
        return Tries() if row is None else Tries(row.failures, row.until_s)

    def put(self, key: Key, tries: Tries, *, now_s: float) -> None:
        self.drop(key)
        values = {"key": _hashed(key), "failures": tries.failures, "until_s": tries.until_s, "changed_s": now_s}
        self._connection.execute(insert(attempts).values(**values))
        self._connection.execute(delete(attempts).where(attempts.c.changed_s < now_s - FORGOTTEN_S))
        oldest = select(attempts.c.key).order_by(attempts.c.changed_s.desc()).offset(MOST_KEPT)
        self._connection.execute(delete(attempts).where(attempts.c.key.in_(oldest)))

    def drop(self, key: Key) -> None:
        self._connection.execute(delete(attempts).where(attempts.c.key == _hashed(key)))


def _hashed(key: Key) -> str:
    return hashlib.sha256(json.dumps(key).encode()).hexdigest()
