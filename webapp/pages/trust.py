"""Every check against a published value: what, ours, theirs, difference, tolerance, source."""

import json
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response

from sfn.check.doubts import DOUBTS
from webapp.contexts.trust import TrustPage
from webapp.render import page

router = APIRouter(include_in_schema=False)
# Written by `make trust` out of tests/published.
STORED = Path(__file__).parent.parent / "trust.json"


@router.get("/trust")
def show(request: Request) -> Response:
    """The table."""
    rows = json.loads(STORED.read_text(encoding="utf-8"))
    sources: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        sources.setdefault(row["source"], []).append(row)
    return page(request, TrustPage(tuple((name, tuple(checks)) for name, checks in sources.items()), len(rows), DOUBTS))
