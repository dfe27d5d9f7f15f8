"""Lines and places of one's own over a network's map, as they were clipped and simplified."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Engine, delete, func, insert, select

from sfn.errors import PlanError, Problem
from webapp.store.audit import Audit
from webapp.store.schema import overlays

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
            mine = overlays.c.network_id == network_id
            count = connection.execute(select(func.count()).select_from(overlays).where(mine)).scalar_one()
            if count >= MOST_N:
                expected = f"at most {MOST_N}: delete one first"
                raise PlanError([Problem("file", f"there are {count} overlays already", expected, code="too-many")])
            made = connection.execute(
                insert(overlays).values(
                    network_id=network_id,
                    name=name,
                    attribution=attribution,
                    added_at=self._clock().replace(tzinfo=None),
                    says=json.dumps(list(says), ensure_ascii=False),
                    document=json.dumps(document, ensure_ascii=False, allow_nan=False),
                )
            )
            told = {"attribution": attribution}
            self._audit.add("overlay added", subject=name, network_id=network_id, body=told, within=connection)
            return int(made.inserted_primary_key[0])  # type: ignore[index]

    def of(self, network_id: int) -> tuple[KeptOverlay, ...]:
        """Those of a network, the oldest first."""
        columns = (overlays.c.id, overlays.c.name, overlays.c.attribution, overlays.c.added_at, overlays.c.says)
        query = select(*columns).where(overlays.c.network_id == network_id).order_by(overlays.c.id)
        with self._engine.begin() as connection:
            rows = connection.execute(query).all()
        return tuple(
            KeptOverlay(row.id, row.name, row.attribution, row.added_at, tuple(json.loads(row.says))) for row in rows
        )

    def document(self, network_id: int, overlay_id: int) -> str | None:
        """The shapes of one as GeoJSON; None where the network has no such overlay."""
        query = select(overlays.c.document).where(
            overlays.c.network_id == network_id, overlays.c.id == overlay_id
        )  # fmt: skip
        with self._engine.begin() as connection:
            found: str | None = connection.execute(query).scalar_one_or_none()
        return found

    def drop(self, network_id: int, overlay_id: int) -> bool:
        """Delete one; whether it was there."""
        mine = (overlays.c.network_id == network_id, overlays.c.id == overlay_id)
        with self._writing.begin() as connection:
            name = connection.execute(select(overlays.c.name).where(*mine)).scalar_one_or_none()
            if name is None:
                return False
            connection.execute(delete(overlays).where(*mine))
            self._audit.add("overlay deleted", subject=name, network_id=network_id, within=connection)
        return True
