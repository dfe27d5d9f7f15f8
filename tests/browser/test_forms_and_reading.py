"""Forms in a real browser, with and without JavaScript, and whether every page can be read on a desk and a telephone."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.browser


CONTRAST = """() => {
  const light = (c) => c.map(v => v / 255).map(v => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
  const ground = (e) => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c.slice(0, 3); } return [255, 255, 255]; };
  const poor = [];
  for (const e of document.querySelectorAll("body *")) {
    const text = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!text || e.closest("svg, .unseen, .skip, .leaflet-container") || !e.getClientRects().length) continue;
    const a = light(rgb(getComputedStyle(e).color).slice(0, 3)), b = light(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) poor.push(`${ratio.toFixed(2)} ${e.tagName} ${e.textContent.trim().slice(0, 40)}`);
  }
  return poor;
}"""
UNLABELLED = """() => [...document.querySelectorAll("input:not([type=hidden]), select, textarea")]
  .filter(e => !e.labels.length && !e.getAttribute("aria-label") && !e.getAttribute("aria-labelledby"))
  .map(e => e.outerHTML.slice(0, 120))"""


def watched(browser: Browser, address: str, **options: Any) -> Iterator[Page]:
    """A tab in which every complaint of the browser fails the test; a refused form's 4xx is an answer, not a fault."""
    # colours that are on their way to others cannot be judged
    context = browser.new_context(base_url=address, reduced_motion="reduce", **options)
    page = context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "console",
        lambda message: (
            complaints.append(message.text)
            if message.type in ("error", "warning") and "responded with a status of 4" not in message.text
            else None
        ),
    )
    yield page
    context.close()
    assert complaints == []


@pytest.fixture
def tab(browser: Browser, address: str) -> Iterator[Page]:
    """A tab on a desk."""
    yield from watched(browser, address, viewport={"width": 1280, "height": 900})


@pytest.fixture
def plain_tab(browser: Browser, address: str) -> Iterator[Page]:
    """A tab without JavaScript, on a telephone."""
    yield from watched(browser, address, viewport={"width": 390, "height": 800}, java_script_enabled=False)


def load_demo(tab: Any) -> str:
    """Press the first demo's button; gives the network's address."""
    tab.goto("/")
    tab.locator(".demo button").first.click()
    tab.wait_for_selector("h2:has-text('Sites')")
    return str(re.sub(r"^https?://[^/]+", "", tab.url))


def fill(tab: Any, **fields: str) -> None:
    """Type into fields by their name."""
    for name, text in fields.items():
        tab.locator(f"[name='{name.replace('__', '-')}']").fill(text)


def microseconds(text: str) -> float:
    """A number as a page prints it."""
    return float(re.sub(r"[^\d.\-]", "", text.replace("−", "-")))


def test_a_network_of_ones_own_gives_its_number(tab: Any) -> None:
    """Typed in from nothing, the delay table shows what pencil and paper give: margin 500 us above the chain."""
    tab.goto("/")
    tab.get_by_role("link", name="New network").click()
    fill(
        tab,
        name="My valley",
        frequency_mhz="98.3",
        **{
            "sites-0-name": "Main mast",
            "sites-0-position-text": "36.3, -84.2",
            "sites-0-ground_m": "800",
            "sites-0-antenna_m": "50",
            "sites-0-erp_kw-h": "3",
            "sites-0-delay_fields-0-greatest": "2000000",
            "stages-0-latency_us": "120000",
            "author": "Ada",
        },
    )
    tab.get_by_role("button", name="Make the network").click()
    tab.get_by_label("This is where it stands").check()
    tab.get_by_role("button", name="Make the network").click()
    tab.wait_for_selector("text=The network is made.")
    tab.locator(".job-steps a", has_text="Set timing").click()
    row = tab.locator("tbody", has_text="Main mast").first
    assert microseconds(row.locator("td[data-label='Added delay']").inner_text().split("µs")[0]) == 500.0
    assert microseconds(row.locator("td[data-label='Launch']").inner_text().split("µs")[0]) == 120_500.0


def test_a_typed_latency_is_found_in_the_table(tab: Any) -> None:
    """One number from form to sheet: 10 us more in a chain give 10 us less to add, as long as it is not the slowest."""
    address = load_demo(tab)
    tab.goto(f"{address}/delays")
    cell = "tbody:not(:first-of-type) td[data-label='Added delay']"
    before = microseconds(tab.locator(cell).first.inner_text().split("µs")[0])
    site = tab.locator("tbody:not(:first-of-type) th").first.inner_text().split("\n")[0]
    tab.goto(address)
    tab.get_by_role("button", name=f"Edit the chains of {site}").click()
    stage = tab.locator("details.stage-form", has=tab.locator("input[value$='-filter']")).last
    if stage.get_attribute("open") is None:
        stage.locator("summary").first.click()
    latency = stage.locator("[name$='-latency_us']")
    latency.fill(str(float(latency.input_value() or 0) + 10))
    fill(tab, author="Ada", reason="measured again")
    tab.get_by_role("button", name="Save as a new revision").click()
    tab.wait_for_selector("text=Saved as revision 2.")
    tab.goto(f"{address}/delays")
    after = microseconds(tab.locator(cell).first.inner_text().split("µs")[0])
    assert after == pytest.approx(before - 10, abs=1e-3)
    tab.goto(f"{address}/revisions")
    assert "measured again" in tab.locator("table").inner_text()


def test_what_is_wrong_leads_to_its_field(tab: Any) -> None:
    """A problem in the list leads to the field; what was typed is still there."""
    address = load_demo(tab)
    tab.goto(address)
    tab.locator("tbody th button").first.click()
    tab.wait_for_selector("h2:has-text('Delay fields')")
    antenna = tab.locator("[name='sites-0-antenna_m']")
    antenna.fill("forty")
    fill(tab, author="Ada")
    antenna.press("Enter")
    tab.wait_for_selector(".on-top")
    tab.locator(".on-top a").first.click()
    assert tab.evaluate("document.activeElement.name") == "sites-0-antenna_m"
    assert tab.locator("[name='sites-0-antenna_m']").input_value() == "forty"


def test_leaving_with_something_typed_is_asked(tab: Any) -> None:
    """Closing a page with unsaved fields asks; one that was not touched does not."""
    address = load_demo(tab)
    asked: list[str] = []
    tab.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
    tab.goto(address)
    tab.goto("/")
    assert asked == []
    tab.goto(address)
    tab.locator("[name='notes']").press_sequentially("typed")
    tab.goto("/")
    assert asked == ["beforeunload"]


def test_fields_of_other_kinds_are_hidden(tab: Any) -> None:
    """Length and velocity factor show for a feeder only, unless something stands in them."""
    address = load_demo(tab)
    tab.goto(address)
    tab.locator("[aria-label^='Edit the chains of']").first.click()
    stage = tab.locator("details.stage-form").first
    if stage.get_attribute("open") is None:
        stage.locator("summary").first.click()
    kind, length = stage.locator("[name$='-kind']").first, stage.locator("[name$='-length_m']")
    kind.select_option("encoder")
    assert not length.is_visible()
    kind.select_option("feeder")
    assert length.is_visible()


def test_without_javascript_on_a_telephone(plain_tab: Any) -> None:
    """Adding a site, several pages, one save: all of it works with plain forms on a small screen."""
    address = load_demo(plain_tab)
    plain_tab.goto(address)
    index = len(plain_tab.request.get(f"{address}/export.json").json()["sites"])
    plain_tab.get_by_role("button", name="Add a site").click()
    fill(
        plain_tab,
        **{
            f"sites-{index}-name": "East hill",
            f"sites-{index}-position-text": "36.3, -84.12",
            f"sites-{index}-ground_m": "700",
            f"sites-{index}-antenna_m": "30",
            f"sites-{index}-erp_kw-h": "0.2",
            f"sites-{index}-delay_fields-0-set": "0",
        },
    )
    for asked in plain_tab.locator("fieldset[id^='stages-'] input").all():
        asked.fill("40")
    fill(plain_tab, author="Ada")
    plain_tab.get_by_role("button", name="Save as a new revision").click()
    plain_tab.get_by_label("This is where it stands").check()
    plain_tab.get_by_role("button", name="Save as a new revision").click()
    plain_tab.wait_for_selector("text=Saved as revision 2.")
    plain_tab.goto(f"{address}/delays")
    assert plain_tab.locator("tbody th", has_text="East hill").first.is_visible()


@pytest.mark.parametrize("width", [1280, 390])
def test_every_page_fits_and_can_be_read(tab: Any, width: int) -> None:
    """No page is wider than the screen, no text is too pale, no input is without a label."""
    address = load_demo(tab)
    tab.set_viewport_size({"width": width, "height": 800})
    site = tab.request.get(f"{address}/export.json").json()["sites"][0]["id"]
    paths = ["/", "/networks/new", "/deleted", "/api", "/nothing-here"]
    paths += tab.locator(".tabs a").evaluate_all("links => links.map(link => link.pathname)")
    paths += [address + page for page in ("/document", f"/sites/{site}", f"/sites/{site}/chain", f"/sheets/{site}")]
    for path in paths:
        tab.goto(path)
        assert tab.evaluate("document.documentElement.scrollWidth") <= width, path
        assert tab.evaluate(CONTRAST) == [], path
        assert tab.evaluate(UNLABELLED) == [], path
        assert tab.locator("h1").count() == 1, path


def test_keyboard(tab: Any) -> None:
    """The first key leads past the head of the page, and whatever has the focus shows it."""
    tab.goto("/")
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.className") == "skip"
    assert tab.locator(".skip").is_visible()
    tab.keyboard.press("Enter")
    assert tab.evaluate("document.activeElement.id") == "content"
    tab.keyboard.press("Tab")
    assert tab.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_paper(tab: Any) -> None:
    """Printed, the navigation, the buttons and the tinted ground are gone."""
    address = load_demo(tab)
    tab.goto(f"{address}/delays")
    tab.emulate_media(media="print")
    for selector in (".masthead", ".tabs", "footer"):
        assert not tab.locator(selector).is_visible(), selector
    assert tab.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
