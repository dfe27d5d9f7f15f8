"""Behind a proxy that gives the application a part of its own addresses: ``https://example.org/delays/...``.

Whether the proxy passes the part on or takes it off, addresses that are made here bear it (`addresses.BASE`), and
routes, rights and rules go by the path without it.
"""

from urllib.parse import quote

from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from webapp.config.addresses import BASE, HOME, inside


class BasePath:
    """Takes what stands before every path off, and lets addresses bear it."""

    def __init__(self, app: ASGIApp, base: str) -> None:
        self.app, self.base = app, base

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through without it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        before = BASE.set(self.base)
        try:
            path = scope["path"]
            if path == self.base:  # links beside the page would lose its last part
                await RedirectResponse(inside(HOME), 307)(scope, receive, send)
                return
            if path.startswith(f"{self.base}/"):
                bare = path.removeprefix(self.base)
                scope = {**scope, "path": bare, "raw_path": quote(bare).encode()}
            await self.app(scope, receive, send)
        finally:
            BASE.reset(before)
