"""Every check against a published value: what, ours, theirs, difference, tolerance, source."""

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import Response

from sfn.check.doubts import DOUBTS, Doubt
from webapp.config.addresses import Room
from webapp.shell.context import Context
from webapp.shell.render import page

router = Room("trust")
# Written by `make trust` out of tests/published.
STORED = Path(__file__).parent.parent / "trust.json"
SECURITY = Path(__file__).parent.parent / "asvs.toml"


@dataclass(frozen=True, slots=True)
class TrustPage(Context):
    """Every check against a published value, as the tests last stored it."""

    TEMPLATE: ClassVar[str] = "front/trust.html"
    sources: tuple[tuple[str, tuple[dict[str, Any], ...]], ...]
    """Source, and its checks: what, ours, theirs, difference, tolerance, unit, reason."""
    checks: int
    """How many there are."""
    doubts: Mapping[str, Doubt]
    """Which doubt does what to a sheet, by its code."""
    security_source: str
    """The standard that the next is held against."""
    security: tuple[dict[str, Any], ...]
    """Its requirements: numbers, what, met, how, test."""


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
