"""How the office lets sheets go out: sign-offs where they are asked for, then the issue of all that change."""

from playwright.sync_api import Page, expect


def issue(page: Page, network: str) -> None:
    """Sign off every sheet that asks for a name, and issue them."""
    page.goto(f"{network}/sheets")
    waiting = page.locator('tr[data-state="needs sign-off"] th a')
    for address in [link.get_attribute("href") for link in waiting.all()]:
        page.goto(network.partition("/networks/")[0] + str(address))
        page.locator("#signed_by").fill("A. Engineer")
        page.get_by_role("button", name="Sign off").click()
        expect(page.locator("article.sheet")).to_have_attribute("data-state", "ready")
    page.goto(f"{network}/sheets")
    page.locator("#issued_by").fill("A. Planner")
    page.get_by_role("button", name="Issue the sheets").click()
    expect(page.locator("table.list")).to_contain_text("issued by A. Planner")
