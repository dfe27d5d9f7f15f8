"""No technician's link is made for a sheet that may not go out, whichever way it is asked for."""

from collections.abc import Callable
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store.store import Store


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example, not issued."""
    return store.create(example, author="test", reason="test").network_id


def test_a_withheld_site_gets_no_link_and_is_named(
    store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """A release delay a millisecond too short: refused with the reason, and nothing is listed as given."""
    example["stages"][3]["release_delay_us"] = 100_000
    number = store.create(example, author="test", reason="test").network_id
    refused = post(f"/networks/{number}/readings/links", site="gap")

    assert refused.status_code == 422
    assert "no link is made for Gap: its sheet is withheld" in refused.text
    assert "buffer underrun" in refused.text
    assert store.links.of(number) == ()


def test_a_sheet_that_is_not_issued_gets_none_either(store: Store, number: int, post: Callable[..., Any]) -> None:
    """Nor does a site that is not there."""
    refused = post(f"/networks/{number}/readings/links", site="north")
    assert refused.status_code == 422
    assert "no link is made for North ridge" in refused.text
    assert post(f"/networks/{number}/readings/links", site="nowhere").status_code == 422
    assert store.links.of(number) == ()


def test_the_others_get_theirs(
    client: TestClient, store: Store, example: dict[str, Any], post: Callable[..., Any]
) -> None:
    """South was never read: it gets its order to read, and those that change with it get nothing, each by name."""
    example["sites"][1]["delay_fields"][0]["set"] = None
    number = store.create(example, author="test", reason="test").network_id
    made = post(f"/networks/{number}/readings/links", site="")

    assert made.status_code == 303
    assert [link.site_id for link in store.links.of(number)] == ["south"]
    told = client.get(f"/networks/{number}/readings/links").text
    assert "Links made: South ridge." in told
    assert "no link is made for North ridge: its sheet is withheld" in told
    assert "no link is made for Gap: its sheet is withheld" in told
