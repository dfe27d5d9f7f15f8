"""Paper: a page's HTML as a PDF, and QR codes."""

import io
from html import unescape
from pathlib import Path
from typing import Literal
from unicodedata import name

import segno
from fpdf import FPDF, FontFace, TextStyle


def qr_svg(address: str) -> bytes:
    """A QR code of an address."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", scale=4, border=2, xmldecl=False)
    return out.getvalue()


QR_MM = 22
FOOT_LINE_MM = 3.6


class _Sheet(FPDF):
    """Pages with a foot that tells a stale sheet from a current one."""

    foot = ""
    stamp = ""

    def header(self) -> None:
        """What must not be taken for an issued sheet says so across every page, beneath the text."""
        if not self.stamp:
            return
        with self.local_context(), self.rotation(52, self.w / 2, self.h / 2):
            self.set_font("dejavu", style="B", size=64)
            self.set_text_color(226, 196, 186)
            self.set_xy(0, self.h / 2 - 15)
            self.cell(self.w, 30, self.stamp, align="C")
        self.set_xy(self.l_margin, self.t_margin)

    def footer(self) -> None:
        """Revision and page number on every page; long names take more lines."""
        self.set_y(-6 - self.foot_mm())
        self.set_font("dejavu", size=7.5)
        self.multi_cell(0, FOOT_LINE_MM, f"{self.foot} · page {self.page_no()} of {{nb}}", align="C")

    def foot_mm(self) -> float:
        """Height of the foot; its page numbers counted with four digits."""
        self.set_font("dejavu", size=7.5)
        words = f"{self.foot} · page 9999 of 9999"
        return FOOT_LINE_MM * len(self.multi_cell(0, FOOT_LINE_MM, words, dry_run=True, output="LINES"))


def pdf(body: str, *, paper: Literal["a4", "letter"], foot: str, address: str, stamp: str = "") -> bytes:
    """The PDF of a page's plain HTML, with the QR code of its address.

    Parameters
    ----------
    body : str
        Headings, paragraphs, lists and simple tables.
    paper : {'a4', 'letter'}
    foot : str
        Stands on every page.
    address : str
        Goes into the QR code; empty: there is none.
    stamp : str, optional
        Stands across every page.
    """
    sheet = _Sheet(format=paper)
    sheet.foot, sheet.stamp = foot, stamp
    sheet.set_margins(14, 12, 14)
    fonts = _font_folder()
    sheet.add_font("dejavu", "", fonts / "DejaVuSans.ttf")
    sheet.add_font("dejavu", "B", fonts / "DejaVuSans-Bold.ttf")
    sheet.add_font("dejavu", "I", fonts / "DejaVuSans-Oblique.ttf")
    sheet.add_font("dejavu", "BI", fonts / "DejaVuSans-BoldOblique.ttf")
    sheet.add_page()
    sheet.set_auto_page_break(True, margin=10 + sheet.foot_mm())
    sheet.set_font("dejavu", size=9)
    if address:
        code = io.BytesIO()
        segno.make(address, error="m", micro=False).save(code, kind="png", scale=6, border=2)
        sheet.image(code, x=sheet.w - 14 - QR_MM, y=8, w=QR_MM)
    heading, end, rest = body.partition("</h1>")
    # A long name breaks before the code: a code with letters across it is not read.
    sheet.set_right_margin(14 + QR_MM + 3 if address else 14)
    sheet.write_html(heading + end, font_family="dejavu", tag_styles=_STYLES)
    sheet.set_right_margin(14)
    sheet.set_y(max(sheet.get_y(), 8 + QR_MM) if address else sheet.get_y())
    if missing := _scripts_missing(sheet, unescape(body) + foot):
        sheet.set_font("dejavu", style="B", size=9)
        words = (
            f"No font here for {', '.join(missing)}: names in it are not whole on this paper. Read them on the screen."
        )
        sheet.multi_cell(0, 5, words, border=1, new_x="LMARGIN", new_y="NEXT")
        sheet.set_font("dejavu", size=9)
    sheet.write_html(rest, font_family="dejavu", tag_styles=_STYLES, table_line_separators=True)
    return bytes(sheet.output())


def _scripts_missing(sheet: FPDF, text: str) -> list[str]:
    """Scripts (first words of the letters' Unicode names) that the bold or the plain font lacks letters of."""
    fonts = [sheet.fonts[key].cmap for key in ("dejavu", "dejavuB")]
    letters = {sign for sign in text if sign.isalpha() and not all(ord(sign) in font for font in fonts)}
    return sorted({name(sign, "an unknown script").split(" ")[0].title() for sign in letters})


def _font_folder() -> Path:
    """DejaVu, which matplotlib ships: it has every sign that a sheet needs."""
    from matplotlib import get_data_path

    return Path(get_data_path()) / "fonts" / "ttf"


_INK = (28, 42, 49)
_STYLES = {
    "h1": TextStyle(font_family="dejavu", font_style="B", font_size_pt=17, color=_INK, t_margin=0, b_margin=1),
    "h2": TextStyle(font_family="dejavu", font_style="B", font_size_pt=12.5, color=_INK, t_margin=3, b_margin=1),
    "h3": TextStyle(font_family="dejavu", font_style="B", font_size_pt=10, color=_INK, t_margin=2, b_margin=0.5),
    "h4": TextStyle(font_family="dejavu", font_style="B", font_size_pt=19, color=_INK, t_margin=1, b_margin=0.5),
    "b": FontFace(emphasis="B"),
}
