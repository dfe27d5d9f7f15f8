"""Long tables in parts: every row stands in one part, and the page says which part it is and of how many."""

import json
import re
from html import unescape
from typing import Any

import pytest
from hypothesis import given, strategies as st
from starlette.testclient import TestClient

from webapp.shell.windows import window
from webapp.store.store import Store


@given(st.integers(0, 1000), st.integers(1, 99))
def test_parts_put_together_are_the_table(rows_n: int, most: int) -> None:
    """Each row once, in order, with its number."""
    rows = list(range(rows_n))
    parts = [window(rows, str(n + 1), most=most) for n in range(max(1, -(-rows_n // most)))]
    assert [row for part in parts for row in part.rows] == rows
    assert all(row + 1 == part.first + i for part in parts for i, row in enumerate(part.rows))
    assert {part.parts_n for part in parts} == {len(parts)}
    assert parts[-1].last == rows_n


@pytest.mark.parametrize(
    ("asked", "number"), [("", 1), ("0", 1), ("-1", 1), ("x", 1), ("3", 3), ("99", 3), ("9" * 9, 3)]
)
def test_what_is_no_part_gives_the_nearest(asked: str, number: int) -> None:
    """Never a refusal: addresses are kept and networks shrink."""
    assert window(range(250), asked, most=100).number == number


def many(example: dict[str, Any], sites_n: int) -> dict[str, Any]:
    """The example with many sites on a grid of its own."""
    model = example["sites"][1]
    at = (
        {"text": f"{36 + 0.11 * (n % 5):.5f}, {-85 + 0.13 * (n // 5):.5f}", "crs": "EPSG:4326"} for n in range(sites_n)
    )
    sites = [model | {"id": f"x{n}", "name": f"Hill {n}", "position": place} for n, place in enumerate(at)]
    return {key: value for key, value in example.items() if key != "sections"} | {"sites": sites}


def test_pairs_of_many_sites_come_in_parts(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """25 sites are 300 pairs: both parts together have each once, and each part says so."""
    number = store.create(many(example, 25), author="A", reason="many").network_id
    first, second = (client.get(f"/networks/{number}/delays?pairs={part}").text for part in (1, 2))
    assert re.search(
        r"Pairs <strong>1 to 200 of 300</strong>, the nearest first\. All of them are in the answer", first
    )
    assert "<strong>201 to 300 of 300</strong>" in second
    assert f'rel="next" href="/networks/{number}/delays?pairs=2#pairs"' in first
    assert f'rel="prev" href="/networks/{number}/delays?pairs=1#pairs"' in second
    named = [set(re.findall(r'<th scope="row">(Hill \d+ – Hill \d+)</th>', page)) for page in (first, second)]
    assert [len(one) for one in named] == [200, 100]
    assert len(named[0] | named[1]) == 300
    clocks = client.get(f"/networks/{number}/clocks?clock-x1=rubidium").text
    assert f'href="/networks/{number}/clocks?clock-x1=rubidium&amp;pairs=2#pairs"' in clocks
    assert "<strong>1 to 200 of 300</strong>, those that part first" in clocks


def test_few_pairs_stand_whole_in_the_order_of_the_document(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """Nothing is said of parts."""
    number = store.create(many(example, 20), author="A", reason="some").network_id
    page = client.get(f"/networks/{number}/delays").text
    assert "Parts of the table" not in page
    assert re.findall(r'<th scope="row">(Hill \d+ – Hill \d+)</th>', page)[0] == "Hill 0 – Hill 1"


def test_rows_of_many_sites_come_in_parts(
    client: TestClient, store: Store, example: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both parts together have each route once, in table and picture; the picture's scales are the same on both."""
    monkeypatch.setattr("webapp.timing.delays.MOST_ROWS_N", 15)
    document = many(example, 25)
    for n, site in enumerate(document["sites"]):
        site["offset_us"] = float(n)
    number = store.create(document, author="A", reason="many").network_id
    first, second = (client.get(f"/networks/{number}/delays?rows={part}").text for part in (1, 2))
    assert "Rows <strong>1 to 15 of 25</strong>, in document order." in first
    assert "<strong>16 to 25 of 25</strong>" in second
    assert f'rel="next" href="/networks/{number}/delays?rows=2#rows"' in first
    assert "its scales are those of all 25" in first
    whole = [f"Hill {n}" for n in range(25)]
    assert [name for page in (first, second) for name in re.findall(r'<th scope="row">(Hill \d+) ?<br>', page)] == whole
    drawn = [name for page in (first, second) for name in re.findall(r'"rows-name"><strong>(Hill \d+)<', page)]
    assert drawn == whole
    ticks = [re.findall(r'class="scale-text[^>]*>([^<]*)<', page) for page in (first, second)]
    assert ticks[0] == ticks[1] != []
    # Scripts have all of them, whatever part is asked for.
    found = client.get(f"/api/pages/networks/{number}/delays?rows=2").json()["found"]["table"]["rows"]
    assert [row["site_name"] for row in found] == whole
    assert len(client.get(f"/networks/{number}/delays.csv").text.splitlines()) > 25


def test_stages_of_large_networks_come_in_parts_and_can_all_be_chosen(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """450 stages: three parts have each once, and the form has all of them on every part."""
    more = [{"id": f"stage-{n}", "kind": "other", "latency_us": float(n), "source": "data sheet"} for n in range(450)]
    own = [stage["id"] for stage in example["stages"]]
    chain = example["sites"][0]["chains"][0]
    document = example | {"stages": [*example["stages"], *more]}
    document["sites"][0]["chains"] = [chain | {"stages": [*chain["stages"], *(one["id"] for one in more)]}]
    number = store.create(document, author="A", reason="stages").network_id
    pages = [client.get(f"/networks/{number}/ages?stages={part}").text for part in (1, 2, 3)]
    tables = [page[page.index('<h2 id="stages"') : page.index("<form")] for page in pages]
    listed = [name for table in tables for name in re.findall(r'<tr><th scope="row">([\w-]+)</th>', table)]
    assert len(listed) == len(set(listed)) == len(set(own)) + 450
    assert "<strong>1 to 200 of" in tables[0]
    for page in pages:
        assert set(re.findall(r'<option value="(stage-\d+)"', page)) == {one["id"] for one in more}


def test_networks_are_found_by_words_and_come_in_parts(
    client: TestClient, store: Store, example: dict[str, Any]
) -> None:
    """230 networks: three parts have each once; words find those that have all of them, whatever their letter case."""
    for n in range(230):
        name = f"Straße {n}" if n % 50 == 7 else f"Valley {n}"
        store.create(example | {"name": name}, author="Zoë" if n == 11 else "A", reason="many")
    pages = [client.get(f"/?networks={part}").text for part in (1, 2, 3)]
    named = [name for page in pages for name in re.findall(r'<a href="/networks/\d+">([^<]+)</a>', page)]
    assert len(named) == len(set(named)) == 230
    assert "<strong>1 to 100 of 230</strong>, the last saved first" in pages[0]
    assert 'href="/?networks=2#networks"' in pages[0]
    assert set(re.findall(r'<a href="/networks/\d+">([^<]+)</a>', client.get("/?find=STRASSE").text)) == {
        f"Straße {n}" for n in (7, 57, 107, 157, 207)
    }
    assert re.findall(r'<a href="/networks/\d+">([^<]+)</a>', client.get("/?find=11 zoë valley").text) == ["Valley 11"]
    assert 'href="/?find=valley&amp;networks=2#networks"' in client.get("/?find=valley").text
    assert "No network has these words." in client.get("/?find=nowhere").text
    assert len(client.get("/api/networks").json()) == 230


def test_revisions_come_in_parts(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """120 saves: both parts have each once, the newest first, and any two can be compared."""
    number = store.create(example, author="A", reason="first").network_id
    for n in range(1, 120):
        store.save(number, example | {"notes": f"{n}"}, base_revision=n, author="A", reason="again")
    pages = [client.get(f"/networks/{number}/revisions?revisions={part}").text for part in (1, 2)]
    listed = [int(n) for page in pages for n in re.findall(r'<th scope="row">(\d+)', page)]
    assert listed == list(range(120, 0, -1))
    assert "(in force)" in pages[0]
    assert "(in force)" not in pages[1]
    assert 'id="any-old"' in pages[0]
    assert [one.number for one in store.history(number, above=115)] == [120, 119, 118, 117, 116]
    assert [one.number for one in store.history(number, most=2)] == [120, 119]


def test_a_document_on_its_page_is_what_was_saved(client: TestClient, store: Store, example: dict[str, Any]) -> None:
    """Quotation marks stand as they are between the tags; marks of HTML and characters nobody sees come back whole."""
    notes = 'a "quoted" </textarea><b>&amp; \u202ebold'
    number = store.create(example | {"notes": notes}, author="A", reason="marks").network_id
    page = client.get(f"/networks/{number}/document").text
    text = re.search(r"<textarea id=\"document\"[^>]*>\n(.*?)</textarea>", page, re.S)
    assert text is not None
    assert json.loads(unescape(text[1])) == example | {"notes": notes}
    assert "&#34;" not in text[1]
