"""JSON bodies of scripts, looked at before their address reads them: the type that is sent, and keys given twice."""

import json
import re
from typing import Any

from fastapi import Request

from sfn.errors import PlanError, Problem
from sfn.plan.json_parts import JsonParts, given_twice, keys_of
from sfn.units import grouped
from webapp.shell.body_limit import PARTS
from webapp.shell.dependencies import whole_characters
from webapp.shell.problems import RefusedError
from webapp.store.roles import SAFE_METHODS

MOST_FIELDS = 100
"""Fields of a script's JSON body; of a document in it the engine counts."""
_HALF = re.compile(rb"\\u[dD]")
FORMS = ("multipart/form-data", "application/x-www-form-urlencoded")


async def no_key_twice(request: Request) -> None:
    """Refuse a body that is no JSON, or in which an object has a key twice: readers silently drop one of the two."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        sends = request.headers.get("content-length", "0") != "0" or "transfer-encoding" in request.headers
        if request.method in SAFE_METHODS or not sends or kind in FORMS:  # forms are read, or refused, by their route
            return
        what = f"the body is sent as {kind[:60] or 'nothing in particular'}"
        expected = "JSON, with Content-Type: application/json"
        raise RefusedError(415, Problem("content-type", what, expected, code="content-type"))
    try:
        sent = await request.json()  # as the framework has read it, which keeps it
    except (ValueError, RecursionError):
        return  # the framework refuses it
    if isinstance(sent, dict) and len(sent) > MOST_FIELDS:
        what, expected = f"has {grouped(len(sent))} fields", "those that the address describes"
        problem = Problem("body", what, expected, code="request-too-large", values={"most": MOST_FIELDS})
        raise RefusedError(422, problem)
    body = await request.body()
    if _HALF.search(body):
        whole_characters(sent)
    parts: JsonParts = request.scope[PARTS]
    if keys_of(sent, parts.objects)[0] < parts.keys:
        raise PlanError(
            Problem(
                key, "is given twice in one object", "one value for each key", code="key-given-twice", fields=(key,)
            )
            for key in _twice(body)
        )


def _twice(body: bytes) -> list[str]:
    """Keys that one object has twice, twenty at most."""
    found: dict[str, None] = {}

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        held = dict(items)
        if len(held) < len(items):
            found.update(dict.fromkeys(given_twice(items)))
        return held

    json.loads(body, object_pairs_hook=pairs)
    return list(found)[:20]
