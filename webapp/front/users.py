"""Who may come in: the first user, further ones, their roles, and everybody's tokens."""

from collections import Counter
from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from webapp.config.addresses import Room, to
from webapp.config.limits import NetworkId
from webapp.shell.context import Context
from webapp.shell.dependencies import FormDep, PersonDep, StoreDep
from webapp.shell.door import HELD, address_of, begin
from webapp.shell.problems import RefusedError
from webapp.shell.render import notice, page
from webapp.store.accounts import Token, User
from webapp.store.roles import ROLES, WORDS
from webapp.store.store import Store

router = Room("users")
_ORDER = ("read", "compute", "record", "plan", "approve", "issue", "control", "administer")
_WORDS = {**WORDS, "read": "look at everything"}
_ROLES = tuple((role, "; ".join(_WORDS[action] for action in _ORDER if action in may)) for role, may in ROLES.items())


@dataclass(frozen=True, slots=True)
class UsersPage(Context):
    """Who may come in."""

    TEMPLATE: ClassVar[str] = "front/users.html"
    users: tuple[User, ...]
    """Empty where names are not asked for yet."""
    tokens: tuple[Token, ...]
    """Of everybody, the newest first."""
    roles: tuple[tuple[str, str], ...]
    """Each role with what it may do, in words."""
    typed: dict[str, str]
    problems: tuple[Problem, ...]


@router.get("/users")
def show(request: Request, store: StoreDep) -> Response:
    """Every user; where there is none, room for the first."""
    return _page(request, store)


@router.post("/users")
def add(request: Request, store: StoreDep, person: PersonDep, form: FormDep) -> Response:
    """A new user. The first one is an administrator, and this browser is signed in as them."""
    first = not store.accounts.some()
    role = "administrator" if first else form.get("role", "")
    try:
        made = store.accounts.add(form.get("name", ""), role=role, password=form.get("password", ""))
    except PlanError as refused:
        return _page(request, store, typed=form, problems=refused.problems)
    if first and person.via in ("this machine", "password"):
        begin(request, {HELD: store.accounts.sign_in(made.name, address=address_of(request.scope))}, author=made.name)
    notice(request, f"{made.name} may come in as {made.role}.")
    return RedirectResponse(to("users.show"), 303)


@router.post("/users/change")
def change(request: Request, store: StoreDep, form: FormDep) -> Response:
    """Another role or password, or an end."""
    name, act = form.get("name", ""), form.get("act", "")
    try:
        if act == "role":
            store.accounts.set_role(name, form.get("role", ""))
            said = f"{name} is {form.get('role')} from now on."
        elif act == "password":
            store.accounts.set_password(name, form.get("password", ""))
            said = f"{name} has another password; where they were signed in, they are out."
        elif act == "end":
            store.accounts.end(name)
            said = f"{name} may come in no more; their tokens open nothing.{_links_left(store, name)}"
        else:
            expected = "role, password or end"
            raise PlanError([Problem("act", f"cannot be {act[:40]!r}", expected, code="act-unknown", fields=("act",))])
    except PlanError as refused:
        return _page(request, store, typed=form, problems=refused.problems)
    notice(request, said)
    return RedirectResponse(to("users.show"), 303)


@router.post("/users/tokens/{token_id}/revoke")
def revoke(request: Request, store: StoreDep, token_id: NetworkId) -> Response:
    """End anybody's token."""
    if not store.accounts.revoke(token_id):
        raise RefusedError(404)
    notice(request, "The token is revoked: it opens nothing from now on.")
    return RedirectResponse(to("users.show"), 303)


def _links_left(store: Store, name: str) -> str:
    """That technicians' links which somebody made stay open, by network; a crew may be at work by them."""
    left = Counter(one.network_id for one in store.links.open_by(name))
    if not left:
        return ""
    where = ", ".join(f"{n} in network {network_id}" for network_id, n in sorted(left.items()))
    return (
        f" Technicians' links that they made stay open until they end: {where}. A crew may be at work by them; withdraw"
        " them under Site readings, Links, where that is not so."
    )


def _page(
    request: Request, store: Store, *, typed: dict[str, str] | None = None, problems: tuple[Problem, ...] = ()
) -> Response:
    """The page in any state; a password that was typed is not sent back."""
    kept = {key: value for key, value in (typed or {}).items() if key in ("name", "role")}
    context = UsersPage(store.accounts.users(), store.accounts.tokens(), _ROLES, kept, problems)
    return page(request, context, status=422 if problems else 200)
