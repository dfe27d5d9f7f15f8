"""Levels at points: what is added, what is refused, what is said when no terrain is known."""

import pickle
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from sfn.field.levels import Transmitter, levels_at
from sfn.geodesy.line import direct

NORTH = Transmitter(
    id="north", lat_deg=36.37, lon_deg=-84.25, ground_m=0.0, antenna_m=150.0, erp_h_kw=1.0, erp_v_kw=0.1,
    frequency_mhz=98.3, delta_n=45.0, surface_refractivity_n0=325.0,
)  # fmt: skip


def test_one_kilowatt_near_by_is_free_space() -> None:
    """1 kW e.r.p. at 1 km slant distance is 106.96 dBuV/m, nothing else in the way."""
    found = levels_at(replace(NORTH, antenna_m=1001.5), 36.37, -84.25, rx_height_m=1.5)

    assert 106.96 == pytest.approx(float(found.level_dbuvm), abs=1e-5)


@pytest.mark.parametrize("copies", [1, 40])
def test_without_terrain_it_is_p1812_over_flat_ground(published: Callable[..., None], copies: int) -> None:
    """Single points and many points meet the reference's losses over flat ground, at both percentages."""
    flat = replace(NORTH, lat_deg=50.0, lon_deg=7.0, frequency_mhz=600.0, erp_v_kw=0.0)
    lat, lon = direct(50.0, 7.0, azimuth_deg=[0.0] * copies, ground_m=[50_000.0] * copies)
    found = levels_at(flat, lat, lon, rx_height_m=10.0)
    for level, loss, time in ((found.level_dbuvm, 132.813905, 50), (found.level_1pct_dbuvm, 123.364904, 1)):
        published(
            f"loss over 50 km of flat ground at {time} % of time, {copies} at once",
            199.36 + 20 * np.log10(0.6) - float(level[-1]),
            loss,
            tolerance=2e-3,
            unit="dB",
            source="P.1812 reference implementation, DN 45, N0 325",
            reason="latitude of the path's centre, on the ellipsoid here",
        )

    assert found.smooth
    assert found.covered.all()


def test_the_stronger_plane_counts_unless_the_receiver_says() -> None:
    """H is ten times V: 10 dB between the planes, and the stronger when the receiver does not say."""
    high = replace(NORTH, antenna_m=1500.0)
    either, h, v = (
        levels_at(high, 36.37, -84.25, rx_height_m=1.5, receiver_polarisation=p).level_dbuvm for p in (None, "h", "v")
    )

    assert float(either) == float(h)
    assert 10.0 == pytest.approx(float(h - v), abs=1e-9)


def test_a_plateau_is_not_a_cliff_above_the_sea() -> None:
    """Where the ground of both ends is 1 500 m the level is that of the same antennas at sea level."""
    low = levels_at(replace(NORTH, ground_m=0.0, plain_m=0.0), 36.0, -84.25, rx_height_m=1.5)
    raised = replace(NORTH, ground_m=1500.0, plain_m=1500.0)
    high = levels_at(raised, 36.0, -84.25, rx_height_m=1.5)
    given = levels_at(raised, 36.0, -84.25, rx_height_m=1.5, rx_ground_m=1500.0)
    assert float(high.rx_ground_m) == 1500.0
    assert float(given.level_dbuvm) == pytest.approx(float(high.level_dbuvm), abs=1e-9)

    assert float(low.level_dbuvm) == pytest.approx(float(high.level_dbuvm), abs=1e-9)


def test_nothing_radiated_is_no_level() -> None:
    """A plane without power, and a point beyond the model's 3 000 km, have no level: NaN, never a small number."""
    dark = levels_at(replace(NORTH, erp_v_kw=0.0), 36.4, -84.2, rx_height_m=1.5, receiver_polarisation="v")
    far = levels_at(NORTH, 0.0, 0.0, rx_height_m=1.5)

    assert np.isnan(dark.level_dbuvm)
    assert np.isnan(far.level_dbuvm)


def test_a_transmitter_pickles() -> None:
    """The record travels to another process unchanged."""
    assert NORTH == pickle.loads(pickle.dumps(NORTH))


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"frequency_mhz": 29.0}, "frequency_mhz must be from 30 to 6000 MHz, got 29.0"),
        ({"antenna_m": 0.5}, "antenna_m must be from 1 to 3000 m, got 0.5"),
        ({"erp_h_kw": -1.0}, "erp_h_kw must be from 0 to 100000 kW, got -1.0"),
        ({"lat_deg": 95.0}, "lat_deg must be from -90 to 90 degrees, got 95.0"),
    ],
)
def test_out_of_range_is_refused_by_name(change: dict[str, float], text: str) -> None:
    """What the model does not cover is refused with the field's name, value and range."""
    with pytest.raises(ValueError, match=text):
        replace(NORTH, **change)


def test_a_receiver_in_the_ground_is_refused() -> None:
    """Receiving heights below 1 m are outside the model."""
    with pytest.raises(ValueError, match=r"rx_height_m must be from 1 to 3000 m, got 0.2"):
        levels_at(NORTH, 36.4, -84.2, rx_height_m=0.2)
