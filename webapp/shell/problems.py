"""What cannot be done becomes a page for people or JSON for programs. No exception's text leaves here.

Only `Problem`s, which were worded for people, are shown. Anything else is logged under a number, and
the page gives the number.
"""

import errno
import logging
import secrets
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from sfn.errors import PlanError, Problem
from sfn.units import grouped
from webapp.config.addresses import inside, to
from webapp.shell.context import Context
from webapp.shell.render import page
from webapp.shell.security import FromElsewhereError, NotByLookingError, NotOursError
from webapp.store.engines import AWAY, REFUSALS, store_problem
from webapp.store.roles import NotAllowedError
from webapp.store.store import MissingError

LOG = logging.getLogger("webapp")

SENTENCES = {
    400: ("This request cannot be read", "Go back and try again."),
    403: (
        "This form was not sent",
        "Its page is too old, or was not one of ours. Go back, reload the page and send it again; what you typed is"
        " still in the page you came from.",
    ),
    404: (
        "There is nothing at this address",
        "The site or revision may not exist, or the network may have been deleted: it can be brought back.",
    ),
    405: ("This address does not take that", "Go back and use the page's own buttons."),
    408: ("Nothing more arrived of this request", "Go back and send it once more."),
    410: ("This link opens nothing now", "Set nothing by it."),
    413: ("That is more than this application takes at once", ""),
    414: ("This address is longer than any of ours", ""),
    422: ("This cannot be used as it is", "Each line says what is wrong, and what would be right."),
    507: ("This was not saved", "What you typed is still in the page you came from: go back, and send it once more."),
    503: (
        "The database cannot be asked at the moment",
        "Nothing that was saved is lost. What you typed is still in the page you came from: go back, and send it once"
        " more in a moment.",
    ),
    500: ("A fault in this program", "Nothing that was saved is lost. The program's log names the place under"),
}

LATER = (AWAY, "store-busy", "store-no-entry", "store-unreachable")
"""What ends by itself, or by whoever looks after the database: the same request does then."""
RETRY_S = 10
OWN_FIELDS = frozenset({"csrf_token", "base", "do"})
UNTOLD = ("password", "secret", "token")
MOST_TOLD_N = 100
"""Problems of one request that are told; of more only how many."""

# Pydantic's kinds of a number out of bounds.
BOUNDS = {
    "greater_than_equal": "at least",
    "less_than_equal": "at most",
    "greater_than": "more than",
    "less_than": "less than",
}


@dataclass(frozen=True, slots=True)
class ProblemPage(Context):
    """Something could not be done."""

    TEMPLATE: ClassVar[str] = "shell/problem.html"
    status: int
    """HTTP status."""
    title: str
    """What happened, in a few words."""
    sentence: str
    """What to do about it."""
    technician: bool
    """Whether a signed link was opened: then nothing is offered that asks for the password."""
    problems: tuple[Problem, ...]
    """Each thing that is wrong, with its place."""
    back: str
    """Address of the network that it was about; empty where it was about none."""
    revisions: str
    """Address of its revisions where the database is damaged: the ways out stand there."""
    typed: tuple[tuple[str, str], ...] = ()
    """Fields of the form that was refused, name and value, where the page they came from may show them no more."""


@dataclass(frozen=True, slots=True)
class FromElsewherePage(Context):
    """A link on another site's page led to what takes seconds to work out: its button does."""

    TEMPLATE: ClassVar[str] = "shell/from_elsewhere.html"
    address: str
    """Where it led to."""
    asked: tuple[tuple[str, str], ...]
    """What the address asked for, name and value."""


def _network_of(request: Request, status: int) -> str:
    """Where the network is that a refused address was about; empty where it was about none, or there is none."""
    number = str(request.path_params.get("network_id", ""))
    return to("network.show", int(number)) if number.isdecimal() and status == 422 else ""


class RefusedError(Exception):
    """A refusal with its HTTP status and its reasons in words."""

    def __init__(self, status: int, *problems: Problem) -> None:
        self.status, self.problems = status, problems
        super().__init__(status)


_DAMAGED = (
    "The database is damaged",
    "Nothing of this network is shown or worked out until that is settled. Do not set anything by a sheet or a page"
    " printed earlier without asking what stands there now.",
)
_DAMAGED_AT_SITE = (
    "The control room's record is damaged",
    "Set nothing, and call the control room: what it has of this site is not certain. Open the same link again when it"
    " says so.",
)


def refusal(
    request: Request,
    status: int,
    problems: tuple[Problem, ...] = (),
    *,
    number: str = "",
    title: str = "",
    sentence: str = "",
    typed: tuple[tuple[str, str], ...] = (),
) -> Response:
    """The answer that says no: JSON under ``/api`` and where JSON was asked for, a page elsewhere."""
    usual_title, usual_sentence = SENTENCES.get(status, SENTENCES[400])
    title, sentence = title or usual_title, sentence or usual_sentence
    if number:
        sentence = f"{sentence} {number}."
    if wants_json(request) and status == 403 and not problems:
        sentence = "Send JSON with Content-Type: application/json, or a token as Authorization: Bearer TOKEN"
    if wants_json(request):
        told = problems or (Problem(request.url.path, title, sentence, code="request-refused"),)
        return JSONResponse({"problems": [p.as_json() for p in told]}, status)
    technician = request.url.path.startswith("/site/")
    if technician and status in (404, 410):
        title, sentence = "This link opens no sheet", "Set nothing from an older one."
    back = _network_of(request, status)
    damaged = any(problem.code == "store-damaged" for problem in problems)
    ways_out = ""
    if damaged and technician:
        title, sentence, problems = *_DAMAGED_AT_SITE, ()
    elif damaged and back:
        title, sentence = _DAMAGED
        ways_out, back = to("revisions.show", int(request.path_params["network_id"])), ""
    shown = ProblemPage(status, title, sentence, technician, problems, back, ways_out, typed)
    return page(request, shown, status=status)


def install(app: FastAPI) -> None:
    """Give each kind of refusal its answer."""
    app.add_exception_handler(PlanError, _refused)
    app.add_exception_handler(RefusedError, _refused)
    app.add_exception_handler(HTTPException, _by_status)
    app.add_exception_handler(MissingError, lambda request, _raised: refusal(request, 404))
    app.add_exception_handler(NotOursError, lambda request, _raised: refusal(request, 403))
    app.add_exception_handler(NotByLookingError, _not_by_looking)
    app.add_exception_handler(FromElsewhereError, _from_elsewhere)
    app.add_exception_handler(NotAllowedError, _not_allowed)
    for kind in REFUSALS:
        app.add_exception_handler(kind, _store_refused)
    app.add_exception_handler(OSError, _file_refused)
    app.add_exception_handler(RequestValidationError, _unreadable_request)


def _refused(request: Request, raised: Exception) -> Response:
    """What says its reasons in words."""
    assert isinstance(raised, PlanError | RefusedError)
    status = raised.status if isinstance(raised, RefusedError) else 422
    if status == 403 and raised.problems:
        return refusal(request, 403, raised.problems, title="You may not do this", sentence="Nothing was done.")
    return refusal(request, status, raised.problems)


def _not_by_looking(request: Request, _raised: Exception) -> Response:
    """Seconds of work that opening an address does not start."""
    problem = Problem(
        "address",
        "this takes some seconds of work, which opening an address does not start",
        "its button on the page, or POST with the page's token or a script's",
        code="not-by-looking",
    )
    answer = refusal(request, 405, (problem,), title="Nothing was started", sentence="The page has a button for it.")
    answer.headers["Allow"] = "POST"
    return answer


def _from_elsewhere(request: Request, raised: Exception) -> Response:
    """Another site's page: told shortly, whatever it is shown as there; a page of ours has a button."""
    assert isinstance(raised, FromElsewhereError)
    if raised.opens_page:
        return page(request, FromElsewherePage(inside(request.url.path), tuple(request.query_params.multi_items())))
    return PlainTextResponse("Another site's page asked for this.", 403)


def _not_allowed(request: Request, raised: Exception) -> Response:
    """What somebody's role does not allow."""
    assert isinstance(raised, NotAllowedError)
    told = {"method": request.method, "path": request.url.path[:200]}
    request.app.state.store.audit.add("refused", subject=raised.problem.what, body=told)
    title, typed = "Your role does not allow this", () if wants_json(request) else _typed(request)
    return refusal(request, 403, (raised.problem,), title=title, sentence="Nothing was done.", typed=typed)


def _typed(request: Request) -> tuple[tuple[str, str], ...]:
    """What a form brought, but for tokens and secrets: a role taken meanwhile leaves its page empty on the way back."""
    sent = getattr(request.state, "sent", None)
    if sent is None:
        return ()
    return tuple(
        (name, value)
        for name, value in sent.multi_items()
        if isinstance(value, str) and value and name not in OWN_FIELDS and not any(one in name for one in UNTOLD)
    )


def _store_refused(request: Request, raised: Exception) -> Response:
    """What the database refused, where there are words for it: it is away, a full disk, no right to write."""
    assert isinstance(raised, REFUSALS)
    problem = store_problem(raised, None)
    LOG.error("the database refused at %s: %s", request.url.path, problem.what)
    if problem.code not in LATER or not request.app.state.store.shared:
        return refusal(request, 507, (problem,))
    answer = refusal(request, 503, (problem,))
    answer.headers["Retry-After"] = str(RETRY_S)
    return answer


_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_NO_WRITING = (errno.EROFS, errno.EACCES, errno.EPERM)


def _file_refused(request: Request, raised: Exception) -> Response:
    """What the disk refused, where there are words for it; anything else is a fault."""
    assert isinstance(raised, OSError)
    if raised.errno in _NO_ROOM:
        code, what, expected = "store-disk-full", "the disk is full: the files were not kept", "room, then once more"
    elif raised.errno in _NO_WRITING:
        code, what, expected = "store-read-only", "the folder cannot be written", "a data folder that may be written"
    else:
        raise raised
    LOG.error("the disk refused at %s: %s", request.url.path, what)
    return refusal(request, 507, (Problem("disk", what, expected, code=code),))


def _by_status(request: Request, raised: Exception) -> Response:
    """What the framework refuses; its own text stays inside, the reasons of ours are given."""
    assert isinstance(raised, HTTPException)
    return refusal(request, raised.status_code, getattr(raised, "problems", ()))


def _unreadable_request(request: Request, raised: Exception) -> Response:
    """FastAPI's own checks of addresses and bodies, in our form. A strange address is just not there."""
    assert isinstance(raised, RequestValidationError)
    errors = raised.errors()
    if any(e["loc"][0] == "path" for e in errors):
        return refusal(request, 404)
    problems = tuple(
        Problem(_place(e), *_said(e), code="request-unreadable", fields=(_place(e),)) for e in errors[:MOST_TOLD_N]
    )
    if more_n := len(errors) - len(problems):
        what = f"has {grouped(more_n)} more places that cannot be read"
        problems += (Problem("body", what, "what the address describes", code="more-problems"),)
    return refusal(request, 422, problems)


def _place(error: Mapping[str, Any]) -> str:
    """Where something is wrong: the field, or the body where it has no fields yet."""
    inside = [] if error["type"] == "json_invalid" else error["loc"][1:]
    return ".".join(str(piece) for piece in inside) or "body"


def _said(error: Mapping[str, Any]) -> tuple[str, str]:
    """What is wrong and what would be right; a number that is none in plain words."""
    if error["type"] == "int_parsing":
        return f"cannot be {str(error['input'])[:60]!r}", "a whole number"
    if error["type"] == "json_invalid":
        return "is no JSON that can be read", "one JSON document"
    if error["type"] in ("float_parsing", "float_type"):
        return f"cannot be {str(error['input'])[:60]!r}", "a number"
    for kind, words in BOUNDS.items():
        if error["type"] == kind:
            return f"cannot be {str(error['input'])[:60]}", f"{words} {grouped(next(iter(error['ctx'].values())))}"
    if error["type"] in ("too_long", "too_short"):
        most, bound = error["type"] == "too_long", error["ctx"]
        found_n = bound.get("actual_length")
        has = (
            f"has {grouped(found_n)} entries" if found_n is not None else f"has too {'many' if most else 'few'} entries"
        )
        return has, f"{grouped(bound['max_length'])} at most" if most else f"{grouped(bound['min_length'])} at least"
    if error["type"] == "finite_number":
        return f"cannot be {str(error['input'])[:60]}", "a number"
    if error["type"] == "extra_forbidden":
        return "is not known here", "only what the address describes"
    if error["type"] == "missing":
        return "is missing", "a value"
    return _lower(error["msg"]), ""


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def is_api(request: Request) -> bool:
    """Whether an address is one of those for scripts."""
    return request.url.path.startswith("/api/")


def wants_json(request: Request) -> bool:
    """Whether the answer is for a program: under ``/api``, or where JSON and no page was asked for."""
    accepted = request.headers.get("accept", "")
    return is_api(request) or ("application/json" in accepted and "text/html" not in accepted)


class LastResort:
    """Whatever else is raised: logged with its traceback under a number, answered with the number.

    Stands inside the headers and the session (unlike the framework's own), so that this page has both.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, unless an answer has begun already: then only closing the connection is honest."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun = False

        async def noting(message: Message) -> None:
            nonlocal begun
            begun = begun or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, receive, noting)
        except ClientDisconnect:
            LOG.info("the sender went away at %s %s", scope["method"], scope["path"])
        except Exception as raised:
            if not begun and isinstance(raised, REFUSALS):  # met where it is found out who asks, before any page
                with suppress(*REFUSALS):  # one without words is a fault
                    await _store_refused(Request(scope, receive), raised)(scope, receive, send)
                    return
            number = secrets.token_hex(4)
            LOG.exception("fault %s at %s %s", number, scope["method"], scope["path"])
            if begun:
                raise
            await refusal(Request(scope, receive), 500, number=number)(scope, receive, send)
