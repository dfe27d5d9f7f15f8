"""Long tables in parts: every row stands in one part, and the page says which part it is and of how many."""

import re
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
