"""Connections of strangers: at most so many, each says what it wants within some seconds.

A connection that sends no whole head holds no thread, but a place; without a bound a few thousand hold them all.
Bodies that crawl are ended in `webapp.shell.body_limit`.
"""

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

from webapp.config.limits import Limits


def protocol(limits: Limits) -> type[H11Protocol]:
    """The server's protocol with the bounds of `limits`."""

    class Guarded(H11Protocol):
        """One connection."""

        head_timer: asyncio.TimerHandle | None = None

        def connection_made(self, transport: Any) -> None:
            """Give it its time, or its leave."""
            super().connection_made(transport)
            if len(self.connections) > limits.connections:
                transport.abort()
                return
            self._wait_for_head()

        def connection_lost(self, exc: Exception | None) -> None:
            """Its time is over in any case."""
            self._stop_waiting()
            super().connection_lost(exc)

        def data_received(self, data: bytes) -> None:
            """A whole head stops the clock; the first bytes of a next one start it."""
            super().data_received(data)
            if self.cycle is not None and not self.cycle.response_complete:
                self._stop_waiting()
            elif self.head_timer is None:
                self._wait_for_head()

        def _wait_for_head(self) -> None:
            self.head_timer = self.loop.call_later(limits.head_s, self._too_slow)

        def _stop_waiting(self) -> None:
            if self.head_timer is not None:
                self.head_timer.cancel()
                self.head_timer = None

        def _too_slow(self) -> None:
            self.head_timer = None
            busy = self.cycle is not None and not self.cycle.response_complete
            if not busy and self.transport is not None and not self.transport.is_closing():
                self.transport.abort()

    return Guarded
