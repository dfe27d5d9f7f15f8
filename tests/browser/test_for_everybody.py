"""Pages for everybody: axe-core finds nothing serious at either width; a telephone has five screens, none sideways.

axe-core comes with the Python package axe-playwright-python; its rules for WCAG 2.0, 2.1 and 2.2, A and AA, are all on.
"""

import json
import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from urllib.parse import quote

import pytest
from fastapi.routing import APIRoute
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.going_out import issue
from webapp.app import ROUTERS

pytestmark = pytest.mark.browser

WIDE, PHONE = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
AXE = (Path(str(files("axe_playwright_python"))) / "axe.min.js").read_text(encoding="utf-8")
ALL, CONTRAST = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"], ["color-contrast"]
FINDINGS = """async (rules) => (await axe.run({ runOnly: rules, resultTypes: ["violations"] })).violations.filter((one) => ["serious", "critical"].includes(one.impact))
  .map((one) => [one.id, one.nodes.map((node) => node.target.join(" ") + ": " + node.failureSummary)])"""
# What its address alone does not show: answers to what was sent in, pieces that stand in other pages, what has no person.
NOT_WALKED = {
    "hear.show", "offsets_hand.numbers", "crossing.show", "roads.near", "road.beside", "point.part", "point.direct", "links.advice", "losses.measured",
    "packet.made", "site_reading.state", "measurements.show_recording", "arrivals.show", "health.alive", "health.ready",
    "metrics.show",
    "lacking.show", "jobs.show", "account.show", "provider.ask", "provider.answer", "editor.begin",
}  # fmt: skip
FILE = re.compile(r"\.(\{form\}|[a-z]+)$")
SCREENS = 5
DEMOS = Path(__file__).parents[2] / "demo_sites"
WARNS = '.problems li, .notice, .left-out, .on-top, [aria-invalid="true"], .field-problem'
QUERY = {
    "point.show": "?at=36.30,-84.20",
    "path.show": "?site=summit&at=36.30,-84.20",
    "revisions.compare": "?old=1&new=1",
}


@pytest.fixture(scope="module")
def opened(browser: Browser) -> Iterator[BrowserContext]:
    """One browser window for the whole walk, with axe-core in every page of it."""
    made = browser.new_context(viewport=WIDE)  # type: ignore[arg-type]
    made.add_init_script(AXE)
    made.set_default_timeout(120_000)  # the machine is shared
    yield made
    made.close()


@pytest.fixture(scope="module")
def pages(opened: BrowserContext, address: str) -> dict[str, str]:
    """The address of every page, by the name of its route: the ridge demo, its levels computed, issued, a draft, a link."""
    page = opened.new_page()
    page.goto(address)
    page.locator('form[action="/networks/demo/fm_ridge"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    network = page.url
    page.goto(f"{network}/map")
    page.wait_for_selector("#map-summary table", timeout=240_000)
    part = str(page.locator("#map-page").get_attribute("data-part"))
    page.goto(f"{network}/sites/north")
    page.get_by_role("button", name="Add another site").click()
    page.wait_for_url(re.compile("/edit/"))
    known = {"network_id": network.rpartition("/")[2], "site_id": "north", "key": key_in(page.url, "edit")}
    issue(page, network)
    page.goto(f"{network}/readings/links")
    page.get_by_role("button", name="Make links").click()
    known["token"] = page.locator(".link-text a").first.inner_text().rpartition("/")[2]
    page.close()
    of_map = known | {"key": key_in(part, "map")}
    return {
        name: filled(address, path, of_map if "/map/" in path else known) + QUERY.get(name, "")
        for name, path in written()
    }


def gaps(path: str) -> list[str]:
    """The names in a route's address."""
    return re.findall(r"\{(\w+)", path)


def filled(address: str, path: str, known: dict[str, str]) -> str:
    """A route's address with its gaps filled."""
    return address + re.sub(r"\{(\w+)(:\w+)?\}", lambda gap: quote(known[gap[1]], safe=""), path)


def written() -> Iterator[tuple[str, str]]:
    """Every page as its route writes it; files, and what scripts fetch, are none."""
    for route in (one for router in ROUTERS for one in router.routes if isinstance(one, APIRoute)):
        looked_at = "GET" in route.methods and not route.path.startswith("/api")
        if looked_at and not FILE.search(route.path) and route.name not in NOT_WALKED:
            yield route.name, route.path


def key_in(address: str, behind: str) -> str:
    """The key that an address has behind a word."""
    found = re.search(rf"/{behind}/([^?#/]+)", address)
    assert found
    return found[1]


def found_on(page: Page, name: str, how: str, rules: list[str]) -> list[str]:
    """What axe-core finds, a line each."""
    seen: list[tuple[str, list[str]]] = page.evaluate(FINDINGS, rules)
    return [f"{name} {how}: {rule} at {where}" for rule, nodes in seen for where in nodes]


def on_a_telephone(page: Page, name: str) -> list[str]:
    """What a telephone does not bear: a page that scrolls sideways, five screens and more, a warning folded away."""
    wide, tall = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]")
    hidden = page.locator("details.fold:not([open])").locator(WARNS).count()
    wrong = [f"{name} scrolls sideways"] if wide > PHONE["width"] else []
    wrong += [f"{name} is {tall / PHONE['height']:.1f} screens long"] if tall > SCREENS * PHONE["height"] else []
    return wrong + ([f"{name} folds {hidden} warnings away"] if hidden else [])


def looks(page: Page, selector: str) -> list[str]:
    """The colours of everything that a selector finds, and what is laid over them."""
    found: list[str] = page.locator(selector).evaluate_all(
        "all => all.map(one => { const is = getComputedStyle(one); return [is.backgroundColor, is.fill, is.stroke, is.filter].join(' ') })"
    )
    return found


def test_every_page_is_for_everybody(opened: BrowserContext, pages: dict[str, str]) -> None:
    """No serious or critical finding at both widths, nor of contrast in the dark; at 390 pixels five screens."""
    page, wrong = opened.new_page(), []
    for name, where in pages.items():
        page.set_viewport_size(WIDE)  # type: ignore[arg-type]
        answer = page.goto(where)
        assert answer
        assert answer.ok, where
        wrong += found_on(page, name, "at 1280", ALL)
        page.emulate_media(color_scheme="dark", reduced_motion="reduce")  # a colour on its way is read as no colour
        wrong += found_on(page, name, "at 1280 in the dark", CONTRAST)
        page.close()
        page = opened.new_page()  # as a telephone opens it
        page.set_viewport_size(PHONE)  # type: ignore[arg-type]
        page.goto(where)
        wrong += on_a_telephone(page, name)
        page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")
        wrong += found_on(page, name, "at 390", ALL)
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            wrong.append(f"{name} scrolls sideways when unfolded")
        page.emulate_media(color_scheme="dark", reduced_motion="reduce")
        wrong += found_on(page, name, "at 390 in the dark", CONTRAST)
        page.emulate_media(color_scheme="light", reduced_motion="no-preference")
    assert wrong == []
    assert len(pages) > 40


def test_a_document_without_ground_is_asked_for_it_for_everybody(opened: BrowserContext, address: str) -> None:
    """The page that an import leads to where heights of the ground lack: both widths, no sideways scrolling."""
    document = json.loads((DEMOS / "fm_ridge.json").read_text(encoding="utf-8"))
    for site in document["sites"]:
        del site["ground_m"]
    page, wrong = opened.new_page(), []
    for view, how in ((WIDE, "at 1280"), (PHONE, "at 390")):
        page.set_viewport_size(view)  # type: ignore[arg-type]
        page.goto(address)
        sent = {"name": "ridge.json", "mimeType": "application/json", "buffer": json.dumps(document).encode()}
        page.set_input_files("#file", sent)  # type: ignore[arg-type]
        page.fill("#import-author", "Ada")
        page.get_by_role("button", name="Import").click()
        page.get_by_role("heading", name="the ground of its sites").wait_for()
        wrong += found_on(page, "lacking.show", how, ALL)
        assert page.locator("input[name^=height-]").count() == len(document["sites"])
    wrong += on_a_telephone(page, "lacking.show")
    assert wrong == []
    page.close()


def test_a_larger_network_is_no_longer_on_a_telephone(opened: BrowserContext, address: str) -> None:
    """Twelve sites: five screens at most too, with everything that warns in sight."""
    page, wrong = opened.new_page(), []
    page.goto(address)
    page.locator('form[action="/networks/demo/dvbt2_chain"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    known = {"network_id": page.url.rpartition("/")[2], "site_id": "a02"}
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    walked = [
        (name, filled(address, path, known))
        for name, path in written()
        if set(gaps(path)) <= set(known) and name != "zones.show"  # it would start a minute of work
    ]
    for name, where in walked:
        page.goto(where + QUERY.get(name, "").replace("36.30,-84.20", "41.7,-3.9").replace("summit", "a01"))
        wrong += on_a_telephone(page, name)
    assert wrong == []
    assert len(walked) > 35
    page.close()


@pytest.mark.parametrize("demo", ["fm_ridge", "dab_plain", "dvbt2_chain"])
def test_every_site_of_every_demo_fits_a_telephone(opened: BrowserContext, address: str, demo: str) -> None:
    """Not one site's pages alone: each with its own chains, warnings and delay fields; values stand in the folds' headings."""
    page, wrong = opened.new_page(), []
    page.goto(address)
    page.locator(f'form[action="/networks/demo/{demo}"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    network = page.url
    page.set_viewport_size(PHONE)  # type: ignore[arg-type]
    sites = [site["id"] for site in json.loads((DEMOS / f"{demo}.json").read_text(encoding="utf-8"))["sites"]]
    for site in sites:
        for name, where in (
            ("site", f"sites/{site}"),
            ("chain", f"sites/{site}/chain"),
            ("antenna", f"sites/{site}/antenna"),
            ("sheet", f"sheets/{site}"),
        ):
            page.goto(f"{network}/{where}")
            wrong += on_a_telephone(page, f"{name} of {site}")
            if name == "site":
                wrong += cut_short(page, site)
    assert wrong == []
    assert len(sites) > 3
    page.close()


def cut_short(page: Page, site: str) -> list[str]:
    """Values of a form that their boxes do not hold, and folds of a delay field whose heading keeps its setting back."""
    held = "all => all.filter(one => one.offsetParent && one.scrollWidth > one.clientWidth + 1).map(one => one.name)"
    wrong = [f"{site}: {name} does not fit its box" for name in page.locator("input.amount").evaluate_all(held)]
    for place in page.locator('input[name*="-delay_fields-"][name$="-set"]').all():
        heading = page.locator("details.fold", has=page.locator(f'[name="{place.get_attribute("name")}"]')).first
        if place.input_value() not in heading.locator("> summary").inner_text():
            wrong.append(f"{site}: the setting is not in its fold's heading")
    return wrong


def test_in_the_dark_pages_turn_dark_pictures_stay_and_print_is_pale(
    opened: BrowserContext, pages: dict[str, str]
) -> None:
    """The page is dark; map, marks, ribbons and legend keep paper and colours, dimmed as one; paper never turns dark."""
    page = opened.new_page()
    page.set_viewport_size(WIDE)  # type: ignore[arg-type]
    page.emulate_media(color_scheme="light", reduced_motion="reduce")
    page.goto(pages["zones.show"])
    page.locator("#map .site-mark").first.wait_for()
    page.evaluate(
        "for (let n = 1; n < 7; n++) document.querySelector('#map').append(Object.assign(document.createElement('i'), { className: `class-${n}` }))"
    )
    pictures = (
        "#map, #map img, #map .site-mark *, #map .leaflet-interactive, #map [class^=class-], .map-legend, #legend"
    )
    by_day, paper = looks(page, pictures), page.locator("html").evaluate("one => getComputedStyle(one).backgroundColor")
    page.emulate_media(color_scheme="dark")
    assert looks(page, pictures) == by_day
    assert len(by_day) > 12
    assert "rgb(1, 102, 94)" in " ".join(by_day)
    assert "brightness(0.75)" in looks(page, ".map-stage")[0]  # the one veil, over map and legend alike
    night = page.locator("html").evaluate("one => getComputedStyle(one).backgroundColor")
    assert (
        max(int(part) for part in re.findall(r"\d+", night)) < 64 < min(int(part) for part in re.findall(r"\d+", paper))
    )
    page.goto(pages["sheets.show"])
    page.emulate_media(media="print", color_scheme="dark")
    assert looks(page, "html")[0].startswith("rgb(255, 255, 255)")
    assert page.locator("article.sheet").evaluate("(one) => getComputedStyle(one).color") == "rgb(28, 42, 49)"
    page.close()


def test_whoever_asks_for_less_motion_gets_none(browser: Browser, pages: dict[str, str]) -> None:
    """The map jumps instead of gliding, and nothing on the page fades."""
    context = browser.new_context(reduced_motion="reduce")
    page = context.new_page()
    page.goto(pages["zones.show"])
    page.wait_for_function("document.getElementById('map-page').leaflet")
    map_of = "document.getElementById('map-page').leaflet"
    assert page.evaluate(f"{map_of}.options.zoomAnimation") is False
    before = page.evaluate(f"{map_of}.getCenter().lng")
    after = page.evaluate(f"{{ {map_of}.panBy([80, 0]); {map_of}.getCenter().lng }}")
    assert after == pytest.approx(before + page.evaluate(f"360 / 256 * 80 / 2 ** {map_of}.getZoom()"))
    assert page.locator("button").first.evaluate("(one) => getComputedStyle(one).transitionDuration") == "0s"
    context.close()
