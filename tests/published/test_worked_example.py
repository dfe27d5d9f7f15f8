"""The worked example of the network document: pencil, geographiclib, N = 315."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from sfn.answer.delays import document
from sfn.plan import read
from sfn.study.delays import delays

SOURCE = "worked example of the document's contract (pencil, geographiclib)"
TEN_THOUSANDTH_US = 1e-4
ONE_MILLIMETRE_M = 1e-3
EXAMPLE = Path(__file__).parents[1] / "sfn" / "example-network.json"

EXPECTED = {
    ("north", "latency_us"): 122_100.4549,
    ("north", "added_us"): 500.0,
    ("north", "set_us"): 500.0,
    ("north", "rounding_us"): 0.0,
    ("south", "latency_us"): 16_205.2866,
    ("south", "added_us"): 106_382.6682,
    ("south", "set_us"): 106_382.7,
    ("south", "rounding_us"): 0.0318,
    ("south", "launch_us"): 122_587.9866,
    ("gap", "latency_us"): 122_645.8331,
    ("gap", "least_offset_us"): 45.3782,
    ("gap", "added_us"): 14.6218,
    ("gap", "set_us"): 14.5,
    ("gap", "rounding_us"): -0.1218,
    ("gap", "launch_us"): 122_660.3331,
}
GROUND = {("north", "gap"): 11_347.3688, ("north", "south"): 18_658.4113, ("south", "gap"): 8_514.2183}


@pytest.fixture(scope="module")
def answer() -> dict:
    """The answer of `delays` for the example."""
    found = document(delays(read(EXAMPLE.read_text(encoding="utf-8"))))
    return json.loads(json.dumps(found, allow_nan=False))


def test_common_delay(answer: dict, published: Callable[..., None]) -> None:
    """The slowest chain and its margin give the common delay."""
    published(
        "example: common delay",
        answer["common_delay_us"],
        122_600.4549,
        tolerance=TEN_THOUSANDTH_US,
        unit="us",
        source=SOURCE,
    )


@pytest.mark.parametrize(("site", "key"), EXPECTED)
def test_delay_table(answer: dict, published: Callable[..., None], site: str, key: str) -> None:
    """Each intermediate of each row, in the example's order."""
    row = next(row for row in answer["sites"] if row["id"] == site)

    published(
        f"example: {site} {key}", row[key], EXPECTED[site, key], tolerance=TEN_THOUSANDTH_US, unit="us", source=SOURCE
    )


def test_the_setting_of_south_is_split_over_two_fields(answer: dict) -> None:
    """106 ms in the codec and 382.7 us in the exciter."""
    south = next(row for row in answer["sites"] if row["id"] == "south")

    assert [("codec delay", "ms", 106.0), ("exciter delay", "us", 382.7)] == [
        (f["name"], f["unit"], f["value"]) for f in south["fields"]
    ]


@pytest.mark.parametrize("pair", GROUND)
def test_ground_distances(answer: dict, published: Callable[..., None], pair: tuple[str, str]) -> None:
    """Geodesics between the sites."""
    found = next(p for p in answer["pairs"] if {p["a"], p["b"]} == set(pair))

    published(
        f"example: ground {pair[0]}-{pair[1]}",
        found["ground_m"],
        GROUND[pair],
        tolerance=ONE_MILLIMETRE_M,
        unit="m",
        source=SOURCE,
    )
