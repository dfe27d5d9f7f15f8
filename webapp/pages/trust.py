"""Every check against a published value: what, ours, theirs, difference, tolerance, source."""

import json
import tomllib
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
SECURITY = Path(__file__).parent.parent / "asvs.toml"


@router.get("/trust")
def show(request: Request) -> Response:
    """The table."""
    rows = json.loads(STORED.read_text(encoding="utf-8"))
    sources: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        sources.setdefault(row["source"], []).append(row)
    by_source = tuple((name, tuple(checks)) for name, checks in sources.items())
    security = tomllib.loads(SECURITY.read_text(encoding="utf-8"))
    return page(request, TrustPage(by_source, len(rows), DOUBTS, security["source"], tuple(security["row"])))
