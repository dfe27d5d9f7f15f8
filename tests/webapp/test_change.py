"""The change plan's page."""

import io
import re
import time
from collections.abc import Callable
from copy import deepcopy
from typing import Any

import pytest
from PIL import Image
from starlette.testclient import TestClient

from tests.sfn.study.test_muting import HALVES, coverage
from webapp.store.documents import network_of
from webapp.store.store import Store
from webapp.work.maps import Maps


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example in two revisions: the south moved by 100 us, a work order written."""
    example["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    made = store.create(example, author="test", reason="test").network_id
    later = deepcopy(example)
    later["sites"][0]["remote"] = True
    for site, offset_us in zip(later["sites"], (50, 87.5, 110), strict=True):
        site["offset_us"] = offset_us
    later["work_order"] = {
        "change_window": "night of the 3rd",
        "permission_reference": "P-17",
        "control_room_contact": "extension 12",
        "rollback_deadline": "04:00",
    }
    store.save(made, later, base_revision=1, author="test", reason="moved")
    return made


def test_the_plan_says_what_to_do_and_how_to_go_back(client: TestClient, number: int) -> None:
    """Old and new value, window, permission, contact, deadline, planes, tolerance and cautions are on the page."""
    html = client.get(f"/networks/{number}/change?against=1").text

    for text in ("P-17", "night of the 3rd", "extension 12", "04:00", "remotely", "by visit", "worst moment"):
        assert text in html
    assert "exciter output" in html
    assert "gives no authority to climb" in html
    assert "100.0000" in html.replace("\u202f", " ")
    assert f"/networks/{number}/sheets/south" in html


def test_what_is_set_now_is_the_usual_start(client: TestClient, number: int) -> None:
    """Without a revision the document's own settings are the old values."""
    html = client.get(f"/networks/{number}/change").text

    assert "what is set now" in html
    assert "No other order has a better worst moment" in html


@pytest.mark.parametrize("against", ["2", "9", "x", "-1"])
def test_only_older_revisions(client: TestClient, number: int, against: str) -> None:
    """Anything else is refused with what would be right."""
    answer = client.get(f"/networks/{number}/change?against={against}")

    assert 422 == answer.status_code
    assert "a revision from 1 to 1" in answer.text


def test_the_map_of_the_worst_moment_is_drawn(client: TestClient, store: Store, number: int) -> None:
    """Once the map has levels, the page shows the area served and a picture of the worst moment."""
    maps: Maps = client.app.state.maps  # type: ignore[attr-defined]
    network = network_of(store.read(number).document, "")
    wanted = maps.wanted(network, bounds=None, pixel_m=None, most=4_000_000)
    maps._keep(wanted.key, coverage(HALVES))  # a real map of the usual size takes half a minute
    html = client.get(f"/networks/{number}/change?against=1").text
    pictures = re.findall(r'class="moment-map" src="([^"]+)"', html)

    assert 'Area served <span class="quiet">by the quick estimate</span>' in html
    assert 2 == len(pictures)
    worst, after = (Image.open(io.BytesIO(client.get(one.replace("&amp;", "&")).content)) for one in pictures)
    assert worst.width == after.width == 1600  # the picture of every map: sites, names, scale bar and legend in it
    assert worst.text["Description"].startswith("TRY, not the plan")  # type: ignore[attr-defined]
    assert after.text["Description"].startswith("plan")  # type: ignore[attr-defined]
    assert "quick estimate" in after.text["Description"]  # type: ignore[attr-defined]


def test_field_strengths_are_worked_out_from_the_plan(
    client: TestClient, post: Callable[..., Any], number: int
) -> None:
    """The button starts the job, and its end leads back to the plan, which then shows the worst moment on a map."""
    assert "Work out field strengths" in client.get(f"/networks/{number}/change").text
    started = post(f"/networks/{number}/change/levels")
    assert 303 == started.status_code
    for _ in range(600):
        job = client.get(started.headers["location"], headers={"Accept": "application/json"}).json()
        if job["state"] not in ("waiting", "running"):
            break
        time.sleep(0.1)
    assert ("finished", f"/networks/{number}/change") == (job["state"], job["result_url"])
    shown = client.get(job["result_url"]).text
    assert "Work out field strengths" not in shown
    assert "judged by the area served" in shown
    assert 'alt="Map of reception at the worst moment"' in shown
