"""The application as a whole: every tab answers, what is unknown is said in words, nothing leaves the machine."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.shell.tabs import GROUPS

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"


@pytest.fixture
def number(post: Callable[..., Any]) -> int:
    """The number of the ridge network, imported."""
    location = post("/networks/import", files={"file": ("n.json", RIDGE.read_bytes())}).headers["location"]
    return int(location.rsplit("/", 1)[-1])


@pytest.mark.parametrize("tab", [tab for group in GROUPS for tab in group.tabs], ids=lambda tab: tab.key)
def test_every_tab_answers_and_marks_itself(client: TestClient, number: int, tab: Any) -> None:
    """The page of each tab of a network opens and shows which tab it is."""
    answer = client.get(tab.address(number))

    assert 200 == answer.status_code
    assert 'aria-current="page"' in answer.text


def test_an_unknown_address_is_answered_in_words(client: TestClient) -> None:
    """An address that leads nowhere gives a page for people, and JSON for programs; never a traceback."""
    page, program = client.get("/nowhere"), client.get("/nowhere", headers={"Accept": "application/json"})

    assert (404, 404) == (page.status_code, program.status_code)
    assert "<html" in page.text
    assert "Traceback" not in page.text
    assert isinstance(json.loads(program.text), dict)


def test_pages_load_nothing_from_elsewhere(client: TestClient, number: int) -> None:
    """Scripts and styles of a network's page come from this machine alone, and the policy says so."""
    answer = client.get(f"/networks/{number}")

    assert "script-src 'self'" in answer.headers["content-security-policy"]
    assert 'src="http' not in answer.text
