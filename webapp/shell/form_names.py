"""Which names a form under ``/api/pages`` may hold: a name that nothing would read is refused, never passed over.

A script's ``offset-nroth`` or ``reasn`` would be lost in silence otherwise. The names are those of the forms in the
templates (`webapp.shell.form_spelled.form_fields`); what only a macro or a script makes stands in `BEYOND`, with the
reason.
"""

import json
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from fastapi import Request

from sfn.errors import PlanError, Problem
from sfn.study.lever_typed import TYPED
from webapp.config.limits import whole_number
from webapp.config.settings import Settings
from webapp.forms import stream
from webapp.forms.places import path_of, value_at
from webapp.shell.form_spelled import split_name
from webapp.store.store import MissingError, Store

ALWAYS = ("author", "csrf_token")
"""Taken everywhere: who sends it, kept as a remark beside a proven name; what a page's own script sends along."""
MOST_TOLD = 20
_LONGEST_TOLD = 80
_SITES, _COUNTERS = ("id", "site", "site_id"), ("index", "index0", "k")


@dataclass(frozen=True, slots=True)
class Beyond:
    """Names of a form that its template does not spell."""

    route: str
    names: tuple[str, ...]
    """As templates would spell them, with gaps."""
    reason: str
    places: bool = False
    """Whether the fields of the document, by their place in it, are taken too."""


_NEW = ("do", "frame", "across_km", "stands-{{ index }}")
_DRAFT = (
    "base_revision",
    "draft",
    "document",
    "view",
    "index",
    "do",
    "reason",
    "set_at",
    "stands-{{ index }}",
    "frame",
    "across_km",
    "step",
)
_ASKED = tuple(
    ask.name
    for part in (stream.PAYLOAD, stream.PACKING, stream.PROTECTION, stream.LINK, stream.LOSS, stream.TARGET)
    for ask in part
)
_NETWORK = "/networks/{network_id}"
BEYOND = (
    Beyond("/networks/new", _NEW, "fields drawn from the model by a macro", places=True),
    Beyond(f"{_NETWORK}/edit", _DRAFT, "one form for all editing pages, drawn from the model by a macro", places=True),
    Beyond(f"{_NETWORK}/merge", _DRAFT, "what the refused save had sent may be sent along again", places=True),
    Beyond(
        f"{_NETWORK}/terrain",
        tuple(name for key in ("cover", "zones") for name in (key, f"{key}-number-{{{{ index }}}}")),
        "one macro draws the rows of cover and of zones, and names them by its argument",
    ),
    Beyond(f"{_NETWORK}/links/advice", _ASKED, "fields drawn from a table by a macro; the plan may be sent in fields"),
    Beyond(f"{_NETWORK}/losses/upload", tuple(ask.name for ask in stream.RECORD), "drawn from a table by a macro"),
    Beyond(
        f"{_NETWORK}/measurements/rows",
        ("row", "reason", "do"),
        "one macro draws the kept ones, to an address it is given",
    ),
    Beyond(
        f"{_NETWORK}/map/keep",
        tuple(f"{name}-{{{{ site.id }}}}" for name in TYPED),
        "a lever's field is named by what it moves, out of a table",
    ),
    Beyond(f"{_NETWORK}/map/{{key}}/licence/upload", ("file", "level", "site", "main"), "sent by the map's script"),
)


@dataclass(frozen=True, slots=True)
class Accepted:
    """The names that one address takes."""

    names: tuple[str, ...]
    """Without a gap."""
    gaps: tuple[tuple[str, str], ...] = ()
    """What stands before a gap, and what goes into it: ``site``, ``number`` or ``text``."""
    places: bool = False

    def takes(self, name: str, sites: frozenset[str] | None) -> bool:
        """Whether a form may hold a name; `sites` are the network's, None where they are not known."""
        if name in self.names or name in ALWAYS:
            return True
        for before, kind in self.gaps:
            rest = name.removeprefix(before)
            if rest != name and _fills(rest, kind, sites):
                return True
        return self.places and _is_place(name)

    def told(self) -> tuple[str, ...]:
        """The names for people, gaps in words."""
        words = {"site": "SITE", "number": "N", "text": "..."}
        places = ("fields of the document by their place, like sites-0-offset_us",) if self.places else ()
        return (*self.names, *(f"{before}{words[kind]}" for before, kind in self.gaps), *places)


def accepted(route: str, spelled: Iterable[str]) -> Accepted:
    """What an address takes: the names that its templates spell, gaps and all, and those of `BEYOND`."""
    more = [beyond for beyond in BEYOND if beyond.route == route]
    every = dict.fromkeys((*spelled, *(name for beyond in more for name in beyond.names)))
    split = {name: split_name(name) for name in every}
    plain = tuple(name for name, (_, gap) in split.items() if not gap)
    gaps = dict.fromkeys((before, _kind(gap)) for before, gap in split.values() if gap)
    return Accepted(plain, tuple(gaps), any(beyond.places for beyond in more))


def only(taken_by: Callable[[], Accepted]) -> Callable[[Request], Awaitable[None]]:
    """What an address asks first: whether every name that was sent is one that it takes. `taken_by` is asked then."""

    async def check(request: Request) -> None:
        """Refuse what nothing would read."""
        sent = await _names(request)
        if not sent:
            return
        taken, sites = taken_by(), _sites(request)
        unknown = [name for name in sent if not taken.takes(name, sites)]
        if unknown:
            raise PlanError(_problems(unknown, taken))

    return check


def _problems(unknown: list[str], taken: Accepted) -> Iterable[Problem]:
    """One for each name, with what it may have been meant for."""
    told = taken.told()
    for name in unknown[:MOST_TOLD]:
        meant = f"{near}? Accepted here: " if (near := _nearest(name[:_LONGEST_TOLD], taken)) else "one of "
        yield Problem(
            name[:_LONGEST_TOLD],
            f"this form has no field {name[:_LONGEST_TOLD]!r}, and what it holds would be lost",
            f"{meant}{', '.join(dict.fromkeys((*told, 'author')))}" if told else "no field but author",
            code="form-name-unknown",
            fields=(name[:_LONGEST_TOLD],),
        )
    if len(unknown) > MOST_TOLD:
        what = f"{len(unknown) - MOST_TOLD} more fields are unknown"
        yield Problem("body", what, "the form's fields", code="form-name-unknown")


def _nearest(name: str, taken: Accepted) -> str:
    """What a name may have been meant for; empty where nothing is like it."""
    told = dict(zip(taken.told()[len(taken.names) :], taken.gaps, strict=False))
    begun = next((words for words, (before, _) in told.items() if name.startswith(before)), "")
    return begun or next(iter(get_close_matches(name, (*taken.names, *told), n=1, cutoff=0.75)), "")


async def _names(request: Request) -> list[str]:
    """Every name that was sent, also with nothing in it."""
    if request.headers.get("content-type", "").partition(";")[0].strip() == "application/json":
        try:
            sent: Any = json.loads(await request.body())
        except (ValueError, RecursionError):
            return []  # what reads the form says what is wrong with it
        return list(sent) if isinstance(sent, dict) else []
    settings: Settings = request.app.state.settings
    limits = settings.limits
    form = await request.form(max_fields=limits.form_fields, max_part_size=limits.body_bytes)
    return list(dict.fromkeys(name for name, _ in form.multi_items()))


def _sites(request: Request) -> frozenset[str] | None:
    """Short names of the sites of the network in the address; None where there is none."""
    number = whole_number(str(request.path_params.get("network_id", "")))
    store: Store = request.app.state.store
    if number is None:
        return None
    try:
        document: Mapping[str, Any] = store.read(number, even_deleted=True).document
    except MissingError:
        return None
    return frozenset(str(site["id"]) for site in document["sites"])


def _kind(gap: str) -> str:
    """What goes into a gap, by the last word of what a template puts there."""
    last = gap.rpartition(".")[2]
    return "site" if last in _SITES else "number" if last in _COUNTERS else "text"


def _fills(text: str, kind: str, sites: frozenset[str] | None) -> bool:
    """Whether a text may stand in a gap."""
    if kind == "number":
        return text.isascii() and text.isdigit()
    return bool(text) and (kind == "text" or sites is None or text in sites)


def _is_place(name: str) -> bool:
    """Whether a name spells a place of the document that holds one value."""
    return value_at(path_of(name[:1000])) is not None
