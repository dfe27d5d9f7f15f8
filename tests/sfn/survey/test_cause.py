"""Guesses at the cause of a launch error."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from sfn.plan import read, read_file
from sfn.survey.cause import Known, causes, datum_amounts, known_amounts
from sfn.timing import delay_table

NETWORK_FILE = Path(__file__).parent.parent / "example-network.json"
NETWORK = read_file(NETWORK_FILE)
TABLE = delay_table(NETWORK)


def best(site: str, error_us: float, uncertainty_us: float = 0.01) -> str:
    """The first guess in words."""
    known = known_amounts(NETWORK, TABLE, site_id=site)
    return causes(error_us, uncertainty_us=uncertainty_us, known=known).causes[0].what


@pytest.mark.parametrize(
    ("site", "error_us", "words"),
    [
        ("north", 0.45486, "feeder of 120 m 'north-feeder': there, but not counted"),
        ("north", -0.45486, "feeder of 120 m 'north-feeder': counted, but not there, or counted twice"),
        ("north", 0.45486 * 0.12, "counted without its velocity factor"),
        ("south", 25.0, "offset set with the wrong sign"),
        ("south", 12.5, "offset not set"),
        ("north", 1000.0, "one release-delay step of 'north-release', 1000 us, too late"),
        ("north", -500.0, "the old setting instead of the new one"),
        ("south", -382.7, "exciter delay: still at the old value"),
        ("south", -1000.0, "codec delay: one step of 1000 us too early"),
        ("south", 52.632, "a whole period of the 19 kHz pilot, too late"),
        ("north", 500 * 999.0, "codec delay: 500 us taken as ms"),
        ("gap", -29.0, "repeater delay: sign turned"),
        ("gap", 1e6 / 44_100, "one sample of 44.1 kHz, too late"),
        ("south", -1e6 / 48_000, "one sample of 48 kHz, too early"),
    ],
)
def test_the_usual_slips_are_named(site: str, error_us: float, words: str) -> None:
    """An error that equals a slip's amount brings that slip first."""
    assert words in best(site, error_us)


def test_a_standby_chain_is_named() -> None:
    """A second route 7 us faster: on air with the main setting the launch is 7 us early."""
    document = json.loads(NETWORK_FILE.read_text(encoding="utf-8"))
    document["stages"].append({"id": "spare-exciter", "kind": "modulator", "latency_us": 1243.0, "source": "assumed"})
    document["sites"][0]["chains"].append(
        {"route": "standby", "stages": ["studio-converter", "north-release", "spare-exciter", "north-feeder"]}
    )
    network = read(json.dumps(document))
    known = known_amounts(network, delay_table(network), site_id="north")

    assert "the standby chain on air with the main chain's setting" in [
        c.what for c in causes(-7.0, uncertainty_us=0.05, known=known).causes
    ]


def test_an_insignificant_error_gets_no_cause() -> None:
    """Within two standard uncertainties there is nothing to explain."""
    assert () == causes(0.1, uncertainty_us=0.06, known=[Known("something", 0.1)]).causes


def test_an_amount_too_small_to_see_explains_nothing() -> None:
    """A slip of 50 ns cannot be told from none when the error is known to 40 ns."""
    assert () == causes(0.1, uncertainty_us=0.04, known=[Known("small", 0.05)]).causes


def test_chance_is_told() -> None:
    """A sharp error gives few matches by chance, a vague one many."""
    known = [Known(f"slip {k}", 0.1 * k) for k in range(1, 60)]

    assert causes(3.0, uncertainty_us=0.001, known=known).by_chance_n < 0.1
    assert 0.99 < causes(3.0, uncertainty_us=0.5, known=known).by_chance_n <= 1.0


def test_the_chance_of_one_match_is_that_of_drawing() -> None:
    """Errors drawn evenly over what the formula says meet one amount as often as it says."""
    found = causes(3.0, uncertainty_us=0.2, known=[Known("slip", 2.8, 0.15)])
    half = 2 * (0.2**2 + 0.15**2) ** 0.5
    drawn = np.random.default_rng(5).uniform(-3.0 - half, 3.0 + half, 200_000)

    assert np.mean(abs(drawn - 2.8) <= half) == pytest.approx(found.causes[0].chance_ratio, abs=0.004)
    assert found.causes[0].chance_ratio == pytest.approx(found.by_chance_n)


@given(
    error_us=st.floats(-1e3, 1e3),
    uncertainty_us=st.floats(0, 100),
    amounts_us=st.lists(st.floats(-1e4, 1e4), max_size=300),
)
@settings(max_examples=60)
def test_chances_stay_chances(error_us: float, uncertainty_us: float, amounts_us: list[float]) -> None:
    """However many amounts and however vague the error: 0 to 1."""
    found = causes(error_us, uncertainty_us=uncertainty_us, known=[Known("slip", a) for a in amounts_us])

    assert 0.0 <= found.by_chance_n <= 1.0
    assert all(0.0 <= c.chance_ratio <= 1.0 for c in found.causes)


def test_a_datum_shift_moves_the_arrival_by_its_length() -> None:
    """ED50 in the North Sea region lies about 126 m off: up to 0.42 us, early on one side and late on the other."""
    lat, lon = 53.81, 2.13
    amounts = datum_amounts(lat, lon, at_lat_deg=[lat + 0.2], at_lon_deg=[lon + 0.2], refractivity_n=315.0)
    (late,) = [k for k in amounts if "is in ED50, taken as WGS 84" in k.what]
    (early,) = [k for k in amounts if "is in WGS 84, taken as ED50" in k.what]
    both = datum_amounts(
        lat, lon, at_lat_deg=[lat + 0.2, lat - 0.2], at_lon_deg=[lon + 0.2, lon - 0.2], refractivity_n=315.0
    )

    assert 0.3 < late.amount_us < 0.45
    assert late.amount_us == pytest.approx(-early.amount_us, abs=1e-3)
    assert max(k.tolerance_us for k in both) > 0.3


def test_a_datum_whose_area_crosses_the_date_line_is_known() -> None:
    """NAD27 is used from Alaska to Newfoundland."""
    amounts = datum_amounts(36.37, -84.25, at_lat_deg=[36.5], at_lon_deg=[-84.25], refractivity_n=315.0)

    assert any("NAD27" in k.what for k in amounts)


def test_negative_uncertainty_is_refused() -> None:
    """The name and the value are in the message."""
    with pytest.raises(ValueError, match="uncertainty_us must be 0 or more us, got -1"):
        causes(1.0, uncertainty_us=-1, known=[])
