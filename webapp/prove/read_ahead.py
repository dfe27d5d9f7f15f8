"""Networks with many readings, read once as the service starts: whoever opens the first page of one need not wait."""

import logging
import threading
import time

from sqlalchemy.exc import SQLAlchemyError

from sfn.errors import PlanError
from webapp.prove.happened import launches_of
from webapp.shell.dependencies import opened
from webapp.standing.release import released
from webapp.standing.site_lines import reported_lines
from webapp.store.ledger import MOST_ENTRIES_N
from webapp.store.store import Store
from webapp.work.maps import Maps

LOG = logging.getLogger("webapp.prove")
FROM_N = 2_000
"""Entries from which a network is read ahead: fewer take a part of a second."""


class ReadAhead:
    """A thread that reads them, the largest first, as long as there is room for what is kept of them."""

    def __init__(self, store: Store, maps: Maps) -> None:
        self._store, self._maps, self._ended = store, maps, threading.Event()
        self._thread = threading.Thread(target=self._read, name="read-ahead", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def close(self) -> None:
        """End after the network that is being read, without waiting for it for long."""
        self._ended.set()
        self._thread.join(timeout=5)

    def _read(self) -> None:
        room_n = MOST_ENTRIES_N
        try:
            for network_id, entries_n in self._store.with_entries(FROM_N):
                room_n -= entries_n
                if room_n < 0 or self._ended.is_set():
                    return
                self._one(network_id, entries_n)
        except (SQLAlchemyError, TypeError, ValueError) as away:  # whoever asks is told
            LOG.warning("networks are not read ahead: %s", type(away).__name__)

    def _one(self, network_id: int, entries_n: int) -> None:
        """Read one network; what is wrong with it is said on its pages."""
        began = time.monotonic()
        try:
            found = opened(self._store.read(network_id), self._store, self._maps)
            reported_lines(found, self._store, self._maps, released(found, self._store, self._maps), most=1)
            launches_of(found, self._store)
        except (PlanError, ArithmeticError, LookupError, ValueError) as wrong:
            LOG.warning("network %s is not read ahead: %s", network_id, wrong)
        else:
            took_s = time.monotonic() - began
            LOG.info("network %s was read ahead, %s entries in %.1f s", network_id, entries_n, took_s)
