"""A technician's page where the connection breaks: what was typed stays until the office has answered."""

import re

import pytest
from playwright.sync_api import Browser, expect

from tests.browser.going_out import issue

pytestmark = pytest.mark.browser


def test_what_was_typed_outlives_a_broken_connection(browser: Browser, address: str) -> None:
    """Typed at telephone width without a connection, sent by itself when it is back, kept once; kept over a reload too."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(address)
    page.locator('form[action="/networks/demo/fm_ridge"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    network = page.url
    issue(page, network)
    page.goto(f"{network}/readings/links")
    page.locator(".link-text a").first.click()
    page.wait_for_selector("#reading-form")
    site = page.url
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")

    context.set_offline(True)
    page.locator("#remarks").fill("ice on the mast")
    page.locator("#initials").fill("AE")
    page.get_by_role("button", name="Send to the office").click()
    expect(page.locator("#connection")).to_contain_text("No connection. What you typed is kept in this telephone")
    expect(page.locator("#remarks")).to_have_value("ice on the mast")

    context.set_offline(False)
    expect(page.locator("h2", has_text="What the office has from here")).to_be_visible()
    expect(page.locator("#remarks")).to_have_value("")
    expect(page.locator(".card", has_text="ice on the mast")).to_have_count(1)
    page.goto(f"{network}/readings")
    expect(page.locator("p", has_text="ice on the mast")).to_have_count(1)

    page.goto(site)
    page.locator("#set-1").fill("-1")
    page.locator("#set-1").blur()
    expect(page.locator(".field:has(#set-1) + .asked")).to_contain_text("is it")
    page.locator("#set-1").fill("-2")
    expect(page.locator(".asked")).to_have_count(0)
    page.locator("#set-1").fill("-1")
    page.reload()
    expect(page.locator("#set-1")).to_have_value("-1")
    context.close()
