"""The exact path: properties on random terrains, ranges, and what the answer carries."""

import math
from functools import partial

import numpy as np
import pytest

from sfn.propagation.bullington import bullington_loss
from sfn.propagation.free_space import slant_loss
from sfn.propagation.p1812 import path_loss

ROUND_OFF_DB = 1e-9
FLAT = {
    "zone": "inland", "frequency_mhz": 600.0, "tx_height_m": 150.0, "rx_height_m": 10.0, "polarisation": "H",
    "time_pct": 50.0, "latitude_deg": 50.0,
}  # fmt: skip
STEPS_KM = np.arange(101) / 10.0


def turned_round(path):
    """The same path from the other end."""
    turned = path | {name: path[name][::-1] for name in ("ground_m", "cover_m", "zone")}
    turned["distance_km"] = path["distance_km"][-1] - path["distance_km"][::-1]
    return turned | {"tx_height_m": path["rx_height_m"], "rx_height_m": path["tx_height_m"]}


@pytest.mark.parametrize("seed", range(60))
def test_diffraction_is_reciprocal(random_path, seed):
    """Diffraction, line of sight and scatter are the same both ways."""
    path = random_path(seed)
    there, back = (path_loss(**p).intermediates for p in (path, turned_round(path)))

    for name in ("Ld50", "Ldb", "Ldp", "Lb0p", "Lbs", "beta0", "omega", "theta"):
        assert abs(there[name] - back[name]) < ROUND_OFF_DB, name


@pytest.mark.parametrize("seed", range(60))
def test_rarer_is_stronger(random_path, seed):
    """The loss not exceeded for less of the time is never greater."""
    path = random_path(seed)
    losses = [path_loss(**path | {"time_pct": p}).loss_db for p in (1.0, 3.0, 10.0, 30.0, 50.0)]

    assert losses == sorted(losses)


@pytest.mark.parametrize("seed", range(60))
def test_a_higher_obstacle_never_helps(random_path, seed):
    """Raising one point of the profile never lowers its Bullington loss."""
    path = random_path(seed)
    d, h = path["distance_km"], path["ground_m"]
    loss = partial(
        bullington_loss, d, tx_m=h[0] + path["tx_height_m"], rx_m=h[-1] + path["rx_height_m"], radius_km=8500.0,
        frequency_mhz=path["frequency_mhz"],
    )  # fmt: skip
    before = loss(h)
    for at in np.random.default_rng(seed).integers(1, len(d) - 1, 10):
        raised = h.copy()
        raised[at] += 20.0
        assert loss(raised) >= before - ROUND_OFF_DB


@pytest.mark.parametrize("seed", range(40))
def test_no_loss_is_less_than_the_best_line_of_sight(random_path, seed):
    """Every loss is at least Lb0p, every diffraction loss at least zero, and field follows loss."""
    path = random_path(seed)
    answer = path_loss(**path)
    named = answer.intermediates

    assert answer.loss_db >= named["Lb0p"]
    assert min(named["Ld50"], named["Ldb"], named["Ldp"]) >= 0.0
    assert abs(answer.field_dbuvm + answer.loss_db - 199.36 - 20 * math.log10(path["frequency_mhz"] / 1e3)) < 1e-9
    assert all(math.isfinite(value) for value in named.values())


def test_spacing_of_the_profile_does_not_matter_where_nothing_stands():
    """Over flat ground a fine and an irregular profile give nearly the same loss."""
    fine = np.linspace(0.0, 40.0, 2001)
    irregular = np.sort(np.concatenate([[0.0, 40.0], np.random.default_rng(1).uniform(0.0, 40.0, 1500)]))
    losses = [path_loss(d, 0.0 * d, **FLAT).loss_db for d in (fine, irregular)]

    assert abs(losses[0] - losses[1]) < 0.01


def test_cover_at_the_ends_does_not_count():
    """A wood at the receiver's own point changes nothing; one on the way does."""
    wood = np.zeros_like(STEPS_KM)
    wood[[0, -1]] = 30.0
    bare, ends = (path_loss(STEPS_KM, 0 * STEPS_KM, cover_m=c, **FLAT).loss_db for c in (None, wood))
    wood[95] = 30.0

    assert bare == ends
    assert path_loss(STEPS_KM, 0 * STEPS_KM, cover_m=wood, **FLAT).loss_db > bare + 1.0


def test_places_shift_the_loss_on_land_and_not_at_sea():
    """95 % of places cost 9.05 dB with 5.5 dB on land, nothing at sea."""
    wanted = {"location_pct": 95.0, "location_sigma_db": 5.5}
    for zone, expected in (("inland", 9.0487), ("sea", 0.0)):
        arguments = FLAT | {"zone": zone}
        median = path_loss(STEPS_KM, 0 * STEPS_KM, **arguments).loss_db
        many = path_loss(STEPS_KM, 0 * STEPS_KM, **arguments | wanted).loss_db
        assert abs(many - median - expected) < 1e-4


def test_a_ridge_hides_the_transmitter():
    """A hill ends the line of sight and lifts the elevation of the horizon that the transmitter sees."""
    hill = np.where(np.abs(STEPS_KM - 4.0) < 0.05, 300.0, 0.0)
    clear, hidden = (path_loss(STEPS_KM, h, **FLAT) for h in (0 * hill, hill))

    assert (clear.line_of_sight, hidden.line_of_sight) == (True, False)
    assert clear.tx_elevation_deg < 0.0 < hidden.tx_elevation_deg
    assert abs(hidden.tx_elevation_deg - math.degrees(math.atan(150.0 / 4000.0 - 4.0 / 2 / 8930.8))) < 1e-4
    assert hidden.intermediates["dlt"] == 4.0


@pytest.mark.parametrize("distances_km", [[0.0, 0.05, 0.1, 0.15, 0.2, 0.24], [0.0, 1.0, 2.0, 3.0]])
def test_too_near_or_too_few_points_is_free_space(distances_km):
    """Where P.1812 does not apply the loss is that of free space."""
    answer = path_loss(distances_km, np.zeros(len(distances_km)), **FLAT)

    assert answer.loss_db == float(slant_loss(distances_km[-1], frequency_mhz=600.0, height_difference_m=140.0))
    assert answer.line_of_sight


def test_distance_to_the_coast_is_measured_unless_given():
    """The land between an antenna and the sea is taken half-way between points, or as given."""
    zone = ["coast"] * 11 + ["sea"] * 90
    measured = path_loss(STEPS_KM, 0 * STEPS_KM, **FLAT | {"zone": zone}).intermediates
    given = path_loss(STEPS_KM, 0 * STEPS_KM, **FLAT | {"zone": zone}, tx_coast_km=3.0, rx_coast_km=2.0).intermediates

    assert (round(measured["dct"], 9), measured["dcr"]) == (1.05, 0.0)
    assert (given["dct"], given["dcr"]) == (3.0, 0.0)
    assert path_loss(STEPS_KM, 0 * STEPS_KM, **FLAT).intermediates["dct"] == 500.0


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"frequency_mhz": 0.6}, "frequency_mhz must be from 30 to 6000 MHz, got 0.6"),
        ({"frequency_mhz": 7000.0}, "frequency_mhz must be from 30 to 6000 MHz, got 7000.0"),
        ({"tx_height_m": 0.0}, "tx_height_m must be from 1 to 3000 m, got 0.0"),
        ({"rx_height_m": 4000.0}, "rx_height_m must be from 1 to 3000 m, got 4000.0"),
        ({"time_pct": 0.1}, "time_pct must be from 1 to 50 %, got 0.1"),
        ({"time_pct": 90.0}, "time_pct must be from 1 to 50 %, got 90.0"),
        ({"latitude_deg": 91.0}, "latitude_deg must be from -90 to 90 deg, got 91.0"),
        ({"delta_n": -45.0}, "delta_n must be from 0 to 150 N-units/km, got -45.0"),
        (
            {"surface_refractivity_n0": 1.000325},
            "surface_refractivity_n0 must be from 200 to 500 N-units, got 1.000325",
        ),
        ({"location_pct": 100.0}, "location_pct must be from 1 to 99 %, got 100.0"),
        ({"location_sigma_db": -1.0}, "sigma_db must be from 0 to 30 dB, got -1.0"),
        ({"polarisation": "X"}, "polarisation must be 'H' (horizontal) or 'V' (vertical), got 'X'"),
        ({"zone": "ocean"}, "zone must be inland, coast, sea, got 'ocean'"),
        ({"zone": ["sea"]}, "zone must have one value a distance, 101, got (1,)"),
        ({"ground_m": np.full(101, np.nan)}, "ground_m must be from -500 to 9000 m, got nan at point 1"),
        ({"cover_m": np.full(101, -1.0)}, "cover_m must be from 0 to 1000 m, got -1.0 at point 1"),
        ({"distance_km": STEPS_KM + 1.0}, "distance_km must begin at 0 km (the transmitter), got 1.0"),
        ({"distance_km": STEPS_KM * 1000.0}, "distance_km must be from 0 to 3000 km, got 10000.0"),
        ({"distance_km": np.sin(STEPS_KM)}, "distance_km must grow from point to point, got "),
        ({"distance_km": [0.0]}, "distance_km must be one row of 2 or more points, got shape (1,)"),
        ({"tx_coast_km": -1.0}, "tx_coast_km must be from 0 to 3000 km, got -1.0"),
    ],
)
def test_out_of_range_is_refused_by_name(change, text):
    """A quantity outside its range is refused with name, range, unit and value."""
    arguments = {"distance_km": STEPS_KM, "ground_m": 0 * STEPS_KM} | FLAT | change
    with pytest.raises(ValueError) as refused:  # noqa: PT011 - the text is compared below
        path_loss(**arguments)

    assert str(refused.value).startswith(text)
