"""A network of one's own by forms alone: three sites with chains and devices, to their delays and sheets, counted."""

import re
from dataclasses import dataclass, field

import pytest
from playwright.sync_api import Locator, Page, expect

pytestmark = pytest.mark.browser

MOST_CLICKS, MOST_FIELDS = 20, 45


@dataclass
class Counted:
    """A page on which every click and every typed field is counted, and where no form may refuse anything."""

    page: Page
    clicks: int = 0
    fields: int = 0
    refused: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Remember every answer that refuses."""
        self.page.on("response", lambda one: self.refused.append(one.url) if one.status >= 400 else None)

    def click(self, what: Locator) -> None:
        """One click, and what it leads to; a page with red errors on it is a refusal too."""
        what.click()
        self.clicks += 1
        self.page.wait_for_load_state()
        self.page.wait_for_load_state("networkidle")
        self.refused += self.page.locator(".on-top li").all_inner_texts()
        assert self.page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")

    def press(self, words: str) -> None:
        """The button of these words."""
        self.click(self.page.get_by_role("button", name=words, exact=True))

    def fill(self, **fields: str) -> None:
        """Fields by their names, ``__`` for ``-``."""
        for name, text in fields.items():
            self.page.locator(f"[name='{name.replace('__', '-')}']").fill(text)
            self.fields += 1

    def group(self, group: str, page_of_it: str) -> None:
        """A page of the network by its navigation: on a telephone through the list that folds."""
        if self.page.locator("details.pages").is_visible():
            self.click(self.page.locator("details.pages summary"))
            self.click(self.page.locator("details.pages").get_by_role("link", name=page_of_it, exact=True))
            return
        self.click(self.page.get_by_role("link", name=group, exact=True))
        here = self.page.locator(".tabs").get_by_role("link", name=page_of_it, exact=True)
        if here.get_attribute("aria-current") != "page":
            self.click(here)


def confirmed(walk: Counted) -> None:
    """The place on the map, looked at; the box follows what was typed or clicked."""
    box = walk.page.get_by_label("This is where it stands")
    expect(box).to_be_visible()
    walk.click(box)
    expect(box).to_be_checked()


def first_site(walk: Counted) -> None:
    """The network with its first site: a service by typing, a chain in parts, a device by what it counts in."""
    page = walk.page
    walk.click(page.get_by_role("link", name="New network"))
    assert page.locator(".field-problem, .on-top, [aria-invalid]").count() == 0
    walk.press("In parts: encoder, link, exciter, feeder")
    walk.fill(name="My valley")
    page.locator("[name='service']").fill("germany dab")
    walk.fields += 1
    page.wait_for_selector(".found [role=option]")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(page.locator("[name='service']")).to_have_value("dab-mode-1")
    walk.fill(
        frequency_mhz="227.36",
        sites__0__name="Main mast",
        sites__0__position__text="36.30012, -84.20034",
        sites__0__ground_m="800",
        sites__0__antenna_m="50",
        sites__0__erp_kw__v="3",
        sites__0__delay_fields__0__unit="µs",
        sites__0__delay_fields__0__greatest="2000000",
        stages__0__latency_us="90000",
        stages__1__latency_us="20000",
        stages__2__latency_us="4000",
        stages__3__length_m="60",
        stages__3__velocity_factor="0.88",
        author="Ada",
    )
    confirmed(walk)
    walk.press("Make the network")
    expect(page.locator(".notice[role=status]")).to_contain_text("The network is made.")


def another_site(walk: Counted, number: int, name: str, place: str | None) -> None:
    """A site after the last: asked for what is its own; placed by text, or by a click on the map."""
    page, here = walk.page, f"sites__{number}__"
    first = page.get_by_role("button", name=re.compile("^Add (a|another) site$"))
    walk.click(first)
    assert page.locator(".field-problem.error, .on-top, .field-problem").count() == 0
    expect(page.locator(".still-needed")).to_contain_text("Still needed")
    walk.fill(**{f"{here}name": name})
    if place is None:
        drawing = page.locator("svg.position-map")
        drawing.scroll_into_view_if_needed()
        drawing.click(position={"x": 90, "y": 60})
        walk.clicks += 1
    else:
        walk.fill(**{f"{here}position__text": place})
        page.keyboard.press("Tab")
    expect(page.locator("svg.position-map .here")).to_be_visible()
    walk.fill(**{f"{here}ground_m": "700", f"{here}antenna_m": "40", f"{here}erp_kw__v": "1"})
    device = page.locator(
        "details.fold", has=page.locator(f"[name='{here.replace('__', '-')}delay_fields-0-set']")
    ).first
    if device.count() and device.get_attribute("open") is None:  # on a telephone what is proposed of it is folded
        walk.click(device.locator("> summary"))
    walk.fill(**{f"{here}delay_fields__0__set": "0"})
    asked = page.locator("fieldset[id^='stages-'] input:visible")
    assert asked.evaluate_all("all => all.map(one => one.name.replace(/.*-/, '')).sort()") == ["latency_us", "length_m"]
    for one in asked.all():
        one.fill("18000" if "latency" in str(one.get_attribute("name")) else "45")
        walk.fields += 1
    confirmed(walk)
    walk.press("Save as a new revision")
    expect(page.locator(".notice[role=status]")).to_contain_text("Saved as revision")


def test_three_sites_by_forms_alone(page: Page, address: str) -> None:
    """At most 20 clicks and 45 typed fields from the first screen to the field sheets, and nothing is refused."""
    walk = Counted(page)
    page.goto(address)
    first_site(walk)
    another_site(walk, 1, "East hill", "36°21'00.5\"N 84°03'10.2\"W")
    another_site(walk, 2, "South ridge", None)
    walk.press("Chains of South ridge")
    walk.press("Add a route (standby, spare)")
    asked = page.locator("[name^='stages-'][name$='-latency_us']").last
    assert asked.input_value() == ""
    asked.fill("23000")
    walk.fields += 1
    walk.press("Save as a new revision")
    expect(page.locator(".notice[role=status]")).to_contain_text("Saved as revision")
    walk.group("Set timing", "Delays")
    # the slowest is South ridge on standby: 90 000 + 23 000 + 4 000 us, 45 m at 0.88 c (0.1706 us), and the margin
    slowest_us = 90_000 + 23_000 + 4_000 + 45 / (0.88 * 299.792458)
    assert f"{slowest_us + 500:.2f}" in re.sub(r"(?<=\d)[\s\u202f](?=\d)", "", page.locator("main").inner_text())
    walk.group("Put on air", "Field sheets")
    expect(page.locator("main")).to_contain_text("South ridge")
    print(f"{walk.clicks} clicks, {walk.fields} fields")
    assert walk.refused == []
    assert walk.clicks <= MOST_CLICKS
    assert walk.fields <= MOST_FIELDS


def test_back_undo_and_redo_keep_what_was_typed(page: Page, address: str) -> None:
    """Unsaved edits answer to Back and to a reload, and are undone and redone."""
    page.goto(address)
    page.locator('form[action="/networks/demo/dab_plain"] button').click()
    page.get_by_role("button", name="Add a site").click()
    page.wait_for_url(re.compile("/edit/"))
    page.locator("[name$='-name']").first.fill("Later mast")
    page.get_by_role("button", name="All sites", exact=True).click()
    expect(page.locator("main")).to_contain_text("Later mast")
    page.go_back()
    expect(page.locator("h1")).to_contain_text("New site")
    page.go_forward()
    page.reload()
    expect(page.locator("main")).to_contain_text("Later mast")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator("main")).not_to_contain_text("Later mast")
    page.get_by_role("button", name="Redo").click()
    expect(page.locator("main")).to_contain_text("Later mast")


def test_a_chain_is_edited_as_it_is_drawn(page: Page, address: str) -> None:
    """A new stage stands before the feeder in form and drawing; one moved by dragging changes place."""
    page.goto(address)
    page.locator('form[action="/networks/demo/fm_ridge"] button').click()
    page.wait_for_url(re.compile(r"/networks/\d+$"))
    page.goto(f"{page.url}/sites/north/chain")
    folded = page.locator("summary", has_text="Order, insert, replace, share")
    if folded.count():  # on a telephone, until something is changed
        folded.click()
    page.get_by_role("button", name="Add a new stage before north-feeder").click()
    page.wait_for_url(re.compile(r"#stages-\d+$"))  # a click does not wait for the page that it brings
    drawn = page.locator(".drawn b")
    before = drawn.all_inner_texts()
    assert ["north-stage", "north-feeder"] == before[-2:]
    choices = page.locator("ol.steps [data-step] select")
    assert before == choices.evaluate_all("all => all.map(one => one.value)")
    page.locator("[data-step] .grip").nth(len(before) - 2).drag_to(page.locator("[data-step]").nth(2))
    moved = choices.evaluate_all("all => all.map(one => one.value)")
    assert [*before[:2], "north-stage", *before[2:-2], "north-feeder"] == moved
    assert drawn.all_inner_texts() == moved  # at once: nothing was sent
    choices.nth(1).select_option("west-exciter")
    assert drawn.all_inner_texts() == [moved[0], "west-exciter", *moved[2:]]
    expect(page.locator(".drawn .lacking", has_text="west-exciter")).to_contain_text("?")
    choices.nth(1).select_option(moved[1])
    assert drawn.all_inner_texts() == moved
    page.get_by_role("button", name="Move stage 3 down").click()
    expect(drawn.nth(3)).to_have_text("north-stage")
