"""Which documents of the list are what was saved: each is looked at once in a while, not at every list.

Seals of rows leave a document's text out, so that a list reads none (`webapp.store.seals`). A bit that a disk turned in
one shows when it is opened; here the list learns of it before somebody needs the network.
"""

import time
from collections.abc import Iterable

from sqlalchemy import tuple_
from sqlalchemy.engine import Connection

from webapp.store.revision_rows import document_holds
from webapp.store.schema import revisions
from webapp.store.seals import rows

LOOKED_AT_EVERY_S = 3600.0
AT_ONCE_N = 5
"""Documents in memory at a time: each may be of some megabytes."""


class WholeDocuments:
    """What this process knows of documents: when each was last found to be what was saved."""

    def __init__(self) -> None:
        self._whole_at: dict[tuple[int, int], float] = {}

    def forget(self, network_id: int) -> None:
        """Look at a network's documents anew: something was found wrong with one."""
        self._whole_at = {key: at for key, at in self._whole_at.items() if key[0] != network_id}

    def damaged(self, connection: Connection, listed: Iterable[tuple[int, int]]) -> frozenset[int]:
        """Networks whose document, of the revision named beside them, is not what was saved: one query, or none.

        A document that was found whole is not read again for `LOOKED_AT_EVERY_S`; a damaged one always is.
        """
        since = time.monotonic() - LOOKED_AT_EVERY_S
        wanted = [key for key in listed if self._whole_at.get(key, since) <= since]
        if not wanted:
            return frozenset()
        query = rows(revisions).where(tuple_(revisions.c.network_id, revisions.c.number).in_(wanted))
        found = set()
        for row in connection.execute(query.execution_options(yield_per=AT_ONCE_N)):
            if document_holds(row):
                self._whole_at[row.network_id, row.number] = time.monotonic()
            else:
                found.add(int(row.network_id))
        return frozenset(found)
