"""Feet or metres, easting or northing first: recognised, refused or doubted, never taken silently."""

import math
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st
from pyproj import CRS, Geod, Transformer

from sfn.errors import PlanError
from sfn.geodesy.position import Located, locate

# 1200/3937 m by definition (US survey foot), 0.3048 m by definition (international foot).
SURVEY_M, INTERNATIONAL_M = 1200 / 3937, 0.3048
LIGHT_M_PER_US = 299.792458 / 1.000315
EARTH = Geod(ellps="WGS84")
FEET = {
    "EPSG:2263": SURVEY_M,  # New York Long Island
    "EPSG:2274": SURVEY_M,  # Tennessee
    "EPSG:2277": SURVEY_M,  # Texas Central
    "EPSG:2222": INTERNATIONAL_M,  # Arizona East
    "EPSG:2256": INTERNATIONAL_M,  # Montana
}
NORTHING_FIRST = ("EPSG:31467", "EPSG:2180", "EPSG:3006", "EPSG:2193", "EPSG:31254", "EPSG:3035")


def codes(located: Located) -> list[str]:
    """What is doubted."""
    return [doubt.code for doubt in located.doubts]


def apart_m(a: Located, lat: float, lon: float) -> float:
    """Distance from a place."""
    return float(EARTH.inv(a.lon_deg, a.lat_deg, lon, lat)[2])


def inside(crs: str, u: float, v: float) -> tuple[float, float]:
    """A place well inside a system's area, by two fractions."""
    area = CRS(crs).area_of_use
    assert area is not None
    west, east = area.west + 0.3 * (area.east - area.west), area.west + 0.7 * (area.east - area.west)
    south, north = area.south + 0.3 * (area.north - area.south), area.south + 0.7 * (area.north - area.south)
    return south + v * (north - south), west + u * (east - west)


fractions = st.floats(0, 1)


@settings(max_examples=15, deadline=None)
@given(st.sampled_from([*FEET]), fractions, fractions)
def test_feet_by_any_name_are_the_place_that_pyproj_has(crs: str, u: float, v: float) -> None:
    """Feet in their own keys or in a text, and metres in theirs, are one place: pyproj's of the same numbers."""
    lat, lon = inside(crs, u, v)
    easting, northing = Transformer.from_crs(CRS(crs).geodetic_crs, crs, always_xy=True).transform(lon, lat)
    feet_m = FEET[crs]
    ways: tuple[dict[str, Any], ...] = (
        {"easting_ft": easting, "northing_ft": northing},
        {"text": f"{easting:.4f} ft {northing:.4f} ft"},
        {"text": f"N {northing:.4f} E {easting:.4f} ftUS".replace("ftUS", "ft")},
        {"text": f"E {easting * feet_m:.4f} m N {northing * feet_m:.4f} m"},
    )

    for way in ways:
        located = locate(**way, crs=crs)
        assert apart_m(located, lat, lon) < 1.5, way  # NAD83 to WGS84 is a null transformation
        assert not {"position-feet", "position-axis-order"} & set(codes(located))


@settings(max_examples=15, deadline=None)
@given(st.sampled_from([*FEET]), fractions, fractions)
def test_feet_in_the_keys_for_metres_are_never_taken_silently(crs: str, u: float, v: float) -> None:
    """Feet typed as metres are refused, or doubted by at least what they lie off."""
    lat, lon = inside(crs, u, v)
    easting, northing = Transformer.from_crs(CRS(crs).geodetic_crs, crs, always_xy=True).transform(lon, lat)

    try:
        located = locate(easting_m=easting, northing_m=northing, crs=crs)
    except PlanError as refused:
        (problem,) = refused.problems
        assert "position-feet" == problem.code
        assert "taken as metres" in problem.what
        assert "foot it lies inside" in problem.what
        return
    off_m = apart_m(located, lat, lon)
    doubted_m = max(d.doubt_m for d in located.doubts if d.code == "position-feet")
    assert doubted_m == pytest.approx(off_m, rel=1e-3, abs=1.5)
    assert doubted_m * 1.000315 / 299.792458 == pytest.approx(
        max(d.doubt_us for d in located.doubts if d.code == "position-feet")
    )
    assert located.position_m >= doubted_m


def test_a_position_in_feet_taken_as_metres_is_refused_with_both_places() -> None:
    """New York in feet, under the keys for metres: 3.3 times as far from the origin, out at sea."""
    with pytest.raises(PlanError) as refused:
        locate(easting_m=984_000.25, northing_m=190_000.75, crs="EPSG:2263")

    (problem,) = refused.value.problems
    assert ("position-feet", ("easting_m",)) == (problem.code, problem.fields)
    assert "984000.25, 190000.75 taken as metres lies at 41.58" in problem.what
    assert "taken as US survey foot it lies inside, at 40.68" in problem.what
    assert "easting_ft and northing_ft where they are feet" in problem.expected


def test_numbers_without_a_unit_in_a_grid_in_feet_are_recognised_and_said() -> None:
    """A bare text is read in the unit that puts it into the grid's area, with a remark worth nothing."""
    feet = locate(text="984000.25 190000.75", crs="EPSG:2263")
    metres = locate(text=f"{984_000.25 * SURVEY_M:.4f} {190_000.75 * SURVEY_M:.4f}", crs="EPSG:2263")

    assert apart_m(feet, metres.lat_deg, metres.lon_deg) < 0.01
    for located, unit in ((feet, "US survey foot"), (metres, "metres")):
        (doubt,) = [d for d in located.doubts if d.code == "position-feet"]
        assert 0.0 == doubt.doubt_m
        assert f"taken as {unit}: fits the area of the grid only so" in doubt.what


def test_where_feet_and_metres_both_fit_it_is_a_doubt_worth_the_way_between_them() -> None:
    """North Carolina is wide: these numbers lie in it as feet and as metres, 470 km apart; a unit beside them settles it."""
    crs, numbers = "EPSG:2264", (657_779.25, 159_558.75)
    to_place = Transformer.from_crs(crs, CRS(crs).geodetic_crs, always_xy=True)
    in_feet = to_place.transform(*numbers)
    in_metres = to_place.transform(*(number / SURVEY_M for number in numbers))
    off_m = EARTH.inv(*in_feet, *in_metres)[2]
    assert 470_000 == pytest.approx(off_m, abs=5_000)

    for fields, (lon, lat) in (
        ({"easting_m": numbers[0], "northing_m": numbers[1]}, in_metres),
        ({"text": f"{numbers[0]} {numbers[1]}"}, in_feet),
    ):
        located = locate(**fields, crs=crs)
        assert apart_m(located, lat, lon) < 1.5
        (doubt,) = [d for d in located.doubts if d.code == "position-feet"]
        assert off_m == pytest.approx(doubt.doubt_m, abs=2.0)
        assert off_m / LIGHT_M_PER_US == pytest.approx(doubt.doubt_us, abs=0.01)
        assert located.position_m > off_m
    for text, (lon, lat) in (("{} m {} m", in_metres), ("{} ft {} ft", in_feet)):
        settled = locate(text=text.format(*numbers), crs=crs)
        assert apart_m(settled, lat, lon) < 1.5
        assert "position-feet" not in codes(settled)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        (
            {"text": "500000 ft 4600000 ft", "crs": "EPSG:32633"},
            "is in feet, but WGS 84 / UTM zone 33N counts in metre",
        ),
        ({"easting_ft": 5e5, "northing_ft": 4e6, "crs": "EPSG:32633"}, "easting_ft needs a grid in feet"),
        ({"easting_ft": 5e5, "northing_ft": 4e6}, "easting and northing need a grid"),
        ({"easting_ft": 5e5, "northing_m": 4e6, "crs": "EPSG:2263"}, "either a text, or an easting with a northing"),
        ({"text": "984000 ft 58000 m", "crs": "EPSG:2263"}, "are in different units"),
        ({"easting_ft": math.inf, "northing_ft": 1.0, "crs": "EPSG:2263"}, "inf ft is on no map"),
    ],
)
def test_units_that_do_not_fit_are_refused(fields: dict[str, Any], words: str) -> None:
    """A foot has no meaning in a grid of metres, since there are two of them."""
    with pytest.raises(PlanError) as refused:
        locate(**fields)

    assert words in str(refused.value)


@settings(max_examples=20, deadline=None)
@given(st.sampled_from(NORTHING_FIRST), fractions, fractions)
def test_exchanged_numbers_are_refused_or_doubted(crs: str, u: float, v: float) -> None:
    """Easting and northing the right way round are pyproj's place; exchanged they are refused, or doubted in full."""
    lat, lon = inside(crs, u, v)
    datum = CRS(crs).geodetic_crs
    easting, northing = Transformer.from_crs(datum, crs, always_xy=True).transform(lon, lat)
    right = locate(easting_m=easting, northing_m=northing, crs=crs)
    assert apart_m(right, lat, lon) < 1_000  # datum shifts: DHDN and MGI lie some hundred metres off

    try:
        wrong = locate(easting_m=northing, northing_m=easting, crs=crs)
    except PlanError as refused:
        (problem,) = refused.problems
        if problem.code == "position-no-transformation":  # the box round Europe holds places without its datum
            return
        assert "position-axis-order" == problem.code
        assert "with the northing first it lies inside" in problem.what
        return
    off_m = apart_m(wrong, right.lat_deg, right.lon_deg)
    worth_m = [d.doubt_m for d in wrong.doubts if d.code == "position-axis-order"]
    assert worth_m == [pytest.approx(off_m, rel=1e-3, abs=2.0)]
    assert worth_m == [pytest.approx(d.doubt_m) for d in right.doubts if d.code == "position-axis-order"]


def test_letters_settle_the_order() -> None:
    """In the Polish grid both orders fit: a doubt of 200 km, unless letters say which is which."""
    doubted = locate(easting_m=637_041.3, northing_m=487_023.8, crs="EPSG:2180")
    settled = locate(text="N 487023.8 E 637041.3", crs="EPSG:2180")

    (doubt,) = [d for d in doubted.doubts if d.code == "position-axis-order"]
    assert doubt.doubt_m > 100_000
    assert doubt.doubt_us == pytest.approx(doubt.doubt_m / LIGHT_M_PER_US)
    assert "a text with letters, such as E 637041.3 N 487023.8" == doubt.expected
    assert [] == [d for d in settled.doubts if d.code == "position-axis-order"]
    assert apart_m(doubted, settled.lat_deg, settled.lon_deg) < 1e-3


@settings(max_examples=20, deadline=None)
@given(st.sampled_from(NORTHING_FIRST), fractions, fractions)
def test_which_number_was_the_northing_is_said(crs: str, u: float, v: float) -> None:
    """With letters in the grid's own order: the number that pyproj has as northing is named as such, and the order."""
    lat, lon = inside(crs, u, v)
    easting, northing = Transformer.from_crs(CRS(crs).geodetic_crs, crs, always_xy=True).transform(lon, lat)
    said = locate(text=f"N {northing:.3f} E {easting:.3f}", crs=crs).read_as
    assert f"{float(f'{easting:.3f}'):.12g} was taken as the easting and {float(f'{northing:.3f}'):.12g} as" in said
    assert said.endswith("itself puts the northing first")
    assert locate(text="E 538876.5 N 112345.5", crs="EPSG:27700").read_as.endswith("112345.5 as the northing")
    assert locate(text="36.28, -84.19").read_as == ""
