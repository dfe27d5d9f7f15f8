"""Lines and places of one's own over the map: brought in, switched off and on, deleted."""

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_map_room import drawn, fits

pytestmark = pytest.mark.browser


def test_an_overlay_is_added_switched_and_deleted(page: Page, address: str, tmp_path: Path) -> None:
    """A GeoJSON of a road and a village lies over the map with its notice; the address keeps what is switched off."""
    road = {"type": "LineString", "coordinates": [[-84.35, 36.24], [-84.3, 36.31], [-84.21, 36.3]]}
    village = {"type": "Point", "coordinates": [-84.3, 36.31]}
    shapes = [
        {"type": "Feature", "properties": {"name": name}, "geometry": of}
        for name, of in (("Valley road", road), ("Mill Bend", village))
    ]
    file = tmp_path / "valley.geojson"
    file.write_text(json.dumps({"type": "FeatureCollection", "features": shapes}))
    drawn(page, address)
    page.get_by_role("tab", name="Overlays").click()
    page.get_by_text("Add a file").click()
    page.set_input_files("#overlay-file", file)
    page.fill("#overlay-attribution", "Own survey")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".notice")).to_contain_text("lies over the map")
    box = page.get_by_role("checkbox", name="valley.geojson")
    expect(box).to_be_checked()
    expect(page.locator(".place-label", has_text="Mill Bend")).to_be_visible()
    expect(page.locator("#overlay-credits")).to_have_text("Own survey")
    fits(page)
    # A click at the village, through which the road passes: from there along the road, and back.
    page.evaluate("document.getElementById('map-page').clickAt(L.latLng(36.31, -84.3))")
    along = page.get_by_role("button", name="Reception along Valley road")
    expect(along).to_be_visible()
    fits(page)
    along.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Route", timeout=60_000)
    expect(page.locator("main")).to_contain_text("Valley road (valley.geojson)", timeout=60_000)
    expect(page.locator("main")).to_contain_text("10 m beside the line of its file")
    fits(page)
    page.go_back()
    page.get_by_role("tab", name="Overlays").click()
    box.focus()
    page.keyboard.press("Space")
    expect(page.locator(".place-label", has_text="Mill Bend")).to_have_count(0)
    expect(page.locator(".place-label", has_text="Caryville")).to_be_visible()
    page.wait_for_url(re.compile("overlays=places"))
    page.reload()
    expect(page.get_by_role("checkbox", name="valley.geojson")).not_to_be_checked()
    page.locator("#own-overlays details summary").first.click()
    page.get_by_role("button", name="Delete valley.geojson").click()
    expect(page.locator(".notice")).to_contain_text("deleted")
    expect(page.get_by_role("checkbox", name="valley.geojson")).to_have_count(0)


def test_lines_and_names_lie_over_every_map_and_one_choice_holds_for_all(
    page: Page, address: str, tmp_path: Path
) -> None:
    """State, route, offsets and a site's small map: with whose data, and a scale; off on one is off on all."""
    village = {"type": "Point", "coordinates": [-84.3, 36.31]}
    file = tmp_path / "valley.geojson"
    file.write_text(json.dumps({"type": "Feature", "properties": {"name": "Mill Bend"}, "geometry": village}))
    room = drawn(page, address)
    network = room.removesuffix("/map")
    page.get_by_role("tab", name="Overlays").click()
    page.get_by_text("Add a file").click()
    page.set_input_files("#overlay-file", file)
    page.fill("#overlay-attribution", "Own survey")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".place-label", has_text="Mill Bend")).to_be_visible()
    maps = (network, f"{network}/road", f"{network}/offsets")
    for one in maps:
        page.goto(one)
        expect(page.locator(".place-label", has_text="Mill Bend")).to_be_visible()
        expect(page.locator(".overlay-credits")).to_have_text("Own survey")
        expect(page.locator(".scale-bar .bar-km")).to_have_text(re.compile(r"^[\d\s]+ k?m$"))
        expect(page.locator(".scale-bar .bar-us")).to_contain_text("µs")
        fits(page)
    page.goto(f"{network}/sites/north")
    expect(page.locator(".position-map .over-own")).to_contain_text("Mill Bend")
    page.goto(maps[1])
    page.locator(".over-choice summary").click()
    page.get_by_role("checkbox", name="valley.geojson").uncheck()
    expect(page.locator(".place-label", has_text="Mill Bend")).to_have_count(0)
    expect(page.locator(".overlay-credits")).to_be_hidden()
    for one in (*maps, room):
        page.goto(one)
        expect(page.locator("[data-overlay]")).to_have_count(2)
        expect(page.locator("[data-overlay]").last).not_to_be_checked()
        expect(page.locator(".place-label", has_text="Mill Bend")).to_have_count(0)
    page.goto(f"{network}/sites/north")
    expect(page.locator(".position-map .over-own")).to_be_hidden()
    # A link that names it shows it, and changes nobody's choice.
    page.goto(f"{room}?overlays={page.locator('.position-map .over-own').get_attribute('data-over')}")
    expect(page.locator(".place-label", has_text="Mill Bend")).to_be_visible()
    page.goto(network)
    expect(page.locator("[data-overlay]").last).not_to_be_checked()
    # It comes back from beneath the site's own map, and is back on every other.
    page.goto(f"{network}/sites/north")
    page.locator(".over-choice summary").click()
    page.get_by_role("checkbox", name="valley.geojson").check()
    expect(page.locator(".position-map .over-own")).to_be_visible()
    page.get_by_role("button", name="10 km across").click()
    expect(page.locator(".stands .over-choice")).to_have_count(1)
    page.goto(network)
    expect(page.locator("[data-overlay]").last).to_be_checked()
