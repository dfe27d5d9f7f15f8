"""What is tried goes from map, point and route to one another by their tabs, and is shown there as a try."""

import re
from collections.abc import Callable
from html import unescape
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from starlette.testclient import TestClient

from tests.webapp.test_road import LINE, ended
from webapp.store.store import Store

TRY = [("offset", "gap:-12.5"), ("clock", "north:3"), ("off", "south")]
PAGES = ("map", "point", "road")


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def tabs(text: str) -> dict[str, list[tuple[str, str]]]:
    """Last word of the address of each tab, and its query."""
    (nav,) = re.findall(r'<nav class="tabs".*?</nav>', text, re.DOTALL)
    links = [urlsplit(unescape(href)) for href in re.findall(r' href="([^"]*)"', nav)]
    return {link.path.rpartition("/")[2]: parse_qsl(link.query) for link in links}


@pytest.mark.parametrize("name", PAGES)
def test_a_try_is_handed_on_and_said(client: TestClient, number: int, name: str) -> None:
    """Every tab that shows a try has it, the others do not; where it leads, the page says that it is a try."""
    found = tabs(client.get(f"/networks/{number}/{name}", params=[*TRY, ("at", "")]).text)
    for other in PAGES:
        assert found[other] == TRY
        led = client.get(f"/networks/{number}/{other}", params=found[other])
        assert led.status_code == 200
        if other != "map":  # whose levels are not worked out yet
            assert "This is a try, not the plan." in led.text
    assert found["path"] == found["signals"] == []


def test_without_a_try_tabs_are_plain(client: TestClient, number: int) -> None:
    """And what else stands in an address, as a layer, goes nowhere."""
    assert not any(tabs(client.get(f"/networks/{number}/map?layer=level_dbuvm").text).values())


def test_a_line_sent_from_a_handed_on_page_keeps_the_try(
    client: TestClient, post: Callable[..., Any], number: int
) -> None:
    """The road is worked out as tried, and its tabs lead back to the map with the try."""
    page = client.get(f"/networks/{number}/road", params=TRY).text
    (form,) = re.findall(r'<form[^>]* id="road-form"', page)
    (action,) = re.findall(r' action="([^"]*)"', form)
    where = ended(client, post(unescape(action), line=LINE, spacing_m="500"))
    assert set(TRY) <= set(parse_qsl(urlsplit(where).query))
    found = tabs(client.get(where).text)
    assert sorted(found["map"]) == sorted(TRY)
