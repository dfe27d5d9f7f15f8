"""Revisions, two of them compared, and two people's changes put together."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.errors import Problem
from webapp.contexts import Context, NetworkHead
from webapp.store import Revision


@dataclass(frozen=True, slots=True)
class RevisionsPage(Context):
    """Every save of a network."""

    TEMPLATE: ClassVar[str] = "revisions.html"
    TAB: ClassVar[str] = "revisions"
    network: NetworkHead
    """Which network, in which revision."""
    revisions: tuple[Revision, ...]
    """The newest first."""


@dataclass(frozen=True, slots=True)
class DifferenceLine:
    """One key that differs, as text."""

    where: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class ComparePage(Context):
    """Two revisions field by field."""

    TEMPLATE: ClassVar[str] = "compare.html"
    TAB: ClassVar[str] = "revisions"
    network: NetworkHead
    """Which network, in which revision."""
    old: Revision
    """The one compared."""
    new: Revision
    """The one it is compared with."""
    differences: tuple[DifferenceLine, ...]
    """Every key that differs."""


@dataclass(frozen=True, slots=True)
class ClashLine:
    """One key that one of two savers changed, or both."""

    where: str
    base: str
    mine: str
    theirs: str
    settled: str
    """mine or theirs where it need not be asked; empty where one must choose."""
    chosen: str
    """What was chosen, so far."""


@dataclass(frozen=True, slots=True)
class ConflictPage(Context):
    """Someone saved first: both versions, and a choice for every key that both changed."""

    TEMPLATE: ClassVar[str] = "conflict.html"
    TAB: ClassVar[str] = "revisions"
    network: NetworkHead
    """Which network, in their revision."""
    base_revision: int
    """The revision that both began with."""
    theirs: Revision
    """What was saved first."""
    clashes: tuple[ClashLine, ...]
    """Every key that either changed."""
    draft: str
    """My document, whole, as JSON."""
    author: str
    """Name typed for the record."""
    reason: str
    """Reason typed for the record."""
    problems: tuple[Problem, ...]
    """What keeps the two from being put together as chosen."""
