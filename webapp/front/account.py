"""Logging in and out, and one's own account: password and tokens."""

from dataclasses import dataclass, replace
from typing import ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from webapp.config import addresses
from webapp.config.addresses import Room, to
from webapp.config.limits import NetworkId, whole_number
from webapp.shell.context import Context
from webapp.shell.dependencies import FormDep, PersonDep, StoreDep
from webapp.shell.door import HELD, address_of, begin, password_mark
from webapp.shell.problems import RefusedError
from webapp.shell.provider import Provider
from webapp.shell.render import notice, page
from webapp.shell.security import local_address
from webapp.store.accounts import Session, Token
from webapp.store.audit import ACTING
from webapp.store.roles import Person
from webapp.store.store import Store

router = Room("account")


@dataclass(frozen=True, slots=True)
class LogInPage(Context):
    """Asks for name and password."""

    TEMPLATE: ClassVar[str] = "front/log_in.html"
    after: str
    """Where one wanted to go."""
    names: bool
    """Whether there are users; else one password opens the installation."""
    name: str
    """As it was typed."""
    refusal: str
    """Why the last attempt was refused, or nothing."""
    provider: str = ""
    """What the OpenID Connect provider is called; empty where there is none."""
    provider_refusal: str = ""
    """Why signing in there was refused, or nothing."""


@dataclass(frozen=True, slots=True)
class AccountPage(Context):
    """One's own name, password and tokens."""

    TEMPLATE: ClassVar[str] = "front/account.html"
    who: Person
    tokens: tuple[Token, ...]
    """One's own, the newest first."""
    sessions: tuple[Session, ...]
    """Where one is signed in, the newest first."""
    made: str
    """A token that was just made: shown this once."""
    problems: tuple[Problem, ...]


@router.get("/log-in")
def show(request: Request, store: StoreDep, person: PersonDep, after: str = addresses.HOME) -> Response:
    """Ask for name and password."""
    after = local_address(after)
    if person.via != "nobody":
        return RedirectResponse(addresses.inside(after), 303)
    return page(request, LogInPage(after, store.accounts.some(), "", "", _provider_name(request)))


@router.post("/log-in")
def enter(request: Request, store: StoreDep, form: FormDep) -> Response:
    """Look at the password, unless too many were wrong just before."""
    after = local_address(form.get("after", addresses.HOME))
    name, password, names = form.get("name", "").strip(), form.get("password", ""), store.accounts.some()
    held = store.accounts.password_hash(name) if names else request.app.state.secrets.password_hash
    if held is None and not names:
        return RedirectResponse(addresses.inside(after), 303)
    where = address_of(request.scope)
    right, wait_s = request.app.state.attempts.check(password, held, address=where, name=name)
    if right:
        ACTING.set(replace(ACTING.get(), via="session"))
    if right and names:
        begin(request, {HELD: store.accounts.sign_in(name, address=where)})
    elif right:
        begin(request, {"password": password_mark(str(held))})
        store.audit.add("signed in", subject="the installation's password")
    if right:
        return RedirectResponse(addresses.inside(after), 303)
    if wait_s:
        if request.app.state.attempts.slowed_first(address=where, name=name):
            store.audit.add("sign-in slowed", subject=name[:120], body={"wait_s": wait_s})
        said = f"Too many wrong passwords: try again in {wait_s} s."
        refused = LogInPage(after, names, name, said, _provider_name(request))
        answer = page(request, refused, status=429)
        answer.headers["Retry-After"] = str(wait_s)
        return answer
    store.audit.add("sign-in refused", subject=name[:120])
    said = "This is not the password." if not names else "There is no such user with this password."
    return page(request, LogInPage(after, names, name, said, _provider_name(request)), status=403)


@router.post("/log-out")
def leave(request: Request, store: StoreDep) -> Response:
    """End the session."""
    held = request.session.get(HELD)
    if held:
        store.accounts.sign_out(str(held))
    request.session.clear()
    return RedirectResponse(to("account.show"), 303)


@router.post("/account/sign-out-everywhere")
def leave_everywhere(request: Request, store: StoreDep, person: PersonDep) -> Response:
    """End every session of one's own, this one too."""
    store.accounts.sign_out_everywhere(_named(person).user_id or 0)
    request.session.clear()
    return RedirectResponse(to("account.show"), 303)


@router.post("/account/sessions/end")
def end_session(request: Request, store: StoreDep, person: PersonDep, form: FormDep) -> Response:
    """End one session of one's own; with the password, so that who found an open browser ends no other."""
    who = _named(person)
    if wrong := _not_the_password(request, store, who, form):
        return _account(request, store, who, problems=wrong, status=403)
    if not store.accounts.end_session(who.user_id or 0, form.get("session", "")):
        what = "has ended already, or is none of yours"
        gone = Problem("session", what, "one of the list", code="session-unknown", fields=("session",))
        return _account(request, store, who, problems=(gone,), status=422)
    notice(request, "That session is ended: its browser is asked for the password at its next step.")
    return RedirectResponse(to("account.show_account"), 303)


@router.get("/account")
def show_account(request: Request, store: StoreDep, person: PersonDep) -> Response:
    """One's own name and tokens."""
    return _account(request, store, person)


@router.post("/account/password")
def change_password(request: Request, store: StoreDep, person: PersonDep, form: FormDep) -> Response:
    """Another password; every session of before ends, this browser gets a new one."""
    who = _named(person)
    if wrong := _not_the_password(request, store, who, form):
        return _account(request, store, who, problems=wrong, status=403)
    try:
        store.accounts.set_password(who.name, form.get("password", ""))
    except PlanError as refused:
        return _account(request, store, who, problems=refused.problems, status=422)
    begin(request, {HELD: store.accounts.sign_in(who.name, address=address_of(request.scope))})
    notice(request, "The password is changed. Other browsers that were signed in with the old one are out.")
    return RedirectResponse(to("account.show_account"), 303)


@router.post("/account/tokens")
def make_token(request: Request, store: StoreDep, person: PersonDep, form: FormDep) -> Response:
    """A new token, shown this once."""
    who = _named(person)
    typed = form.get("days", "").strip()
    days = whole_number(typed)
    try:
        if typed and days is None:
            raise PlanError(
                [Problem("days", f"cannot be {typed[:40]!r}", "a whole number, or none", code="not-a-number")]
            )
        made = store.accounts.add_token(
            who.user_id or 0, label=form.get("label", ""), scope=form.get("scope", "read"), days=days
        )
    except PlanError as refused:
        return _account(request, store, who, problems=refused.problems, status=422)
    return _account(request, store, who, made=made)


@router.post("/account/tokens/{token_id}/revoke")
def revoke_token(request: Request, store: StoreDep, person: PersonDep, token_id: NetworkId) -> Response:
    """End a token of one's own."""
    if not store.accounts.revoke(token_id, user_id=_named(person).user_id):
        raise RefusedError(404)
    notice(request, "The token is revoked: it opens nothing from now on.")
    return RedirectResponse(to("account.show_account"), 303)


def _not_the_password(request: Request, store: Store, who: Person, form: dict[str, str]) -> tuple[Problem, ...]:
    """Why what somebody typed again is not their password; nothing where it is."""
    attempts, held = request.app.state.attempts, store.accounts.password_hash(who.name)
    right, wait_s = attempts.check(form.get("now", ""), held, address=address_of(request.scope), name=who.name)
    if right:
        return ()
    if not wait_s or attempts.slowed_first(address=address_of(request.scope), name=who.name):
        store.audit.add("password refused", subject=who.name, body={"wait_s": wait_s})
    what = f"too many were wrong: try again in {wait_s} s" if wait_s else "this is not the password"
    return (Problem("now", what, "the password that you signed in with", code="password-wrong", fields=("now",)),)


def _provider_name(request: Request) -> str:
    """What the provider at which people sign in too is called; empty where there is none."""
    provider: Provider | None = request.app.state.provider
    return provider.settings.name if provider is not None and request.app.state.store.accounts.some() else ""


def _named(person: Person) -> Person:
    """Somebody with a name of their own, who came in by the browser."""
    if not person.named or person.via != "session":
        what, expected = "there is nobody signed in here by name", "a user: `python -m webapp user add NAME`"
        raise RefusedError(403, Problem("account", what, expected, code="no-user"))
    return person


def _account(
    request: Request,
    store: Store,
    who: Person,
    *,
    made: str = "",
    problems: tuple[Problem, ...] = (),
    status: int = 200,
) -> Response:
    """The page in any state."""
    tokens = store.accounts.tokens(who.user_id) if who.named else ()
    here = str(request.session.get(HELD, ""))
    sessions = store.accounts.sessions(who.user_id, here=here) if who.user_id is not None else ()
    return page(request, AccountPage(who, tokens, sessions, made, problems), status=status)
