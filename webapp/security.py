"""Who may do what: password, session, form tokens, log-in slowing, host check, headers; each rule with its reason.

Without a password the application answers on loopback only, and two dangers remain: another site's
page in the same browser sending requests here (form tokens, `form_is_ours`), and a foreign host name
made to point at 127.0.0.1 (`HostCheck`). With a password every page needs a session as well.
"""

import hashlib
import hmac
import math
import secrets
import threading
import time
from collections.abc import Callable
from urllib.parse import urlsplit

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerifyMismatchError
from fastapi import Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sfn.errors import PlanError, Problem
from webapp import addresses
from webapp.settings import Settings, is_loopback

SESSION_COOKIE = "sfn_delays_session"
SESSION_S = 12 * 3600  # one working day; a stolen cookie is worth no more
LEAST_PASSWORD = 12  # characters
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
# Reached without a session: the log-in itself, what it looks like, and one site's sheet behind a signed link.
OPEN_PATHS = (addresses.LOG_IN, addresses.STATIC + "/", addresses.SITE_LINKS)


class NotOursError(Exception):
    """A changing request that did not come from a page of ours."""


# Password


def hash_password(password: str) -> str:
    """The argon2id hash of a new password, with the library's parameters (RFC 9106, low-memory profile).

    Raises
    ------
    PlanError
        If the password is shorter than 12 characters.
    """
    if len(password) < LEAST_PASSWORD:
        what = f"the password has {len(password)} characters"
        raise PlanError(
            [
                Problem(
                    "password",
                    what,
                    f"{LEAST_PASSWORD} or more; several words do well",
                    code="password-too-short",
                    fields=("password",),
                )
            ]
        )
    return PasswordHasher().hash(password)


def password_matches(password: str, password_hash: str) -> bool:
    """Whether a typed password is the one that was set."""
    try:
        return PasswordHasher().verify(password_hash, password)
    except (VerifyMismatchError, InvalidHashError):
        return False


class Attempts:
    """Slows log-ins down: after three failures each further one doubles the wait, up to five minutes.

    Counted in all and not by address: there is one password, and an attacker has many addresses. The
    wait is told at once and no thread sleeps. One check at a time, for argon2 takes 64 MB a check.
    """

    FREE_FAILURES = 3
    LONGEST_S = 300.0

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._failures, self._open_at = 0, 0.0

    def check(self, password: str, password_hash: str) -> tuple[bool, int]:
        """Whether the password is right, and the seconds to wait before it is looked at again (0: looked at now)."""
        with self._lock:
            wait_s = self._open_at - self._clock()
            if wait_s > 0:
                return False, math.ceil(wait_s)
            if password_matches(password, password_hash):
                self._failures = 0
                return True, 0
            self._failures += 1
            beyond = self._failures - self.FREE_FAILURES
            if beyond >= 0:
                self._open_at = self._clock() + min(self.LONGEST_S, 2.0 ** min(beyond, 20))
            return False, 0


# Session


def log_in(request: Request, password_hash: str) -> None:
    """Start a session. What the browser held before is dropped, so a planted session gains nothing."""
    author = request.session.get("author")
    request.session.clear()
    request.session["password"] = _password_mark(password_hash)
    if author:
        request.session["author"] = author


def logged_in(scope: Scope, settings: Settings) -> bool:
    """Whether the session was started with the password now in force (a new password ends old sessions)."""
    if settings.password_hash is None:
        return True
    held = str(scope["session"].get("password", ""))
    return hmac.compare_digest(held, _password_mark(settings.password_hash))


def has_api_token(headers: Headers, settings: Settings) -> bool:
    """Whether the request carries the token that ``--new-api-token`` printed."""
    scheme, _, token = headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or settings.api_token_hash is None:
        return False
    return hmac.compare_digest(token_hash(token.strip()), settings.api_token_hash)


def token_hash(token: str) -> str:
    """What is kept of an API token. It is 256 random bits, so a plain hash is enough."""
    return hashlib.sha256(token.encode()).hexdigest()


def local_address(text: str) -> str:
    """The address when it leads into this application, else the first screen: no log-in sends people elsewhere."""
    inside = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return text if inside else addresses.HOME


def _password_mark(password_hash: str) -> str:
    return hashlib.sha256(password_hash.encode()).hexdigest()[:32]


class SessionNeeded:
    """With a password in force every path but the open ones needs a session, or for ``/api`` the token."""

    def __init__(self, app: ASGIApp, settings: Settings, open_paths: tuple[str, ...] = OPEN_PATHS) -> None:
        self.app, self.settings, self.open_paths = app, settings, open_paths

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through, or answer with the log-in page's address."""
        if scope["type"] != "http" or self._may_enter(scope):
            await self.app(scope, receive, send)
            return
        await self._refusal(scope)(scope, receive, send)

    def _may_enter(self, scope: Scope) -> bool:
        path: str = scope["path"]
        if any(path == p or (p.endswith("/") and path.startswith(p)) for p in self.open_paths):
            return True
        in_api = path.startswith("/api")
        return logged_in(scope, self.settings) or (in_api and has_api_token(Headers(scope=scope), self.settings))

    def _refusal(self, scope: Scope) -> Response:
        if scope["path"].startswith("/api"):
            problem = Problem(
                "authorization", "this needs a session or a token", "Authorization: Bearer TOKEN", code="not-signed-in"
            )
            return JSONResponse({"problems": [problem.as_json()]}, 401, {"WWW-Authenticate": "Bearer"})
        after = scope["path"] if scope["method"] == "GET" else addresses.HOME
        return RedirectResponse(addresses.log_in(local_address(after)), 303)


# Forms


def csrf_token(request: Request) -> str:
    """The token that this browser's forms carry; made at its first page."""
    token: str = request.session.get("csrf") or secrets.token_urlsafe(24)
    if "csrf" not in request.session:
        request.session["csrf"] = token
    return token


async def form_is_ours(request: Request) -> None:
    """Refuse a changing request that does not come from a page of ours. A dependency of every route.

    A page's form carries the token; our scripts send it as ``X-CSRF-Token``. Programs that call
    ``/api`` carry the API token instead, or, while no password is in force, a JSON body: a foreign
    page cannot send one without asking first (CORS), and it is never told yes.

    Raises
    ------
    NotOursError
        If none of these holds, or the browser says that another site sent it.
    """
    if request.method in SAFE_METHODS:
        return
    settings: Settings = request.app.state.settings
    in_api = request.url.path.startswith("/api/")
    if in_api and has_api_token(request.headers, settings):
        return
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        raise NotOursError
    origin = request.headers.get("origin")
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise NotOursError
    # A signed link is itself the secret that a foreign page does not have, and a telephone on a mountain
    # may send days after its session cookie has ended.
    if request.url.path.startswith(addresses.SITE_LINKS):
        return
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if in_api and settings.password_hash is None and kind == "application/json":
        return
    sent = request.headers.get("x-csrf-token")
    if sent is None:
        limits = settings.limits
        form = await request.form(max_fields=limits.form_fields, max_part_size=limits.body_bytes)
        sent = str(form.get("csrf_token", ""))
    held = str(request.session.get("csrf", ""))
    if not held or not hmac.compare_digest(sent.encode(), held.encode()):
        raise NotOursError


# Host and headers


class HostCheck:
    """Answer only under our own names, so that a foreign name pointed at this machine reaches nothing.

    On loopback: localhost and loopback addresses, and the names in the settings. Elsewhere the
    session guards, and names are checked only when the settings list some.
    """

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app, self.settings = app, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through, or refuse the name it was called by."""
        if scope["type"] != "http" or self._answers_to(Headers(scope=scope).get("host", "")):
            await self.app(scope, receive, send)
            return
        sentence = "This application does not answer under this host name. SFN_DELAYS_HOSTNAMES lists further names."
        await PlainTextResponse(sentence, 421)(scope, receive, send)

    def _answers_to(self, host: str) -> bool:
        name = (urlsplit(f"//{host}").hostname or "").lower() if host.isprintable() else ""
        if name in self.settings.allowed_hosts:
            return True
        if self.settings.on_loopback:
            return is_loopback(name)
        return not self.settings.allowed_hosts


# Scripts and styles from our own files only, nothing inline, nothing framed, nothing sent elsewhere.
POLICY = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self' data: blob:",
    "media-src": "'self' blob:",
    "font-src": "'self'",
    "connect-src": "'self'",
    "form-action": "'self'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}


class SecurityHeaders:
    """Put the policy and its companions on every answer.

    A page that the user asked to show street tiles sets ``request.state.image_origins`` to the
    server's origin; only that page may then load pictures from there.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Add the headers as the answer starts."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                _add_headers(MutableHeaders(scope=message), scope)
            await send(message)

        await self.app(scope, receive, with_headers)


def _add_headers(headers: MutableHeaders, scope: Scope) -> None:
    origins = scope.get("state", {}).get("image_origins", ())
    policy = {**POLICY, "img-src": " ".join([POLICY["img-src"], *origins])}
    headers["Content-Security-Policy"] = "; ".join(f"{name} {value}" for name, value in policy.items())
    headers["X-Content-Type-Options"] = "nosniff"
    headers["X-Frame-Options"] = "DENY"
    # Not `no-referrer`: browsers then send `Origin: null` with our own forms.
    headers["Referrer-Policy"] = "same-origin"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"
    headers["Permissions-Policy"] = "camera=(), microphone=(), payment=(), usb=()"
    if not scope["path"].startswith(addresses.STATIC + "/"):
        headers.setdefault("Cache-Control", "no-store")
