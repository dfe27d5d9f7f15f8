"""A page's HTML as blocks of paper: headings, paragraphs, items, tables, codes. What is not for paper is left out."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Literal

from webapp.paper.words import Span

QR_MM = 22
Paper = Literal["a4", "letter"]
PAPERS: tuple[Paper, ...] = ("a4", "letter")
_NOT_ON_PAPER = frozenset("form script style select button nav svg option textarea template noscript".split())
_EMPTY = frozenset("img br hr input meta link col area wbr source".split())
_TEXTS = frozenset("h1 h2 h3 h4 p li dd dt figcaption summary caption".split())
_BOLD = frozenset(("b", "strong", "dt"))


@dataclass(frozen=True, slots=True)
class Text:
    """A heading, paragraph or list item."""

    kind: str
    """h1 to h4, p or li."""
    spans: tuple[Span, ...]

    @property
    def heading(self) -> bool:
        """Whether it belongs to what follows."""
        return self.kind[0] == "h"


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell."""

    spans: tuple[Span, ...]
    number: bool = False
    """Whether it stands at the right."""


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells; the head is printed again on every page."""

    head: tuple[tuple[Cell, ...], ...]
    rows: tuple[tuple[Cell, ...], ...]
    shares_pct: tuple[float | None, ...]
    """Wished widths of the columns."""


@dataclass(frozen=True, slots=True)
class Code:
    """A QR code with its sentence beside it."""

    address: str
    spans: tuple[Span, ...]


Block = Text | Table | Code


@dataclass(frozen=True, slots=True)
class Part:
    """What is printed as one: a sheet, a plan."""

    blocks: Sequence[Block]
    foot: str
    """Stands on every page of it."""
    address: str = ""
    """Goes into the code at its head; empty: there is none."""
    caption: str = ""
    """Stands beneath that code."""
    stamp: str = ""
    """Stands across every page."""
    names: Mapping[str, str] | None = None
    """What stands for each name where no font has its letters, such as a site's id."""
    pages: str = "page %(page)s of %(pages)s"
    """How its pages are numbered, in its language."""


def blocks(html: str) -> list[Block]:
    """The blocks of a piece of HTML.

    Known are headings, paragraphs, lists, definition lists, tables, ``<b>``, ``<br>``, and
    ``<p data-code="ADDRESS">``; whatever has the class ``no-print`` and every form is left out.
    """
    reader = _Reader()
    reader.feed(html)
    reader.close()
    reader.end_text()
    return reader.made


@dataclass
class _Rows:
    """A table while it is read."""

    head: list[list[Cell]] = field(default_factory=list)
    rows: list[list[Cell]] = field(default_factory=list)
    shares: list[float | None] = field(default_factory=list)
    in_head: bool = False


class _Reader(HTMLParser):
    """Reads HTML of our own templates."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.made: list[Block] = []
        self._spans: list[Span] = []
        self._kind = "p"
        self._code = ""
        self._bold = 0
        self._skipped: list[str] = []
        self._table: _Rows | None = None
        self._cell: str | None = None
        self._cell_is_number = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Begin a block, a cell or a style."""
        given = {name: value or "" for name, value in attrs}
        classes = given.get("class", "").split()
        if self._skipped:
            if tag not in _EMPTY:
                self._skipped.append(tag)
            return
        if tag in _NOT_ON_PAPER or "no-print" in classes:
            if tag not in _EMPTY:
                self._skipped.append(tag)
            return
        if tag == "br":
            self._spans.append(Span("\n"))
        elif tag == "img" and given.get("alt"):
            self._spans.append(Span(f"({given['alt']}: on the screen)"))
        elif tag == "table":
            self.end_text()
            self._table = _Rows()
        elif self._table is not None and tag in ("thead", "tbody"):
            self._table.in_head = tag == "thead"
        elif self._table is not None and tag == "tr":
            (self._table.head if self._table.in_head else self._table.rows).append([])
        elif self._table is not None and tag in ("td", "th"):
            self._spans, self._cell, self._cell_is_number = [], tag, "number" in classes
            if self._table.in_head:
                self._table.shares.append(_share(given.get("width", "")))
        elif self._cell is None and tag in _TEXTS and tag != "dd":  # which goes on behind its term
            self.end_text()
            self._kind = tag if tag[0] == "h" or tag == "li" else "p"
            self._code = given.get("data-code", "")
        elif self._cell is not None and tag in ("li", "p", "div") and self._spans:
            self._spans.append(Span("\n"))
        if tag in _BOLD:
            self._bold += 1

    def handle_endtag(self, tag: str) -> None:
        """End it."""
        if self._skipped:
            while self._skipped and self._skipped.pop() != tag:
                pass
            return
        if tag in _BOLD:
            self._bold = max(self._bold - 1, 0)
        if tag in ("td", "th") and self._table is not None and self._cell is not None:
            part = self._table.head if self._table.in_head else self._table.rows
            part[-1].append(Cell(_tidy(self._spans), self._cell_is_number))
            self._spans, self._cell = [], None
        elif tag == "table" and self._table is not None:
            head = tuple(tuple(row) for row in self._table.head if row)
            rows = tuple(tuple(row) for row in self._table.rows if row)
            self.made.append(Table(head, rows, tuple(self._table.shares)))
            self._table = None
        elif tag == "dt":
            self._spans.append(Span(": "))
        elif tag in _TEXTS and self._cell is None:
            self.end_text()

    def handle_data(self, data: str) -> None:
        """Text between tags."""
        if not self._skipped:
            self._spans.append(Span(re.sub("[ \t\r\n\f]+", " ", data), self._bold > 0))

    def end_text(self) -> None:
        """Put down what was read as one block; nothing where there was nothing."""
        spans = _tidy(self._spans)
        if spans and self._code:
            self.made.append(Code(self._code, spans))
        elif spans:
            self.made.append(Text(self._kind, spans))
        self._spans, self._kind, self._code = [], "p", ""


def _share(width: str) -> float | None:
    """A width such as ``30%``."""
    return float(width[:-1]) if re.fullmatch(r"\d+%", width) else None


def _tidy(spans: Sequence[Span]) -> tuple[Span, ...]:
    """Spans without nothing at the ends; nothing at all where only spaces are left."""
    kept = [span for span in spans if span.text]
    while kept and not kept[0].text.strip(" \n"):
        kept.pop(0)
    while kept and not kept[-1].text.strip(" \n"):
        kept.pop()
    return tuple(kept)
