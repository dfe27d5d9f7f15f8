"""Offsets dragged on the map: only once that is switched on, by whole steps, tried and never saved, taken back."""

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_map_room import drawn, fits

pytestmark = pytest.mark.browser
STEP_US = 0.1  # of the demo's device at Long gap: 100 ns


def grip(page: Page) -> tuple[float, float]:
    """The middle of Long gap's handle."""
    box = page.locator('[data-handle="gap"] .handle-grip').bounding_box()
    assert box
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def dragged(page: Page, by_px: float, *, drop: bool = True) -> None:
    """The handle taken, moved in small ways, and let go."""
    x, y = grip(page)
    page.mouse.move(x, y)
    page.mouse.down()
    for k in range(1, 9):
        page.mouse.move(x + by_px * k / 8, y)
    if drop:
        page.mouse.up()


def test_an_offset_is_dragged_tried_and_taken_back(page: Page, address: str) -> None:
    """No handle by itself; a tremble moves nothing; a drag is a try, said so on the map; Escape and a button undo it."""
    room = drawn(page, address)
    field, posts = page.locator("#offset-gap"), []
    page.on("request", lambda request: posts.append(request.url) if request.method == "POST" else None)
    expect(page.locator("[data-handle]")).to_have_count(0)
    page.get_by_role("tab", name="Offsets").click()
    switch = page.get_by_role("button", name="Drag offsets on the map")
    switch.click()
    expect(switch).to_have_attribute("aria-pressed", "true")
    expect(page.locator("[data-handle]")).to_have_count(4)
    expect(page.get_by_role("button", name="Take back the last drag")).to_be_hidden()
    middle = page.evaluate("document.getElementById('map-page').leaflet.getCenter()")
    dragged(page, 7)
    expect(field).to_have_value("0")
    dragged(page, 46)
    moved_us = float(field.input_value())
    assert moved_us > 0  # right is later
    assert moved_us / STEP_US == pytest.approx(round(moved_us / STEP_US), abs=1e-6)
    expect(page.locator('[data-handle="gap"]')).to_contain_text("tried +")
    expect(page.locator('[data-handle="gap"]')).to_contain_text("plan +0")
    expect(page.locator("#map-try")).to_contain_text("Nothing is saved", timeout=30_000)
    page.wait_for_url(re.compile(rf"offset=gap%3A{re.escape(field.input_value())}(&|$)"))
    dragged(page, -90)
    assert float(field.input_value()) < moved_us  # left is earlier
    dragged(page, 60, drop=False)
    page.keyboard.press("Escape")  # in the midst of a drag
    page.mouse.up()
    expect(page.locator("#drag-says")).to_have_text("Taken back.")
    assert float(field.input_value()) < moved_us
    page.get_by_role("button", name="Take back the last drag").click()
    expect(field).to_have_value(f"{moved_us:g}")
    page.locator("#map").focus()
    page.keyboard.press("Escape")
    expect(field).to_have_value("0")
    expect(page.locator("#map-try")).not_to_contain_text("try", timeout=30_000)
    after = page.evaluate("document.getElementById('map-page').leaflet.getCenter()")
    assert (after["lat"], after["lng"]) == (middle["lat"], middle["lng"])  # the map stood still
    page.keyboard.press("Escape")
    expect(page.locator("[data-handle]")).to_have_count(0)
    assert not [one for one in posts if "/keep" in one or "/save" in one]
    page.goto(room)
    expect(page.locator("#offset-gap")).to_have_value("0")  # nothing was saved
    fits(page)


def test_a_drag_ends_where_the_device_does(page: Page, address: str) -> None:
    """Beyond the device's range the value stands at its end, and that is said."""
    drawn(page, address)
    page.get_by_role("tab", name="Offsets").click()
    page.get_by_role("button", name="Drag offsets on the map").click()
    page.locator('[data-slide="gap"]').evaluate("slider => { slider.max = '0.5'; }")
    dragged(page, 80, drop=False)
    expect(page.locator("#offset-gap")).to_have_value("0.5")
    expect(page.locator("#drag-says")).to_contain_text("as far as its device goes")
    page.mouse.up()
    expect(page.locator("#drag-says")).to_contain_text("tried, not saved")
