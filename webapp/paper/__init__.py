"""Paper: a page's HTML as a PDF, and QR codes.

`fonts` finds fonts, `words` sets text in them, `blocks` reads HTML, `columns` and `pages` lay it out.
"""

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import segno

from webapp.paper.blocks import PAPERS as PAPERS, QR_MM as QR_MM, Block, Code, Paper as Paper, Part, Table, Text, blocks
from webapp.paper.fonts import Fonts, Missing
from webapp.paper.words import Span


def qr_svg(address: str) -> bytes:
    """A QR code of an address."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", scale=4, border=2, xmldecl=False)
    return out.getvalue()


@dataclass(frozen=True, slots=True)
class Printed:
    """A page that goes to paper, and what stands around it."""

    body: str
    """Its HTML: see `blocks`."""
    foot: str
    """Stands on every page."""
    address: str = ""
    """Goes into the QR code at its head; empty: there is none."""
    caption: str = ""
    """What the code opens, beneath it."""
    stamp: str = ""
    """Stands across every page."""
    names: Mapping[str, str] = field(default_factory=dict)
    """What stands for each name where no font has its letters, such as a site's id."""
    pages: str = "page %(page)s of %(pages)s"
    """How its pages are numbered, in its language."""


def pdf(
    pages: Printed | Sequence[Printed], *, paper: Paper, tell: Callable[[str, int, int], None] | None = None
) -> bytes:
    """One PDF of one page or several, numbered through.

    Parameters
    ----------
    pages : Printed or sequence of Printed
    paper : {'a4', 'letter'}
    tell : callable(foot of the page, done, total), optional
        Before each is laid out.
    """
    from webapp.paper.pages import printed  # fpdf2 takes a tenth of the application's start, and many print nothing

    several = [pages] if isinstance(pages, Printed) else pages
    read = [blocks(one.body) for one in several]
    texts = [_text(found) + one.foot + one.caption for one, found in zip(several, read, strict=True)]
    fonts = Fonts("".join(texts))
    parts = []
    for one, found, text in zip(several, read, texts, strict=True):
        found.sort(key=lambda block: not (isinstance(block, Text) and block.kind == "h1"))  # before notes above it
        if missing := fonts.missing_in(text):
            found.insert(1, Text("p", (Span(missing_says(missing), bold=True),)))
        parts.append(Part(found, one.foot, one.address, one.caption, one.stamp, one.names, one.pages))
    return printed(parts, paper=paper, fonts=fonts, tell=tell)


def missing_says(missing: Sequence[Missing]) -> str:
    """Which scripts this machine cannot print, what stands instead, and what to install."""
    if not missing:
        return ""
    scripts = ", ".join(f"{one.script} (Debian: {one.package})" for one in missing)
    return f"No font here for {scripts}: on paper a name in it is replaced by its id in square brackets."


def _text(found: Sequence[Block]) -> str:
    """All letters of some blocks."""
    spans: list[Span] = []
    for block in found:
        if isinstance(block, Text | Code):
            spans += block.spans
        elif isinstance(block, Table):
            spans += [span for row in (*block.head, *block.rows) for cell in row for span in cell.spans]
    return "".join(span.text for span in spans)
