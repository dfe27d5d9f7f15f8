"""The guide: the job step by step, what every page shows, and the words. Markdown, rendered once."""

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response
from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup

from webapp.config.addresses import Room
from webapp.shell.context import Context
from webapp.shell.render import page

router = Room("guide")
FOLDER = Path(__file__).parent.parent / "guide"
_NAMED = re.compile(r" \{#([a-z-]+)\}$")


@dataclass(frozen=True, slots=True)
class Chapter:
    """A heading of the guide."""

    anchor: str
    title: str
    level: int
    """1 for a chapter, 2 for a page of it."""


@dataclass(frozen=True, slots=True)
class GuidePage(Context):
    """The guide with its contents."""

    TEMPLATE: ClassVar[str] = "front/guide.html"
    chapters: tuple[Chapter, ...]
    text: Markup


@router.get("/guide")
def show(request: Request) -> Response:
    """The guide; every page of the application links to its part."""
    chapters, text = guide()
    return page(request, GuidePage(chapters, text))


@cache
def guide() -> tuple[tuple[Chapter, ...], Markup]:
    """Its headings and its text, file by file as they are named; they are ours, so nothing in them is escaped."""
    reader = MarkdownIt("commonmark").enable("table")
    tokens = [token for file in sorted(FOLDER.glob("*.md")) for token in reader.parse(file.read_text(encoding="utf-8"))]
    chapters = tuple(_named(tokens))
    return chapters, Markup(reader.renderer.render(tokens, reader.options, {}))


def _named(tokens: list[Token]) -> list[Chapter]:
    """Give every heading its anchor, one level below the page's own; tables may be scrolled.

    Raises
    ------
    ValueError
        If a heading has no anchor.
    """
    found = []
    for at, token in enumerate(tokens):
        if token.type == "heading_open":
            inline = tokens[at + 1]
            named = _NAMED.search(inline.content)
            if named is None or not inline.children:
                raise ValueError(f"guide: heading {inline.content!r} has no anchor")
            inline.children[-1].content = _NAMED.sub("", inline.children[-1].content)
            token.attrSet("id", named[1])
            level = int(token.tag[1])
            found.append(Chapter(named[1], _NAMED.sub("", inline.content), level))
            token.tag = tokens[at + 2].tag = f"h{level + 1}"
            if level == 1:
                token.attrSet("data-fold", "")  # a telephone shows the chapters first
        elif token.type == "table_open":
            token.attrSet("class", "list")
    return found
