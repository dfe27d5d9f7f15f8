"""Forms that somebody's role may not send: their fields stand there to be read, and a line says whose they are.

Every page is looked at after it is made, so that a new form needs nothing of its own and none is forgotten. What a
form needs follows from its address, by the table that the door goes by (`webapp.store.roles`).
"""

import html
import re
from collections.abc import Iterator
from functools import cache

from webapp.config.addresses import BASE, ROUTES
from webapp.store.roles import WORDS, Action, Person, may, needed, roles_for

_FORM = re.compile(r"<form\b([^>]*\bmethod=\"post\"[^>]*)>(.*?)</form>", re.DOTALL)
_ACTION = re.compile(r"\baction=\"([^\"?#]*)")
# A field that somebody types into or chooses from; what is hidden is none.
_FIELD = re.compile(r"<(?:select|textarea)\b|<input\b(?![^>]*\btype=\"hidden\")")
_GAP = re.compile(r"\{\w+\}")


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

    def theirs(found: re.Match[str]) -> str:
        """One form."""
        asked = _ACTION.search(found[1])
        action = None if asked is None else needed("POST", route_at(html.unescape(asked[1])))
        if action is None or may(person, action):
            return found[0]
        line = f'<span class="quiet no-print whose">{html.escape(says(person, action))}</span>'
        if not _FIELD.search(found[2]):
            return line
        return f'<form{found[1]}><fieldset class="not-yours" disabled>{found[2]}</fieldset>{line}</form>'

    return _FORM.sub(theirs, text)


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
