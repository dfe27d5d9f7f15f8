"""Readings: a technician's page, the office's overview, links to print."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from sfn.answer.live_change import LiveStep
from sfn.answer.readings import Judged, Question, SiteState
from sfn.answer.sheet import RouteSheet, Sheet
from sfn.errors import Problem
from sfn.survey.at_site import Advice
from webapp.contexts import Context, NetworkHead
from webapp.entries import Entry
from webapp.links_kept import KeptLink
from webapp.live import Live
from webapp.readings import Kept
from webapp.release import SheetLine, State


@dataclass(frozen=True, slots=True)
class SiteReadingPage(Context):
    """One site's sheet on a telephone, and what is typed there."""

    TEMPLATE: ClassVar[str] = "site_reading.html"
    planned: NetworkHead
    """Which network, in the revision of the link. Not called `network`: nothing else of it is open."""
    newest: int
    """The newest revision: another one than the link's makes the sheet stale."""
    sheet: Sheet
    """The numbers."""
    route: RouteSheet
    """The route that is read."""
    signed: Entry | None
    """The sign-off for what is assumed, if any."""
    issued: bool
    """Whether a technician may go by it."""
    state: State
    """How far the sheet is; stale too where a newer revision is in force."""
    stopped: tuple[Problem, ...]
    """What withholds the site in the newest revision, where that is another one."""
    issue: Entry | None
    """Who issued it, if anybody did."""
    ends_at: datetime
    """When the link ends."""
    address: str
    """Where this page is."""
    typed: Mapping[str, str]
    """What was typed and not taken yet."""
    sending: str
    """Name of this sending: the same one twice is kept once."""
    problems: tuple[Problem, ...]
    """What cannot be read."""
    questions: tuple[Question, ...]
    """What looks like a slip."""
    sent: tuple[Kept, ...]
    """What the office has from here, the newest first."""
    taken_back: frozenset[int]
    """Entries that were sent before the change was ordered back."""
    going_back: RouteSheet | None
    """The route with its old values, while a change is taken back; None while none is."""
    unchanged: bool
    """Whether this site was never changed before everything was ordered back: it is left as it is."""
    locks: tuple[tuple[str, str], ...]
    """Lines of the lock sheet, where the service has one."""
    levels: tuple[tuple[str, str], ...]
    """Levels that may be typed."""
    readings: int
    """How many readings there is room for."""
    labels: Mapping[str, str]
    """Words for the texts of a reading."""
    start: Advice
    """What to do before anything is typed."""
    last: Kept | None
    """What was sent last on this route; None where that is nothing, or the sheet may not be gone by."""
    rules: str
    """Table of questions and advice as JSON; empty where the sheet may not be gone by: it would tell the setting."""
    seen: str
    """What the page shows, in short: another one means that it is out of date."""
    longest: int
    """Characters of a remark."""
    live: Live | None
    """The change under way, if one is."""
    step: LiveStep | None
    """This site's step of it, if it has one."""


@dataclass(frozen=True, slots=True)
class SiteLine:
    """A site in the office's overview."""

    sheet: Sheet
    state: SiteState
    kept: tuple[Kept, ...]
    line: SheetLine
    """How far its sheet is."""
    unissued: bool
    """Whether what was sent last was set or read without an issued sheet."""
    latest: Judged | None
    """What was sent last, whatever plan it was made under."""


@dataclass(frozen=True, slots=True)
class Unplanned:
    """Readings of a site that has no sheet any more."""

    site_id: str
    name: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class ReadingsPage(Context):
    """State of every site: planned, set, measured, disagrees."""

    TEMPLATE: ClassVar[str] = "readings.html"
    TAB: ClassVar[str] = "readings"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[SiteLine, ...]
    """One line a site."""
    unplanned: tuple[Unplanned, ...]
    """What was sent from sites that have no sheet now."""
    counts: Mapping[str, int]
    """How many sites are in each state."""
    days: int
    """How long a new link lasts, if nothing else is asked for."""
    labels: Mapping[str, str]
    """Words for the texts of a reading."""


@dataclass(frozen=True, slots=True)
class LinkLine:
    """A link to hand over."""

    site_name: str
    address: str
    """Empty where there is no link: `why_not` says why."""
    code: str
    """QR code; empty where the application has no public address."""
    why_not: tuple[str, ...] = ()
    withdrawn: str = ""
    """Id of the site whose link was withdrawn, so that a new one may be asked for."""
    site_id: str = ""
    ends_at: datetime | None = None
    """When the link ends."""


@dataclass(frozen=True, slots=True)
class ReadingLinksPage(Context):
    """Links with their QR codes, to print or send."""

    TEMPLATE: ClassVar[str] = "reading_links.html"
    TAB: ClassVar[str] = "readings"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[LinkLine, ...]
    """One link a site."""
    ends_at: datetime
    """When they end."""
    reachable: bool
    """Whether the application has an address that a telephone can reach."""
    given: tuple[KeptLink, ...]
    """Every link of the network that has not ended, the newest first, withdrawn ones too."""
    names: Mapping[str, str]
    """Of the sites, by id."""


@dataclass(frozen=True, slots=True)
class ReadingLinksPaper(Context):
    """The same on paper."""

    TEMPLATE: ClassVar[str] = "reading_links_paper.html"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[LinkLine, ...]
    """One link a site."""
