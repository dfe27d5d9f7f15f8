"""The forms that the templates spell: Jinja's own lexer reads the templates, Python's own parser the HTML between.

A name may have gaps that a page fills, ``offset-{{ site.id }}``. What is put into the page there stands in the parsed
HTML as one character of Unicode's private use, so that no quote or bracket of an expression is taken for HTML's.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from html.parser import HTMLParser

from jinja2 import Environment

from webapp.config.bundled import folder

_FIELDS = ("input", "select", "textarea", "button")
_HIDDEN = ("csrf_token",)
_FIRST = 0xE000
"""Unicode's private use begins: 6,400 expressions a template."""
_LAST = 0xF8FE
_BRANCH = "\uf8ff"
_JINJA = Environment(autoescape=True)


Pieces = tuple[tuple[str, str], ...]
"""A template: ``text``, what is ``put`` in, and the statement of each ``block``, in their order."""


class _Forms(HTMLParser):
    """The fields of a template's forms, the form's address first."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.action: str | None = None
        self.fields: list[tuple[str, str, str]] = []
        """Action, name and id."""
        self.labels: dict[str, str] = {}
        self._label: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """A form begins, a field of it, or what one is called."""
        given = {key: value or "" for key, value in attrs}
        if tag == "form":
            self.action = given.get("action", "") if given.get("method", "").lower() == "post" else None
        elif tag in _FIELDS and self.action is not None and given.get("name"):
            self.fields.append((self.action, given["name"], given.get("id", "")))
        self._label = given.get("for") if tag == "label" else None

    def handle_endtag(self, tag: str) -> None:
        """A form ends."""
        if tag == "form":
            self.action = None
        self._label = None

    def handle_data(self, data: str) -> None:
        """The words of a label where they are all of it up to the next tag, and none of them is a gap."""
        if self._label and data.strip() and not any(map(_is_gap, data)):
            self.labels.setdefault(self._label, data.strip())
        self._label = None


@cache
def form_fields() -> Mapping[str, Mapping[str, str]]:
    """What `fields_of` finds in the application's templates."""
    root = folder("templates")
    paths = sorted(root.rglob("*.html"))
    return fields_of({path.relative_to(root).as_posix(): path.read_text(encoding="utf-8") for path in paths})


def fields_of(templates: Mapping[str, str]) -> dict[str, dict[str, str]]:
    """By the route that each form of some templates leads to: its fields' names as they are spelled, gaps and all.

    Parameters
    ----------
    templates : mapping of str to str
        Templates by the name that others import them by.

    Returns
    -------
    fields : dict of str to dict of str to str
        By a route's name: names with their labels, empty where a label is not fixed. The fields of a macro that is
        called inside a form are the form's.

    Raises
    ------
    jinja2.TemplateSyntaxError
        If a template cannot be read.
    """
    texts = {name: _cut(text) for name, text in templates.items()}
    macros = {name: dict(_macros(text)) for name, text in texts.items()}
    found: dict[str, dict[str, str]] = {}
    for name, text in texts.items():
        html, gaps = _as_html(text, {**_imported(text, macros), **macros[name]})
        parser = _Forms()
        parser.feed(html)
        parser.close()
        for action, field, field_id in parser.fields:
            there = [found.setdefault(route, {}) for route in _routes(action, gaps)]
            # A name that is nothing but a gap is known to the page's own record alone.
            if field[0] in gaps or field in _HIDDEN:
                continue
            spelled = "".join(f"{{{{ {gaps[one]} }}}}" if one in gaps else one for one in field)
            for names in there:
                names[spelled] = parser.labels.get(field_id, "")
    return found


def split_name(name: str) -> tuple[str, str]:
    """What stands before the first gap of a name, and what a page puts there; the latter empty where it has no gap.

    Examples
    --------
    >>> split_name("offset-{{ site.id }}"), split_name("reason")
    (('offset-', 'site.id'), ('reason', ''))
    """
    before = ""
    for kind, value in _cut(name):
        if kind == "put":
            return before, value.partition("|")[0].partition("(")[0].strip()
        before += value
    return before, ""


def _cut(source: str) -> Pieces:
    """A template in pieces."""
    pieces: list[tuple[str, str]] = []
    inside: list[str] | None = None
    for _, kind, value in _JINJA.lex(source):
        if kind in ("variable_begin", "block_begin"):
            inside = []
        elif kind in ("variable_end", "block_end"):
            pieces.append(("put" if kind == "variable_end" else "block", "".join(inside or ()).strip()))
            inside = None
        elif inside is not None:
            inside.append(value)
        elif kind == "data":
            pieces.append(("text", value))
    return tuple(pieces)


def _macros(pieces: Pieces) -> Iterator[tuple[str, Pieces]]:
    """The macros of a template by name."""
    name, begun = "", 0
    for k, (kind, value) in enumerate(pieces):
        if kind == "block" and value.startswith("macro "):
            name, begun = value.removeprefix("macro ").partition("(")[0].strip(), k + 1
        elif kind == "block" and value.startswith("endmacro") and name:
            yield name, pieces[begun:k]
            name = ""


def _imported(pieces: Pieces, macros: Mapping[str, Mapping[str, Pieces]]) -> dict[str, Pieces]:
    """The macros that a template takes from others: ``from "_partials/x.html" import one, two``."""
    found: dict[str, Pieces] = {}
    for kind, value in pieces:
        if kind == "block" and value.startswith("from "):
            where, _, names = value.removeprefix("from ").partition(" import ")
            given = macros.get(where.strip(" \"'"), {})
            wanted = names.removesuffix(" with context").removesuffix(" without context").split(",")
            found.update({name.strip(): given[name.strip()] for name in wanted if name.strip() in given})
    return found


def _as_html(pieces: Pieces, macros: Mapping[str, Pieces]) -> tuple[str, dict[str, str]]:
    """A template as HTML, a character of private use for each gap, and what goes into each."""
    signs: dict[str, str] = {}

    def put(expression: str) -> str:
        """The character that stands for an expression."""
        if expression not in signs:
            if _FIRST + len(signs) > _LAST:
                raise ValueError("a template puts in more than 6400 expressions: nobody can read that")
            signs[expression] = chr(_FIRST + len(signs))
        return signs[expression]

    def told(pieces: Pieces, deep: int) -> Iterator[str]:
        """Piece by piece; what a macro puts in stands before the call of it."""
        for kind, value in pieces:
            if kind == "text":
                yield value
            elif kind == "block" and value.startswith("el"):
                yield _BRANCH  # so that what two branches say is not read as one
            elif kind == "put":
                if deep == 0 and (called := macros.get(value.partition("(")[0])):
                    yield from told(called, deep + 1)
                yield put(value)

    html = "".join(told(pieces, 0))
    return html, {sign: expression for expression, sign in signs.items()}


def _routes(action: str, gaps: Mapping[str, str]) -> Iterator[str]:
    """The routes that a form's action may lead to: ``to('ages.change', ...)``, also one in either branch."""
    for sign in action:
        call = gaps.get(sign, "")
        if call.startswith("to('"):
            yield call.removeprefix("to('").partition("'")[0]


def _is_gap(sign: str) -> bool:
    """Whether a character stands for what a page puts in."""
    return _FIRST <= ord(sign) <= _LAST or sign == _BRANCH
