"""The guide has a part for every page, names pages as they are called, and its figures are those of the equations."""

import math
import re

import pytest
from starlette.testclient import TestClient

from webapp.front.guide import FOLDER, guide
from webapp.shell.tabs import GROUPS

TEXT = "\n".join(file.read_text(encoding="utf-8") for file in sorted(FOLDER.glob("*.md")))
C_KM_PER_US = 0.299792458


def test_every_page_of_a_network_has_its_part() -> None:
    """A heading for each group and each page, called as the navigation calls it."""
    held = {(chapter.anchor, chapter.title, chapter.level) for chapter in guide()[0]}
    for group in GROUPS:
        assert (group.label, 1) in {(title, level) for _, title, level in held}
        for tab in group.tabs:
            assert (tab.key, tab.label, 2) in held


def test_anchors_are_there_once() -> None:
    """A link opens one place."""
    anchors = [chapter.anchor for chapter in guide()[0]]
    assert len(anchors) == len(set(anchors))
    assert re.findall(r'id="([^"]+)"', str(guide()[1])) == anchors


def test_pages_that_it_sends_to_exist() -> None:
    """Every "Group › Page" is one of the navigation."""
    sent = set(re.findall(r"\*([A-Z][a-z ]+) › ([^*]+)\*", TEXT))
    assert len(sent) > 8
    assert sent <= {(group.label, tab.label) for group in GROUPS for tab in group.tabs}


def test_its_figures_are_those_of_the_equations() -> None:
    """Travel time for a refractivity of 315 (ITU-R P.453); equal-delay lines between and beyond two sites."""
    us_per_km = 1.000315 / C_KM_PER_US
    assert f"{us_per_km:.3f} µs a kilometre" in TEXT
    assert f"{2 * us_per_km:.2f} µs a kilometre" in TEXT
    assert f"±3 µs is ±{1000 * 3 / (2 * us_per_km):.0f} m" in TEXT
    # 10 km beyond the second of two sites 20 km apart, on the axis and off it: how far from both, against on the axis.
    apart, out = 20.0, 10.0
    found = []
    for angle in (0, 30, 60):
        x, y = out * math.cos(math.radians(angle)), out * math.sin(math.radians(angle))
        found.append((math.hypot(apart + x, y) - out - apart) * us_per_km)
    assert [round(one, 1) for one in found] == pytest.approx([0.0, -3.0, -11.8], abs=0.051)
    assert "it is 0, -3.0 and -11.8 µs at 0, 30 and 60 degrees" in TEXT


def test_every_page_leads_to_its_part(client: TestClient, store, example) -> None:
    """The link in the head of a page goes to what the guide says of it."""
    number = store.create(example, author="AE", reason="test").network_id
    assert 'href="/guide"' in client.get("/").text
    assert f'href="/guide#{"delays"}"' in client.get(f"/networks/{number}/delays").text
    page = client.get("/guide")
    assert page.status_code == 200
    assert '<table class="list">' in page.text
    assert "{#" not in page.text
