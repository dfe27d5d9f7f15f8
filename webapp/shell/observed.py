"""Every request has an id, a line of the access log where one is kept, and its place in the counts of `/metrics`."""

import logging
import re
import secrets
import time

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from webapp.config import addresses
from webapp.shell.log_lines import REQUEST, blanked
from webapp.shell.measured import Measured

LOG = logging.getLogger("webapp.access")
HEADER = "X-Request-ID"
_SOUND = re.compile(r"[A-Za-z0-9._-]{1,64}")
"""An id that somebody sends is taken as it is where it is one word: it goes into lines and headers."""


class Observed:
    """Gives a request its id, sends it back, and counts the answer."""

    def __init__(self, app: ASGIApp, measured: Measured, access_log: bool) -> None:
        self.app, self.measured, self.access_log = app, measured, access_log

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, and note how."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        given = Headers(scope=scope).get(HEADER, "")
        name = given if _SOUND.fullmatch(given) else secrets.token_hex(8)
        began_s, status, sent_bytes = time.perf_counter(), 500, 0

        async def noting(message: Message) -> None:
            nonlocal status, sent_bytes
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[HEADER] = name
            sent_bytes += len(message.get("body", b""))
            await send(message)

        before = REQUEST.set(name)
        try:
            with self.measured.under_way():
                await self.app(scope, receive, noting)
        finally:
            took_s = time.perf_counter() - began_s
            self.measured.answered(scope["method"], route_in(scope), status, took_s)
            if self.access_log:
                _write(scope, status, took_s, sent_bytes)
            REQUEST.reset(before)


def route_in(scope: Scope) -> str:
    """The path of the route that answered, as it was written: never what somebody typed."""
    if scope["path"].startswith(f"{addresses.STATIC}/"):
        return addresses.STATIC
    return str(getattr(scope.get("route"), "path", "none"))


def _write(scope: Scope, status: int, took_s: float, sent_bytes: int) -> None:
    """A line of the access log; what was asked behind the path is left out: people look for names there."""
    client = scope.get("client")
    told = {
        "method": scope["method"],
        "path": blanked(scope["path"]),
        "status": status,
        "took_ms": round(1000 * took_s, 1),
        "sent_bytes": sent_bytes,
        "client": str(client[0]) if client else "",
    }
    LOG.info("%(method)s %(path)s %(status)s %(took_ms)s ms %(sent_bytes)s bytes %(client)s", told, extra=told)
