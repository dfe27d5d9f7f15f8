"""Smooth earth: properties, ranges and the interim level model."""

import numpy as np
import pytest

from sfn.propagation.free_space import slant_loss
from sfn.propagation.smooth_earth import diffraction_loss, effective_radius, smooth_earth_loss

ARGUMENTS = {"frequency_mhz": 600.0, "tx_height_m": 150.0, "rx_height_m": 10.0, "polarisation": "H"}


def test_loss_grows_with_distance():
    """Further away is never stronger, from the mast to 300 km."""
    loss = smooth_earth_loss(np.linspace(0.3, 300.0, 3000), **ARGUMENTS)

    assert np.all(np.diff(loss) > 0.0)


def test_swapping_the_antennas_changes_nothing():
    """Diffraction over the smooth earth is reciprocal."""
    distance_km = np.linspace(1.0, 150.0, 200)
    there = diffraction_loss(
        distance_km, frequency_mhz=98.0, tx_height_m=300.0, rx_height_m=10.0, radius_km=8500.0, polarisation="V"
    )
    back = diffraction_loss(
        distance_km, frequency_mhz=98.0, tx_height_m=10.0, rx_height_m=300.0, radius_km=8500.0, polarisation="V"
    )

    assert np.max(np.abs(there - back)) < 1e-9


def test_arrays_and_scalars_agree():
    """An array of distances and heights gives what each element gives alone."""
    distance_km, heights_m = np.array([0.1, 5.0, 40.0, 90.0]), np.array([10.0, 1.5, 30.0, 200.0])
    together = smooth_earth_loss(distance_km, **ARGUMENTS | {"rx_height_m": heights_m})
    alone = [
        smooth_earth_loss(d, **ARGUMENTS | {"rx_height_m": h}) for d, h in zip(distance_km, heights_m, strict=True)
    ]

    assert np.array_equal(np.array(alone), together)


def test_beside_the_mast_it_is_free_space():
    """Below 0.25 km, and at the mast itself, the loss is that of the slant distance."""
    near_km = np.array([0.0, 0.1, 0.2499])
    free = slant_loss(near_km, frequency_mhz=600.0, height_difference_m=140.0)

    assert np.array_equal(free, smooth_earth_loss(near_km, **ARGUMENTS))


def test_no_place_stays_no_number():
    """NaN in gives NaN out, never a level."""
    loss = smooth_earth_loss(np.array([np.nan, 10.0]), **ARGUMENTS)

    assert list(np.isnan(loss)) == [True, False]


@pytest.mark.parametrize(
    ("argument", "value", "text"),
    [
        ("frequency_mhz", 0.6, "frequency_mhz must be from 30 to 6000 MHz, got 0.6"),
        ("distance_km", 50_000.0, "distance_km must be from 0 to 3000 km, got 50000.0"),
        ("tx_height_m", 0.15, "tx_height_m must be from 1 to 9000 m, got 0.15"),
        ("rx_height_m", np.array([10.0, -3.0]), "rx_height_m must be from 1 to 9000 m, got -3.0"),
        ("polarisation", "horizontal", "polarisation must be 'H' (horizontal) or 'V' (vertical), got 'horizontal'"),
        ("delta_n", -45.0, "delta_n must be from 0 to 150 N-units/km, got -45.0"),
    ],
)
def test_out_of_range_is_refused_by_name(argument, value, text):
    """A quantity outside its range is refused with name, range, unit and value."""
    arguments = {"distance_km": 20.0} | ARGUMENTS | {argument: value}
    with pytest.raises(ValueError) as refused:  # noqa: PT011 - the text is compared whole below
        smooth_earth_loss(arguments.pop("distance_km"), **arguments)

    assert text == str(refused.value)


def test_refractivity_gradient_lifts_the_horizon():
    """A steeper fall of refractivity bends rays more: a larger radius, less loss."""
    assert effective_radius(0.0) < effective_radius(45.0) < effective_radius(100.0)
    losses = [float(smooth_earth_loss(80.0, **ARGUMENTS, delta_n=delta_n)) for delta_n in (0.0, 45.0, 100.0)]

    assert losses == sorted(losses, reverse=True)
