"""Without JavaScript everything but the moving map works: forms, tables of km² and people, sheets."""

import re
import time
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.going_out import issue

pytestmark = pytest.mark.browser


@pytest.fixture(params=[(1280, 900), (390, 844)], ids=["desktop", "phone"])
def plain(browser: Browser, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page whose browser runs no script."""
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height}, java_script_enabled=False)
    context.set_default_timeout(120_000)
    yield context.new_page()
    context.close()


def ridge(page: Page, address: str) -> str:
    """The ridge demo, loaded by its button; its address."""
    page.goto(address)
    page.locator('form[action="/networks/demo/fm_ridge"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    return page.url


def test_map_point_and_path_are_answered(plain: Page, address: str) -> None:
    """Levels are started by a button and followed; then km² and people stand in tables, and a try beside the plan."""
    page = plain
    network = ridge(page, address)
    page.goto(f"{network}/map")
    start = page.get_by_role("button", name="Work out field strengths")
    if start.count():
        with page.expect_navigation():
            start.click()
        until = time.monotonic() + 240
        while not page.locator("img.still").count() and time.monotonic() < until:
            page.wait_for_timeout(1000)
            page.goto(f"{network}/map")
    expect(page.locator("img.still")).to_be_visible()
    page.get_by_role("link", name="area and people in tables").click()
    served = page.locator("table.classes").first
    expect(served).to_contain_text("clear stereo, with margin")
    expect(page.locator("table.classes", has_text="People").first).to_be_visible()
    page.goto(f"{network}/map")
    page.locator('[data-try="offset"][data-site="gap"]').fill("-9")
    page.get_by_role("button", name="Show").last.click()
    expect(page.locator("#map-try")).to_contain_text("Long gap: offset −9.00")
    page.get_by_role("link", name="area and people in tables").click()
    expect(page.locator("table.classes thead").first).to_contain_text("try")
    page.goto(network)
    expect(page.locator("dl.figures")).to_contain_text("162 km²")
    page.goto(f"{network}/point")
    page.locator("#at").fill("36.3032, -84.2500")
    page.get_by_role("button", name="Show").click()
    expect(page.locator("table.signals")).to_contain_text("Long gap")
    page.goto(f"{network}/path")
    page.locator("#at").fill("36.3032, -84.2500")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".profile img")).to_be_visible()


def test_a_site_is_changed_and_its_sheet_issued(plain: Page, address: str) -> None:
    """A figure typed and saved, seen in the delays; a service found by words; sheets signed off and issued."""
    page = plain
    network = ridge(page, address)
    page.goto(f"{network}/sites/north")
    page.locator("#sites-1-name").fill("North top")
    page.locator("#author").fill("A. Engineer")
    page.locator(".save-bar").get_by_role("button", name="Save as a new revision").click()
    expect(page.locator(".notice").first).to_contain_text("Saved")
    page.goto(f"{network}/delays")
    expect(page.locator("table.delays")).to_contain_text("North top")
    page.locator("table.delays summary").first.click()
    expect(page.locator(".sum").first).to_be_visible()
    page.goto(f"{address}/services")
    page.locator("#q").fill("dvb-t2 224")
    page.locator(".finder button").click()
    expect(page.locator("#found")).to_contain_text("224")
    issue(page, network)
    page.goto(f"{network}/sheets/north")
    expect(page.locator("article.sheet")).to_contain_text("500")
    page.goto(f"{network}/change")
    expect(page.locator("table.list").first).to_contain_text("North top")
    for place in (
        "terrain",
        "people",
        "links",
        "losses",
        "clocks",
        "offsets",
        "readings",
        "measurements",
        "timeline",
        "ages",
    ):
        answer = page.goto(f"{network}/{place}")
        assert answer
        assert answer.ok, place
        expect(page.locator("h1").first).to_be_visible()
