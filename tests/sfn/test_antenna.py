"""Antenna patterns: read, turned, tilted, and errors that name the line."""

import contextlib
import pickle
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, strategies as st

from sfn.antenna import Contradiction, Pattern, attenuation, contradictions, declination, pattern, read_table
from sfn.errors import PlanError
from sfn.plan import Antenna

CARDIOID = tuple((float(a), 10.0 * (1 - np.cos(np.radians(a)))) for a in range(360))
BEAM = tuple((float(e), min(30.0, 3.0 * (e / 2.0) ** 2)) for e in range(-90, 91))
EAST = Pattern(90.0, 0.0, 0.0, CARDIOID, BEAM, None, None)


def test_the_maximum_points_along_the_azimuth() -> None:
    """No attenuation along the azimuth, most behind, alike on both sides."""
    found = attenuation(EAST, [90.0, 270.0, 60.0, 120.0], elevation_deg=0.0, plane="h")

    assert [0.0, 20.0] == pytest.approx(list(found[:2]))
    assert found[2] == pytest.approx(found[3])


def test_between_angles_decibels_are_linear_and_the_circle_closes() -> None:
    """A table at 0, 90, 180, 270 is interpolated through 315 degrees as anywhere else."""
    table = ((0.0, 0.0), (90.0, 6.0), (180.0, 20.0), (270.0, 8.0))
    found = attenuation(
        replace(EAST, azimuth_deg=0.0, horizontal_h=table), [45, 315, 359.99, -90], elevation_deg=0, plane="h"
    )

    assert [3.0, 4.0, 0.0, 8.0] == pytest.approx(list(found), abs=1e-2)


def test_electrical_tilt_lowers_the_beam_all_round() -> None:
    """With 2 degrees of electrical tilt the maximum lies 2 degrees below the horizon, in front and behind."""
    tilted = replace(EAST, horizontal_h=None, electrical_tilt_deg=2.0)

    assert [0.0, 0.0, 3.0] == pytest.approx(
        list(attenuation(tilted, [90.0, 270.0, 90.0], elevation_deg=[-2.0, -2.0, 0.0], plane="h"))
    )


def test_mechanical_tilt_lowers_the_front_and_lifts_the_back() -> None:
    """With 2 degrees of mechanical tilt the maximum is 2 below in front, 2 above behind, level to the sides."""
    tilted = replace(EAST, horizontal_h=None, mechanical_tilt_deg=2.0)

    assert [0.0, 0.0, 0.0] == pytest.approx(
        list(attenuation(tilted, [90.0, 270.0, 0.0], elevation_deg=[-2.0, 2.0, 0.0], plane="h")), abs=1e-9
    )


def test_each_plane_has_its_tables() -> None:
    """The vertical plane has no table here, so it radiates alike everywhere."""
    assert 0.0 == float(attenuation(EAST, 270.0, elevation_deg=-30.0, plane="v"))


def test_an_unknown_direction_has_no_attenuation() -> None:
    """NaN in, NaN out."""
    assert np.isnan(attenuation(EAST, np.nan, elevation_deg=0.0, plane="h"))


def test_a_magnetic_bearing_is_turned_to_true_north() -> None:
    """Six degrees of westerly declination make a magnetic 100 a true 94."""
    antenna = Antenna(azimuth_deg=100.0, azimuth_from="magnetic north", azimuth_date="2026-09-14", horizontal=CARDIOID)
    found = pattern(antenna, lat_deg=36.3, lon_deg=-84.2, ground_m=850.0)

    assert 94.0 == pytest.approx(found.azimuth_deg, abs=0.1)
    assert found.horizontal_v == found.horizontal_h
    assert found == pickle.loads(pickle.dumps(found))


def test_declination_meets_the_models_report(published) -> None:
    """Test values of the World Magnetic Model 2025."""
    for lat_deg, lon_deg, theirs in ((80.0, 0.0, 1.28), (0.0, 120.0, -0.16), (-80.0, 240.0, 68.78)):
        published(
            f"declination at {lat_deg:g}, {lon_deg:g} on 1 January 2025",
            declination(lat_deg, lon_deg, ground_m=0.0, day=date(2025, 1, 1)),
            theirs,
            tolerance=0.006,
            unit="degrees",
            source="World Magnetic Model 2025 report, test values, from memory",
        )


def test_a_day_beyond_the_model_is_refused() -> None:
    """The model ends in 2029."""
    with pytest.raises(ValueError, match="must be from 2025 to 2029, got 2019-05-01"):
        declination(36.0, -84.0, ground_m=0.0, day=date(2019, 5, 1))


@pytest.mark.parametrize(
    "text",
    ["angle_deg,attenuation_db\n0,0\n90,6.5\n180,20\n", "# mine\n0;0\n90;6,5\n\n180;20\n", "0\t0\n90\t6.5\n180\t20"],
)
def test_tables_are_read_as_people_write_them(text: str) -> None:
    """Comma, semicolon with decimal comma, and tab give the same table."""
    assert ((0.0, 0.0), (90.0, 6.5), (180.0, 20.0)) == read_table(text, kind="horizontal")[0]


def test_every_bad_line_is_named() -> None:
    """A missing column, text, an angle out of range and a gain are refused together, each with its line."""
    with pytest.raises(PlanError) as caught:
        read_table("angle_deg,attenuation_db\n0,0\n10\n20,ten\n400,3\n40,-3\n0,5\n", kind="horizontal")

    assert [
        ("line 3", "has 1 columns", "two: angle in degrees, attenuation in dB"),
        ("line 4", "attenuation_db is 'ten'", "a number"),
        ("line 5", "angle_deg is 400", "-180 to 360 degrees"),
        ("line 6", "attenuation_db is -3", "0 or more: attenuation, not gain"),
        (
            "line 7",
            "0 degrees has 5 dB here and 0 dB on line 2",
            "one attenuation for each angle (0 and 360 are the same)",
        ),
    ] == [(p.where, p.what, p.expected) for p in caught.value.problems]


def test_gaps_and_a_missing_maximum_are_questioned() -> None:
    """A table that starts at 3 dB and leaves out half the circle is usable, with two warnings."""
    _, problems = read_table("0,3\n30,4\n60,5\n90,6\n120,7\n150,8\n180,9\n", kind="horizontal")

    assert ["the least attenuation is 3 dB", "nothing is given between 180 and 0 degrees"] == [p.what for p in problems]
    assert {"warning"} == {p.severity for p in problems}


def test_an_empty_file_is_refused() -> None:
    """Two angles are the least."""
    with pytest.raises(PlanError, match="holds 0 angles"):
        read_table("angle_deg,attenuation_db\n", kind="vertical")


@given(st.text(max_size=60) | st.lists(st.tuples(st.floats(), st.floats()), max_size=6).map(lambda rows: "\n".join(f"{a},{b}" for a, b in rows)))  # fmt: skip
def test_no_file_gives_a_traceback(text: str) -> None:
    """Whatever the text, the answer is a table in order of angle, or problems."""
    for kind in ("horizontal", "vertical"):
        with contextlib.suppress(PlanError):
            table, _ = read_table(text, kind=kind)
            assert list(table) == sorted(table)


def test_a_direction_with_two_attenuations_is_named_and_the_greater_counts() -> None:
    """0 and 360 degrees, -90 and 270, and an angle given twice are one direction; alike they contradict nothing."""
    around = ((0.0, 0.0), (90.0, 6.0), (270.0, 3.0), (-90.0, 8.0), (360.0, 10.0))
    hanging = replace(EAST, azimuth_deg=0.0, horizontal_h=around, vertical_h=((0.0, 4.0), (0.0, 1.0), (5.0, 9.0)))

    assert (Contradiction(0.0, 0.0, 360.0, 10.0), Contradiction(270.0, 3.0, -90.0, 8.0)) == contradictions(
        around, kind="horizontal"
    )
    assert (Contradiction(0.0, 1.0, 0.0, 4.0),) == contradictions(hanging.vertical_h or (), kind="vertical")
    assert () == contradictions(((0.0, 2.0), (360.0, 2.0), (180.0, 1.0)), kind="horizontal")
    assert () == contradictions(((-90.0, 2.0), (90.0, 3.0)), kind="vertical")
    assert [14.0, 12.0] == list(attenuation(hanging, [0.0, 270.0], elevation_deg=0.0, plane="h"))


def test_a_file_that_contradicts_itself_is_refused_by_its_code() -> None:
    """The line, and both attenuations as data."""
    with pytest.raises(PlanError) as refused:
        read_table("0,0\n180,20\n360,3\n", kind="horizontal")

    (problem,) = refused.value.problems
    assert ("antenna-contradicts-itself", "line 3") == (problem.code, problem.where)
    assert {"angle_deg": 360.0, "loss_db": 3.0, "other_loss_db": 0.0} == problem.values
