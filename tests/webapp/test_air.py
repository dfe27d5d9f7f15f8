"""Refractivity in the browser: what is in force, maps that are brought, what they would change, taken up; refused in words."""

import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from starlette.testclient import TestClient

from sfn.propagation.p1812 import path_loss
from webapp.config.settings import Settings

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"
ROWS_DEG, COLUMNS_DEG = np.linspace(90.0, -90.0, 121), np.linspace(0.0, 360.0, 241)


def text_map(at_equator: float, a_degree: float) -> bytes:
    """A map that falls evenly from the equator to the poles, as the ITU writes its own."""
    out = io.StringIO()
    np.savetxt(out, np.tile((at_equator - a_degree * np.abs(ROWS_DEG))[:, None], (1, COLUMNS_DEG.size)), fmt="%9.3f")
    return out.getvalue().encode()


DN, N0 = text_map(80.0, 0.5), text_map(380.0, 1.0)


@pytest.fixture
def number(post: Callable[..., Any]) -> str:
    """The ridge network, imported; gives its address."""
    document = RIDGE.read_text(encoding="utf-8")
    return str(post("/networks/import", files={"file": ("n.json", document)}).headers["location"])


def sent(post: Callable[..., Any], number: str, dn: bytes, n0: bytes) -> Any:
    """Maps sent."""
    return post(f"{number}/refractivity/upload", files={"map_dn": ("a.txt", dn), "map_n0": ("b.txt", n0)})


def document(client: TestClient, number: str) -> dict[str, Any]:
    """The network's document."""
    found = client.get(f"/api{number}")
    held: dict[str, Any] = found.json()
    return held.get("document", held)


def test_without_maps_what_is_usual_is_named_as_such(client: TestClient, number: str) -> None:
    """The values in force, that nobody chose them, and advice that says that it is no map."""
    text = client.get(f"{number}/terrain").text

    assert "delta N 45.0 N-units/km and N0 325.0 N-units" in text
    assert "which are taken where nobody says otherwise" in text
    assert "advice by latitude and sea, from memory, no map" in text
    assert "Take up and save" not in text


def test_maps_are_shown_before_they_are_taken_up(client: TestClient, post: Callable[..., Any], number: str) -> None:
    """Sent maps change nothing; the page has their values and what these do, and only then they are saved."""
    assert sent(post, number, DN, N0).status_code == 303
    text = client.get(f"{number}/terrain").text
    assert "Take up and save" in text
    assert document(client, number).get("delta_n", 45.0) == 45.0

    taken = post(f"{number}/refractivity", base_revision="1", author="Ada", reason="r")
    assert taken.status_code == 303
    after = document(client, number)
    middle_deg = (80.0 - after["delta_n"]) / 0.5
    assert 36.17 < middle_deg < 36.45  # the ridge country
    assert after["surface_refractivity_n0"] == pytest.approx(380.0 - middle_deg, abs=0.2)
    text = client.get(f"{number}/terrain").text
    assert "which the ITU&#39;s maps have at the middle" in text.replace("'", "&#39;")
    assert "Take up and save" not in text


def test_the_preview_is_the_model_over_flat_ground(client: TestClient, post: Callable[..., Any], number: str) -> None:
    """Of each distance and share of time: two exact paths over flat ground, one with either air."""
    sent(post, number, DN, N0)
    air = client.get(f"/api/pages{number}/terrain").json()["air"]
    d = np.append(np.arange(0.0, 79.9, 0.25), 80.0)
    row = next(r for r in air["changes"] if r["distance_km"] == 80.0)
    height_m = max(s["antenna_m"] for s in document(client, number)["sites"])

    def loss(dn: float, n0: float, time_pct: float) -> float:
        return float(
            path_loss(
                d, np.zeros(d.size), frequency_mhz=json.loads(RIDGE.read_text())["frequency_mhz"], tx_height_m=height_m,
                rx_height_m=air["rx_height_m"], polarisation="V", time_pct=time_pct, latitude_deg=50.0, delta_n=dn,
                surface_refractivity_n0=n0,
            ).loss_db
        )  # fmt: skip

    offered = air["offered"]["delta_n"], air["offered"]["surface_refractivity_n0"]
    for key, time_pct in (("median_db", 50.0), ("rare_db", 1.0)):
        assert row[key] == pytest.approx(loss(45.0, 325.0, time_pct) - loss(*offered, time_pct), abs=1e-9)
    assert row["rare_db"] > 0.0  # the sent air bends more


@pytest.mark.parametrize(
    ("dn", "n0", "said"),
    [
        (DN, b"", "N050.TXT is not there"),
        (N0, DN, "DN50.TXT holds no map of values from 0 to 200"),
        (b"hello", N0, "DN50.TXT holds no table of numbers"),
        (b"nan nan nan\n" * 3, N0, "DN50.TXT holds no map"),
        (b"45.0 " * 1_700_000, N0, "DN50.TXT has more than 8 MB"),
    ],
)
def test_what_is_no_map_is_refused_and_nothing_kept(
    client: TestClient, post: Callable[..., Any], number: str, settings: Settings, dn: bytes, n0: bytes, said: str
) -> None:
    """Each by its name; earlier maps stay."""
    refused = sent(post, number, dn, n0)

    assert refused.status_code == 422
    assert said in refused.text
    assert not list(settings.data_folder.rglob(".refractivity*"))
    sent(post, number, DN, N0)
    assert sent(post, number, dn, n0).status_code == 422
    assert "Take up and save" in client.get(f"{number}/terrain").text


def test_taking_up_without_maps_is_refused(post: Callable[..., Any], number: str) -> None:
    """There is nothing to take."""
    refused = post(f"{number}/refractivity", base_revision="1", author="Ada", reason="r")

    assert refused.status_code == 422
    assert "both maps sent first" in refused.text
