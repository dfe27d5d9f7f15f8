"""The point page: another way to give the place, problems under the field's name, no site on the air."""

from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in the store."""
    return store.create(example, author="test", reason="test").network_id


def test_latitude_and_longitude_may_stand_apart(client: TestClient, number: int) -> None:
    """They were passed over in silence; now they are the place."""
    html = client.get(f"/networks/{number}/point?lat=36.31234&lon=-84.21234").text
    assert 'value="36.31234, -84.21234"' in html
    assert "Reception:" in html


def test_a_doubt_about_the_place_bears_the_fields_name(client: TestClient, number: int) -> None:
    """Two decimals are written to a kilometre only."""
    html = client.get(f"/networks/{number}/point?at=36.30,-84.20").text
    assert "is written to" in html
    assert "at.text" not in html


def test_what_a_fix_reaches_is_named(client: TestClient, number: int) -> None:
    """The class with margin, in the service's words; no "target" that nobody named."""
    html = client.get(f"/networks/{number}/point?at=36.30000,-84.20000").text
    assert "to target" not in html
    assert "The class goes by level and by listeners" in html
    assert "Listeners: cars; shares are of time, served from 95" in html


def test_nothing_on_the_air_is_said(client: TestClient, number: int) -> None:
    """Every site tried off air: not a word of terrain or model."""
    html = client.get(f"/networks/{number}/point?at=36.30000,-84.20000&off=north&off=south&off=gap").text
    assert "No site is on the air: nothing is received here or anywhere." in html
