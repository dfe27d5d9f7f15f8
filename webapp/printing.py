"""What goes to paper of a network: sheets as they are printed, and what stands for a name that no font has."""

from collections.abc import Iterator, Mapping
from typing import Any

from fastapi.responses import Response

from sfn.systems.of_network import stamped_checksum
from webapp.contexts.change import ChangePage
from webapp.contexts.head_end import HeadEndLine, HeadEndPaper
from webapp.contexts.readings import LinkLine, ReadingLinksPaper
from webapp.contexts.sheets import SheetPaper
from webapp.dependencies import Opened
from webapp.paper import Printed, missing_says
from webapp.paper.fonts import Fonts
from webapp.release import Released, SheetLine
from webapp.render import paper_html
from webapp.settings import Settings
from webapp.store import Store

STAMPS = {"withheld": "WITHHELD", "stale": "STALE", "needs sign-off": "NOT ISSUED", "ready": "NOT ISSUED", "issued": ""}


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
    return " · ".join((what, opened.head.name, f"revision {number}", checksum))


def locked(store: Store, settings: Settings) -> bool:
    """Whether somebody who opens an address is asked who it is."""
    return store.accounts.some() or settings.password_hash is not None


def code_says(revision: int, *, locked: bool) -> str:
    """What the code on a printed page opens, to whom."""
    return f"revision {revision}: the code opens it {'after the log-in' if locked else 'without a log-in'}"


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
    foot = foot_of(opened, sheet.site.name)
    return Printed(paper_html(context), foot, address, opens, STAMPS[line.state], stand_ins(opened))


def printed_head_end(opened: Opened, lines: tuple[HeadEndLine, ...], *, address: str, opens: str) -> Printed:
    """The head-end sheet as it goes to paper."""
    issued = all(line.line.issued for line in lines)
    body = paper_html(HeadEndPaper(opened.head, lines, issued, address))
    stamp = "" if issued else "NOT ISSUED"
    return Printed(body, foot_of(opened, "head-end"), address, opens, stamp, stand_ins(opened))


def printed_change(opened: Opened, context: ChangePage, found: Released) -> Printed:
    """The change plan as its page shows it, without forms and what is only for the screen."""
    main = paper_html(context).partition("<main")[2].partition(">")[2].partition("</main>")[0]
    issued = all(line.issued for line in found.lines if line.sheet.site.id in found.reviewed.release)
    unapproved = "NOT APPROVED" if context.approval.state == "not approved" else ""
    withheld = "WITHHELD" if context.plan.problems else "STALE" if context.stale else unapproved
    stamp = withheld or ("" if issued else "NOT ISSUED")
    return Printed(main, foot_of(opened, "change plan"), stamp=stamp, names=stand_ins(opened))


def printed_links(opened: Opened, lines: tuple[LinkLine, ...]) -> Printed:
    """Links for technicians as they go to paper."""
    body = paper_html(ReadingLinksPaper(opened.head, lines))
    return Printed(body, foot_of(opened, "links for technicians"), names=stand_ins(opened))


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
