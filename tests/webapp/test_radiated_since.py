"""Power, antennas and silence that a revision plans otherwise: sheets and change plan say that they order none of it."""

import copy
from collections.abc import Callable
from math import log10
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st
from starlette.testclient import TestClient

import sfn
from sfn.study.radiated_apart import radiated_apart
from webapp.store.documents import network_of
from webapp.store.store import Store


def saved(store: Store, number: int, change: Callable[[dict[str, Any]], None]) -> None:
    """A revision with something changed."""
    before = store.read(number)
    document = copy.deepcopy(before.document)
    change(document)
    store.save(number, document, author="test", reason="test", base_revision=before.revision.number)


def halved(document: dict[str, Any]) -> None:
    """The first site at half its power."""
    power = document["sites"][0]["erp_kw"]
    document["sites"][0]["erp_kw"] = {plane: kw / 2 for plane, kw in power.items()}


@pytest.mark.parametrize("page", ["sheets", "change"])
def test_half_the_power_is_named_and_an_offset_alone_is_not(
    client: TestClient, store: Store, example: dict[str, Any], page: str
) -> None:
    """From what to what, in dB; until the revision is the one that sheets were issued of, and longer."""
    number = store.create(example, author="test", reason="test").network_id
    address = f"/api/pages/networks/{number}/{page}"
    assert client.get(address).json()["radiated"] == ""
    saved(store, number, lambda document: document["sites"][0].update(offset_us=3.0))
    assert client.get(address).json()["radiated"] == ""
    saved(store, number, halved)
    said = client.get(address).json()["radiated"]
    name, kw = example["sites"][0]["name"], max(example["sites"][0]["erp_kw"].values())
    assert f"{name}: e.r.p." in said
    assert f"{10 * log10(0.5):.1f}".replace("-", "−") in said
    assert "since revision 1" in said
    assert "ordered by no sheet" in said
    assert kw > 0
    assert "ordered by no sheet" in client.get(f"/networks/{number}/{page}").text


def test_what_was_issued_last_is_what_it_is_held_against(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """Half the power, issued, then a quarter: from the half."""
    number = store.create(example, author="test", reason="test").network_id
    saved(store, number, halved)
    issued = issue(number)  # its common delay is fixed with it, in a revision of its own
    assert "since revision 1" in client.get(f"/api/pages/networks/{number}/sheets").json()["radiated"]
    saved(store, number, halved)
    said = client.get(f"/api/pages/networks/{number}/sheets").json()["radiated"]
    assert f"since revision {issued}, of which sheets were issued last" in said
    assert said.count("−3.0") == sum(kw > 0 for kw in example["sites"][0]["erp_kw"].values())


DOCUMENT = sfn.load_demo("fm_ridge").network.model_dump(mode="json", exclude_unset=True, by_alias=True)
FIELDS = ("on_air", "power", "azimuth", "electrical tilt", "mechanical tilt", "height")


@settings(max_examples=40, deadline=None)
@given(st.sets(st.tuples(st.integers(0, len(DOCUMENT["sites"]) - 1), st.sampled_from(FIELDS))))
def test_every_change_is_told_of_its_site_and_nothing_else(chosen: set[tuple[int, str]]) -> None:
    """A sentence for each site that changes; the other way round the values change places."""
    changed = copy.deepcopy(DOCUMENT)
    for n, what in chosen:
        site = changed["sites"][n]
        if what == "on_air":
            site["on_air"] = not site["on_air"]
        elif what == "power":
            site["erp_kw"] = {plane: kw * 2 for plane, kw in site["erp_kw"].items()}
        elif what == "height":
            site["antenna_m"] += 1.5
        else:
            key = what.replace(" ", "_") + "_deg"
            antenna = site["antenna"] = dict(site.get("antenna") or {})
            antenna[key] = antenna.get(key, 0.0) + 2.0
    before, after = network_of(DOCUMENT, ""), network_of(changed, "")
    told = radiated_apart(before, after)
    names = [site["name"] for n, site in enumerate(DOCUMENT["sites"]) if any(n == at for at, _ in chosen)]
    assert [one.partition(": ")[0] for one in told] == names
    words = {"on_air": "the air", "power": "e.r.p.", "height": "above ground"}
    for n, what in chosen:
        (mine,) = (one for one in told if one.startswith(f"{DOCUMENT['sites'][n]['name']}: "))
        assert words.get(what, what) in mine
    assert len(radiated_apart(after, before)) == len(told)
