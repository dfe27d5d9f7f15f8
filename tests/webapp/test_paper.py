"""Paper: long names beside the QR code and in the foot."""

import re
import shutil
import subprocess
from pathlib import Path
from typing import Literal

import pytest

from webapp.paper import QR_MM, pdf

POINTS_A_MM = 72 / 25.4


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs pdftotext")
@pytest.mark.parametrize(("paper", "width_mm"), [("a4", 210.0), ("letter", 215.9)])
def test_a_long_name_stays_clear_of_the_code_and_whole_in_the_foot(
    paper: Literal["a4", "letter"], width_mm: float, tmp_path: Path
) -> None:
    """120 characters without a space: every one is on the page, none across the code, none off the paper."""
    foot = f"{'Q' * 120} · {'X' * 120} · revision 7 · 0123abcd"
    body = f"<h1>{'M' * 120}</h1>" + "<p>ZZZ</p>" * 90
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf(body, paper=paper, foot=foot, address="https://example.org/site/1"))
    told = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, text=True, check=True).stdout
    edges = r'yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">([^<]*)<'
    pages = [re.findall(edges, page) for page in told.split("<page ")[1:]]

    assert len(pages) > 1
    title = [(float(right), word) for _, right, _, word in pages[0] if set(word) == {"M"}]
    assert sum(len(word) for _, word in title) == 120
    assert max(right for right, _ in title) < (width_mm - 14 - QR_MM) * POINTS_A_MM
    for words in pages:
        for sign in "QX":
            assert sum(word.count(sign) for *_, word in words) == 120
        assert max(float(right) for _, right, _, _ in words) <= (width_mm - 13) * POINTS_A_MM
        lowest = max(float(bottom) for _, _, bottom, word in words if word == "ZZZ")
        assert lowest <= min(float(top) for top, _, _, word in words if "Q" in word)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs pdftotext")
def test_a_script_without_a_font_is_named_never_left_blank(tmp_path: Path) -> None:
    """Chinese, Thai and Devanagari are not in DejaVu: the paper says so; Greek and Cyrillic are whole."""
    said = {}
    for title in ("北京 กรุงเทพ दिल्ली", "Όλυμπος Эльбрус"):
        file = tmp_path / "sheet.pdf"
        file.write_bytes(pdf(f"<h1>{title}</h1><p>x</p>", paper="a4", foot="f", address=""))
        said[title] = subprocess.run(["pdftotext", str(file), "-"], capture_output=True, text=True, check=True).stdout
    unsaid, whole = said.values()
    assert "No font here for Cjk, Devanagari, Thai:" in unsaid
    assert "No font" not in whole
