"""What guards every request: form tokens, host check, headers; each with its reason. Who comes in: `webapp.shell.door`.

Without users the application answers on loopback only, and two dangers remain: another site's
page in the same browser sending requests here (form tokens, `form_is_ours`), and a foreign host name
made to point at 127.0.0.1 (`HostCheck`).
"""

import hmac
import re
import secrets
from urllib.parse import urlsplit

from fastapi import Request
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from webapp.config import addresses
from webapp.config.settings import Settings, is_loopback
from webapp.store.roles import SAFE_METHODS, current_user, route_of

SESSION_COOKIE = "sfn_delays_session"


def session_cookie(settings: Settings) -> str:
    """The cookie's name; with TLS one that only this host may set, and only over TLS."""
    return f"__Host-{SESSION_COOKIE}" if settings.https else SESSION_COOKIE


class NotOursError(Exception):
    """A changing request that did not come from a page of ours."""


def local_address(text: str) -> str:
    """The address when it leads into this application, else the first screen: no log-in sends people elsewhere."""
    inside = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return text if inside else addresses.HOME


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
    ``/api`` carry the API token instead, or, on one's own machine, a JSON body: a foreign
    page cannot send one without asking first (CORS), and it is never told yes.

    Raises
    ------
    NotOursError
        If none of these holds, or the browser says that another site sent it.
    """
    if request.method in SAFE_METHODS:
        return
    settings: Settings = request.app.state.settings
    in_api, person = request.scope["path"].startswith("/api/"), current_user(request)
    if in_api and person.via == "token":
        return
    if from_elsewhere(request.headers):
        raise NotOursError
    origin = request.headers.get("origin")
    if origin is not None and _netloc(origin) != request.headers.get("host"):
        raise NotOursError
    # A signed link is itself the secret that a foreign page does not have, and a telephone on a mountain
    # may send days after its session cookie has ended.
    if route_of(request).startswith(addresses.SITE_LINKS):
        return
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if in_api and person.via == "this machine" and kind == "application/json":
        return
    sent = request.headers.get("x-csrf-token")
    if sent is None:
        limits = settings.limits
        form = await request.form(max_fields=limits.form_fields, max_part_size=limits.body_bytes)
        request.state.sent = form  # for a page that says no to it and gives it back
        sent = str(form.get("csrf_token", ""))
    held = str(request.session.get("csrf", ""))
    if not held or not hmac.compare_digest(sent.encode(), held.encode()):
        raise NotOursError


WORKED_OUT = re.compile(r"(/api/pages)?/networks/\{network_id\}/((map|road|offsets)/[^/]+/.+|point/hear/.+)")
"""Routes of pieces and files of what was worked out: drawn for their own page, and opened by a link from nowhere else.

Held against the path that the route was written with, as in `webapp.store.roles`.
"""
COMPUTED = re.compile(
    r"(/api(/pages)?)?/networks/\{network_id\}/((point|path)(\W.*)?|offsets|plans|.+\.(pdf|xlsx|csv|geojson|kml)|change(/live)?)"
)
"""Routes of answers that take work each time they are asked for: a link on another site's page shows a button instead.

Of those for scripts none is opened by a link. A page that only checks the network does so once for each checksum.
"""


class FromElsewhereError(Exception):
    """What takes work, opened by another site's page: a piece of what was worked out, or a page of its own."""

    def __init__(self, *, opens_page: bool) -> None:
        self.opens_page = opens_page
        super().__init__(opens_page)


async def not_from_elsewhere(request: Request) -> None:
    """Refuse another site's link into what takes work to draw. A dependency of every route.

    Raises
    ------
    FromElsewhereError
        If the browser says that it comes from another site.
    """
    route, in_api = route_of(request), request.scope["path"].startswith("/api/")
    computed = COMPUTED.fullmatch(route)
    if not in_api and route.endswith("/direct"):
        return  # nobody starts that by looking
    if request.method in SAFE_METHODS and (computed or WORKED_OUT.fullmatch(route)) and from_elsewhere(request.headers):
        raise FromElsewhereError(opens_page=bool(computed) and not in_api)


class NotByLookingError(Exception):
    """Seconds of work that a page asks for with its token, and that nobody starts by opening an address."""


async def looked_at_by_program(request: Request) -> None:
    """Let GET reach what takes seconds only from programs: under ``/api``, with a token or on one's own machine.

    A dependency of the addresses that the page itself asks by POST.

    Raises
    ------
    NotByLookingError
        If anybody else opens it: a link, another site, the address bar.
    """
    by_program = request.scope["path"].startswith("/api/") and current_user(request).via in ("token", "this machine")
    if request.method in SAFE_METHODS and (not by_program or from_elsewhere(request.headers)):
        raise NotByLookingError


# Host and headers


class HostCheck:
    """Answer only under our own names, so that a foreign name pointed at this machine reaches nothing.

    On loopback: localhost and loopback addresses, the public name, and the names in the settings. Elsewhere the
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
        name = _hostname(host) if host.isprintable() else ""
        public = (urlsplit(self.settings.public_url).hostname or "").lower()
        if name in self.settings.allowed_hosts or (name and name == public):
            return True
        if self.settings.on_loopback:
            return is_loopback(name)
        return not self.settings.allowed_hosts


class OwnRequests:
    """Refuse what another site's page has the browser fetch: pictures, scripts, frames, forms.

    A link from elsewhere opens a page, as links do (`from_elsewhere`), and starts no computation. Browsers say so in
    ``Sec-Fetch-Site`` wherever they speak to this machine or by TLS; programs send nothing of it.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through, or refuse it before anything is read."""
        headers = Headers(scope=scope) if scope["type"] == "http" else None
        if headers is None or not from_elsewhere(headers) or self._is_a_link(scope, headers):
            await self.app(scope, receive, send)
            return
        await PlainTextResponse("Another site's page asked for this.", 403)(scope, receive, send)

    def _is_a_link(self, scope: Scope, headers: Headers) -> bool:
        opens = headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest", "document") == "document"
        # What changes something goes on to the check of its token, which says in words why not.
        return scope["method"] not in SAFE_METHODS or opens


def from_elsewhere(headers: Headers) -> bool:
    """Whether the browser says that another site's page is behind a request."""
    return headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none")


def _netloc(origin: str) -> str:
    """Host and port of an origin; empty where it is none."""
    try:
        return urlsplit(origin).netloc
    except ValueError:
        return ""


def _hostname(host: str) -> str:
    """The name in a Host header; empty where there is none."""
    try:
        return (urlsplit(f"//{host}").hostname or "").lower()
    except ValueError:
        return ""


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
    "worker-src": "'none'",
    "base-uri": "'none'",
    "frame-ancestors": "'none'",
}


class SecurityHeaders:
    """Put the policy and its companions on every answer.

    A page that the user asked to show street tiles sets ``request.state.image_origins`` to the
    server's origin; only that page may then load pictures from there. Only a technician's page may have a worker.
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
    if scope["path"].startswith(addresses.SITE_LINKS):
        policy["worker-src"] = "'self'"  # keeps a technician's page for when there is no connection
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
