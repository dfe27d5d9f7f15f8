"""What a revision plans to be radiated otherwise stands at every place until somebody says that it is done."""

import copy
import json
import subprocess
from collections.abc import Callable
from html import unescape
from math import log10
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example as for_example, given, settings, strategies as st
from starlette.testclient import TestClient

import sfn
from sfn.cli import main
from sfn.study.radiated_apart import radiated_apart
from tests.webapp.test_readings import link
from webapp.store.documents import network_of
from webapp.store.store import Store

CODE = "radiated-otherwise"


def saved(store: Store, number: int, change: Callable[[dict[str, Any]], None]) -> int:
    """A revision with something changed."""
    before = store.read(number)
    document = copy.deepcopy(before.document)
    change(document)
    return store.save(
        number, document, author="test", reason="test", base_revision=before.revision.number
    ).number  # fmt: skip


def halved(document: dict[str, Any]) -> None:
    """The first site at half its power."""
    power = document["sites"][0]["erp_kw"]
    document["sites"][0]["erp_kw"] = {plane: kw / 2 for plane, kw in power.items()}


def told(client: TestClient, number: int) -> dict[str, str]:
    """What the check says of each site, by its id."""
    found = client.get(f"/api/networks/{number}/check").json()["problems"]
    return {one["sites"][0]: one["values"]["changes"] for one in found if one["code"] == CODE}


def plain(text: str) -> str:
    """Characters of a page as they are read."""
    return unescape(text)


@pytest.mark.parametrize("page", ["sheets", "change"])
def test_half_the_power_is_named_and_an_offset_alone_is_not(
    client: TestClient, store: Store, example: dict[str, Any], page: str
) -> None:
    """From what to what, in dB."""
    number = store.create(example, author="test", reason="test").network_id
    address = f"/api/pages/networks/{number}/{page}"
    assert client.get(address).json()["radiated"] == ""
    saved(store, number, lambda document: document["sites"][0].update(offset_us=3.0))
    assert client.get(address).json()["radiated"] == ""
    saved(store, number, halved)
    said = client.get(address).json()["radiated"]
    assert f"site {example['sites'][0]['name']}: planned to radiate otherwise since revision 1: e.r.p." in said
    assert f"{10 * log10(0.5):.1f}".replace("-", "−") in said
    assert "planned to radiate otherwise" in client.get(f"/networks/{number}/{page}").text


def test_a_new_issue_ends_nothing_and_a_record_does(
    client: TestClient,
    post: Callable[..., Any],
    store: Store,
    example: dict[str, Any],
    issue: Callable[[int], int],
) -> None:
    """Half, issued, then a quarter: from the whole. Said to be at half: from the half. Done: nothing, and who said so."""
    number = store.create(example, author="test", reason="test").network_id
    half = saved(store, number, halved)
    site = example["sites"][0]["id"]
    issue(number)  # its common delay is fixed with it, in a revision of its own
    assert "−3.0" in told(client, number)[site]
    quarter = saved(store, number, halved)
    assert "−6.0" in told(client, number)[site]

    timeline = f"/networks/{number}/timeline"
    entry = {"kind": "radiates", "site": site, "author": "C. Room", "words": "exciter read 50 W"}
    for wrong in ({"as_revision": "99"}, {"as_revision": "x"}, {"as_revision": ""}, {"as_revision": "-1"}):
        refused = post(timeline, **entry | wrong)
        assert refused.status_code == 422, wrong
        assert "exciter read 50 W" in refused.text  # nothing typed is lost
    assert post(timeline, **entry | {"as_revision": str(half), "words": ""}).status_code == 422
    assert "−6.0" in told(client, number)[site]

    assert post(timeline, **entry, as_revision=str(half)).status_code == 303
    assert "−3.0" in told(client, number)[site]
    assert post(timeline, **entry, as_revision=str(quarter), taken_at="2026-01-05 10:00").status_code == 303
    assert "−3.0" in told(client, number)[site]  # it held before what was said first, so it counts less
    assert post(timeline, **entry, as_revision=str(quarter)).status_code == 303
    assert told(client, number) == {}
    assert client.get(f"/api/pages/networks/{number}/sheets").json()["radiated"] == ""
    there = [
        one for one in client.get(f"/api/networks/{number}/timeline").json()["entries"] if one["kind"] == "radiates"
    ]
    assert [(one["who"], one["values"]["as_revision"]) for one in there][-1] == ("C. Room", quarter)
    assert f"Radiates as revision {quarter} plans it" in client.get(timeline).text
    # Said to have been changed back: it stands again.
    assert post(timeline, **entry, as_revision="1").status_code == 303
    assert "−6.0" in told(client, number)[site]


def test_a_site_that_came_later_is_held_against_its_first_sheet(
    client: TestClient, store: Store, example: dict[str, Any], issue: Callable[[int], int]
) -> None:
    """Before that nobody said that it radiates at all."""
    late = example["sites"].pop()
    number = store.create(example, author="test", reason="test").network_id
    saved(store, number, lambda document: document["sites"].append(late))

    def stronger(document: dict[str, Any]) -> None:
        document["sites"][-1]["erp_kw"] = {"h": 0.9, "v": 0.9}

    saved(store, number, stronger)
    assert told(client, number) == {}
    issue(number)
    assert told(client, number) == {}

    def weaker(document: dict[str, Any]) -> None:
        document["sites"][-1]["erp_kw"] = {"h": 0.09, "v": 0.09}

    saved(store, number, weaker)
    assert set(told(client, number)) == {late["id"]}
    assert "−10.0" in told(client, number)[late["id"]]


DOCUMENT = sfn.load_demo("fm_ridge").network.model_dump(mode="json", exclude_unset=True, by_alias=True)
FIELDS = ("on_air", "power", "azimuth", "electrical tilt", "mechanical tilt", "height")
CHANGES = st.sets(st.tuples(st.integers(0, len(DOCUMENT["sites"]) - 1), st.sampled_from(FIELDS)))
WORDS = {"on_air": "not transmitting", "power": "e.r.p.", "height": "above ground"}


def changed(document: dict[str, Any], chosen: set[tuple[int, str]]) -> dict[str, Any]:
    """The same with some fields of some sites otherwise."""
    made = copy.deepcopy(document)
    for n, what in chosen:
        site = made["sites"][n]
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
    return made


@settings(max_examples=40, deadline=None)
@given(CHANGES)
def test_every_change_is_told_of_its_site_and_nothing_else(chosen: set[tuple[int, str]]) -> None:
    """A sentence for each site that changes; the other way round the values change places."""
    before, after = network_of(DOCUMENT, ""), network_of(changed(DOCUMENT, chosen), "")
    said = radiated_apart(before, after)
    names = [site["name"] for n, site in enumerate(DOCUMENT["sites"]) if any(n == at for at, _ in chosen)]
    assert [one.partition(": ")[0] for one in said] == names
    for n, what in chosen:
        (mine,) = (one for one in said if one.startswith(f"{DOCUMENT['sites'][n]['name']}: "))
        assert WORDS.get(what, what) in mine
    assert len(radiated_apart(after, before)) == len(said)


@for_example({(0, "power"), (0, "mechanical tilt"), (1, "on_air"), (2, "azimuth")})
@settings(
    max_examples=3,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(st.sets(st.tuples(st.integers(0, 2), st.sampled_from(FIELDS)), max_size=4))
def test_every_place_names_the_same_sites_and_the_same_changes(
    client: TestClient,
    store: Store,
    example: dict[str, Any],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    poppler: None,
    chosen: set[tuple[int, str]],
) -> None:
    """List of sheets, each sheet, its PDF, the technician's page, the change plan, check page, answer and command."""
    number = store.create(example, author="test", reason="test").network_id
    newest = saved(store, number, lambda document: document.update(changed(document, chosen)))
    sites = {site["id"]: site["name"] for site in example["sites"]}
    files = [tmp_path / "before.json", tmp_path / "after.json"]
    files[0].write_text(json.dumps(example))
    files[1].write_text(json.dumps(store.read(number).document))
    capsys.readouterr()
    main(["check", str(files[1]), "--before", str(files[0]), "--json"])
    of_command = {
        one["sites"][0]: one["values"]["changes"]
        for one in json.loads(capsys.readouterr().out)["problems"]
        if one["code"] == CODE
    }
    wanted = {example["sites"][n]["id"] for n, _ in chosen}
    assert set(of_command) == wanted
    assert told(client, number) == of_command

    pages = {page: plain(client.get(f"/networks/{number}/{page}").text) for page in ("sheets", "change")}
    for site, name in sites.items():
        address = f"/networks/{number}/sheets/{site}"
        pdf = tmp_path / "sheet.pdf"
        pdf.write_bytes(client.get(f"{address}/sheet.pdf").content)
        printed = subprocess.run(["pdftotext", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
        reasons = client.get(f"/api/pages{address}").json()["sheet"]["verdict"]["reasons"]
        of_json = [one["problem"]["values"]["changes"] for one in reasons if one["problem"]["code"] == CODE]
        assert of_json == ([of_command[site]] if site in wanted else [])
        shown = {
            "sheet": plain(client.get(address).text),
            "pdf": printed,
            "technician": plain(client.get(link(number, site, newest)).text),
        }
        for place, text in shown.items():
            assert ("planned to radiate otherwise" in text) == (site in wanted), (place, name)
            if site in wanted:
                assert squeezed(of_command[site]) in squeezed(text), (place, name)
        for place, text in pages.items():
            assert (f"site {name}: planned to radiate otherwise" in text) == (site in wanted), (place, name)


def squeezed(text: str) -> str:
    """Without spaces of any kind: paper breaks lines anywhere."""
    return "".join(text.split()).replace("\u2011", "-")
