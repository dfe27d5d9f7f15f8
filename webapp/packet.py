"""The work packet: change plan, every sheet, every signed link in one PDF; or why there is none.

It is refused like an issue: while a site that changes is withheld, not signed off, stale or not issued, there is no
packet, and every reason is given. Sites that keep their settings go with it as they are, stamped where not issued.
"""

from sfn.errors import Problem, Touch
from webapp import addresses
from webapp.change_page import change_page
from webapp.contexts.readings import LinkLine
from webapp.dependencies import Opened
from webapp.head_end import head_end_lines
from webapp.link_lines import link_lines
from webapp.maps import Maps
from webapp.paper import Paper, Printed, pdf
from webapp.printing import (
    code_says,
    locked,
    printed_change,
    printed_head_end,
    printed_links,
    printed_sheet,
)
from webapp.problems import RefusedError
from webapp.release import Released, SheetLine, released, why_not
from webapp.render import when
from webapp.settings import Settings
from webapp.store import Store


def refusals(opened: Opened, found: Released) -> tuple[Problem, ...]:
    """Every reason why there is no packet of a revision; none where there is one."""
    release, there = found.reviewed.release, {line.sheet.site.id: line for line in found.lines}
    reasons: list[Problem] = []
    for site in opened.network.sites:
        line = there.get(site.id)
        if site.id in release and (line is None or not line.issued):
            reasons += _of_site(found, site.id) if line is None else _of_sheet(line)
        elif line is not None and line.state == "stale":
            reasons += _of_sheet(line)
    if not reasons and not any(line.issued for line in found.lines):
        what = "no sheet of this revision is issued"
        reasons.append(Problem("sites", what, "sheets that are issued, then the packet", code="nothing-issued"))
    return tuple(dict.fromkeys(reasons))


def _of_site(found: Released, site_id: str) -> tuple[Problem, ...]:
    """Why a site has no sheet at all."""
    return tuple(reason.problem for reason in found.reviewed.of(site_id).because("withheld"))


def _of_sheet(line: SheetLine) -> tuple[Problem, ...]:
    """Why a sheet keeps the packet back."""
    site = line.sheet.site
    if line.state == "stale":
        expected = "a new issue, then the packet"
        return (Problem("sites", line.stale_says, expected, code="sheet-stale", touches=(Touch(site.id),)),)
    if line.state == "ready":
        what = f"the sheet of {site.name} is not issued"
        return (
            Problem("sites", what, "its issue, then the packet", code="sheet-not-issued", touches=(Touch(site.id),)),
        )
    return why_not(line)


def packet(
    opened: Opened, store: Store, maps: Maps, settings: Settings, *, base: str, days: int, paper: Paper
) -> bytes:
    """The packet as one PDF; its links are made, or found again, and listed with the others.

    Parameters
    ----------
    opened : Opened
        The newest revision.
    store : Store
    maps : Maps
    settings : Settings
    base : str
        The address that telephones reach; empty where there is none: then no code is printed.
    days : int
        How long new links last.
    paper : {'a4', 'letter'}

    Raises
    ------
    RefusedError
        With every reason why there is no packet.
    """
    found = released(opened, store, maps)
    if reasons := refusals(opened, found):
        raise RefusedError(422, *reasons)
    sites = opened.network.sites
    lines = link_lines(opened, found, store.links, settings, base=base, days=days, sites=sites)
    plan = change_page(opened, store, maps, settings)
    first = [change.site.id for change in plan.plan.changes]
    in_steps = sorted(
        found.lines, key=lambda line: first.index(line.sheet.site.id) if line.sheet.site.id in first else len(first)
    )
    by_site = {line.site_id: line for line in lines}
    parts = [printed_change(opened, plan, found)]
    asked = locked(store, settings)
    parts += [_sheet(opened, line, by_site[line.sheet.site.id], base=base, asked=asked) for line in in_steps]
    if away := head_end_lines(found):
        address = base + addresses.head_end(opened.head.id) if base else ""
        opens = code_says(opened.head.revision.number, locked=asked)
        parts.append(printed_head_end(opened, away, address=address, opens=opens))
    return pdf([*parts, printed_links(opened, lines)], paper=paper)


def _sheet(opened: Opened, line: SheetLine, link: LinkLine, *, base: str, asked: bool) -> Printed:
    """A sheet whose code opens the technician's page; without a link the office's, which asks for the log-in."""
    number = opened.head.revision.number
    if base and link.address and link.ends_at is not None:
        opens = f"revision {number}: the code opens the technician's page, without a log-in, until {when(link.ends_at)}"
        return printed_sheet(opened, line, address=f"{link.address}#revision-{number}", opens=opens)
    address = base + addresses.sheet(opened.head.id, line.sheet.site.id, number) if base else ""
    return printed_sheet(opened, line, address=address, opens=code_says(number, locked=asked))
