"""Pages with answers on a telephone: what a search found, a try and a road stand within five screens."""

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.test_for_everybody import PHONE, on_a_telephone

pytestmark = pytest.mark.browser
PATIENCE_MS = 240_000


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A telephone."""
    context = browser.new_context(viewport=PHONE)  # type: ignore[arg-type]
    context.set_default_timeout(120_000)  # the machine is shared
    yield context.new_page()
    context.close()


def opened(page: Page, address: str, demo: str) -> str:
    """The address of a demo's network."""
    page.goto(address)
    page.locator(f'form[action="/networks/demo/{demo}"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    return page.url


def searched(page: Page, where: str, typed: dict[str, str], until: str) -> None:
    """Send a search, and open its answer as a telephone does that comes later."""
    page.goto(where)
    page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")
    for name, value in typed.items():
        page.locator(f'[name="{name}"]').first.fill(value)
    page.get_by_role("button", name="Search", exact=True).click()
    page.wait_for_selector(until, timeout=PATIENCE_MS)
    page.reload()
    page.wait_for_selector(until)


@pytest.mark.parametrize("demo", ["fm_ridge", "dvbt2_chain"])
def test_offsets_found_fit(page: Page, address: str, demo: str) -> None:
    """With their map, who loses and the sliders' figures: four sites over terrain, twelve over none."""
    network = opened(page, address, demo)
    searched(page, f"{network}/offsets", {"budget_s": "4"}, "#result")
    page.wait_for_selector("#hand-numbers table")
    page.wait_for_selector("#hand-effect p")
    assert on_a_telephone(page, "offsets") == []


def test_plans_found_fit(page: Page, address: str) -> None:
    """With the worlds that were drawn, and a fold for each plan. (Masts are built alike, and take minutes to look at.)"""
    network = opened(page, address, "fm_ridge")
    searched(page, f"{network}/plans", {"budget_s": "4", "worlds": "20"}, "#result")
    assert on_a_telephone(page, "plans") == []


def test_tries_and_roads_fit(page: Page, address: str) -> None:
    """A point and a road as planned and with something tried, and what the try changes."""
    network, wrong = opened(page, address, "fm_ridge"), []
    tried = "offset=north:3&power=summit:-3dB"
    for name, where in (
        ("point", "point?at=36.3012,-84.2034"),
        ("point with a try", f"point?at=36.3012,-84.2034&{tried}"),
        ("path with a try", f"path?site=summit&at=36.3012,-84.2034&{tried}"),
    ):
        page.goto(f"{network}/{where}")
        wrong += on_a_telephone(page, name)
    page.goto(f"{network}/road")
    page.locator('[name="line"]').fill("36.25, -84.30\n36.30, -84.20\n36.35, -84.10")
    page.get_by_role("button", name="Calculate").click()
    page.wait_for_selector("#worst", timeout=PATIENCE_MS)
    wrong += on_a_telephone(page, "road")
    page.goto(f"{page.url}&{tried}")
    page.wait_for_selector("#mended", state="attached")
    wrong += on_a_telephone(page, "road with a try")
    assert wrong == []


@pytest.mark.parametrize("button", ["Add a site", "Add another site"])
def test_a_site_that_is_being_added_fits(page: Page, address: str, button: str) -> None:
    """What is proposed is folded, with its values in the headings; what is needed is asked for in sight."""
    network = opened(page, address, "fm_ridge")
    page.goto(network if button == "Add a site" else f"{network}/sites/north")
    page.evaluate("for (const part of document.querySelectorAll('details')) part.open = true")
    page.get_by_role("button", name=button).first.click()
    page.wait_for_url(re.compile("/edit/"))
    page.wait_for_load_state()
    assert on_a_telephone(page, button) == []
    hidden = "all => all.filter(mark => !mark.closest('details.inner:not([open])')).length"  # a part that is not begun
    assert page.locator("details.fold:not([open]) .needed").evaluate_all(hidden) == 0


def test_a_first_network_that_lacks_everything_fits(page: Page, address: str) -> None:
    """Refused with nothing typed: what is missing stands on top and at each field."""
    page.goto(f"{address}/networks/new")
    page.get_by_role("button", name="Make the network").first.click()
    page.wait_for_selector(".on-top")
    assert page.locator(".field-problem").count() > 6
    assert on_a_telephone(page, "a refused network") == []
