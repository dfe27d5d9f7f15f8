"""Who comes in: a user's session, a token, the one password of before, or whoever sits at this machine.

Looked up for every request, so that what is made, ended or revoked while it runs counts at once.
"""

import hashlib
import hmac

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from sfn.errors import Problem
from webapp.config import addresses
from webapp.config.addresses import log_in
from webapp.config.settings import LiveSecrets
from webapp.shell.security import local_address
from webapp.store.audit import ACTING, Acting
from webapp.store.passwords import token_hash
from webapp.store.roles import KEEPER, NOBODY, OWNER, Person
from webapp.store.store import Store

# Reached by nobody in particular: the log-in itself, what it looks like, and one site's sheet behind a signed link.
OPEN_PATHS = (
    addresses.LOG_IN,
    addresses.PROVIDER,
    addresses.PROVIDER_BACK,
    addresses.STATIC + "/",
    addresses.SITE_LINKS,
)
WATCHED = (addresses.HEALTH, addresses.READY)
"""Asked by whatever watches the service: answered without looking who it is, so also while the database is away."""
HELD = "sid"
"""Under which a browser's session keeps what the database knows the hash of."""


class Door:
    """Finds out who sends a request, for pages (`webapp.store.roles.current_user`) and for the audit trail.

    Where names or a password are in force, every path but the open ones needs one.
    """

    def __init__(self, app: ASGIApp, open_paths: tuple[str, ...] = OPEN_PATHS) -> None:
        self.app, self.open_paths = app, open_paths

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through, or answer with the log-in page's address."""
        if scope["type"] != "http" or scope["path"].startswith(f"{addresses.STATIC}/") or scope["path"] in WATCHED:
            await self.app(scope, receive, send)
            return
        person = await run_in_threadpool(who, scope)
        scope.setdefault("state", {})["person"] = person
        before = ACTING.set(Acting(person.name, person.role, person.via, address_of(scope), scope=person.scope))
        try:
            if person.via == "nobody" and not self._open(scope["path"]):
                await self._refusal(scope)(scope, receive, send)
                return
            await self.app(scope, receive, send)
        finally:
            ACTING.reset(before)

    def _open(self, path: str) -> bool:
        return any(path == p or (p.endswith("/") and path.startswith(p)) for p in self.open_paths)

    def _refusal(self, scope: Scope) -> Response:
        if _by_program(scope):
            problem = Problem(
                "authorization", "this needs a session or a token", "Authorization: Bearer TOKEN", code="not-signed-in"
            )
            return JSONResponse({"problems": [problem.as_json()]}, 401, {"WWW-Authenticate": "Bearer"})
        after = scope["path"] if scope["method"] == "GET" else addresses.HOME
        return RedirectResponse(log_in(local_address(after)), 303)


def who(scope: Scope) -> Person:
    """Who sends a request."""
    state = scope["app"].state
    store: Store = state.store
    held: LiveSecrets = state.secrets
    scheme, _, token = Headers(scope=scope).get("authorization", "").partition(" ")
    if _by_program(scope) and scheme.lower() == "bearer" and token.strip():
        person = store.accounts.of_token(token.strip()) or _of_before(token.strip(), held.api_token_hash)
        if person is not None:
            return person
    if store.accounts.some():
        sid = scope["session"].get(HELD)
        return (store.accounts.of_session(str(sid)) if sid else None) or NOBODY
    if held.password_hash is None:
        return OWNER
    mark = str(scope["session"].get("password", ""))
    return KEEPER if hmac.compare_digest(mark, password_mark(held.password_hash)) else NOBODY


def _by_program(scope: Scope) -> bool:
    """Whether an address is asked by programs, which bring a token."""
    return bool(scope["path"].startswith("/api") or scope["path"] == addresses.METRICS)


def _of_before(token: str, api_token_hash: str | None) -> Person | None:
    """The installation's one token, as it was made before there were users: an administrator's."""
    right = api_token_hash is not None and hmac.compare_digest(token_hash(token), api_token_hash)
    return Person("", "administrator", "token") if right else None


def address_of(scope: Scope) -> str:
    """Where a request comes from, as the server knows it."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def begin(request: Request, held: dict[str, str], *, author: str = "") -> None:
    """Start a session. What the browser held before is dropped, so a planted session gains nothing."""
    known = author or request.session.get("author", "")
    request.session.clear()
    request.session.update(held)
    if known:
        request.session["author"] = known


def password_mark(password_hash: str) -> str:
    """What a session behind the one password holds: a new password ends old sessions."""
    return hashlib.sha256(password_hash.encode()).hexdigest()[:32]
