"""The path page: a profile, the numbers beside each other, problems in words."""

import html
import json
import re
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from webapp.store.store import Store

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"


@pytest.fixture
def number(store: Store) -> int:
    """The ridge network in the store."""
    document: dict[str, Any] = json.loads(RIDGE.read_text(encoding="utf-8"))
    return store.create(document, author="test", reason="test").network_id


def text_of(answer: str) -> str:
    """A page's words, without tags."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", answer)))


def test_the_form_comes_first(client: TestClient, number: int) -> None:
    """Without a place the page offers the sites and nothing else; the network's navigation leads to it."""
    answer = client.get(f"/networks/{number}/path")

    assert answer.status_code == 200
    assert 'value="summit"' in answer.text
    assert "Derivation" not in answer.text
    assert f'href="/networks/{number}/path"' in client.get(f"/networks/{number}/delays").text


def test_a_path_is_shown_whole(client: TestClient, number: int) -> None:
    """Levels, travel time, what it rests on, every quantity, and a picture that can be fetched in two forms."""
    answer = client.get(f"/networks/{number}/path", params={"site": "summit", "at": "36.335, -84.2"})
    words = text_of(answer.text)

    assert answer.status_code == 200
    assert "Rests on: terrain, known all the way." in words
    assert "51.5016" in words
    assert "76.91" in words
    assert all(name in words for name in ("Lbulla50", "Lminbap", "basic transmission loss"))
    picture = html.unescape(re.search(r'<img src="([^"]*path.svg[^"]*)"', answer.text)[1])
    assert client.get(picture).content.startswith(b"<?xml")
    drawn = client.get(picture.replace("/path.svg", "/path.png"))
    assert ("image/png", b"\x89PNG") == (drawn.headers["content-type"], drawn.content[:4])


def test_places_may_be_written_in_other_ways(client: TestClient, number: int) -> None:
    """The same place in degrees and minutes gives the same levels; asked percentages are the columns."""
    typed = {"site": "summit", "at": "36°20'06.0\"N 84°12'00.0\"W", "time_pct": "50; 5"}
    words = text_of(client.get(f"/networks/{number}/path", params=typed).text)

    assert "76.91" in words
    assert "5 % of time" in words
    assert "10 % of time" not in words


def test_off_the_terrain_the_page_says_so(client: TestClient, number: int) -> None:
    """No number is invented; the picture still shows how far the ground is known."""
    answer = client.get(f"/networks/{number}/path", params={"site": "summit", "at": "36.05, -84.2"})

    assert answer.status_code == 200
    assert re.search(r"terrain is not known from 4\.\d\d km on: no answer", text_of(answer.text))
    assert "Derivation" not in answer.text
    assert client.get(f"/networks/{number}/path.png?site=summit&at=36.05,-84.2").content.startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"at": "somewhere"}, "at"),
        ({"at": "36.3, -84.2", "site": "nowhere"}, "there is no site 'nowhere'; one of summit"),
        ({"at": "36.3, -84.2", "rx_height_m": "0.2"}, "1 to 3 000 m above ground"),
        ({"at": "36.3, -84.2", "rx_ground_m": "high"}, "'high' is no number"),
        ({"at": "36.3, -84.2", "time_pct": "90"}, "up to ten numbers from 1 to 50 %"),
        ({"at": "36.3, -84.2", "rx_ground_m": "20000"}, "ground height"),
    ],
)
def test_what_cannot_be_used_is_said_and_kept(
    client: TestClient, number: int, typed: dict[str, str], said: str
) -> None:
    """Each mistake is answered in words on the page, what was typed stays in the form, and the picture refuses too."""
    answer = client.get(f"/networks/{number}/path", params=typed)

    assert answer.status_code == 422
    assert said in text_of(answer.text)
    assert html.escape(typed["at"]) in answer.text
    assert 400 <= client.get(f"/networks/{number}/path.svg", params=typed).status_code < 500


def test_the_point_page_leads_to_each_path(client: TestClient, number: int) -> None:
    """Beside every signal stands the link to its path."""
    answer = client.get(f"/networks/{number}/point", params={"at": "36.335, -84.2"})

    assert f"/networks/{number}/path?site=summit&amp;at=36.335%2C+-84.2" in answer.text
