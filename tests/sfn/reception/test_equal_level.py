"""The point on the line between two sites where both are equally strong."""

import json
from pathlib import Path
from typing import Any

import pytest

from sfn.geodesy.line import inverse
from sfn.geodesy.sites import place
from sfn.plan import read
from sfn.reception.equal_level import equal_level_point

EXAMPLE = Path(__file__).parents[1] / "example-network.json"


def point(**second: Any) -> tuple[tuple[float, float], list[float]]:
    """The point between the example's first two sites with the second one changed; and its distances to both. [m]"""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    document["sites"][1].update(second)
    network = read(json.dumps(document))
    placed = place(network)
    found = equal_level_point(network.sites[0], network.sites[1], network, placed=placed)
    ends = [placed[site.id] for site in network.sites[:2]]
    return found, [float(inverse(*found, end.lat_deg, end.lon_deg)[0]) for end in ends]


def test_nearer_to_the_weaker() -> None:
    """Half a kilowatt against three: the point lies nearer to the weaker site, on the line."""
    _, (to_north, to_south) = point()
    assert to_south < to_north
    assert to_north + to_south == pytest.approx(18_658.4113, abs=0.01)


@pytest.mark.parametrize(
    "second",
    [
        {"position": {"text": "-36.2, 95.8", "crs": "EPSG:4326"}},
        {"position": {"text": "52.8, 10.0", "crs": "EPSG:4326"}},
        {"erp_kw": {"h": 0, "v": 0}},
    ],
)
def test_levels_that_cannot_be_compared_give_the_middle(second: dict[str, Any]) -> None:
    """A slip that puts a site on another continent must not hide the delay table that would show it."""
    found, (to_north, to_south) = point(**second)
    assert all(abs(degrees) <= 180 for degrees in found)
    assert to_north == pytest.approx(to_south, rel=0.02)
