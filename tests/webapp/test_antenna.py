"""An antenna in the browser: sent as CSV, seen, refused by line, removed."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"
HORIZONTAL = "angle_deg,attenuation_db\n" + "".join(
    f"{a},{min(20, a / 9, (360 - a) / 9):.2f}\n" for a in range(0, 360, 10)
)
VERTICAL = "".join(f"{e};{abs(e) * 1.5:.1f}\n".replace(".", ",") for e in range(-20, 21))


@pytest.fixture
def address(post: Callable[..., Any]) -> str:
    """The antenna page of the ridge network's summit."""
    document = json.loads(RIDGE.read_text(encoding="utf-8"))
    document["sites"][0].pop("antenna", None)
    network = post("/networks/import", files={"file": ("n.json", json.dumps(document))}).headers["location"]
    return f"{network}/sites/summit/antenna"


def antenna(client: TestClient, address: str) -> dict[str, Any] | None:
    """The summit's antenna in the newest document."""
    found: dict[str, Any] | None = (
        client.get(f"{address[: address.index('/sites')]}/export.json").json()["sites"][0].get("antenna")
    )
    return found


def sent(
    post: Callable[..., Any], address: str, revision: int, *, files: dict[str, Any] | None = None, **typed: str
) -> Any:
    """Send the form as a browser would: an unchosen file has no name."""
    both = {"horizontal": ("", b""), "vertical": ("", b"")} | (files or {})
    return post(address, files=both, base_revision=str(revision), author="Ada", **typed)


def test_tables_are_sent_seen_and_used(client: TestClient, post: Callable[..., Any], address: str) -> None:
    """Two CSV files and a tilt become the antenna, it is drawn, and a path behind it loses what the table says."""
    path = f"{address[: address.index('/sites')]}/path?site=summit&at=36.335,+-84.2"
    done = sent(
        post, address, 1, files={"horizontal": ("h.csv", HORIZONTAL), "vertical": ("v.csv", VERTICAL)},
        azimuth_deg="190.3", electrical_tilt_deg="1,5", azimuth_from="true north",
    )  # fmt: skip
    held = antenna(client, address)

    assert 303 == done.status_code, done.text
    assert held is not None
    assert (36, 41, 1.5) == (len(held["horizontal"]), len(held["vertical"]), held["electrical_tilt_deg"])
    assert client.get(f"{address}.svg").content.startswith(b"<?xml")
    assert "190.3° from true north" in client.get(address).text
    assert "22.0" in client.get(path).text  # 20 dB behind, 2 dB at 2.84 - 1.5 degrees below the beam


def test_a_table_stays_when_no_file_is_sent(client: TestClient, post: Callable[..., Any], address: str) -> None:
    """Changing the tilt keeps the tables; ticking one takes it off; the button removes the antenna."""
    sent(post, address, 1, files={"horizontal": ("h.csv", HORIZONTAL), "vertical": ("v.csv", VERTICAL)})
    sent(post, address, 2, mechanical_tilt_deg="2")
    tilted = antenna(client, address)
    sent(post, address, 3, mechanical_tilt_deg="2", vertical_none="yes")
    bare = antenna(client, address)
    sent(post, address, 4, do="remove")

    assert tilted is not None
    assert bare is not None
    assert (36, 41, 2.0) == (len(tilted["horizontal"]), len(tilted["vertical"]), tilted["mechanical_tilt_deg"])
    assert "vertical" not in bare
    assert antenna(client, address) is None
    assert 404 == client.get(f"{address}.svg").status_code


def test_bad_lines_are_named_and_typed_values_stay(post: Callable[..., Any], client: TestClient, address: str) -> None:
    """File and line stand in the refusal; nothing is saved; what was typed is still in the form."""
    answer = sent(post, address, 1, files={"horizontal": ("h.csv", "0,0\n10,x\n400,1\n")}, azimuth_deg="77")

    assert 422 == answer.status_code
    assert "h.csv, line 2" in answer.text
    assert "h.csv, line 3" in answer.text
    assert 'value="77"' in answer.text
    assert antenna(client, address) is None


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"azimuth_deg": "north"}, "&#39;north&#39; is no number"),
        ({"electrical_tilt_deg": "95"}, "electrical_tilt_deg"),
        ({"azimuth_from": "magnetic north"}, "needs azimuth_date"),
        ({"azimuth_from": "magnetic north", "azimuth_date": "2019-01-01"}, "a day from 2025 to 2029"),
    ],
)
def test_angles_that_make_no_sense_are_refused(
    post: Callable[..., Any], client: TestClient, address: str, typed: dict[str, str], said: str
) -> None:
    """Each in words, and nothing is saved; so is a bearing of a day that the magnetic model does not cover."""
    answer = sent(post, address, 1, **typed)

    assert 422 == answer.status_code
    assert said in answer.text
    assert antenna(client, address) is None


def test_a_doubtful_table_is_saved_and_questioned(post: Callable[..., Any], client: TestClient, address: str) -> None:
    """A table that nowhere reaches 0 dB is usable; the notice says what is odd about it."""
    sent(post, address, 1, files={"horizontal": ("h.csv", "0,3\n20,4\n40,5\n60,6\n340,5\n")})

    assert "the least attenuation is 3 dB" in client.get(address).text
    assert antenna(client, address) is not None


def test_the_site_page_leads_there(client: TestClient, address: str) -> None:
    """The site's page links to its antenna."""
    assert f'href="{address}"' in client.get(address.removesuffix("/antenna")).text
