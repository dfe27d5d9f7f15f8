"""The work packet: what it holds, what keeps it back, and its PDF."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from fastapi import Query, Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import Problem, Touch
from webapp.config.addresses import Room, outside, to
from webapp.config.limits import whole_number
from webapp.config.settings import Settings
from webapp.on_air.change import change_page
from webapp.on_air.head_end import head_end_lines
from webapp.on_air.link_lines import link_lines
from webapp.on_air.printing import (
    LinkLine,
    as_file,
    code_says,
    locked,
    printed_change,
    printed_head_end,
    printed_links,
    printed_sheet,
    unprintable_says,
)
from webapp.on_air.site_links import MOST_DAYS, USUAL_DAYS, Packing, checked_days
from webapp.paper import PAPERS, Paper, Printed, pdf
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, JobsDep, MapsDep, NetworkDep, Opened, SettingsDep, StoreDep
from webapp.shell.following import found as followed
from webapp.shell.languages import crew_language, printed_in, word
from webapp.shell.problems import RefusedError
from webapp.shell.render import page, when
from webapp.standing.release import Released, SheetLine, released, why_not
from webapp.store.store import Store
from webapp.work.jobs import Function, Job, Jobs, Progress
from webapp.work.maps import Maps

router = Room("packet")
AT_ONCE_S = 2.0
"""So long a request waits for it: most are made by then (20 sites take 1 to 2.4 s)."""


@dataclass(frozen=True, slots=True)
class PacketPage(Context):
    """What the packet holds, or why there is none."""

    TEMPLATE: ClassVar[str] = "on_air/packet.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    refused: tuple[Problem, ...]
    """Every reason why there is none."""
    not_issued: tuple[str, ...]
    """Names of the sites whose sheets would go with it stamped, or keep it back."""
    reachable: bool
    """Whether the application has an address that a telephone can reach."""
    unprintable: str
    """Which scripts of the network no font here has; empty where every name is printed whole."""
    days: int
    """How long a link lasts, if nothing else is asked for."""
    most_days: int
    """How long it may last."""


@dataclass(frozen=True, slots=True)
class MadePacket:
    """A packet that was made."""

    network_id: int
    revision: int
    pdf: bytes


@router.get("/networks/{network_id}/packet")
def show(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """What goes with it, or why there is none."""
    found = released(opened, store, maps)
    others = tuple(line.sheet.site.name for line in found.lines if not line.issued)
    reachable = bool(settings.public_url)
    context = PacketPage(
        opened.head, refusals(opened, found), others, reachable, unprintable_says(opened), USUAL_DAYS, MOST_DAYS
    )
    return page(request, context)


@router.post("/networks/{network_id}/packet.pdf")
def as_pdf(
    opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, jobs: JobsDep,
    form: FormDep,
) -> Response:  # fmt: skip
    """The packet, its links made; of a large network the job that makes it."""
    days, paper = whole_number(form.get("days", "")), next((p for p in PAPERS if p == form.get("paper", "a4")), None)
    if days is None or paper is None:
        what, expected = ("the paper or the days cannot be read", "a4 or letter, and a number of days")
        raise RefusedError(422, Problem("paper", what, expected, code="unreadable-choice", fields=("paper", "days")))
    checked_days(days)
    if reasons := refusals(opened, released(opened, store, maps)):
        raise RefusedError(422, *reasons)
    job = begun(opened, store, maps, jobs, settings, days=days, paper=paper)
    job.ended.wait(AT_ONCE_S)
    return _as_file(job.result) if job.state == "finished" else RedirectResponse(to("jobs.show", job.id), 303)


FUNCTION = "packet"
KEPT = Function(needs="issue", whole=True)
"""The PDF itself is not kept: it holds signed links, and rows of computations lie in back-ups."""


def begun(opened: Opened, store: Store, maps: Maps, jobs: Jobs, settings: Settings, *, days: int, paper: Paper) -> Job:
    """A job of every page, in the name of whoever asked for it; what was asked for outlives the process."""
    base, revision = settings.public_url, opened.head.revision

    def work(progress: Progress) -> MadePacket:
        def tell(page_of: str, done: int, total: int) -> None:
            progress.tell(page_of, done=done, total=total)

        made = packet(opened, store, maps, settings, base=base, days=days, paper=paper, tell=tell)
        return MadePacket(opened.head.id, revision.number, made)

    typed = {"days": f"{days}", "paper": paper}
    return jobs.start(
        work,
        title="Work packet",
        key=secrets.token_urlsafe(9),
        result_url=lambda job_id: to("packet.made", opened.head.id, job_id),
        short=True,
        function=FUNCTION,
        asked={"network": opened.head.id, "revision": revision.number, "checksum": revision.checksum, "typed": typed},
    )


def again_by(store: Store, settings: Settings) -> Callable[[Opened, Maps, Jobs, dict[str, str], int], Job]:
    """What makes a packet once more as it was asked for, of the newest revision; refused as the first time."""

    def again(opened: Opened, maps: Maps, jobs: Jobs, typed: dict[str, str], _most: int) -> Job:
        if reasons := refusals(opened, released(opened, store, maps)):
            raise RefusedError(422, *reasons)
        paper = next(one for one in PAPERS if one == typed["paper"])
        return begun(opened, store, maps, jobs, settings, days=int(typed["days"]), paper=paper)

    return again


@router.get("/networks/{network_id}/packet/{job_id}")
def made(opened: NetworkDep, jobs: JobsDep, job_id: str) -> Response:
    """What a job made, as long as it is kept."""
    job = followed(jobs, job_id)
    if job.function == FUNCTION and job.asked["network"] == opened.head.id and job.result is None:
        return RedirectResponse(to("jobs.show", job.id), 303)  # which says where it is, or what became of it
    if not isinstance(job.result, MadePacket) or job.result.network_id != opened.head.id:
        raise RefusedError(404)
    return _as_file(job.result)


def _as_file(made: "MadePacket") -> Response:
    """The PDF as a browser shows it."""
    return as_file(made.pdf, f"work-packet-network-{made.network_id}-revision-{made.revision}.pdf")


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
    opened: Opened, store: Store, maps: Maps, settings: Settings, *, base: str, days: int, paper: Paper,
    tell: Callable[[str, int, int], None] | None = None,
) -> bytes:  # fmt: skip
    """The packet as one PDF; its links are found again, or made, and listed with the others once the packet is there.

    One that is never finished leaves no link that opens anything.

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
    tell : callable(what is written, done, total), optional

    Raises
    ------
    RefusedError
        With every reason why there is no packet.
    """
    found = released(opened, store, maps)
    if reasons := refusals(opened, found):
        raise RefusedError(422, *reasons)
    while True:  # another packet of these sites may be ready first: then its links are printed
        packing = Packing(days)
        made = _printed(opened, found, store, maps, settings, base=base, packing=packing, paper=paper, tell=tell)
        if packing.given_out(store.links):
            return made


def _printed(
    opened: Opened, found: Released, store: Store, maps: Maps, settings: Settings, *, base: str, packing: Packing,
    paper: Paper, tell: Callable[[str, int, int], None] | None,
) -> bytes:  # fmt: skip
    """Every page, with links of which some may not be given out yet."""
    sites = opened.network.sites
    lines = link_lines(opened, found, store.links, settings, base=base, sites=sites, packing=packing)
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
        address = outside(base, to("head_end.show", opened.head.id)) if base else ""
        opens = code_says(opened.head.revision.number, locked=asked, language=crew_language(opened.network))
        parts.append(printed_head_end(opened, away, address=address, opens=opens))
    return pdf([*parts, printed_links(opened, lines)], paper=paper, tell=tell)


def _sheet(opened: Opened, line: SheetLine, link: LinkLine, *, base: str, asked: bool) -> Printed:
    """A sheet whose code opens the technician's page; without a link the office's, which asks for the log-in."""
    number = opened.head.revision.number
    if base and link.address and link.ends_at is not None:
        with printed_in(crew_language(opened.network)):
            opens = word(
                "revision %(number)s: the code opens the technician's page, without a log-in, until %(when)s"
            ) % {"number": number, "when": when(link.ends_at)}
        return printed_sheet(opened, line, address=f"{link.address}#revision-{number}", opens=opens)
    address = outside(base, to("sheets.show", opened.head.id, line.sheet.site.id, revision=number)) if base else ""
    opens = code_says(number, locked=asked, language=crew_language(opened.network))
    return printed_sheet(opened, line, address=address, opens=opens)


for_scripts = Room("api", under="/api", tags=["answers"], include_in_schema=True)


_FILE = {"application/pdf": {"schema": {"type": "string", "format": "binary"}}}


_PDF: dict[int | str, dict[str, Any]] = {200: {"content": _FILE, "description": "The packet."}}


@for_scripts.post("/networks/{network_id}/packet", response_class=Response, responses=_PDF)
def answer_packet(
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    days: Annotated[int, Query(description="How long its links last.")] = USUAL_DAYS,
    paper: Paper = "a4",
) -> Response:
    """Change plan, every sheet and signed links of the newest revision as one PDF; makes the links."""
    base = settings.public_url
    made = packet(opened, store, maps, settings, base=base, days=days, paper=paper)
    return as_file(made, f"work-packet-network-{opened.head.id}-revision-{opened.head.revision.number}.pdf")
