"""Pages for everybody: axe-core finds nothing serious at either width, and nothing scrolls sideways on a telephone.

axe-core comes with the Python package axe-playwright-python; its rules for WCAG 2.0, 2.1 and 2.2, A and AA, are all on.
"""

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
FINDINGS = """async () => (await axe.run({
  runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"], resultTypes: ["violations"],
})).violations.filter((one) => ["serious", "critical"].includes(one.impact))
  .map((one) => [one.id, one.nodes.map((node) => node.target.join(" ") + ": " + node.failureSummary)])"""
# What its address alone does not show: answers to what was sent in, pieces that stand in other pages, what has no person.
NOT_WALKED = {
    "hear.show", "offsets_hand.numbers", "crossing.show", "point.part", "point.direct", "links.advice", "losses.measured",
    "packet.made", "site_reading.state", "measurements.show_recording", "arrivals.show", "health.alive", "health.ready",
    "metrics.show",
    "jobs.show", "account.show", "provider.ask", "provider.answer", "editor.begin",
}  # fmt: skip
FILE = re.compile(r"\.(\{form\}|[a-z]+)$")
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
    page.goto(f"{network}/sites/north")
    page.get_by_role("button", name="Add another site").click()
    page.wait_for_url(re.compile("/edit/"))
    known = {"network_id": network.rpartition("/")[2], "site_id": "north", "key": draft_of(page.url)}
    issue(page, network)
    page.goto(f"{network}/readings/links")
    page.get_by_role("button", name="Make links").click()
    known["token"] = page.locator(".link-text a").first.inner_text().rpartition("/")[2]
    page.close()
    return {
        name: address
        + re.sub(r"\{(\w+)(:\w+)?\}", lambda gap: quote(known[gap[1]], safe=""), path)
        + QUERY.get(name, "")
        for name, path in written()
    }


def written() -> Iterator[tuple[str, str]]:
    """Every page as its route writes it; files, and what scripts fetch, are none."""
    for route in (one for router in ROUTERS for one in router.routes if isinstance(one, APIRoute)):
        looked_at = "GET" in route.methods and not route.path.startswith("/api")
        if looked_at and not FILE.search(route.path) and route.name not in NOT_WALKED:
            yield route.name, route.path


def draft_of(address: str) -> str:
    """The key of a draft's address."""
    found = re.search(r"/edit/([^?#]+)", address)
    assert found
    return found[1]


def found_on(page: Page, name: str, width: str) -> list[str]:
    """What axe-core finds, a line each."""
    seen: list[tuple[str, list[str]]] = page.evaluate(FINDINGS)
    return [f"{name} {width}: {rule} at {where}" for rule, nodes in seen for where in nodes]


def test_every_page_is_for_everybody(opened: BrowserContext, pages: dict[str, str]) -> None:
    """No serious or critical finding of axe-core on any page at both widths; nothing sticks out at 390 pixels."""
    page, wrong = opened.new_page(), []
    for name, where in pages.items():
        page.set_viewport_size(WIDE)  # type: ignore[arg-type]
        answer = page.goto(where)
        assert answer
        assert answer.ok, where
        wrong += found_on(page, name, "at 1280")
        page.set_viewport_size(PHONE)  # type: ignore[arg-type]
        wrong += found_on(page, name, "at 390")
        if page.evaluate("document.documentElement.scrollWidth > innerWidth"):
            wrong.append(f"{name} scrolls sideways")
    assert wrong == []
    assert len(pages) > 40
