"""A technician's page: one site's sheet behind a signed link, and what was set and measured there."""

import json
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any, ClassVar

from fastapi import Request
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse, Response

from sfn.chain import MAIN
from sfn.errors import PlanError, Problem
from sfn.plan.reported import Stood
from sfn.study.asks import Already, already, asks
from sfn.study.going_back import never_changed
from sfn.study.live_change import LiveStep
from sfn.study.readings import Question, judged, plan_of, route_of
from sfn.study.sheet import RouteSheet, Sheet
from sfn.survey.at_site import Advice
from webapp.config.addresses import Room, to
from webapp.config.settings import Settings
from webapp.on_air.site_links import SiteLink, open_link
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, MapsDep, Opened, SettingsDep, StoreDep, opened
from webapp.shell.languages import asked, crew_language, printed_in, rules_said, telephone_words, told, word
from webapp.shell.problems import RefusedError, wants_json
from webapp.shell.render import notice, page
from webapp.standing.radiated_since import radiated_since
from webapp.standing.readings import (
    LABELS,
    LEVELS,
    LOCKS,
    LONGEST_TEXT_N,
    READING,
    READINGS_N,
    Kept,
    Typed,
    confirmed,
    kept,
    typed_reading,
)
from webapp.standing.release import SheetLine, State, released
from webapp.standing.under_way import Live, after, near_order, since_order, told_at
from webapp.store.entries import Entry
from webapp.store.store import MissingError, Store
from webapp.work.maps import Maps

router = Room("site_reading")
_WORKER = Path(__file__).parent.parent / "static" / "at-site-worker.js"


@dataclass(frozen=True, slots=True)
class SiteReadingPage(Context):
    """One site's sheet on a telephone, and what is typed there."""

    TEMPLATE: ClassVar[str] = "on_air/site_reading.html"
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
    near_order: frozenset[int]
    """Entries of which clocks leave open on which side of the order to go back they lie."""
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
    stands: tuple[Stood, ...]
    """Reports by which every field stands as wanted already; empty where one does not, or they were sent from here."""
    last: Kept | None
    """What was sent last on this route; None where that is nothing, or the sheet may not be gone by."""
    words: str
    """What its script says in the crew's language, as JSON; empty in English."""
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

    def language(self) -> str:
        """The crew's."""
        return crew_language(self.sheet.network)


@router.get("/site/{token}")
def show(
    request: Request, token: str, settings: SettingsDep, store: StoreDep, maps: MapsDep, route: str = ""
) -> Response:
    """The sheet, and room for what is read."""
    return _page(request, token, settings, store, maps, {"route": route} if route else {})


@router.get("/site/{token}/worker.js")
def worker(token: str, settings: SettingsDep, store: StoreDep) -> Response:
    """The script that keeps this page, and no other, for when there is no connection."""
    open_link(store.links, settings.session_key, token)
    headers = {"Service-Worker-Allowed": to("site_reading.show", token), "Cache-Control": "no-cache"}
    return FileResponse(_WORKER, media_type="text/javascript", headers=headers)


@router.get("/site/{token}/state")
def state(token: str, settings: SettingsDep, store: StoreDep, maps: MapsDep) -> Response:
    """Whether what a telephone shows still holds; refused like the page once the link is over."""
    link = open_link(store.links, settings.session_key, token)
    line, fresh = _sheet(link, _planned(link, store, maps), store, maps)
    return JSONResponse({"seen": _seen(link, line, fresh, store, told_at(link.site_id, store, maps, link.network_id))})


@router.post("/site/{token}")
def take(
    request: Request, token: str, settings: SettingsDep, store: StoreDep, maps: MapsDep, form: FormDep
) -> Response:
    """Take a reading, or say what looks like a slip; the same sending twice is kept once."""
    link = open_link(store.links, settings.session_key, token)
    planned = _planned(link, store, maps)
    line, fresh = _sheet(link, planned, store, maps)
    live = told_at(link.site_id, store, maps, link.network_id)
    made, goes_by = _with_way_back(line, live, link).sheet, line.issued and fresh
    old = None if live is None else live.old_sheet(made, revision=link.revision)
    goes_by = goes_by and (old is not None or not _lost(live, link))
    try:
        typed = typed_reading(form, made, now=datetime.now(UTC))
        # What was read before the order, without a connection, is what stood there then: asked about as that.
        old = old if live is not None and since_order(live.ordered_back, typed.held) else None
        found = judged(old or made, typed.reading, going_back=old is not None)
    except PlanError as refused:
        return _again(request, token, settings, store, maps, form, refused.problems, ())
    # Without an issued sheet nothing is held against a plan: that would tell a setting that is withheld.
    if goes_by and (typed.open_questions(found) or form.get("ask") == "yes"):
        # All of them, those confirmed too: a tick that is left out of the answer would be asked for again.
        return _again(request, token, settings, store, maps, form, (), found.questions)
    link = open_link(store.links, settings.session_key, token)  # withdrawn while it was looked at
    _keep(store, link, typed, issued=line.issued and fresh)
    if wants_json(request):
        return JSONResponse({"kept": True, "sending": typed.body["sending"], "next": secrets.token_urlsafe(12)})
    with printed_in(crew_language(planned.network)):
        notice(request, word("The office has it. Thank you."))
    return RedirectResponse(to("site_reading.show", token), 303)


def _planned(link: SiteLink, store: Store, maps: Maps) -> Opened:
    """The revision that a link is for.

    Raises
    ------
    RefusedError
        410 if the network was deleted since: nothing may be set by it, and its links open again when it is back.
    """
    try:
        return opened(store.read(link.network_id, link.revision), store, maps)
    except MissingError:
        what = "the network of this link was deleted at the control room"
        expected = "ask there: if it is brought back, this link opens again; what you typed is still kept"
        raise RefusedError(410, Problem("link", what, expected, code="network-deleted")) from None


def _sheet(link: SiteLink, planned: Opened, store: Store, maps: Maps) -> tuple[SheetLine, bool]:
    """The sheet that a link is for, and whether it is still the newest revision's."""
    fresh = store.read(link.network_id).revision.number == link.revision
    return released(planned, store, maps).of(link.site_id), fresh


def _with_way_back(line: SheetLine, live: Live | None, link: SiteLink) -> SheetLine:
    """The same line; while a change is under way its sheet goes back to what was written down when that began."""
    return line if live is None else replace(line, sheet=live.sheet(line.sheet, revision=link.revision))


def _own(made: Sheet, link: SiteLink, entries: Sequence[Entry]) -> list[Entry]:
    """What was sent of this revision, or of an older one that planned the same for its route."""
    plans = {route.row.route: plan_of(made, route.row.route) for route in made.routes}
    return [
        one for one in entries
        if one.revision == link.revision or one.body.get("plan") == plans.get(str(one.body.get("route")), {})
    ]  # fmt: skip


def _overtaken(last: Kept, there: Already) -> bool:
    """Whether fields that were sent at another setting were reported as wanted since."""
    wrong = last.found is not None and any(line.off_us for line in last.found.settings)
    return wrong and any(one.held_at > last.held.at for one in there.reports)


def _said(until: datetime, now: datetime) -> str:
    """A deadline in UTC, with its day where that is another than today's there."""
    return f"{until:%H:%M} UTC" if until.date() == now.date() else f"{until:%Y-%m-%d %H:%M} UTC"


def _lost(live: Live | None, link: SiteLink) -> bool:
    """Whether a site is told to go back: where nobody knows to what, nothing is held against the plan."""
    return (
        live is not None
        and live.revision == link.revision
        and live.change.going_back
        and live.of(link.site_id) is not None
    )


def _seen(link: SiteLink, line: SheetLine, fresh: bool, store: Store, live: Live | None) -> str:
    """What a page shows, in short: it changes with the sheet, the newest revision and what the office has."""
    entries = store.entries.of(link.network_id, kind=READING, site_id=link.site_id)
    said = [line.state, line.sheet.checksum, fresh, store.read(link.network_id).revision.number, live and live.mark]
    said += [radiated_since(line.sheet.network)]
    return sha256(repr([*said, [entry.id for entry in entries]]).encode()).hexdigest()[:16]


def _stopped(link: SiteLink, store: Store, maps: Maps) -> tuple[Problem, ...]:
    """What withholds the site in the newest revision; nothing where it is not in it any more."""
    newest = opened(store.read(link.network_id), store, maps)
    reviewed = maps.reviewed(newest.network)
    if (link.site_id, MAIN) not in reviewed.verdicts:
        return ()
    return tuple(reason.problem for reason in reviewed.of(link.site_id).because("withheld"))


def _keep(store: Store, link: SiteLink, typed: Typed, *, issued: bool) -> None:
    """Write it down, whatever the state of its sheet, unless it is there already (the answer was lost on the way)."""

    def kept_already(entry: Entry) -> bool:
        """One sending, or one press of the button, that says the same: the telephone's clock counts milliseconds."""
        marks = [name for name in ("sending", "pressed") if typed.body.get(name)]
        once = any(entry.body.get(name) == typed.body[name] for name in marks)
        return once and entry.made_by == typed.initials and _same(entry.body, typed.body)

    store.entries.add(
        link.network_id,
        revision=link.revision,
        site_id=link.site_id,
        kind=READING,
        made_by=typed.initials,
        body={**typed.body, "issued": issued},
        unless=kept_already,
    )


def _same(a: Mapping[str, Any], b: Mapping[str, Any]) -> bool:
    """Whether two bodies say the same; when and under which name they were sent, and what was ticked, apart."""
    apart: tuple[str, ...] = ("sending", "pressed", "plan", "taken_at", "confirmed", "issued")
    apart += ("held_at", "held_earliest", "held_latest", "held_words")
    return {k: v for k, v in a.items() if k not in apart} == {k: v for k, v in b.items() if k not in apart}


def _again(
    request: Request,
    token: str,
    settings: Settings,
    store: Store,
    maps: Maps,
    form: dict[str, str],
    problems: tuple[Problem, ...],
    questions: tuple[Question, ...],
) -> Response:
    """The page with what was typed, what cannot be read and what is asked."""
    if not wants_json(request):
        return _page(request, token, settings, store, maps, form, problems=problems, questions=questions, status=422)
    ticked = confirmed(form)
    link = open_link(store.links, settings.session_key, token)
    with printed_in(crew_language(_planned(link, store, maps).network)):
        found = [p.as_json() | {"told": told(p)} for p in problems]
        open_n = [
            {"field": q.field, "text": q.text, "confirmed": f"{q.field}: {q.text}" in ticked, "code": q.asked.code,
             "told": asked(q.asked)}
            for q in questions
        ]  # fmt: skip
    return JSONResponse({"kept": False, "problems": found, "questions": open_n}, 422)


def _page(
    request: Request,
    token: str,
    settings: Settings,
    store: Store,
    maps: Maps,
    typed: dict[str, str],
    *,
    problems: tuple[Problem, ...] = (),
    questions: tuple[Question, ...] = (),
    status: int = 200,
) -> Response:
    """The page in any state."""
    link = open_link(store.links, settings.session_key, token)
    planned: Opened = _planned(link, store, maps)
    line, fresh = _sheet(link, planned, store, maps)
    names = [one.row.route for one in line.sheet.routes]
    route = route_of(line.sheet, typed["route"] if typed.get("route") in names else names[0])
    entries = store.entries.of(link.network_id, kind=READING, site_id=link.site_id)
    holds = line.issued and fresh and route.verdict.state != "withheld"
    live = told_at(link.site_id, store, maps, link.network_id)
    line = _with_way_back(line, live, link)
    route = route_of(line.sheet, route.row.route)
    step = None if live is None or live.revision != link.revision else live.of(link.site_id)
    until = None if live is None or step is None or live.ended is not None else live.change.deadline_at
    deadline = None if until is None else _said(until, datetime.now(UTC))
    old = None if live is None else live.old_sheet(line.sheet, revision=link.revision)
    holds = holds and (old is not None or not _lost(live, link))
    sheet, turned = old or line.sheet, old is not None
    wanted = route_of(sheet, route.row.route)
    table = asks(sheet, wanted, deadline=deadline, questions=holds, going_back=turned)
    sent = list(reversed(kept(line.sheet, _own(line.sheet, link, entries), deadline=deadline)))
    back = None if live is None or old is None else live.ordered_back
    since = {one.entry.id for one in sent if back is not None and after(back, one)}
    if old is not None:
        again = kept(old, [one.entry for one in sent], deadline=deadline, going_back=True)
        sent = [new if one.entry.id in since else one for one, new in zip(sent, again, strict=True)]
    there = already(table, sheet, wanted) if holds else None
    last = next(
        (
            one
            for one in sent
            if holds and one.found and one.reading.route == route.row.route and (not turned or one.entry.id in since)
        ),
        None,
    )
    if last is not None and there is not None and _overtaken(last, there):
        last = None
    with printed_in(crew_language(planned.network)):
        words, rules = telephone_words(), rules_said(table)
    context = SiteReadingPage(
        planned=planned.head,
        newest=store.read(link.network_id).revision.number,
        sheet=line.sheet,
        route=route,
        signed=line.signed,
        issued=line.issued and fresh,
        state=line.state if fresh else "stale",
        stopped=() if fresh else _stopped(link, store, maps),
        issue=line.issue,
        ends_at=link.ends_at,
        address=to("site_reading.show", token),
        typed=typed,
        sending=typed.get("sending") or secrets.token_urlsafe(12),
        problems=problems,
        questions=questions,
        sent=tuple(sent),
        taken_back=frozenset(one.entry.id for one in sent if turned and one.entry.id not in since),
        near_order=frozenset(one.entry.id for one in sent if turned and near_order(back, one)),
        going_back=wanted if turned else None,
        unchanged=turned and step is not None and never_changed(step),
        locks=LOCKS if line.sheet.is_fm else (),
        levels=LEVELS,
        readings=READINGS_N,
        labels=LABELS,
        start=table.advised({}, {})[0] if there is None else there.advice,
        stands=() if there is None or last is not None else there.reports,
        last=last,
        words=words,
        rules=json.dumps(rules, ensure_ascii=False, separators=(",", ":")) if holds else "",
        seen=_seen(link, line, fresh, store, live),
        live=live,
        step=step,
        longest=LONGEST_TEXT_N,
    )
    return page(request, context, status=status)
