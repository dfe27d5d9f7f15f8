"""Refuses a request whose address or body is larger than is taken, and gives up bodies that stall or drip."""

import asyncio
import re
import time

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sfn.errors import Problem
from sfn.plan.json_parts import JsonMost, JsonParts
from sfn.units import grouped
from webapp.config.limits import LONGEST_NAME_N, Limits
from webapp.shell.problems import refusal

MOST_KEYS_N = 100
"""Keys of an object within a JSON body, on an average: only a form's is larger, and there is one."""
PARTS = "sfn_delays.json_parts"
"""Where a request has what its JSON body was seen to be made of."""
ROAD = re.compile(r"/road(\.\w+)?$")
DOCUMENT = re.compile(r"/api/networks(/\d+)?")


class TooManyError(HTTPException):
    """One that the framework lets through while it reads a body, with its reason."""

    def __init__(self, status: int, problem: Problem) -> None:
        super().__init__(status)
        self.problems = (problem,)


def _too_many(most: int, name: str) -> TooManyError:
    """More of something than any body of ours has."""
    what, expected = f"has more than {grouped(most)} {name}", f"{grouped(most)} at most"
    return TooManyError(413, Problem("body", what, expected, code="request-too-large", values={"most": most}))


class BodyLimit:
    """The declared length is refused at once; an undeclared one as soon as it has grown too long.

    Addresses that take recordings or terrain end in ``/upload`` and have the larger bound.
    """

    def __init__(self, app: ASGIApp, limits: Limits) -> None:
        self.app, self.limits = app, limits

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Count what arrives."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        if any(len(part) > LONGEST_NAME_N for part in scope["path"].split("/")):
            expected = f"at most {LONGEST_NAME_N} characters in each"
            problem = Problem("address", "one part of it is too long", expected, code="address-too-long")
            await refusal(Request(scope, receive), 414, (problem,))(scope, receive, send)
            return
        kind = Headers(scope=scope).get("content-type", "").partition(";")[0].strip().lower()
        is_json, is_form = not kind or "json" in kind, kind == "application/x-www-form-urlencoded"
        # Only files are read piece by piece.
        takes_files = scope["path"].endswith("/upload") and not is_json and not is_form
        greatest = self.limits.upload_bytes if takes_files else self.limits.body_bytes
        declared = Headers(scope=scope).get("content-length", "0")
        if not declared.isdigit() or int(declared) > greatest:
            problem = Problem(
                "body",
                f"the request has {declared} bytes",
                f"at most {greatest} bytes at this address",
                code="request-too-large",
                values={"most_bytes": greatest},
            )
            await refusal(Request(scope, receive), 413, (problem,))(scope, receive, send)
            return
        arrived, waited_s, whole, fields = 0, 0.0, False, 1
        parts, most = JsonParts(), self._most(scope)
        scope[PARTS] = parts

        async def counted() -> Message:
            nonlocal arrived, waited_s, whole, fields
            if whole:  # what comes now is the end of the connection, which may take as long as the answer
                return await receive()
            began_s = time.monotonic()
            # What a sender has left: waiting is counted alone, not what is done here between.
            left_s = self.limits.body_s + 8 * arrived / self.limits.body_least_bps - waited_s
            try:
                message = await asyncio.wait_for(receive(), min(self.limits.body_idle_s, max(0.0, left_s)))
            except TimeoutError:
                raise HTTPException(408) from None
            waited_s += time.monotonic() - began_s
            arrived += len(message.get("body", b""))
            whole = not message.get("more_body", False)
            if arrived > greatest:
                raise HTTPException(413)
            if is_json:  # counted as it arrives, before anything is taken apart
                body = message.get("body", b"")
                if b"\0" in body:
                    raise TooManyError(415, Problem("body", "is not in UTF-8", "JSON in UTF-8", code="not-text"))
                parts.take(body)
                for problem in parts.beyond(most, "body"):
                    raise TooManyError(413, problem)
                if parts.keys > self.limits.form_fields + parts.objects * MOST_KEYS_N:
                    raise _too_many(self.limits.form_fields, "keys in one object")
            elif is_form:
                fields += message.get("body", b"").count(b"&")
                if fields > self.limits.form_fields:
                    raise _too_many(self.limits.form_fields, "fields")
            return message

        await self.app(scope, counted, send)

    def _most(self, scope: Scope) -> JsonMost:
        """What a JSON body of an address may be made of."""
        if ROAD.search(scope["path"]):
            return self.limits.json_road
        return self.limits.json_document if DOCUMENT.fullmatch(scope["path"]) else self.limits.json_form
