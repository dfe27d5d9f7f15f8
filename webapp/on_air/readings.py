"""The office's overview of what was set and measured, links for technicians, restart tolerances taken."""

from collections import Counter
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem, Touch
from sfn.study.site_state import with_set_now
from sfn.survey.readings import State
from webapp.config.addresses import Room, to
from webapp.config.limits import whole_number
from webapp.on_air.link_lines import link_lines
from webapp.on_air.printing import LinkLine, as_file, printed_links
from webapp.on_air.site_links import USUAL_DAYS, checked_days
from webapp.paper import Paper, pdf
from webapp.shell.api_pages import PREFIX
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, NetworkDep, SettingsDep, StoreDep
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of, save
from webapp.shell.windows import Shown, Window
from webapp.standing.readings import LABELS
from webapp.standing.release import Released, released
from webapp.standing.site_lines import EVERY_N, STATES, SiteLine, reported_lines, site_line, without_sheet
from webapp.standing.under_way import taken_back
from webapp.store.entries import Entry
from webapp.store.ledger import LEDGERS
from webapp.store.links_kept import KeptLink

router = Room("readings")
READINGS_N = 20
"""So many of each site's readings stand on the page at a time."""
_UNISSUED = "without an issued sheet"


@dataclass(frozen=True, slots=True)
class Unplanned:
    """Readings of a site that has no sheet any more."""

    site_id: str
    name: str
    entries: tuple[Entry, ...]
    part: Window[int]
    """Which part of all that was sent from it they are: by their numbers."""


@dataclass(frozen=True, slots=True)
class ReadingsPage(Context):
    """State of every site: planned, set, measured, disagrees."""

    TEMPLATE: ClassVar[str] = "on_air/readings.html"
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
    words: Mapping[State, str]
    """Words for the states."""


@dataclass(frozen=True, slots=True)
class ReadingLinksPage(Context):
    """Links with their QR codes, to print or send."""

    TEMPLATE: ClassVar[str] = "on_air/reading_links.html"
    TAB: ClassVar[str] = "readings"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[LinkLine, ...]
    """One link a site."""
    days: int
    """How long a link that is made now lasts, if nothing else is asked for."""
    ends_at: datetime
    """When it would end."""
    to_make: tuple[str, ...]
    """Names of the sites that may have a link and have none."""
    reachable: bool
    """Whether the application has an address that a telephone can reach."""
    given: tuple[KeptLink, ...]
    """Every link of the network that has not ended, the newest first, withdrawn ones too."""
    names: Mapping[str, str]
    """Of the sites, by id."""


@router.get("/networks/{network_id}/readings")
def show(
    request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, site: str = "", part: Shown = ""
) -> Response:
    """Every site at a glance, and what was sent last from each, or `part` of what `site` sent. Scripts get all."""
    most = EVERY_N if request.url.path.startswith(PREFIX) else READINGS_N
    found = released(opened, store, maps)
    parts = {site: part} if site else {}
    lines = reported_lines(opened, store, maps, found, most=most, parts=parts)
    counted = Counter(_UNISSUED if line.unissued else STATES[line.state.state] for line in lines)
    always = (STATES["planned"], STATES["set"], STATES["measured"], STATES["disagrees"], _UNISSUED)
    counts = {name: counted[name] for name in (*STATES.values(), _UNISSUED) if name in always or counted[name]}
    names = {site.id: site.name for site in opened.network.sites}
    unplanned = tuple(
        Unplanned(one.site_id, names.get(one.site_id, f"{one.site_id}, no longer in the plan"), one.entries, one.part)
        for one in without_sheet(opened, store, found, most=most, parts=parts)
    )
    return page(request, ReadingsPage(opened.head, lines, unplanned, counts, USUAL_DAYS, LABELS, STATES))


@router.get("/networks/{network_id}/readings/links")
def show_links(
    request: Request,
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    site: str = "",
    days: int = USUAL_DAYS,
) -> Response:
    """The links that were made, with their codes, of one site or all; looking makes none."""
    checked_days(days)
    chosen = [one for one in opened.network.sites if not site or one.id == site]
    if not chosen:
        known = ", ".join(one.id for one in opened.network.sites)
        raise PlanError(
            [
                Problem(
                    "site",
                    f"there is no site {site!r}",
                    f"one of {known}, or none for all",
                    code="unknown-site",
                    fields=("site",),
                    values={"site": site},
                )
            ]
        )
    base = settings.public_url
    lines = link_lines(opened, released(opened, store, maps), store.links, settings, base=base, sites=chosen)
    names = {one.id: one.name for one in opened.network.sites}
    none = tuple(line.site_name for line in lines if line.to_make)
    ends_at = datetime.now(UTC) + timedelta(days=days)
    given = store.links.of(opened.head.id)
    context = ReadingLinksPage(opened.head, lines, days, ends_at, none, bool(base), given, names)
    return page(request, context)


@router.get("/networks/{network_id}/readings/links.pdf")
def links_as_pdf(
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    paper: Paper = "a4",
) -> Response:
    """The links that were made, of all sites, as a PDF."""
    base, found = settings.public_url, released(opened, store, maps)
    lines = link_lines(opened, found, store.links, settings, base=base, sites=opened.network.sites)
    made = pdf(printed_links(opened, lines), paper=paper)
    return as_file(made, f"links-network-{opened.head.id}-revision-{opened.head.revision.number}.pdf")


@router.post("/networks/{network_id}/readings/links")
def make_link(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep) -> Response:
    """A new link to one site, or one to every site that has none; none to a sheet that is not issued."""
    site_id, days = form.get("site", ""), whole_number(form.get("days", "")) or USUAL_DAYS
    checked_days(days)
    chosen = [one for one in opened.network.sites if not site_id or one.id == site_id]
    if not chosen:
        raise RefusedError(422, Problem("site", f"there is no site {site_id[:60]!r}", "a site", code="unknown-site"))
    ends_at, revision = datetime.now(UTC) + timedelta(days=days), opened.head.revision.number
    found = released(opened, store, maps)
    refused = tuple(problem for one in chosen for problem in _no_link(found, one.id, one.name))
    stopped = {site for problem in refused for site in problem.sites}
    may_have = [one for one in chosen if one.id not in stopped]
    if not may_have:
        raise RefusedError(422, *refused)
    live = {one.site_id for one in store.links.of(opened.head.id) if one.opens(revision)}
    made = [one for one in may_have if site_id or one.id not in live]
    for one in made:
        store.links.add(opened.head.id, site_id=one.id, revision=revision, ends_at=ends_at, made_with="link page")
    said = [
        f"Links made: {', '.join(format(one.name) for one in made)}."
        if made
        else "Every site has its link: none was made."
    ]
    notice(request, " ".join([*said, *(f"{problem.what}." for problem in refused)]))
    return RedirectResponse(to("readings.show_links", opened.head.id, site=site_id), 303)


def _no_link(found: Released, site_id: str, name: str) -> tuple[Problem, ...]:
    """Why a site gets no link: its sheet is withheld, or not issued; nothing where it gets one."""
    line = next((one for one in found.lines if one.sheet.site.id == site_id), None)
    if line is not None and line.opens:
        return ()
    state = "withheld" if line is None else line.state
    because = "; ".join(reason.problem.what for reason in found.reviewed.of(site_id).because("withheld"))
    what = f"no link is made for {name}: its sheet is {'not issued' if state == 'ready' else state}"
    what += f": {because}" if because else ""
    expected = "a sheet that is issued, or the order to read it"
    return (Problem("site", what, expected, code="link-not-issued", touches=(Touch(site_id),)),)


@router.post("/networks/{network_id}/readings/links/{link_id}/withdraw")
def withdraw(request: Request, opened: NetworkDep, store: StoreDep, link_id: str) -> Response:
    """Let a link open nothing from now on."""
    if not store.links.withdraw(opened.head.id, link_id):
        raise RefusedError(404)
    gone = store.links.find(link_id)
    now = datetime.now(UTC)
    own = [one for one in store.links.of(opened.head.id) if gone is not None and one.site_id == gone.site_id]
    live_n = sum(one.withdrawn_at is None and one.ends_at > now for one in own)
    left = "no link of that site opens anything now"
    if live_n:
        left = (
            "one other link of that site still opens"
            if live_n == 1
            else f"{live_n} other links of that site still open"
        )
        left += " its sheet"
    notice(request, f"The link is withdrawn: whoever has it is told to ask for a new one. Note: {left}.")
    return RedirectResponse(to("readings.show_links", opened.head.id), 303)


@router.post("/networks/{network_id}/readings/restarts")
def keep_restarts(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep) -> Response:
    """Take the scatter after restarts as a stage's tolerance: a new revision."""
    author = author_of(form)
    stage_id, site_id = (form.get(name, "").strip() for name in ("stage", "site"))
    line = released(opened, store, maps).of(site_id)
    gone = taken_back(store, maps, opened.head.id)
    scatter = site_line(line, opened, store, gone, LEDGERS.of(store, opened.head.id), most=1).state.scatter
    document = deepcopy(opened.document)
    stage = next((one for one in document["stages"] if one["id"] == stage_id), None)
    if scatter is None or stage is None:
        raise PlanError(
            [
                Problem(
                    "stage",
                    "there is no scatter to take, or no such stage",
                    "repeated readings",
                    code="no-stage-chosen",
                    fields=("stage",),
                )
            ]
        )
    stage |= {"tolerance_us": round(scatter.tolerance_us, 4), "tolerance_kind": "restart"}
    reason = f"restart tolerance of {stage_id} from {scatter.readings_n} restarts at {line.sheet.site.name}"
    save(request, store, opened, document, form, author=author, reason=reason)
    notice(request, f"Saved as a new revision: {reason}.")
    return RedirectResponse(to("readings.show", opened.head.id), 303)


@router.post("/networks/{network_id}/readings/set-now")
def keep_set_now(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, form: FormDep) -> Response:
    """Take what was read as set for what is set now, at the chosen sites: a new revision."""
    author, document, taken = author_of(form), dict(opened.document), []
    lines, gone = released(opened, store, maps), taken_back(store, maps, opened.head.id)
    ledger = LEDGERS.of(store, opened.head.id)
    for site in opened.network.sites:
        if form.get(f"take-{site.id}"):
            found = site_line(lines.of(site.id), opened, store, gone, ledger, most=1).state
            document = with_set_now(document, site.id, found)
            taken.append(site.name)
    if not taken:
        raise PlanError(
            [
                Problem(
                    "take", "no site was chosen", "at least one that was read", code="no-site-chosen", fields=("take",)
                )
            ]
        )
    if document == opened.document:
        notice(request, "The plan says so already: nothing was saved.")
        return RedirectResponse(to("readings.show", opened.head.id), 303)
    reason = f"set now, as read at {', '.join(taken)}"
    save(request, store, opened, document, form, author=author, reason=reason[:500])
    notice(request, f"Saved as a new revision: {reason}.")
    return RedirectResponse(to("readings.show", opened.head.id), 303)
