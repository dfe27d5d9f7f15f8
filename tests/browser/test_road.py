"""A road drawn on the map, and one sent as a file without JavaScript."""

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

pytestmark = pytest.mark.browser

TRACK = "lat,lon\n36.19,-84.40\n36.25,-84.33\n36.36,-84.20\n"


def opened(page: Page, address: str) -> str:
    """Address of the ridge demo's road page."""
    page.goto(address)
    page.locator('form[action="/networks/demo/fm_ridge"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    return f"{page.url}/road"


def answered(page: Page) -> None:
    """Wait until the road is there; the job's page leads to it."""
    page.wait_for_url(re.compile(r"/road\?job="), timeout=60_000)


def test_a_line_drawn_on_the_map_gives_chart_table_and_marks(page: Page, address: str) -> None:
    """Three clicks, finish, go: the chart is there, a try adds before and after, and nothing is wider than the page."""
    page.goto(opened(page, address))
    page.click("#road-draw")
    box = page.locator("#map").bounding_box()
    assert box
    for x, y in ((0.3, 0.6), (0.5, 0.5), (0.6, 0.35)):
        page.locator("#map").click(position={"x": box["width"] * x, "y": box["height"] * y})
    expect(page.locator("#draw-says")).to_contain_text("3 points")
    page.click("#draw-finish")
    assert len(page.input_value("#line").splitlines()) == 3
    page.click("#road-form button:not([type=button])")
    answered(page)
    expect(page.locator("figure.profile img")).to_have_js_property("naturalWidth", 1056)
    page.click('a[href="#tries"]')  # on a telephone it unfolds them
    page.fill('[name="offset-summit"]', "-12")
    page.get_by_role("button", name="Try", exact=True).click()
    page.wait_for_url(re.compile("offset=summit"))
    expect(page.locator(".tried")).to_contain_text("not the plan")
    expect(page.locator("#mended")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_chart_and_map_show_the_same_place(page: Page, address: str) -> None:
    """Hover in the chart moves the mark on the map, hover on the map moves the line in the chart; arrow keys too."""
    page.goto(opened(page, address))
    page.fill("#line", "36.19, -84.40\n36.25, -84.33\n36.36, -84.20")
    page.click("#road-form button:not([type=button])")
    answered(page)
    picture = page.locator("#chart img")
    expect(picture).to_have_js_property("naturalWidth", 1056)
    chart, says, mark = page.locator("#chart"), page.locator("#chart-says"), page.locator("path.road-mark")
    chart.scroll_into_view_if_needed()
    picture.hover(position={"x": 150, "y": 120})
    expect(says).to_have_text(re.compile(r"^\d+\.\d\d km: .*strongest"), timeout=30_000)
    expect(mark).to_have_count(1)
    width = page.evaluate("document.querySelector('#chart img').clientWidth")
    # The axis itself: the left frame of the plot, which matplotlib draws, and the share of the road at the pointer.
    line = page.evaluate("parseFloat(document.querySelector('.chart-line').style.left)")
    assert line == pytest.approx(150, abs=0.006 * width)
    km = float(says.inner_text().split()[0])
    chart.focus()
    page.keyboard.press("Home")
    expect(says).to_contain_text("0.00 km")
    left = page.evaluate("parseFloat(document.querySelector('.chart-line').style.left)")
    page.keyboard.press("End")
    expect(says).to_contain_text(re.compile(r"^26\.\d\d km"))
    right = page.evaluate("parseFloat(document.querySelector('.chart-line').style.left)")
    whole_km = float(says.inner_text().split()[0])
    assert (150 - left) / (right - left) * whole_km == pytest.approx(km, abs=0.12)
    assert 0.02 * width < left < 0.12 * width  # the scale's figures stand left of it
    assert right < width
    page.keyboard.press("PageUp")
    before = says.inner_text()
    page.locator("#map").scroll_into_view_if_needed()
    place = page.locator("#map").bounding_box()
    assert place
    spot = page.evaluate(
        "(() => { const m = document.getElementById('road-page').leaflet; return m.latLngToContainerPoint([36.25, -84.33]); })()"
    )
    page.mouse.move(place["x"] + spot["x"] + 6, place["y"] + spot["y"])
    page.mouse.move(place["x"] + spot["x"], place["y"] + spot["y"])
    expect(says).not_to_have_text(before)
    # 9.16 km by geographiclib from the first place to the second
    assert float(says.inner_text().split()[0]) == pytest.approx(9.16, abs=0.4)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_file_is_sent_without_javascript(browser: Browser, address: str, tmp_path: Path) -> None:
    """A track chosen by hand gives chart and table in a browser that runs no script."""
    (tmp_path / "track.csv").write_text(TRACK)
    context: Any = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(opened(page, address))
    page.set_input_files("#track", tmp_path / "track.csv")
    page.click("#road-form button:not([type=button])")
    if "/jobs/" in page.url:
        answered(page)
    expect(page.locator("h2#worst")).to_be_visible()
    expect(page.locator("figure.profile img")).to_be_visible()
    context.close()
