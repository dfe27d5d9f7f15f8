"""A technician's page where the connection breaks: it opens, asks, advises, and keeps all until the office has it."""

import json
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.going_out import issue

pytestmark = pytest.mark.browser
ROOT = Path(__file__).parents[2]
PHONE = {"width": 390, "height": 844}


@contextmanager
def phone(browser: Browser) -> Iterator[tuple[BrowserContext, Page]]:
    """A telephone of its own, and no complaint of its browser but about the connection."""
    context = browser.new_context(viewport=PHONE)  # type: ignore[arg-type]
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    yield context, page
    context.close()
    assert errors == []


@pytest.fixture(scope="module")
def issued(browser: Browser, address: str) -> tuple[str, dict[str, str]]:
    """The ridge example, issued, for all tests that leave its plan alone: its address, and each site's link."""
    return newly_issued(browser, address)


def newly_issued(browser: Browser, address: str) -> tuple[str, dict[str, str]]:
    """The same, for one test alone."""
    with phone(browser) as (_, page):
        page.goto(address)
        page.locator('form[action="/networks/demo/fm_ridge"] button').click()
        page.wait_for_url(re.compile(r"/networks/\d+$"))
        network = page.url
        issue(page, network)
        page.goto(f"{network}/readings/links")
        with page.expect_navigation():
            page.get_by_role("button", name="Make links").click()
        found = {}
        for section in page.locator(".cards section").all():
            name = section.locator("h2").inner_text()
            found[name] = address + str(section.locator(".link-text a").get_attribute("href"))
        return network, found


def bottom(page: Page, selector: str) -> float:
    """Where something ends, from the top of the screen. [px]"""
    box = page.locator(selector).bounding_box()
    assert box is not None
    return box["y"] + box["height"]


def opened(page: Page, link: str) -> None:
    """The page, and kept for when there is no connection."""
    page.goto(link)
    expect(page.locator("html")).to_have_attribute("data-kept", "yes")


def test_setting_inputs_and_verdict_are_on_the_first_screen(
    browser: Browser, issued: tuple[str, dict[str, str]]
) -> None:
    """From the top: setting, verdict, inputs and the button; nothing is wider than the screen; a stale page says so above."""
    network, links = issued
    with phone(browser) as (_, page):
        page.goto(links["North knob"])
        places = [
            bottom(page, one) for one in (".set-now", "#verdict", "#set-1", "#reading-3", "#initials", ".buttons")
        ]
        assert places == sorted(places)
        assert places[-1] < PHONE["height"]
        expect(page.locator(".set-now")).to_contain_text("500")
        expect(page.locator(".set-now")).to_contain_text("3\u202f120")
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")

        page.locator("#remarks").fill("x" * 700)
        page.locator("#initials").fill("AE")
        page.get_by_role("button", name="Send to the office").click()
        expect(page.locator(".card", has_text="x" * 700)).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        page.goto(f"{network}/readings")
        expect(page.locator("p", has_text="x" * 700)).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_the_verdict_follows_what_is_typed(browser: Browser, issued: tuple[str, dict[str, str]]) -> None:
    """Agrees, slip, repeat, roll back by the deadline of the work order; the deviation from an own sum."""
    with phone(browser) as (_, page):
        page.goto(links_of(issued, "North knob"))
        launch_us = float(page.locator(".expect b").first.inner_text().replace("\u202f", "").removesuffix("µs"))
        for n, (typed, word) in enumerate([(0.2, "Agrees so far"), (0.1, "Agrees so far"), (-0.3, "Keep")], 1):
            page.locator(f"#reading-{n}").fill(f"{launch_us + 2.5 + typed:.2f}")
            page.locator("#demodulator_us").fill("2.5")
            page.locator("#demodulator_us").blur()
            expect(page.locator("#verdict-word")).to_have_text(word)
        expect(page.locator("#verdict-off")).to_have_text(re.compile(r"^−0\.(29|30)"))
        for n in (2, 3):
            page.locator(f"#reading-{n}").fill("")
        page.locator("#reading-1").fill(f"{launch_us + 9.9:.2f}")
        page.locator("#reading-1").blur()
        expect(page.locator("#verdict-word")).to_have_text("Repeat")
        page.locator("#reading-2").fill(f"{launch_us + 10:.2f}")
        page.locator("#reading-2").blur()
        expect(page.locator("#verdict-word")).to_have_text("Roll back")
        expect(page.locator("#verdict-text")).to_contain_text("by 03:30 local time")
        page.locator("#reading-2").fill("12o660")
        page.locator("#reading-2").blur()
        expect(page.locator("#verdict-word")).to_have_text("Cannot be read: Reading 2, µs")
        page.locator("#reading-2").fill(f"{launch_us + 10:.2f}")
        page.locator("#set-1").fill("5000")
        page.locator("#set-1").blur()
        expect(page.locator("#verdict-word")).to_have_text("Check what is asked")
        asked = page.locator(".field:has(#set-1) + .asked")
        expect(asked).to_contain_text("10 times the planned 500 µs")
        page.locator("#set-1").press("End")
        page.locator("#set-1").press("Backspace")
        expect(asked).to_have_count(0)
        page.locator("#set-1").press("0")  # the same value again is no change for the browser
        page.locator("#set-1").blur()
        expect(asked).to_contain_text("10 times the planned 500 µs")
        # A remark alone brings back what was said before anything was typed.
        for name in ("#set-1", "#reading-1", "#reading-2", "#reading-3"):
            page.locator(name).fill("")
        page.locator("#remarks").fill("ice")
        expect(page.locator("#verdict-word")).to_have_text("Nothing typed yet")


def test_times_are_the_offices_on_a_slow_telephone(browser: Browser, issued: tuple[str, dict[str, str]]) -> None:
    """Three hours slow: the page says so, and what it says of the time is the office's, with and without a net."""
    slow = (
        "(() => { const Real = Date; window.Date = class extends Real { constructor(...a) { if (a.length) super(...a); "
    )
    slow += "else super(Real.now() - 10800000); } static now() { return Real.now() - 10800000; } }; })()"
    with phone(browser) as (context, page):
        context.add_init_script(slow)
        opened(page, links_of(issued, "Long gap"))
        for words, off in (("Looked at the office at", False), ("No connection at", True)):
            context.set_offline(off)
            page.reload()
            expect(page.locator("#offline")).to_contain_text(words)
            said = page.locator("#offline").inner_text()
            found = re.search(rf"{words} (\d\d):(\d\d) UTC", said)
            assert found is not None
            now = datetime.now(UTC)
            behind_min = (now.hour * 60 + now.minute - int(found[1]) * 60 - int(found[2])) % 1440
            assert behind_min in (0, 1, 2)
            assert "clock is 3 h 0 min slow" in said
        context.set_offline(False)


def links_of(issued: tuple[str, dict[str, str]], site: str) -> str:
    """The link of a site."""
    return issued[1][site]


def test_it_works_offline_to_the_end(browser: Browser, issued: tuple[str, dict[str, str]]) -> None:
    """Opened without a connection: asks and advises, queues two readings, sends both when the net is back."""
    with phone(browser) as (context, page):
        opened(page, links_of(issued, "Long gap"))
        context.set_offline(True)
        page.reload()
        expect(page.locator("#verdict-word")).to_have_text("Nothing typed yet")
        expect(page.locator("#offline")).to_contain_text("No connection")
        page.locator("#set-1").fill("-1")
        page.locator("#set-1").blur()
        expect(page.locator(".field:has(#set-1) + .asked")).to_be_visible()
        page.locator("#set-1").fill("")
        for remark in ("ice on the mast", "ice gone"):
            page.locator("#remarks").fill(remark)
            page.locator("#initials").fill("AE")
            page.get_by_role("button", name="Send to the office").click()
            expect(page.locator("#connection")).to_contain_text("No connection")
            expect(page.locator("#remarks")).to_have_value("")
        page.reload()
        expect(page.locator("#queue-list li")).to_have_count(2)
        page.locator("#remarks").fill("half a")
        page.reload()
        expect(page.locator("#remarks")).to_have_value("half a")

        context.set_offline(False)
        expect(page.locator("#queue")).to_be_hidden()
        expect(page.locator("#remarks")).to_have_value("half a")
        page.reload()
        for remark in ("ice on the mast", "ice gone"):
            expect(page.locator(".card", has_text=remark)).to_have_count(1)
        expect(page.locator(".card", has_text="half a")).to_have_count(0)


def test_an_order_to_go_back_is_on_the_screen_wherever_the_technician_was(browser: Browser, address: str) -> None:
    """Set and sent without a connection, scrolled to the button; with the net comes GO BACK, at the top, in sight."""
    network, links = newly_issued(browser, address)  # what other tests sent would leave nothing to change
    with phone(browser) as (context, page), phone(browser) as (_, office):
        office.goto(f"{network}/change/live")
        office.locator("#deadline").fill(f"{datetime.now(UTC) + timedelta(hours=2):%Y-%m-%d %H:%M}")
        office.locator("#begin-author").fill("C. Room")
        office.get_by_role("button", name="Begin the change").click()
        first = office.locator("[data-live] tbody th").first.inner_text()
        opened(page, links[first])
        context.set_offline(True)
        planned = page.evaluate("JSON.parse(document.getElementById('reading-form').dataset.rules).planned")
        for name, value in planned.items():
            page.locator(f"#{name}").fill(f"{float(Fraction(value)):.10g}")
        page.locator("#initials").fill("AE")
        page.get_by_role("button", name="Send to the office").click()
        expect(page.locator("#queue-list li")).to_have_count(1)
        page.locator("#remarks").scroll_into_view_if_needed()
        office.wait_for_timeout(1100)  # held to the second: the order comes after
        office.locator("#back-author").fill("C. Room")
        office.locator("form.go-back").get_by_role("button", name="Go back").click()
        expect(office.locator("h1")).to_have_text("Going back")
        context.set_offline(False)
        expect(page.locator(".stale-word")).to_have_text("GO BACK")
        expect(page.locator(".stale-word")).to_be_in_viewport()
        office.reload()
        expect(office.locator("tr", has_text=first)).to_contain_text("to go back")
        office.locator("#end-author").fill("C. Room")
        office.locator("input[name=unfinished]").check()
        office.get_by_role("button", name="End it").click()


def test_two_telephones_on_one_link_are_both_kept(browser: Browser, issued: tuple[str, dict[str, str]]) -> None:
    """Both open the same kept page, both type without a connection; the office has both, each once."""
    link = links_of(issued, "Summit")
    with phone(browser) as (context, page), phone(browser) as (other, second):
        for tab, net, words, who in ((page, context, "first phone", "AE"), (second, other, "second phone", "BO")):
            opened(tab, link)
            net.set_offline(True)
            tab.locator("#remarks").fill(words)
            tab.locator("#initials").fill(who)
            tab.get_by_role("button", name="Send to the office").click()
            expect(tab.locator("#queue-list li")).to_have_count(1)
        for tab, net in ((page, context), (second, other)):
            net.set_offline(False)
            expect(tab.locator("#queue")).to_be_hidden()
        page.wait_for_load_state("networkidle")  # it fetches itself anew once everything is sent
        page.goto(link)
        for words, who in (("first phone", "AE"), ("second phone", "BO")):
            expect(page.locator(".card", has_text=words)).to_have_count(1)
            expect(page.locator(".card", has_text=words)).to_contain_text(who)


def test_a_withdrawn_link_leaves_nothing(browser: Browser, issued: tuple[str, dict[str, str]]) -> None:
    """The kept page goes as soon as the net is back; what was typed stays, and a new link sends it."""
    network, links = issued
    link = links["West flank"] if "West flank" in links else list(links.values())[-1]
    name = next(one for one, address in links.items() if address == link)
    with phone(browser) as (context, page), phone(browser) as (_, office):
        opened(page, link)
        assert any(one.startswith("at-site ") for one in page.evaluate("caches.keys()"))
        context.set_offline(True)
        page.locator("#remarks").fill("typed before it was withdrawn")
        page.locator("#initials").fill("AE")
        page.get_by_role("button", name="Send to the office").click()
        expect(page.locator("#queue-list li")).to_have_count(1)
        office.goto(f"{network}/readings/links")
        office.locator("tr", has_text=name).get_by_role("button", name="Withdraw").click()
        context.set_offline(False)
        expect(page.locator("#connection")).to_contain_text("withdrawn")
        expect(page.locator("#verdict")).to_be_hidden()
        page.wait_for_function("async () => (await caches.keys()).length === 0")
        page.wait_for_function("async () => (await navigator.serviceWorker.getRegistrations()).length === 0")
        page.goto(link)
        expect(page.locator("body")).to_contain_text("withdrawn")
        context.set_offline(True)
        with pytest.raises(Exception, match="ERR_INTERNET_DISCONNECTED"):
            page.goto(link)
        context.set_offline(False)
        office.locator("section", has_text=name).get_by_role("button", name="Make a link").click()
        again = office.locator("section", has=office.locator("h2", has_text=name)).locator(".link-text a")
        page.goto(network.partition("/networks/")[0] + str(again.get_attribute("href")))
        expect(page.locator(".card", has_text="typed before it was withdrawn")).to_have_count(1)


def test_nothing_pasted_is_cut(browser: Browser, issued: tuple[str, dict[str, str]]) -> None:
    """What is too long stays as it is and is refused with its length, by the page and by the office."""
    with phone(browser) as (_, page):
        page.goto(links_of(issued, "North knob"))
        page.locator("#remarks").fill("y" * 5000)
        page.locator("#initials").fill("AE")
        page.get_by_role("button", name="Send to the office").click()
        expect(page.locator("#connection")).to_contain_text("5000 characters, 4000 at most: nothing is cut off")
        assert len(page.locator("#remarks").input_value()) == 5000
        answer = page.request.post(
            page.url.split("?")[0],
            form={"remarks": "y" * 5000, "initials": "AE"},
            headers={"Accept": "application/json"},
        )
        assert "none is cut off unasked" in json.loads(answer.text())["problems"][0]["what"]


def test_a_deleted_network_is_told_and_what_waits_goes_when_it_is_back(browser: Browser, address: str) -> None:
    """The telephone keeps what was finished, says who to ask, and the same link sends it once the network is back."""
    network, links = newly_issued(browser, address)
    site = f"{address}/api/networks/{network.rpartition('/')[2]}"
    link = list(links.values())[-1]
    with phone(browser) as (context, page), phone(browser) as (_, office):
        opened(page, link)
        context.set_offline(True)
        page.locator("#remarks").fill("typed before it was deleted")
        page.locator("#initials").fill("AE")
        page.get_by_role("button", name="Send to the office").click()
        expect(page.locator("#queue-list li")).to_have_count(1)
        office.goto(network)
        token = {"X-CSRF-Token": str(office.locator("input[name=csrf_token]").first.get_attribute("value"))}
        assert office.request.delete(site, headers=token).status == 204
        context.set_offline(False)
        expect(page.locator("#connection")).to_contain_text("deleted at the control room")
        expect(page.locator("#connection")).to_contain_text("Set nothing from this page")
        expect(page.locator("#queue-list li")).to_contain_text("typed before it was deleted")
        assert office.request.post(f"{site}/undelete", headers=token).status == 204
        page.goto(link)
        expect(page.locator(".card", has_text="typed before it was deleted")).to_have_count(1)
        expect(page.locator("#queue-list li")).to_have_count(0)


def test_an_office_that_cannot_keep_it_is_not_called_no_connection(
    browser: Browser, issued: tuple[str, dict[str, str]]
) -> None:
    """A full disk at the office: its words are shown, and what was finished waits and goes later."""
    with phone(browser) as (_, page):
        opened(page, next(iter(issued[1].values())))
        said = {"problems": [{"what": "the disk is full", "expected": "room on it"}]}
        answering = json.dumps(said)
        page.route(
            "**/site/*", lambda route: route.fulfill(status=507, body=answering, content_type="application/json")
        )
        page.locator("#remarks").fill("typed while its disk was full")
        page.locator("#initials").fill("AE")
        page.get_by_role("button", name="Send to the office").click()
        expect(page.locator("#connection")).to_contain_text("could not take it now (the disk is full; room on it)")
        expect(page.locator("#queue-list li")).to_have_count(1)
        page.unroute("**/site/*")
        page.reload()
        expect(page.locator(".card", has_text="typed while its disk was full")).to_have_count(1)
