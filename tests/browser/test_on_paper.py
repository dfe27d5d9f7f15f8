"""Every page on paper: nothing is cut or dark, nothing is there to be pressed; heading, revision and date stand on it."""

import re
import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.test_for_everybody import opened, pages

__all__ = ["opened", "pages"]  # its fixtures: the ridge demo computed, issued, with a draft and a link
pytestmark = pytest.mark.browser

A4_PX = {"width": 688, "height": 1016}  # 210 x 297 mm less 14 mm on each side, 96 px an inch
WRONG = """() => {
  const found = [], wide = document.documentElement.clientWidth;
  const called = (one) => one.tagName.toLowerCase() + (one.id ? `#${one.id}` : one.classList.length ? `.${[...one.classList].join(".")}` : "");
  if (document.documentElement.scrollWidth > wide) found.push(`${document.documentElement.scrollWidth} px wide`);
  for (const one of document.querySelectorAll("body *")) {
    const style = getComputedStyle(one), box = one.getBoundingClientRect(), typed = ["INPUT", "SELECT", "TEXTAREA"].includes(one.tagName);
    if (!box.width || !box.height || style.visibility === "hidden" || one.closest(".leaflet-container, svg, details:not([open]) > :not(summary)")) continue;
    if (box.right > wide + 1) found.push(`${called(one)} ends at ${Math.round(box.right)}`);
    const hides = (how) => ["auto", "scroll", "hidden", "clip"].includes(how);
    if (!typed && hides(style.overflowX) && one.scrollWidth > one.clientWidth + 1 && one.clientWidth > 2) found.push(`${called(one)} is cut at its side`);
    if (!typed && hides(style.overflowY) && one.scrollHeight > one.clientHeight + 1 && one.clientHeight > 2) found.push(`${called(one)} is cut below`);
    if (one.tagName === "BUTTON" && !one.closest("th, td[data-label=Site]") || one.matches("a.button, input[type=file], input[type=range]")) found.push(`${called(one)} is there to be pressed`);
    if (["fixed", "sticky"].includes(style.position)) found.push(`${called(one)} would stand on every page`);
    const [red, green, blue, alpha = 1] = style.backgroundColor.match(/[\\d.]+/g).map(Number);
    if (alpha > 0.5 && box.width * box.height > 3000 && 0.2126 * red + 0.7152 * green + 0.0722 * blue < 150) found.push(`${called(one)} is dark`);
  }
  const ink = getComputedStyle(document.body).color.match(/[\\d.]+/g).map(Number);
  if (Math.max(...ink) > 110) found.push("text is pale");
  return [...new Set(found)];
}"""


def test_every_page_can_be_printed(opened: BrowserContext, pages: dict[str, str]) -> None:
    """As Chromium lays each out for A4, from a dark screen too."""
    page = opened.new_page()
    page.set_viewport_size(A4_PX)  # type: ignore[arg-type]
    wrong = {}
    for name, where in pages.items():
        page.emulate_media(media="screen", color_scheme="dark")
        page.goto(where)
        if page.locator(".leaflet-container").count():
            page.locator(".leaflet-marker-icon").first.wait_for()
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        page.emulate_media(media="print", color_scheme="dark")
        if found := page.evaluate(WRONG):
            wrong[name] = found
        said = page.locator("main").inner_text()
        assert re.search(r" · sfn-delays · \d{4}-\d\d-\d\d \d\d:\d\d UTC", said), name
    assert wrong == {}
    assert len(pages) > 40
    page.close()


def test_the_walk_finds_what_paper_cuts(page: Page, address: str) -> None:
    """A box that scrolls, a wide table, a button and a dark block are named."""
    page.set_viewport_size(A4_PX)  # type: ignore[arg-type]
    page.goto(address)
    page.emulate_media(media="print")
    page.evaluate(
        """() => {
          const made = document.createElement("template");
          made.innerHTML = `<div id="scrolls"><p>${"long ".repeat(90)}</p></div><table id="wide"><tr><td id="cell"></td></tr></table><div id="black">x</div><p><button id="press">go</button></p>`;
          document.querySelector("main").append(made.content);
          const at = (id) => document.getElementById(id).style;
          Object.assign(at("scrolls"), { width: "200px", overflowX: "auto", whiteSpace: "nowrap" });
          at("cell").minWidth = "900px";
          at("cell").paddingLeft = "900px";
          Object.assign(at("black"), { height: "90px", background: "#222" });
          document.getElementById("press").style.setProperty("display", "inline", "important");
        }"""
    )
    said = " ".join(page.evaluate(WRONG))
    for part in ("#scrolls is cut at its side", "#wide ends at", "#black is dark", "#press is there to be pressed"):
        assert part in said


@pytest.mark.usefixtures("poppler")
def test_a_printed_map_is_what_the_window_showed(browser: Browser, pages: dict[str, str], tmp_path: Path) -> None:
    """Picture, names, legend, scale and figures, with revision and date; afterwards the window is as it was."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, color_scheme="dark")
    page = context.new_page()
    page.goto(pages["zones.show"])
    page.wait_for_selector("#map-summary table")
    page.locator("img.pixels").first.wait_for()
    page.locator(".scale-bar .bar-km", has_text="km").wait_for()
    before = page.evaluate("[document.getElementById('map').clientWidth, location.href]")
    file = tmp_path / "map.pdf"
    page.pdf(path=file, format="A4", print_background=True)
    text = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True).stdout
    bar = page.locator(".scale-bar .bar-km").inner_text()
    for said in ("Ridge country FM", "revision 2", "North knob, +0", "Legend", "distorted by our own", "Area, km²"):
        assert said in text, text
    assert " ".join(bar.split()) in " ".join(text.split())
    assert re.search(r"Overlap map · Ridge country FM · sfn-delays · \d{4}-\d\d-\d\d \d\d:\d\d UTC", text)
    assert "Find a place" not in text
    drawn = subprocess.run(["pdfimages", "-list", file], capture_output=True, text=True, check=True).stdout
    assert len([line for line in drawn.splitlines() if " image " in line]) >= 2, "shade and layer"
    assert page.evaluate("[document.getElementById('map').clientWidth, location.href]") == before
    context.close()
