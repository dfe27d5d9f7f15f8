"""Jinja environment, filters, and `page(request, context)`: the one way a template becomes an answer."""

from dataclasses import fields
from datetime import datetime
from functools import cache
from typing import Any
from unicodedata import bidirectional

from fastapi import Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from sfn.answer.plain import plain
from sfn.errors import shortened
from sfn.plan import Network, SiteName
from sfn.reception.classes import BY_WORDS
from sfn.report import numbers
from sfn.study.clocks import in_words
from sfn.visible import visible
from webapp.config.addresses import OPENAPI, beside, inside, leaflet, static, to
from webapp.config.bundled import folder
from webapp.forms.places import anchor as anchor
from webapp.shell import languages
from webapp.shell.api_pages import PREFIX
from webapp.shell.context import Context, Frame, NetworkHead
from webapp.shell.languages import LANGUAGE, printed_in, word, words
from webapp.shell.places_said import NAMES, place_said, text_said
from webapp.shell.security import csrf_token
from webapp.shell.tabs import GROUPS, tried_in
from webapp.shell.whose_forms import for_whom
from webapp.store.roles import NOBODY, WORDS, current_user, may
from webapp.store.signed import doubts_held, unsigned_since
from webapp.work.maps import Maps

# Filters for quantities: decimals and unit text are decided in sfn.report.numbers.
NUMBERS = ("number", "us", "off_by", "ms", "km", "db", "dbuvm", "degrees")
# What another language than English may print otherwise.
SAID = (
    "native",
    "unit_text",
    "word",
    "doubt",
    "wanted",
    "told",
    "in_english",
    "advised",
    "advised_after",
    "asked",
    "spelled",
)


class Typed(str):
    """What stands in a form's field: sent back as it came, whatever is in it."""

    __slots__ = ()


class TypedText(Markup):
    """The same between the tags of a text field, where quotation marks stand as they are: JSON is half of them."""

    __slots__ = ()


def _finalized(value: object) -> object:
    """What a template prints: a text with characters that nobody sees made visible, unless it is sent back."""
    return visible(value) if isinstance(value, str) and not isinstance(value, Typed | TypedText) else value


@cache  # templates are compiled once a process
def environment() -> Environment:
    """The application's Jinja environment: everything escaped, an unknown name is a fault."""
    made = Environment(
        loader=FileSystemLoader(folder("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finalized,
        extensions=["jinja2.ext.i18n"],
    )
    made.install_gettext_callables(word, words, newstyle=True)  # type: ignore[attr-defined]
    made.globals |= {
        "to": to,
        "printed_language": LANGUAGE.get,
        "beside": beside,
        "static": static,
        "leaflet": leaflet,
        "inside": inside,
        "OPENAPI": OPENAPI,
        "groups": GROUPS,
    }
    made.globals |= {"doubts_held": doubts_held, "unsigned_since": unsigned_since}
    made.filters.update(
        when=when,
        count=count,
        apart=apart,
        named=named,
        called=called,
        anchor=anchor,
        hours=in_words,
        place=place_said,
        said=text_said,
        judged_by=lambda code: BY_WORDS.get(code, ""),
    )
    made.filters["as_typed"] = lambda value: Typed(value) if isinstance(value, str) else value
    made.filters["text_as_typed"] = lambda value: TypedText(value.replace("&", "&amp;").replace("<", "&lt;"))
    made.filters.update({name: getattr(numbers, name) for name in NUMBERS})
    made.filters |= {name: getattr(languages, name) for name in SAID}
    return made


def html(request: Request, context: Context) -> str:
    """The text of a context record's template."""
    person, network = current_user(request), _network_of(context)
    frame = Frame(
        csrf_token=csrf_token(request),
        author=person.name or str(request.session.get("author", "")),
        person=person,
        may=frozenset(action for action in WORDS if may(person, action)),
        may_log_out=person.via in ("session", "password"),
        notice=str(request.session.pop("notice", "")),
        tab=context.TAB,
        network=network,
        tried=tried_in(request.query_params.multi_items()) if _shows_tries(context.TAB) else (),
        # pieces of pages that follow every tried delay have no bar to say it in, and take no time for it
        faults=None if network is None else _faults(request),
    )
    return for_whom(_filled(context, frame), person)


def _shows_tries(tab: str) -> bool:
    """Whether a page shows what its address tries."""
    return any(one.tries for group in GROUPS for one in group.tabs if one.key == tab)


def paper_html(context: Context) -> str:
    """The same for paper: nobody's forms, nobody's notice."""
    return _filled(context, Frame("", "", NOBODY, frozenset(), False, "", context.TAB, _network_of(context), (), None))


def _faults(request: Request) -> tuple[int, int] | None:
    """How many errors and warnings the check finds in the network that was opened for a page."""
    opened: Network | None = getattr(request.state, "opened", None)
    if opened is None:
        return None
    maps: Maps = request.app.state.maps
    found = [problem.severity for problem in maps.checked(opened)]
    return found.count("error"), found.count("warning")


def _network_of(context: Context) -> NetworkHead | None:
    network = getattr(context, "network", None)
    return network if isinstance(network, NetworkHead) else None


def _filled(context: Context, frame: Frame) -> str:
    values = {f.name: getattr(context, f.name) for f in fields(context)}  # type: ignore[arg-type]
    # A technician's page calls its network `planned`: nothing of it but the names is open there.
    network = frame.network or getattr(context, "planned", None)
    before = NAMES.set(network.names if isinstance(network, NetworkHead) else {})
    try:
        with printed_in(context.language()):
            return str(environment().get_template(context.TEMPLATE).render(**values, frame=frame))
    finally:
        NAMES.reset(before)


def page(request: Request, context: Context, *, status: int = 200) -> Response:
    """The page of a context record. A field called `network` (a `NetworkHead`) opens that network's navigation.

    Under ``/api/pages`` the record itself, as JSON.
    """
    if request.url.path.startswith(PREFIX):
        made = {f.name: plain(getattr(context, f.name)) for f in fields(context)}  # type: ignore[arg-type]
        whole = {**context.moved_keys(made), **made}
        return JSONResponse(_told(whole) if status in REFUSED else whole, status)
    return HTMLResponse(html(request, context), status_code=status)


REFUSED = (413, 422)
DRAFTS = ("draft", "document", "text")
"""Keys of what the next step needs whole."""


def _told(made: Any) -> Any:
    """A refused page's record: what was sent comes back cut, its length said, a draft whole."""
    if isinstance(made, str):
        return shortened(made)
    if isinstance(made, dict):
        return {key: value if key in DRAFTS else _told(value) for key, value in made.items()}
    return [_told(value) for value in made] if isinstance(made, list) else made


def notice(request: Request, sentence: str) -> None:
    """Show one sentence on the next page."""
    request.session["notice"] = sentence


def when(moment: datetime) -> str:
    """A time of the record, to the minute, in UTC and said so: 2026-09-14 08:30 UTC."""
    return f"{moment:%Y-%m-%d %H:%M} UTC"


def apart(name: str) -> str:
    """A name; one that is written from right to left stands apart, so that a figure behind it stays where it is."""
    if not any(bidirectional(letter) in ("R", "AL") for letter in name):
        return name
    return Markup(f"<bdi>{escape(visible(name))}</bdi>")


def named(name: str) -> str:
    """A site's name within a sentence: in quotation marks where it would read as words of it."""
    return apart(format(SiteName(name)))


def called(name: str) -> str:
    """A field's or a person's name within a sentence, by the rule of its kind (`sfn.plan.record`)."""
    return apart(format(name))


def count(number: int, one: str, many: str) -> str:
    """A number with its noun: 1 site, 3 sites."""
    return f"{number} {one if number == 1 else many}"
