"""Field sheets: what a technician takes to the site, on the screen and on paper; signed off, and issued together."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import Problem
from sfn.study.sheet import Sheet
from webapp.config.addresses import Room, to
from webapp.config.limits import RevisionNumber
from webapp.config.settings import Settings
from webapp.on_air.printing import as_file, code_says, locked, printed_sheet, unprintable_says
from webapp.paper import Paper, pdf, qr_svg
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, NetworkDep, PersonDep, SettingsDep, StoreDep
from webapp.shell.languages import crew_language
from webapp.shell.problems import RefusedError
from webapp.shell.public import public_address
from webapp.shell.render import notice, page
from webapp.standing.planned_by import planners
from webapp.standing.radiated_since import radiated_since
from webapp.standing.release import SheetLine, State, issue, released, sign_off
from webapp.store.entries import Entry
from webapp.store.roles import NotAllowedError, Person, another_person, may, name_key

router = Room("sheets")


@dataclass(frozen=True, slots=True)
class SheetsPage(Context):
    """Every site's sheet, and whether it is issued."""

    TEMPLATE: ClassVar[str] = "on_air/sheets.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[SheetLine, ...]
    """One line a site."""
    release: tuple[str, ...]
    """Names of the sites that are set together."""
    missing: tuple[Problem, ...]
    """Sites that have no sheet, and why."""
    common_delay_us: float
    """The common delay."""
    frozen: bool
    """Whether the common delay stays as it is, whatever changes at one site."""
    unprintable: str
    """Which scripts of the network no font here has; empty where every name is printed whole."""
    by_another: bool
    """Whether somebody else than the planner is to issue them."""
    radiated: str
    """What is planned to be radiated otherwise, which no sheet orders; empty where nothing is."""


@dataclass(frozen=True, slots=True)
class SheetPage(Context):
    """One site's sheet on the screen."""

    TEMPLATE: ClassVar[str] = "on_air/sheet.html"
    TAB: ClassVar[str] = "sheets"
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
    copy_of: int | None
    """The revision of the copy that somebody came from, where that is another one than this; else None."""
    opens: str
    """What the code on the sheet opens, to whom."""
    unprintable: str
    """Which scripts of the network no font here has; empty where every name is printed whole."""

    def language(self) -> str:
        """The crew's."""
        return crew_language(self.sheet.network)


@router.get("/networks/{network_id}/sheets")
def show_all(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """Every site's sheet and its state."""
    found = released(opened, store, maps)
    names = tuple(site.name for site in opened.network.sites if site.id in found.reviewed.release)
    there = {line.sheet.site.id for line in found.lines}
    gone = [found.reviewed.of(site.id) for site in opened.network.sites if site.id not in there]
    missing = tuple(dict.fromkeys(reason.problem for verdict in gone for reason in verdict.because("withheld")))
    frozen = opened.network.common_delay.value_us is not None
    common_us, unprintable = found.reviewed.table.common_delay_us, unprintable_says(opened)
    by_another = settings.approval == "other"
    radiated = radiated_since(opened.network)
    context = SheetsPage(opened.head, found.lines, names, missing, common_us, frozen, unprintable, by_another, radiated)
    return page(request, context)


@router.get("/networks/{network_id}/sheets/{site_id}")
def show(
    request: Request,
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    site_id: str,
    revision: RevisionNumber | None = None,
) -> Response:
    """One site's sheet; asked for with the revision of a copy, whether that copy still holds."""
    line, number = released(opened, store, maps).of(site_id), opened.head.revision.number
    address = public_address(settings, to("sheets.show", opened.head.id, site_id, revision=number))
    older = revision if revision not in (None, number) else None
    opens = code_says(number, locked=locked(store, settings), language=crew_language(opened.network))
    context = SheetPage(
        opened.head, line.sheet, line.signed, line.issued, address, line.state, line.issue, older, opens,
        unprintable_says(opened),
    )  # fmt: skip
    return page(request, context)


@router.get("/networks/{network_id}/sheets/{site_id}/sheet.pdf")
def as_pdf(
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    site_id: str,
    paper: Paper = "a4",
) -> Response:
    """The same sheet as a PDF."""
    line = released(opened, store, maps).of(site_id)
    number = opened.head.revision.number
    address = public_address(settings, to("sheets.show", opened.head.id, site_id, revision=number))
    opens = code_says(number, locked=locked(store, settings), language=crew_language(opened.network))
    made = pdf(printed_sheet(opened, line, address=address, opens=opens), paper=paper)
    name = f"sheet-network-{opened.head.id}-{site_id}-revision-{number}{'' if line.issued else '-not-issued'}.pdf"
    return as_file(made, name)


@router.get("/networks/{network_id}/sheets/{site_id}/qr.svg")
def as_qr(opened: NetworkDep, settings: SettingsDep, site_id: str) -> Response:
    """The address of the sheet, for a phone."""
    here = to("sheets.show", opened.head.id, site_id, revision=opened.head.revision.number)
    address = public_address(settings, here)
    if not address:
        what = "this application has no address that a phone could reach"
        raise RefusedError(
            404, Problem("address", what, "SFN_DELAYS_PUBLIC_URL set at its start", code="public-address-missing")
        )
    return Response(qr_svg(address), media_type="image/svg+xml")


@router.post("/networks/{network_id}/sheets/{site_id}/sign")
def sign(
    request: Request,
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    person: PersonDep,
    site_id: str,
    form: FormDep,
) -> Response:
    """Let a sheet go out although there are doubts that a named person may answer for."""
    another_person(person, planners(opened, store, of="sheets"), approval=settings.approval)
    name = _signed_by(form, "signed_by", opened.head.revision.number)
    line = released(opened, store, maps).of(site_id)
    sign_off(opened, store, line, by=name, note=form.get("note", "").strip())
    notice(request, f"Signed off by {name}.")
    return RedirectResponse(to("sheets.show", opened.head.id, site_id), 303)


@router.post("/networks/{network_id}/sheets/issue")
def issue_all(
    request: Request,
    opened: NetworkDep,
    store: StoreDep,
    maps: MapsDep,
    settings: SettingsDep,
    person: PersonDep,
    form: FormDep,
) -> Response:
    """Issue every sheet that may go out; those that change together, or none of them."""
    reason = form.get("emergency", "").strip()[:500]
    urgent = _in_emergency(person, planners(opened, store, of="sheets"), settings, reason)
    name = _signed_by(form, "issued_by", opened.head.revision.number)
    number, names = issue(opened, store, released(opened, store, maps), by=name, emergency=reason if urgent else "")
    frozen = "" if number == opened.head.revision.number else " The common delay is frozen from now on."
    how = " in an emergency, without an approver" if urgent else ""
    unasked = " No emergency was written down: you may issue them in the ordinary way." if reason and not urgent else ""
    notice(request, f"Issued by {name}{how} in revision {number}: {', '.join(map(format, names))}.{frozen}{unasked}")
    return RedirectResponse(to("sheets.show_all", opened.head.id), 303)


ISSUED_BY = (
    "this installation asks that sheets are issued by an approver who did not change the plan; in an emergency a"
    " controller who did not change it issues them, with the reason typed beside the button"
)


def _in_emergency(person: Person, by_plan: frozenset[str], settings: Settings, reason: str) -> bool:
    """Whether somebody issues in an emergency what they could not issue otherwise.

    Raises
    ------
    NotAllowedError
        If they may do neither.
    """
    try:
        another_person(person, by_plan, approval=settings.approval, ways=ISSUED_BY)
    except NotAllowedError:
        if not (reason and may(person, "control") and person.named and name_key(person.name) not in by_plan):
            raise
        return True
    return False


def _signed_by(form: dict[str, str], field: str, revision: int) -> str:
    """The name under a decision about just this revision."""
    name = form.get(field, "").strip()[:120]
    if form.get("revision") != str(revision):
        what = "the network was saved again since this page was opened"
        expected = "a look at the new sheets, then a decision on those"
        raise RefusedError(409, Problem("revision", what, expected, code="sheet-changed-since", fields=("revision",)))
    if not name:
        raise RefusedError(422, Problem(field, "this needs a name", "yours", code="author-missing", fields=(field,)))
    return name
