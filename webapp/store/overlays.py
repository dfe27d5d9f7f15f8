"""Lines and places of one's own over a network's map, as they were clipped and simplified."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Engine, Row, delete, func, select
from sqlalchemy.engine import Connection

from sfn.errors import PlanError, Problem
from webapp.store.audit import Audit
from webapp.store.network_rows import changed, row_of
from webapp.store.revision_rows import UNKNOWN
from webapp.store.schema import overlays
from webapp.store.seals import damaged, holds, put, rows, utc

MOST_N = 20
"""Of one network."""


@dataclass(frozen=True, slots=True)
class KeptOverlay:
    """One of them, without its shapes."""

    id: int
    name: str
    attribution: str
    added_at: datetime
    says: tuple[str, ...]
    damaged: bool = False
    """Whether it is not what was kept: it is not drawn."""


class Overlays:
    """The overlays in one database."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime], audit: Audit) -> None:
        self._engine, self._clock, self._audit = engine, clock, audit
        self._writing = engine.execution_options(writes=True)

    def add(
        self, network_id: int, *, name: str, attribution: str, document: Mapping[str, Any], says: Sequence[str]
    ) -> int:
        """Keep one; gives its id.

        Raises
        ------
        PlanError
            If the network has as many as it may have.
        """
        with self._writing.begin() as connection:
            row_of(connection, network_id)
            count = _count(connection, network_id)
            if count >= MOST_N:
                expected = f"at most {MOST_N}: delete one first"
                raise PlanError([Problem("file", f"there are {count} overlays already", expected, code="too-many")])
            values = {
                "network_id": network_id,
                "name": name,
                "attribution": attribution,
                "added_at": self._clock().replace(tzinfo=None),
                "says": json.dumps(list(says), ensure_ascii=False),
                "document": json.dumps(document, ensure_ascii=False, allow_nan=False),
            }
            number = put(connection, overlays, values)
            changed(connection, network_id, {"overlays_n": count + 1})
            told = {"attribution": attribution}
            self._audit.add("overlay added", subject=name, network_id=network_id, body=told, within=connection)
            return number

    def of(self, network_id: int) -> tuple[KeptOverlay, ...]:
        """Those of a network, the oldest first; damaged ones too, as far as they can be read."""
        query = rows(overlays, texts=False).where(overlays.c.network_id == network_id).order_by(overlays.c.id)
        with self._engine.begin() as connection:
            return tuple(map(_kept, connection.execute(query).all()))

    def gone_n(self, network_id: int) -> int:
        """How many were kept and are not there: the database is damaged. Until one is added or deleted."""
        with self._engine.begin() as connection:
            kept_n = row_of(connection, network_id, even_deleted=True).overlays_n or 0
            return int(max(0, kept_n - _count(connection, network_id)))

    def document(self, network_id: int, overlay_id: int) -> str | None:
        """The shapes of one as GeoJSON; None where the network has no such overlay.

        Raises
        ------
        PlanError
            If they are not what was kept.
        """
        query = rows(overlays).where(overlays.c.network_id == network_id, overlays.c.id == overlay_id)
        with self._engine.begin() as connection:
            row = connection.execute(query).one_or_none()
        if row is None:
            lost = [one for one in self.of(network_id) if one.id == overlay_id]  # listed, and not found by its number
        else:
            lost = [] if holds(overlays, row) else [_kept(row)]
        for one in lost:
            helps = "the overlay deleted beside the map, and its file brought again"
            raise PlanError([damaged(f"network {network_id}, overlay {overlay_id} ({one.name})", helps=helps)])
        return None if row is None else str(row.document)

    def drop(self, network_id: int, overlay_id: int) -> bool:
        """Delete one; whether it was there."""
        mine = (overlays.c.network_id == network_id, overlays.c.id == overlay_id)
        with self._writing.begin() as connection:
            row_of(connection, network_id)
            name = connection.execute(select(overlays.c.name).where(*mine)).scalar_one_or_none()
            if name is None:
                return False
            connection.execute(delete(overlays).where(*mine))
            changed(connection, network_id, {"overlays_n": _count(connection, network_id)})
            self._audit.add("overlay deleted", subject=name, network_id=network_id, within=connection)
        return True


def _count(connection: Connection, network_id: int) -> int:
    query = select(func.count()).select_from(overlays).where(overlays.c.network_id == network_id)
    return int(connection.execute(query).scalar_one())


def _kept(row: Row[Any]) -> KeptOverlay:
    """The record of a row; of one that does not hold, its name as it stands."""
    if not holds(overlays, row):
        return KeptOverlay(row.id, str(row.name), "", UNKNOWN, (), damaged=True)
    return KeptOverlay(row.id, row.name, row.attribution, utc(row.added_at), tuple(json.loads(row.says)))
