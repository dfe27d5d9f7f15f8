"""What was typed and is not saved yet, step by step: an address for each, so that Back, a bookmark, undo and redo work.

A step is written once and never changed. It is nobody's plan: nothing but its own page reads it, and it goes after a
while (`DAYS_KEPT`, `MOST_KEPT_N`).
"""

import json
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Engine, delete, select

from sfn.errors import PlanError
from webapp.store.schema import drafts
from webapp.store.seals import damaged, holds, put, rows

DAYS_KEPT = 30
MOST_KEPT_N = 500
"""Of one network; the oldest go first."""


@dataclass(frozen=True, slots=True)
class KeptDraft:
    """One step."""

    key: str
    network_id: int
    base_revision: int
    follows: str
    """The step before; empty for the first."""
    body: dict[str, Any]


class Drafts:
    """The steps in one database."""

    def __init__(self, engine: Engine, clock: Callable[[], datetime]) -> None:
        self._engine, self._clock = engine, clock
        self._writing = engine.execution_options(writes=True)

    def keep(self, network_id: int, *, base_revision: int, follows: str, body: dict[str, Any]) -> str:
        """Write a step down; gives its key."""
        key = secrets.token_urlsafe(12)
        now = self._clock().replace(tzinfo=None)
        mine = drafts.c.network_id == network_id
        with self._writing.begin() as connection:
            values = {
                "key": key,
                "network_id": network_id,
                "base_revision": base_revision,
                "follows": follows or None,
                "kept_at": now,
                "body": json.dumps(body, ensure_ascii=False),
            }
            put(connection, drafts, values)
            connection.execute(delete(drafts).where(drafts.c.kept_at < now - timedelta(days=DAYS_KEPT)))
            newest = select(drafts.c.id).where(mine).order_by(drafts.c.id.desc()).limit(MOST_KEPT_N)
            connection.execute(delete(drafts).where(mine, drafts.c.id.not_in(newest)))
        return key

    def read(self, network_id: int, key: str) -> KeptDraft | None:
        """A step of a network; None where it is not kept (any more).

        Raises
        ------
        PlanError
            If it is not what was kept, or is not found among steps of which some are not.
        """
        wanted = rows(drafts).where(drafts.c.key == key)
        with self._engine.begin() as connection:
            row = connection.execute(wanted.where(drafts.c.network_id == network_id)).one_or_none()
            if row is None:  # also where an index, or the number of its network, was turned
                row = connection.execute(rows(drafts).where(drafts.c.key.concat("") == key)).first()
        if row is None and not self.damaged_n(network_id):
            return None
        if row is not None and holds(drafts, row):
            if row.network_id != network_id:
                return None
            return KeptDraft(row.key, row.network_id, row.base_revision, row.follows or "", json.loads(row.body))
        helps = "the step before it (Back in the browser), or what is saved, under Sites & chains"
        raise PlanError([damaged(f"network {network_id}, draft {key}", helps=helps, values={"network": network_id})])

    def damaged_n(self, network_id: int) -> int:
        """How many steps of a network are not what was kept, but for what was typed in them."""
        with self._engine.begin() as connection:
            found = connection.execute(rows(drafts, texts=False).where(drafts.c.network_id == network_id)).all()
        return sum(not holds(drafts, row) for row in found)

    def after(self, network_id: int, key: str) -> str:
        """The newest step that follows one; empty where none does."""
        query = (
            select(drafts.c.key)
            .where(drafts.c.network_id + 0 == network_id, drafts.c.follows == key)  # by the rows, not by their index
            .order_by(drafts.c.id.desc())
            .limit(1)
        )
        with self._engine.begin() as connection:
            return str(connection.execute(query).scalar() or "")
