"""Pages of Put on air printed from a browser: nothing is cut off at the paper's edge, nothing is white on white."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.webapp.paper_text import text_of

pytestmark = pytest.mark.browser
A4_PX, MARGIN_PX = 794, 53  # 210 mm and 14 mm at 96 px an inch
PAGES = ("change", "change/live", "sheets", "sheets/summit", "readings", "readings/links", "head-end")


def test_pages_of_put_on_air_are_whole_on_paper(page: Page, address: str, tmp_path: Path, poppler: None) -> None:
    """On A4, asked for with a dark scheme: every cell lies on the paper, and every text is darker than it."""
    page.goto(address)
    page.locator('form[action="/networks/demo/fm_ridge"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    network = page.url
    page.emulate_media(media="print", color_scheme="dark")
    page.set_viewport_size({"width": A4_PX - 2 * MARGIN_PX, "height": 1000})
    for name in PAGES:
        page.goto(f"{network}/{name}")
        cut = page.evaluate("""() => [...document.querySelectorAll("main td, main th, main p, main li")]
          .filter((one) => one.offsetParent && one.getBoundingClientRect().right > innerWidth + 1)
          .map((one) => one.textContent.trim().slice(0, 40))""")
        assert cut == [], name
        light = page.evaluate("""() => [...document.querySelectorAll("main td, main th, main p, main li, main h1, main h2")]
          .filter((one) => one.offsetParent && one.textContent.trim())
          .filter((one) => { const [r, g, b] = getComputedStyle(one).color.match(/[\\d.]+/g).map(Number);
            return 0.2126 * r + 0.7152 * g + 0.0722 * b > 140; })
          .map((one) => one.textContent.trim().slice(0, 40))""")
        assert light == [], name
    page.goto(f"{network}/change")
    paper = page.pdf(format="A4", margin=dict.fromkeys(("top", "bottom", "left", "right"), "14mm"))
    assert "not issued" in re.sub(r"\s+", " ", text_of(paper, tmp_path))
