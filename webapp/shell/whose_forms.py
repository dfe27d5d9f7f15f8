"""Forms that somebody's role may not send: their fields stand there to be read, and a line says whose they are.

Every page is looked at after it is made, so that a new form needs nothing of its own and none is forgotten. What a
form needs follows from its address, by the table that the door goes by (`webapp.store.roles`).
"""

import html
import re
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser

from webapp.config.addresses import BASE, ROUTES
from webapp.store.roles import WORDS, Action, Person, may, needed, roles_for

_BEGIN, _END = "<form", "</form>"
_TYPED = ("select", "textarea")
_GAP = re.compile(r"\{\w+\}")


class _Form(HTMLParser):
    """One form of a page, read from its first tag."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=False)
        self.posted: str | None = None
        """The address that it is posted to, without its question; None of a form that asks by GET."""
        self.tag = ""
        self.fields = False
        """Whether it has one that somebody types into or chooses from; what is hidden is none."""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """The form's own tag, or a field of it."""
        if tag == "form":
            given = dict(attrs)
            self.tag = self.get_starttag_text() or ""
            if (given.get("method") or "").lower() == "post" and (action := given.get("action")):
                self.posted = action.partition("?")[0].partition("#")[0]
        elif tag in _TYPED or (tag == "input" and ("type", "hidden") not in attrs):
            self.fields = True


def _forms(text: str) -> Iterator[tuple[int, int]]:
    """Where each form of a page begins and its end tag stands; only they are parsed, not tables of a megabyte.

    A page has no ``<form`` that is not a form: in words and in data for scripts ``<`` is escaped.
    """
    begins = text.find(_BEGIN)
    while begins >= 0 and (ends := text.find(_END, begins)) >= 0:
        yield begins, ends
        begins = text.find(_BEGIN, ends)


def for_whom(text: str, person: Person) -> str:
    """A page as somebody may use it.

    Parameters
    ----------
    text : str
        The page.
    person : Person
        Who looks at it.

    Returns
    -------
    text : str
        The fields of forms that would be refused are disabled, and their buttons with them; a form of nothing but
        buttons is gone. A line in the place of both says whose it is.
    """
    if person.via == "nobody" or all(may(person, action) for action in WORDS):
        return text

    pieces, done = [], 0
    for begins, ends in _forms(text):
        form = _Form(text[begins:ends])
        action = None if form.posted is None else needed("POST", route_at(form.posted))
        if action is None or may(person, action):
            continue
        line = f'<span class="quiet no-print whose">{html.escape(says(person, action))}</span>'
        pieces.append(text[done:begins])
        if form.fields:
            inside = text[begins + len(form.tag) : ends]
            pieces.append(f'{form.tag}<fieldset class="not-yours" disabled>{inside}</fieldset>{line}{_END}')
        else:
            pieces.append(line)
        done = ends + len(_END)
    return "".join((*pieces, text[done:]))


def says(person: Person, action: Action) -> str:
    """Who may do something that somebody may not.

    Examples
    --------
    >>> says(Person("Vi", "viewer", "session", 1), "plan")
    'For planners and administrators: as viewer you may not change plans.'
    """
    *roles, last = [f"{role}s" for role in roles_for(action)]
    whose = f"{', '.join(roles)} and {last}" if roles else last
    reading = " with a token for reading" if person.scope == "read" else ""
    return f"For {whose}: as {person.role}{reading} you may not {WORDS[action]}."


def route_at(address: str) -> str:
    """The path of a route as it was written, by an address of the application; the address where there is none."""
    path = address.removeprefix(BASE.get())
    return next((route for shape, route in _shapes() if shape.fullmatch(path)), path)


@cache
def _shapes() -> tuple[tuple[re.Pattern[str], str], ...]:
    """What addresses of each route look like; those with fewer gaps first, for they are meant where both fit."""

    def shapes() -> Iterator[tuple[int, re.Pattern[str], str]]:
        """With how many gaps each has."""
        for route in sorted(set(ROUTES.values())):
            pieces = [re.escape(piece) for piece in _GAP.split(route)]
            yield len(pieces), re.compile("[^/]+".join(pieces)), route

    return tuple((shape, route) for _, shape, route in sorted(shapes(), key=lambda one: (one[0], one[2])))
