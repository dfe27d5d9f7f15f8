"""Pages of a PDF: blocks set in lines and tables, a foot and a stamp on every page, a code at the head of a part."""

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from unicodedata import bidirectional

import segno
from fpdf import FPDF
from fpdf.fonts import TTFFont

from webapp.paper.blocks import QR_MM, Block, Cell, Code, Paper, Part, Table, Text
from webapp.paper.columns import column_widths
from webapp.paper.fonts import Fonts, built_in
from webapp.paper.words import Line, Piece, Span, Word, in_order, isolated, lines, spelled, words

SIDE_MM, TOP_MM = 14.0, 12.0
FOOT_LINE_MM = 3.6
_FOOT_PT, _CAPTION_PT, _TEXT_PT, _LEAST_PT = 7.5, 6.0, 9.0, 6.0
_LEADING = 0.47  # line height in mm of a size in points: 1.33 times the size
_PAD_MM = 1.0
_INK = (28, 42, 49)
_STAMP_INK = (226, 196, 186)
_KEPT_WHOLE_MM = 70.0
# Size in points, space above and below in mm.
_STYLES = {
    "h1": (17.0, 0.0, 1.5), "h2": (12.5, 4.0, 1.5), "h3": (10.0, 3.0, 1.0), "h4": (19.0, 2.0, 1.5),
    "p": (_TEXT_PT, 0.0, 1.6), "li": (_TEXT_PT, 0.0, 0.8),
}  # fmt: skip
_SPACE = Piece(" ", -1, False, 0)


@dataclass(frozen=True, slots=True)
class _Row:
    """A table's row, set."""

    cells: tuple[list[Line], ...]
    numbers: tuple[bool, ...]
    lines_n: int


class Pages(FPDF):
    """A PDF that is laid out here: fpdf2 embeds fonts, shapes and writes."""

    def __init__(self, paper: Paper, fonts: Fonts) -> None:
        super().__init__(format=paper)
        self._fonts_found = fonts
        self.set_margins(SIDE_MM, TOP_MM, SIDE_MM)
        self.set_auto_page_break(False)
        self.c_margin = 0
        self.add_font("dejavu", "", built_in().path)
        self.add_font("dejavu", "B", built_in("-Bold").path)
        for number, file in enumerate(fonts.used):
            needed = [ord(letter) for letter in (" ", *fonts.letters(number))]
            self.add_font(f"found{number}", "", file.path, unicode_range=needed, collection_font_number=file.number)
        self._part = self._coming = Part((), "")
        self._names: Mapping[str, str] = {}
        self._bottom_mm = 0.0
        self._foot: list[Line] = []
        self._known_words: dict[tuple[Span, ...], list[Word]] = {}
        self._widths: dict[tuple[Piece, float], float] = {}

    # What every page has.

    def header(self) -> None:
        """What must not be taken for an issued sheet says so across every page, beneath the text."""
        self._begin()
        if self._part.stamp:
            with self.local_context(), self.rotation(52, self.w / 2, self.h / 2):
                self.set_font("dejavu", style="B", size=64)
                self.set_text_color(*_STAMP_INK)
                width = self.get_string_width(self._part.stamp)
                self.text((self.w - width) / 2, self.h / 2 + 8, self._part.stamp)
        self.set_text_color(*_INK)
        self.set_y(TOP_MM)

    def _begin(self) -> None:
        """Take over what a new part says at its foot."""
        if self._part is not self._coming:
            self._part, self._names, self._known_words = self._coming, self._coming.names or {}, {}
            self._foot = self._set((Span(self._part.foot),), _FOOT_PT, lambda _: self.epw)
            self._bottom_mm = self.h - 8 - FOOT_LINE_MM * (len(self._foot) + 1) - 2

    def footer(self) -> None:
        """Revision, checksum and page number on every page; long names take more lines."""
        y = self._bottom_mm + 2
        for line in self._foot:
            self._line(line, self.l_margin + (self.epw - self._line_mm(line, _FOOT_PT)) / 2, y, _FOOT_PT)
            y += FOOT_LINE_MM
        self.set_font("dejavu", size=_FOOT_PT)
        self.set_text_color(*_INK)
        self.set_xy(self.l_margin, y)
        self.cell(self.epw, FOOT_LINE_MM, self._part.pages % {"page": self.page_no(), "pages": "{nb}"}, align="C")

    def part(self, part: Part) -> None:
        """Print a part, from the top of a new page."""
        self._coming = part
        self.add_page()  # which first closes the last page of the part before
        code_bottom = self._code_at_the_head(part) if part.address else 0.0
        left = list(part.blocks)
        if left and isinstance(left[0], Text):  # a long name breaks before the code
            self._text(left.pop(0), self.epw - (QR_MM + 3 if part.address else 0))  # type: ignore[arg-type]
        self.set_y(max(self.get_y(), code_bottom))
        while left:
            block = left.pop(0)
            if self.get_y() + self._kept_mm(block, left) > self._bottom_mm:
                self._next_page()
            self._block(block)

    def _code_at_the_head(self, part: Part) -> float:
        """Draw it, and say beneath where it stands; where the caption ends."""
        x, y = self.w - SIDE_MM - QR_MM, 8.0
        self._qr(part.address, x, y, QR_MM)
        y += QR_MM + 0.5
        for line in self._set((Span(part.caption),), _CAPTION_PT, lambda _: QR_MM):
            self._line(line, x, y, _CAPTION_PT)
            y += _CAPTION_PT * _LEADING
        return y + 1

    def _qr(self, address: str, x: float, y: float, size_mm: float) -> None:
        """A QR code as a picture."""
        code = io.BytesIO()
        segno.make(address, error="m", micro=False).save(code, kind="png", scale=6, border=2)
        self.image(code, x=x, y=y, w=size_mm)

    def _next_page(self) -> None:
        if self.get_y() > TOP_MM:
            self.add_page()

    # Blocks.

    def _kept_mm(self, block: Block, following: Sequence[Block]) -> float:
        """Height that must be free for a block to begin here: with a heading goes what it heads."""
        if isinstance(block, Code):
            return QR_MM + 14.0
        if isinstance(block, Table):
            widths, size = self._columns(block)
            rows = [self._row(row, widths, size) for row in (*block.head, *block.rows)]
            heights = [self._row_mm(row, size) for row in rows]
            return sum(heights) if sum(heights) <= _KEPT_WHOLE_MM else sum(heights[: len(block.head) + 1])
        if not block.heading:
            size, above, _ = _STYLES[block.kind]
            return above + min(len(self._lines_of(block, self.epw)), 2) * size * _LEADING
        needed = self._text_mm(block)
        if len(following) > 1 and isinstance(following[0], Text) and isinstance(following[1], Table):
            # What stands between a heading and its table goes with both.
            needed += self._text_mm(following[0]) + self._kept_mm(following[1], ())
        elif following:
            needed += self._kept_mm(following[0], following[1:])
        return min(needed, self._bottom_mm - TOP_MM)

    def _text_mm(self, block: Text) -> float:
        """Height of a whole text."""
        size, above, below = _STYLES[block.kind]
        return above + len(self._lines_of(block, self.epw)) * size * _LEADING + below

    def _block(self, block: Block) -> None:
        if isinstance(block, Text):
            self._text(block, self.epw)
        elif isinstance(block, Table):
            self._table(block)
        else:
            self._code(block)

    def _lines_of(self, block: Text, width_mm: float) -> list[Line]:
        size, *_ = _STYLES[block.kind]
        indent = 5.0 if block.kind == "li" else 0.0
        spans = [Span(span.text, span.bold or block.heading) for span in block.spans]
        return self._set(spans, size, lambda _: width_mm - indent)

    def _text(self, block: Text, width_mm: float) -> None:
        """A heading, paragraph or item, over as many pages as it takes."""
        size, above, below = _STYLES[block.kind]
        indent = 5.0 if block.kind == "li" else 0.0
        if self.get_y() > TOP_MM:
            self.set_y(self.get_y() + above)
        for number, line in enumerate(self._lines_of(block, width_mm)):
            if self.get_y() + size * _LEADING > self._bottom_mm:
                self.add_page()
            if number == 0 and indent:
                self._line((Word((Piece("•", -1, False, 0),), 0),), self.l_margin + 1.5, self.get_y(), size)
            self._line(line, self.l_margin + indent, self.get_y(), size)
            self.set_y(self.get_y() + size * _LEADING)
        self.set_y(self.get_y() + below)

    def _code(self, block: Code) -> None:
        """A QR code with its sentence at the right of it."""
        y = self.get_y()
        self._qr(block.address, self.l_margin, y, QR_MM + 8)
        beside = QR_MM + 12
        for line in self._set(block.spans, _TEXT_PT, lambda _: self.epw - beside):
            self._line(line, self.l_margin + beside, y + 2, _TEXT_PT)
            y += _TEXT_PT * _LEADING
        self.set_y(max(y + 2, self.get_y() + QR_MM + 8) + 3)

    # Tables.

    def _columns(self, table: Table) -> tuple[list[float], float]:
        """Widths of the columns, and the size of the letters: smaller where the figures would not fit."""
        rows = [*((row, True) for row in table.head), *((row, False) for row in table.rows)]
        found = [[self._words(self._strong(cell, head)) for cell in row] for row, head in rows]
        for size in (_TEXT_PT, 8.0, 7.0, _LEAST_PT):
            widths = column_widths(
                found,
                shares_pct=table.shares_pct,
                word_mm=lambda word, size=size: sum(self._width(piece, size) for piece in word.pieces),  # type: ignore[misc]
                space_mm=self._space(size),
                pad_mm=2 * _PAD_MM,
                whole_mm=self.epw,
                forced=size == _LEAST_PT,
            )
            if widths:
                return widths, size
        return [], _LEAST_PT  # a table without columns

    def _strong(self, cell: Cell, head: bool) -> tuple[Span, ...]:
        return tuple(Span(span.text, span.bold or head) for span in cell.spans)

    def _row(self, row: Sequence[Cell], widths: Sequence[float], size: float, *, head: bool = False) -> _Row:
        """A row's cells in lines."""
        cells = tuple(
            self._set(self._strong(cell, head), size, lambda _, width=width: width - 2 * _PAD_MM)  # type: ignore[misc]
            for cell, width in zip(row, widths, strict=False)
        )
        return _Row(cells, tuple(cell.number for cell in row), max([1, *map(len, cells)]))

    def _row_mm(self, row: _Row, size: float) -> float:
        return row.lines_n * size * _LEADING + 2 * _PAD_MM

    def _table(self, table: Table) -> None:
        """A table; its head stands on every page that it goes over, and a row is broken only if no page holds it."""
        widths, size = self._columns(table)
        head = [self._row(row, widths, size, head=True) for row in table.head]
        whole = self._bottom_mm - TOP_MM - sum(self._row_mm(row, size) for row in head)
        for row in head:
            self._draw(row, widths, size)
        for row in (self._row(one, widths, size) for one in table.rows):
            for part in self._fitting(row, size, whole):
                if self.get_y() + self._row_mm(part, size) > self._bottom_mm:
                    self.add_page()
                    for again in head:
                        self._draw(again, widths, size)
                self._draw(part, widths, size)
        self.set_y(self.get_y() + 2)

    def _fitting(self, row: _Row, size: float, whole_mm: float) -> list[_Row]:
        """A row in parts that a page holds."""
        most = max(int((whole_mm - 2 * _PAD_MM) / (size * _LEADING)), 1)
        parts = []
        for start in range(0, row.lines_n, most):
            cells = tuple(cell[start : start + most] for cell in row.cells)
            parts.append(_Row(cells, row.numbers, max([1, *map(len, cells)])))
        return parts

    def _draw(self, row: _Row, widths: Sequence[float], size: float) -> None:
        """A row with its frame."""
        x, y, height = self.l_margin, self.get_y(), self._row_mm(row, size)
        self.set_draw_color(150, 160, 166)
        for cell, width, number in zip(row.cells, widths, row.numbers, strict=False):
            self.rect(x, y, width, height)
            for place, line in enumerate(cell):
                at = x + width - _PAD_MM - self._line_mm(line, size) if number else x + _PAD_MM
                self._line(line, at, y + _PAD_MM + place * size * _LEADING, size)
            x += width
        self.set_y(y + height)

    # Lines.

    def _words(self, spans: Sequence[Span]) -> list[Word]:
        """The words of some spans; a table is asked for them to find its place, its widths and its rows."""
        key = tuple(spans)
        if key not in self._known_words:
            names, fonts = self._names, self._fonts_found
            said = [Span(isolated(spelled(span.text, names, fonts), names), span.bold) for span in spans]
            self._known_words[key] = list(words(said, fonts))
        return self._known_words[key]

    def _set(self, spans: Sequence[Span], size: float, most: Callable[[int], float]) -> list[Line]:
        return lines(
            self._words(spans),
            width=lambda piece: self._width(piece, size),
            space=lambda _: self._space(size),
            most=most,
        )

    def _space(self, size: float) -> float:
        return self._width(_SPACE, size)

    def _width(self, piece: Piece, size: float) -> float:
        """Of a piece. [mm]"""
        known = self._widths.get((piece, size))
        if known is None:
            self._style(piece, size)
            known = self._widths[piece, size] = float(self.get_string_width(piece.text))
        return known

    def _style(self, piece: Piece, size: float) -> None:
        """Set a piece's font, and whether it is shaped in which direction."""
        if piece.font < 0:
            self.set_font("dejavu", style="B" if piece.bold else "", size=size)
        else:
            self.set_font(f"found{piece.font}", size=size)
        if piece.shaped:
            self.set_text_shaping(True, direction="rtl" if piece.level % 2 else "ltr")
        else:
            self.set_text_shaping(False)

    def _line_mm(self, line: Line, size: float) -> float:
        gaps = self._space(size) * max(len(line) - 1, 0)
        return gaps + sum(self._width(piece, size) for word in line for piece in word.pieces)

    def _line(self, line: Line, x: float, y: float, size: float) -> None:
        """Write a line in the order in which it is read, each piece where it is to be seen."""
        space = self._space(size)
        items: list[tuple[int, Piece | None]] = []
        for number, word in enumerate(line):
            if number:
                items.append((word.space_level, None))
            items += [(piece.level, piece) for piece in word.pieces]
        at: dict[int, float] = {}
        for place in in_order([(level, number) for number, (level, _) in enumerate(items)]):
            piece = items[place][1]
            at[place] = x
            x += space if piece is None else self._width(piece, size)
        baseline = y + size * (0.5 * _LEADING + 0.3 * 0.3528)
        plain = ""
        start: tuple[float, Piece] | None = None
        end = 0.0
        for place, (_, piece) in enumerate(items):
            goes_on = start is not None and abs(at[place] - end) < 0.01
            if start is not None and (
                not goes_on or (piece is not None and (piece.shaped or piece.bold != start[1].bold))
            ):
                self._plain(start, plain, baseline, size)
                start, plain = None, ""
            if piece is not None and piece.shaped:
                self._shaped(piece, at[place], baseline, size)
            elif start is not None or piece is not None:
                start = start or (at[place], piece or _SPACE)
                plain += piece.text if piece else " "
                end = at[place] + (self._width(piece, size) if piece else space)
        if start is not None:
            self._plain(start, plain, baseline, size)

    def _plain(self, start: tuple[float, Piece], text: str, baseline: float, size: float) -> None:
        x, piece = start
        self._style(piece, size)
        self.set_text_color(*_INK)
        self.text(x, baseline, text)

    def _shaped(self, piece: Piece, x: float, baseline: float, size: float) -> None:
        """A shaped piece with the text that it stands for.

        A reader turns letters that go to the left round as they stand on the page (poppler and PDFium do), and the
        letters of this text with them: so it is given as it is seen, from left to right. Poppler turns nothing that
        stands before the first such letter; the mark of a direction there makes it turn a vowel point too.
        """
        self._style(piece, size)
        self.set_text_color(*_INK)
        seen = piece.text[::-1] if piece.level % 2 else piece.text
        if piece.level % 2 and bidirectional(seen[0]) not in ("R", "AL"):
            seen = "\u200f" + seen
        told = f"\ufeff{seen}".encode("utf-16-be").hex().upper()
        self._out(f"/Span <</ActualText <{told}>>> BDC")
        height = size * 0.3528
        self.set_xy(x, baseline - 0.8 * height)
        self.cell(self._width(piece, size), height, piece.text)
        self._out("EMC")


def printed(
    parts: Sequence[Part], *, paper: Paper, fonts: Fonts, tell: Callable[[str, int, int], None] | None = None
) -> bytes:
    """The PDF of some parts, its pages numbered through.

    Parameters
    ----------
    parts : sequence of Part
    paper : {'a4', 'letter'}
    fonts : Fonts
        Of all that stands in them.
    tell : callable(foot of the part, done, total), optional
        Before each part.
    """
    made = Pages(paper, fonts)
    try:
        for n, part in enumerate(parts):
            if tell is not None:
                tell(part.foot, n, len(parts))
            made.part(part)
        return bytes(made.output())
    finally:  # somebody may stop it in its midst
        for font in made.fonts.values():
            if isinstance(font, TTFFont):
                font.close()
