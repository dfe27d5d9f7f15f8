"""Every doubt about a position reaches the check, of its own site, as grave as what it is worth."""

import json
from pathlib import Path
from typing import Any

import pytest

from sfn.check.doubts import consequence_of
from sfn.check.positions import position_problems
from sfn.geodesy.sites import place
from sfn.plan import Network, read
from sfn.timing.tolerated import tolerated_error

EXAMPLE = Path(__file__).parents[1] / "example-network.json"
LIGHT_M_PER_US = 299.792458 / 1.000315


def network(position: dict[str, Any], *, at: int = 1) -> Network:
    """The example with one site somewhere else."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    document["sites"][at]["position"] = position
    return read(json.dumps(document))


@pytest.mark.parametrize(
    ("position", "code", "severity", "worth_m"),
    [
        ({"text": "36.2, -84.2"}, "position-coarse", "error", 11_113.2),
        ({"text": "36.205, -84.210"}, "position-coarse", "warning", 111.13),
        ({"text": "16SGF5011"}, "position-kilometre-square", "error", 1000.0),
        ({"text": "16 north 751000 4009000"}, "position-kilometre-square", "error", 1000.0),
        ({"text": "0, 0"}, "position-zero", "error", 20_004_000.0),
        ({"text": "36.20500, -84.21000", "crs": "EPSG:4267"}, "position-datum", "warning", 10.0),
    ],
)
def test_a_doubt_is_an_error_where_it_is_worth_more_than_may_stay(
    position: dict[str, Any], code: str, severity: str, worth_m: float
) -> None:
    """The worth in metres, the microseconds that light takes for it, the site by its id."""
    changed = network(position)
    assert 0.5 == tolerated_error(changed)

    (problem,) = [p for p in position_problems(changed, place(changed)) if p.code == code and "site " in p.what]

    assert severity == problem.severity
    assert (("south",), True) == (problem.sites, problem.where.startswith("sites[1].position."))
    assert worth_m == pytest.approx(problem.values["doubt_m"], rel=0.02)
    assert worth_m / LIGHT_M_PER_US == pytest.approx(problem.values["doubt_us"], rel=0.02)


def test_a_slip_that_brings_a_site_back_is_an_error_of_that_site_alone() -> None:
    """The sign of a longitude lost: worth the way round, at the site's own place in the document also without the first."""
    changed = network({"text": "36.20500, 84.21000"}, at=2)
    placed = place(changed)
    del placed["north"]

    found = [p for p in position_problems(changed, {**place(changed)}) if p.code == "position-slip"]
    partial = position_problems(changed, placed)

    assert [("error", ("gap",), "sites[2].position")] == [(p.severity, p.sites, p.where) for p in found]
    assert {"sites[1].position", "sites[2].position"} == {p.where for p in partial if p.code == "position-slip"}


def test_sound_positions_raise_nothing() -> None:
    """The example has no doubtful position."""
    sound = read(EXAMPLE.read_text(encoding="utf-8"))

    assert () == position_problems(sound, place(sound))


def test_an_exchange_withholds_and_a_shared_position_is_signed_for() -> None:
    """The exchange is worth far more than may stay; a named mast settles the other."""
    swapped = network({"easting_m": 303_890.5, "northing_m": 402_340.5, "crs": "EPSG:27700"})
    document = json.loads(swapped.model_dump_json(exclude_none=True))
    for at, (easting, northing) in {0: (400_120, 300_230), 2: (408_340, 305_450)}.items():
        document["sites"][at]["position"] = {"easting_m": easting, "northing_m": northing, "crs": "EPSG:27700"}
    slipped = read(json.dumps(document))
    (slip,) = [p for p in position_problems(slipped, place(slipped)) if p.code == "position-slip"]
    assert ("south", "withheld") == (*slip.sites, consequence_of(slip, tolerated_us=tolerated_error(slipped)))

    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    document["sites"][1]["position"] = document["sites"][0]["position"]
    at_one = read(json.dumps(document))
    (shared,) = [p for p in position_problems(at_one, place(at_one)) if p.code == "position-shared"]
    assert (("north", "south"), "sign-off") == (shared.sites, consequence_of(shared, tolerated_us=0.5))
    for site in document["sites"][:2]:
        site["mast"] = "Ridge tower"
    named = read(json.dumps(document))
    assert "position-shared" not in [p.code for p in position_problems(named, place(named))]
