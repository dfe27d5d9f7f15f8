"""The trust page."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.check.doubts import Doubt
from webapp.contexts import Context


@dataclass(frozen=True, slots=True)
class TrustPage(Context):
    """Every check against a published value, as the tests last stored it."""

    TEMPLATE: ClassVar[str] = "trust.html"
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
