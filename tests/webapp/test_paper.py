"""Paper: long names beside the QR code and in the foot, tables that lose nothing, headings that stay with theirs."""

import re
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from tests.webapp.paper_text import bare, text_of
from webapp.paper import QR_MM, Paper, Printed, pdf

POINTS_A_MM = 72 / 25.4
WIDTH_MM = {"a4": 210.0, "letter": 215.9}
PAPERS: tuple[Paper, ...] = ("a4", "letter")
EDGES = r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)<'


def words_of(made: bytes, folder: Path) -> list[list[tuple[float, float, float, float, str]]]:
    """Every word of every page with its left, top, right and bottom in points."""
    file = folder / "words.pdf"
    file.write_bytes(made)
    told = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, text=True, check=True).stdout
    found = [re.findall(EDGES, page) for page in told.split("<page ")[1:]]
    return [[(*map(float, sides), word) for *sides, word in page] for page in found]  # type: ignore[misc]


def table(*rows: tuple[str, ...], heads: tuple[str, ...]) -> str:
    """A table's HTML."""
    head = "".join(f"<th>{one}</th>" for one in heads)
    body = "".join(f"<tr>{''.join(f'<td>{one}</td>' for one in row)}</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


@pytest.mark.parametrize("paper", PAPERS)
def test_a_long_name_stays_clear_of_the_code_and_whole_in_the_foot(paper: Paper, poppler: None, tmp_path: Path) -> None:
    """120 characters without a space: every one is on the page, none across the code, none off the paper."""
    foot = f"{'Q' * 120} · {'X' * 120} · revision 7 · 0123abcd"
    body = f"<h1>{'M' * 120}</h1>" + "<p>ZZZ</p>" * 90
    made = pdf(Printed(body, foot, "https://example.org/site/1", "revision 7"), paper=paper)
    pages = words_of(made, tmp_path)

    assert len(pages) > 1
    title = [(right, word) for _, _, right, _, word in pages[0] if set(word) == {"M"}]
    assert sum(len(word) for _, word in title) == 120
    assert max(right for right, _ in title) < (WIDTH_MM[paper] - 14 - QR_MM) * POINTS_A_MM
    for words in pages:
        for sign in "QX":
            assert sum(word.count(sign) for *_, word in words) == 120
        assert max(right for _, _, right, _, _ in words) <= (WIDTH_MM[paper] - 13) * POINTS_A_MM
        lowest = max(bottom for *_, bottom, word in words if word == "ZZZ")
        assert lowest <= min(top for _, top, _, _, word in words if "Q" in word)


@pytest.mark.parametrize("paper", PAPERS)
def test_a_table_loses_no_column_and_cuts_no_figure(paper: Paper, poppler: None, tmp_path: Path) -> None:
    """Thirty rows of eight columns, a remark of 500 letters without a space among them: all of it inside the page."""
    figures = [f"{n} 382.{n:04d}\u202fµs".replace(" ", "\u202f") for n in range(100, 130)]
    rows = [
        (f"stage-{n:02d}", one, one, "x" * 500 if n == 7 else "y", one, one, one, "END")
        for n, one in enumerate(figures)
    ]
    heads = ("Stage", "Latency", "Uncertainty", "Remark", "Launch", "Set", "Back", "Last")
    made = pdf(Printed(table(*rows, heads=heads), "foot"), paper=paper)
    pages = words_of(made, tmp_path)
    words = [word for page in pages for *_, word in page]

    assert len(pages) > 1
    assert max(right for page in pages for _, _, right, _, _ in page) <= (WIDTH_MM[paper] - 13.9) * POINTS_A_MM
    assert words.count("END") == 30
    assert sum(word.count("x") for word in words) == 500
    text = text_of(made, tmp_path, "-layout")
    for one in figures:
        assert text.count(one.replace("\u202f", " ")) == 5
    for page in pages:  # the head again on every page
        assert [word for *_, word in page].count("Last") == 1


def test_a_heading_goes_with_its_table(poppler: None, tmp_path: Path) -> None:
    """Wherever on the page the heading falls, its table's first row and the sentence between are on the same page."""
    below = "<h2>HEADING</h2><p>SENTENCE</p>" + table(("FIRST", "1"), heads=("a", "b"))
    parts = [Printed("<p>x</p>" * lines_n + below, "f") for lines_n in range(35, 50)]
    pages = [{word for *_, word in page} for page in words_of(pdf(parts, paper="a4"), tmp_path)]

    assert len(pages) > len(parts)
    together = {"HEADING", "SENTENCE", "FIRST"}
    assert [page & together for page in pages if page & together] == [together] * len(parts)


def test_every_page_bears_its_own_foot_and_its_number_of_all(poppler: None, tmp_path: Path) -> None:
    """Three parts of two pages: each page has the foot of its own part, and n of 6."""
    parts = [Printed(f"<h1>{name}</h1>" + "<p>x</p>" * 60, f"foot-{name}") for name in "abc"]
    pages = text_of(pdf(parts, paper="a4"), tmp_path, "-layout").split("\f")[:-1]

    assert len(pages) == 6
    for number, page in enumerate(pages, 1):
        assert f"page {number} of 6" in page
        assert re.findall("foot-.", page) == [f"foot-{'aabbcc'[number - 1]}"]


def test_what_is_for_the_screen_is_left_out(poppler: None, tmp_path: Path) -> None:
    """Forms and what bears `no-print` are not printed; lists, terms and bold words are."""
    body = (
        '<h1>One</h1><p class="no-print">GONE</p><form><p>GONE</p><select><option>GONE</select></form>'
        "<ul><li>item <b>strong</b></li></ul><dl><dt>Term</dt><dd>meaning &amp; more</dd></dl>"
        '<p>left<br>right</p><img src="x.svg" alt="Map of it">'
    )
    text = text_of(pdf(Printed(body, "f"), paper="a4"), tmp_path)

    assert "GONE" not in text
    for said in ("item strong", "Term: meaning & more", "left\nright", "(Map of it: on the screen)"):
        assert said in text


@pytest.mark.parametrize("paper", PAPERS)
def test_a_row_that_no_page_holds_goes_over_two(paper: Paper, poppler: None, tmp_path: Path) -> None:
    """A remark of 6000 letters in a narrow column: none is lost, and nothing reaches into the foot."""
    made = pdf(Printed(table(("z" * 6000, "w " * 400), heads=("a", "b")), "foot"), paper=paper)
    pages = words_of(made, tmp_path)

    assert len(pages) > 1
    assert sum(word.count("z") for page in pages for *_, word in page) == 6000
    for page in pages:
        feet = [top for _, top, _, _, word in page if word == "foot"]
        assert max(bottom for *_, bottom, word in page if set(word) <= set("zw")) <= feet[0]
    assert bare("".join(word for page in pages for *_, word in page)).count("w") == 400


def test_lines_are_read_from_top_to_bottom(poppler: None, tmp_path: Path) -> None:
    """The lines of a paragraph stand beneath each other, at the same distance."""
    [page] = words_of(pdf(Printed(f"<p>{'word ' * 120}</p>", "f"), paper="a4"), tmp_path)
    tops = sorted({round(top, 1) for _, top, _, _, word in page if word == "word"})

    assert len(tops) > 3
    assert [b - a for a, b in pairwise(tops)] == pytest.approx([9 * 0.47 * POINTS_A_MM] * (len(tops) - 1), abs=0.2)
