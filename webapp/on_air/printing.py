"""What goes to paper of a network: sheets as they are printed, and what stands for a name that no font has."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from fastapi.responses import Response

from sfn.study.change_plan import ChangePlan
from sfn.study.sheet import FieldLine, RouteSheet, Sheet
from sfn.study.veil import field_veiled, route_veiled, why_withheld
from sfn.systems.of_network import stamped_checksum
from webapp.config.settings import Settings
from webapp.paper import Printed, missing_says
from webapp.paper.fonts import Fonts
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import Opened
from webapp.shell.languages import ENGLISH, crew_language, printed_in, word
from webapp.shell.render import paper_html
from webapp.standing.release import Released, SheetLine, State
from webapp.standing.sheet_stands import SheetStands
from webapp.store.approvals import Approval
from webapp.store.entries import Entry
from webapp.store.store import Revision, Store

STAMPS = {"withheld": "WITHHELD", "stale": "STALE", "needs sign-off": "NOT ISSUED", "ready": "NOT ISSUED", "issued": ""}


@dataclass(frozen=True, slots=True)
class ChangePage(Context):
    """What to change from what to what, in which order."""

    TEMPLATE: ClassVar[str] = "on_air/change.html"
    TAB: ClassVar[str] = "change"
    network: NetworkHead
    """Which network, in which revision."""
    plan: ChangePlan
    """The change."""
    against: Revision | None
    """The revision that is on air; None: what is set now, as the document says."""
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
    steps: str
    """What tells its steps and old values from those of another plan: an approval is bound to it."""
    radiated: str
    """What is planned to be radiated otherwise, which no step orders; empty where nothing is."""


@dataclass(frozen=True, slots=True)
class HeadEndLine:
    """One delay that is sent in the stream."""

    line: SheetLine
    route: RouteSheet
    field: FieldLine
    transmitter_id: str
    """By which the head-end addresses the transmitter; empty where nobody said it."""

    def veil(self, made: dict[str, Any]) -> dict[str, Any]:
        """Its plain data: a delay that may not be entered yet is not told."""
        if self.line.issued and self.route.verdict.state != "withheld":
            return made
        why = why_withheld(self.route.verdict.reasons) or f"not issued: {self.line.state}"
        return made | {"field": field_veiled(made["field"], why), "route": route_veiled(made["route"], why)}


@dataclass(frozen=True, slots=True)
class HeadEndPaper(Context):
    """The same on paper."""

    TEMPLATE: ClassVar[str] = "on_air/head_end_paper.html"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[HeadEndLine, ...]
    """One line a field and route."""
    issued: bool
    """Whether every one of them may be entered."""
    address: str
    """Where this page is found by others; empty where the application has no public address."""


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
    """Id of the site where its link was withdrawn."""
    to_make: str = ""
    """Id of the site where it has no link, or only a withdrawn one, so that a new one may be asked for."""
    site_id: str = ""
    ends_at: datetime | None = None
    """When the link ends."""


@dataclass(frozen=True, slots=True)
class ReadingLinksPaper(Context):
    """The same on paper."""

    TEMPLATE: ClassVar[str] = "on_air/reading_links_paper.html"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[LinkLine, ...]
    """One link a site."""


@dataclass(frozen=True, slots=True)
class SheetPaper(Context):
    """One site's sheet as it is printed."""

    TEMPLATE: ClassVar[str] = "on_air/sheet_paper.html"
    network: NetworkHead
    """Which network, in which revision."""
    sheet: Sheet
    """The numbers."""
    signed: Entry | None
    """The sign-off, if any."""
    issued: bool
    """Whether a technician may go by it."""
    address: str
    """Where this sheet is found by others; empty where the application has no public address."""
    state: State
    """How far it is: withheld, stale, needs sign-off, ready, issued."""
    issue: Entry | None
    """Who issued it, if anybody did."""
    opens: str
    """What the code on the sheet opens, to whom."""

    def language(self) -> str:
        """The crew's."""
        return crew_language(self.sheet.network)


def stand_ins(opened: Opened) -> dict[str, str]:
    """What stands for every name: ids of sites; the network's number; a delay field's place among its site's fields."""
    found: dict[str, list[str]] = {opened.head.name: [f"network {opened.head.id}"]}
    for site in opened.network.sites:
        found.setdefault(site.name, []).append(site.id)
        for place, one in enumerate(site.delay_fields, 1):
            found.setdefault(one.name, []).append(f"delay field {place}")
    return {name: " or ".join(dict.fromkeys(ids)) for name, ids in found.items()}


def foot_of(opened: Opened, what: str) -> str:
    """What stands on every page: what it is, of which network, in which revision, and the checksum."""
    number, checksum = opened.head.revision.number, stamped_checksum(opened.network)
    return " · ".join((what, opened.head.name, word("revision %(number)s") % {"number": number}, checksum))


def locked(store: Store, settings: Settings) -> bool:
    """Whether somebody who opens an address is asked who it is."""
    return store.accounts.some() or settings.password_hash is not None


def code_says(revision: int, *, locked: bool, language: str = ENGLISH) -> str:
    """What the code on a printed page opens, to whom."""
    with printed_in(language):
        how = word("the code opens it after the log-in") if locked else word("the code opens it without a log-in")
        return f"{word('revision %(number)s') % {'number': revision}}: {how}"


def printed_sheet(opened: Opened, line: SheetLine, *, address: str, opens: str) -> Printed:
    """A site's sheet as it goes to paper.

    Parameters
    ----------
    opened : Opened
    line : SheetLine
    address : str
        Goes into its code.
    opens : str
        What the code opens, in words.
    """
    sheet = line.sheet
    context = SheetPaper(opened.head, sheet, line.signed, line.issued, address, line.state, line.issue, opens)
    with printed_in(context.language()):
        foot, stamp = foot_of(opened, sheet.site.name), STAMPS[line.state]
        pages = word("page %(page)s of %(pages)s")
        return Printed(
            paper_html(context), foot, address, opens, word(stamp) if stamp else "", stand_ins(opened), pages
        )


def printed_head_end(opened: Opened, lines: tuple[HeadEndLine, ...], *, address: str, opens: str) -> Printed:
    """The head-end sheet as it goes to paper."""
    issued = all(line.line.issued for line in lines)
    with printed_in(crew_language(opened.network)):
        body = paper_html(HeadEndPaper(opened.head, lines, issued, address))
        stamp = "" if issued else word("NOT ISSUED")
        foot, pages = foot_of(opened, word("head-end")), word("page %(page)s of %(pages)s")
        return Printed(body, foot, address, opens, stamp, stand_ins(opened), pages)


def printed_change(opened: Opened, context: ChangePage, found: Released) -> Printed:
    """The change plan as its page shows it, without forms and what is only for the screen."""
    issued = all(line.issued for line in found.lines if line.sheet.site.id in found.reviewed.release)
    with printed_in(crew_language(opened.network)):
        main = paper_html(context).partition("<main")[2].partition(">")[2].partition("</main>")[0]
        unapproved = {"not approved": word("NOT APPROVED"), "emergency": word("EMERGENCY")}
        approval = unapproved.get(context.approval.state, "")
        withheld = word("WITHHELD") if context.plan.problems else word("STALE") if context.stale else approval
        stamp = withheld or ("" if issued else word("NOT ISSUED"))
        foot, pages = foot_of(opened, word("change plan")), word("page %(page)s of %(pages)s")
        return Printed(main, foot, stamp=stamp, names=stand_ins(opened), pages=pages)


def printed_links(opened: Opened, lines: tuple[LinkLine, ...]) -> Printed:
    """Links for technicians as they go to paper."""
    with printed_in(crew_language(opened.network)):
        body = paper_html(ReadingLinksPaper(opened.head, lines))
        foot, pages = foot_of(opened, word("links for technicians")), word("page %(page)s of %(pages)s")
        return Printed(body, foot, names=stand_ins(opened), pages=pages)


def as_file(made: bytes, name: str) -> Response:
    """A PDF as a browser shows it, under a name to keep it by."""
    headers = {"Content-Disposition": f'inline; filename="{name}"'}
    return Response(made, media_type="application/pdf", headers=headers)


def unprintable_says(opened: Opened) -> str:
    """Which scripts of this network no font here has, and what to install; empty where all is printed whole."""
    return missing_says(Fonts("".join(_texts(opened.document))).missing)


def _texts(of: Any) -> Iterator[str]:
    """Every text in a document."""
    if isinstance(of, str):
        yield of
    elif isinstance(of, Mapping):
        for value in of.values():
            yield from _texts(value)
    elif isinstance(of, list | tuple):
        for value in of:
            yield from _texts(value)
