"""The change plan."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.change_plan import ChangePlan
from webapp.approvals import Approval
from webapp.contexts import Context, NetworkHead
from webapp.sheet_stands import SheetStands
from webapp.store import Revision


@dataclass(frozen=True, slots=True)
class ChangePage(Context):
    """What to change from what to what, in which order."""

    TEMPLATE: ClassVar[str] = "change.html"
    TAB: ClassVar[str] = "change"
    network: NetworkHead
    """Which network, in which revision."""
    plan: ChangePlan
    """The change."""
    against: Revision | None
    """The revision that is on the air; None: what is set now, as the document says."""
    revisions: tuple[Revision, ...]
    """Older revisions, the newest first."""
    map_key: str
    """Key of the map that has field strengths; empty without them."""
    waiting: tuple[str, ...]
    """Clock errors that show the worst moment on that map, as ``SITE:US``; empty where it cannot be shown."""
    stale: tuple[str, ...]
    """Sheets that were issued with other figures than these, each in a sentence."""
    sheets: Mapping[str, SheetStands]
    """How far each site's sheet is, by site."""
    approval: Approval
    """Whether it is approved, by whom, or why no longer."""
