"""Building entry loss beside the results of ITU-R Study Group 3's workbook for P.2109 (as published with its checks)."""

import math

import numpy as np
import pytest

from sfn.propagation.building import Building, entry_loss

# building, GHz, elevation, % of places, dB
WORKBOOK: list[tuple[Building, float, float, float, float]] = [
    ("traditional", 28.0, 0.0, 1e-3, 0.491),
    ("traditional", 28.0, 0.0, 1.0, 2.769),
    ("traditional", 28.0, 0.0, 10.0, 6.891),
    ("traditional", 28.0, 0.0, 19.95262, 10.644),
    ("traditional", 28.0, 0.0, 99.77001, 55.440),
    ("efficient", 28.0, 0.0, 1e-3, -0.244),
    ("efficient", 28.0, 0.0, 1.0, 9.369),
    ("efficient", 28.0, 0.0, 10.0, 19.484),
    ("efficient", 28.0, 0.0, 99.77001, 95.448),
    ("traditional", 2.0, 45.0, 1.0, 3.508),
    ("traditional", 2.0, 45.0, 10.0, 11.251),
    ("traditional", 2.0, 45.0, 99.77001, 52.300),
    ("efficient", 2.0, 45.0, 1.0, 8.605),
    ("efficient", 2.0, 45.0, 10.0, 20.566),
    ("efficient", 2.0, 45.0, 99.77001, 79.101),
]


@pytest.mark.parametrize(("building", "ghz", "elevation_deg", "places_pct", "loss_db"), WORKBOOK)
def test_the_workbook(building: Building, ghz: float, elevation_deg: float, places_pct: float, loss_db: float) -> None:
    """Within 0.01 dB, the workbook's own tolerance."""
    found = entry_loss(building, frequency_mhz=1000.0 * ghz, places_pct=places_pct, elevation_deg=elevation_deg)
    assert found == pytest.approx(loss_db, abs=0.01)


@pytest.mark.parametrize("building", ["traditional", "efficient"])
def test_medians_by_hand(building: Building) -> None:
    """At 50 % the two medians and -3 dB add as powers: the equations worked out a second time."""
    r, s, t, w, x = {"traditional": (12.64, 3.72, 0.96, 9.1, -3.0), "efficient": (28.19, -3.0, 8.48, 27.8, -2.9)}[
        building
    ]
    for mhz in (98.0, 200.0, 600.0, 860.0):
        lg = math.log10(mhz / 1e3)
        powers = [10 ** (v / 10) for v in (r + s * lg + t * lg**2, w + x * lg, -3.0)]
        assert entry_loss(building, frequency_mhz=mhz) == pytest.approx(10 * math.log10(sum(powers)), abs=1e-6)


def test_more_places_and_better_panes_cost_more() -> None:
    """Losses grow with the share of places, and thermally efficient buildings take more off at every common share."""
    shares = np.linspace(5.0, 95.0, 19)
    for mhz in (98.0, 226.5, 650.0):
        old, new = (
            [entry_loss(kind, frequency_mhz=mhz, places_pct=p) for p in shares] for kind in ("traditional", "efficient")
        )
        assert (np.diff(old) > 0.0).all()
        assert (np.array(new) > np.array(old)).all()


def test_out_of_range_is_refused() -> None:
    """Below 80 MHz, and at all places."""
    with pytest.raises(ValueError, match="frequency_mhz must be from 80"):
        entry_loss("traditional", frequency_mhz=50.0)
    with pytest.raises(ValueError, match="places_pct"):
        entry_loss("traditional", frequency_mhz=600.0, places_pct=100.0)
