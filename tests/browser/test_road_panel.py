"""A road beside the overlap map: its profile in the panel, each showing the place of the other."""

import re
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from tests.browser.test_map_room import drawn, fits

pytestmark = pytest.mark.browser
TRACK = ((36.19, -84.40), (36.25, -84.33), (36.36, -84.20))
KM = re.compile(r"^(\d+\.\d\d) km: .*strongest ")


def beside(page: Page, address: str) -> str:
    """The ridge demo's map with a typed line beside it; gives the map's address."""
    room = drawn(page, address)
    page.goto(room.replace("/map", "/road"))
    page.fill("#line", "\n".join(f"{lat}, {lon}" for lat, lon in TRACK))
    page.click("#road-form button:not([type=button])")
    page.wait_for_url(re.compile(r"/road\?job="), timeout=120_000)
    page.get_by_role("link", name="Beside the overlap map").click()
    expect(page.locator("#road-chart img")).to_have_js_property("complete", True, timeout=120_000)
    expect(page.locator("#tab-road")).to_have_attribute("aria-selected", "true")
    return room


def placed(page: Page) -> dict[str, Any]:
    """Where the mark on the map stands, in pixels of the map, and the line in the profile, in those of the picture."""
    found: dict[str, Any] = page.evaluate("""() => {
      const map = document.getElementById("map-page").leaflet; let at = null;
      map.eachLayer((one) => { if (one.options.className === "road-mark") at = map.latLngToContainerPoint(one.getLatLng()); });
      return { x: at.x, y: at.y, line: parseFloat(document.querySelector(".road-chart .chart-line").style.left) };
    }""")
    return found


def test_profile_and_map_show_the_same_place(page: Page, address: str) -> None:
    """Arrow keys at the profile move the mark on the map; the pointer on the map's road moves the profile's line."""
    beside(page, address)
    chart, says = page.locator("#road-chart"), page.locator("#road-says")
    chart.focus()
    page.keyboard.press("Home")
    expect(says).to_have_text(KM, timeout=60_000)
    start = placed(page)
    page.keyboard.press("End")
    expect(says).to_contain_text(re.compile(r"^26\.\d\d km"))
    end = placed(page)
    corner = "([lat, lon]) => document.getElementById('map-page').leaflet.latLngToContainerPoint([lat, lon])"
    for mark, place in ((start, TRACK[0]), (end, TRACK[2])):
        there = page.evaluate(corner, list(place))
        assert (mark["x"], mark["y"]) == pytest.approx((there["x"], there["y"]), abs=1.5)
    assert start["line"] < 0.25 * end["line"]
    middle = page.evaluate(corner, list(TRACK[1]))
    box = page.locator("#map").bounding_box()
    assert box
    page.mouse.move(box["x"] + middle["x"] + 3, box["y"] + middle["y"])
    # WGS 84 geodesics by geographiclib 2.0: 9.16 km to the corner, 26.05 km in all.
    expect(says).not_to_contain_text(re.compile(r"^26\."))
    found = KM.match(says.inner_text())
    assert found
    assert float(found[1]) == pytest.approx(9.16, abs=0.6)
    half = placed(page)
    assert (half["line"] - start["line"]) / (end["line"] - start["line"]) == pytest.approx(9.16 / 26.05, abs=0.03)
    assert chart.get_attribute("aria-valuetext") == says.inner_text()
    fits(page)


def test_a_key_pressed_before_the_line_is_there_is_answered(page: Page, address: str) -> None:
    """The profile stands there before the road's line has come: it steps all the same."""
    beside(page, address)
    line = str(page.locator("#road-chart").get_attribute("data-road"))
    waiting: list[Route] = []
    page.route(lambda url: url.endswith(line), lambda route: waiting.append(route))
    page.reload()
    expect(page.locator("#road-chart img")).to_have_js_property("complete", True, timeout=120_000)
    page.locator("#road-chart").focus()
    page.keyboard.press("Home")
    expect(page.locator("#road-says")).to_have_text(KM)
    assert waiting, "the line did not wait"
    for route in waiting:
        route.continue_()


def test_it_follows_a_try_and_comes_back_by_the_link(page: Page, address: str) -> None:
    """As tried and as planned side by side; the link opens the same; it is taken off; a road that is gone says so."""
    room = beside(page, address)
    page.get_by_role("tab", name="Offsets").click()
    page.locator("#offset-gap").fill("-31")
    page.get_by_role("tab", name="Route").click()
    expect(page.locator("#road-part")).to_contain_text("as tried", timeout=60_000)
    page.wait_for_url(re.compile(r"road=.*panel=road.*offset=gap%3A-31"))
    assert "offset=gap%3A-31" in str(page.locator("#road-chart img").get_attribute("src"))
    page.reload()
    expect(page.locator("#road-part")).to_contain_text("as tried", timeout=60_000)
    page.get_by_role("button", name="Take it off the map").click()
    expect(page).not_to_have_url(re.compile("road=[^&]"))
    page.goto(f"{room}?road=nowhere&panel=road")
    expect(page.locator("#road-part")).to_contain_text("no longer kept here", timeout=60_000)
    fits(page)


def test_without_a_script_the_route_page_is_as_it_was(browser: Browser, page: Page, address: str) -> None:
    """The map names it."""
    room = drawn(page, address)
    context = browser.new_context(java_script_enabled=False)
    bare = context.new_page()
    bare.goto(f"{room}?road=some&panel=road")
    expect(bare.get_by_role("link", name="Reception along the road")).to_have_attribute(
        "href", re.compile(r"/road\?job=some")
    )
    context.close()
