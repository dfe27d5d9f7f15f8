"""Positions in every form and datum: read, transformed, judged, refused."""

import math
import re
import threading
import warnings
from typing import Any

import pytest
from hypothesis import example, given, settings, strategies as st
from pyproj import Transformer

from sfn.errors import PlanError
from sfn.geodesy import datum, position
from sfn.geodesy.line import inverse
from sfn.geodesy.position import Located, locate, three_forms

ROUNDING_M = 1e-3
KANSAS, HAWAII = "38.00000, -98.00000", "20.50000, -157.00000"

latitudes = st.floats(-79.99, 83.99)
longitudes = st.floats(-180, 180)


def apart_m(a: Located, b: Located) -> float:
    """Distance between two positions."""
    return float(inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg)[0])


@given(latitudes, longitudes)
@example(72.5, 10.0)  # zone 33 reaches over 32 round Svalbard
@example(60.0, 5.0)  # zone 32 is wider on the Norwegian coast
@example(0.0, 180.0)
@example(-1e-9, -180.0)
@example(-5e-7, 3.0)
@example(1e-6, 0.0)
def test_each_form_on_the_sheet_leads_back(lat: float, lon: float) -> None:
    """A position printed in any of the sheet's forms is read as the same position, to the printed digits."""
    forms = three_forms(lat, lon)

    for text, within_m in ((forms.decimal, 0.08), (forms.dms, 0.22), (forms.utm, 0.08), (forms.mgrs, 0.75)):
        located = locate(text=text)

        assert float(inverse(lat, lon, located.lat_deg, located.lon_deg)[0]) < within_m, text


@settings(max_examples=8)  # PROJ searches a while before it says that it knows no way
@given(latitudes, longitudes, st.sampled_from(["EPSG:4326", "EPSG:32633", "EPSG:4230", "EPSG:27700", "EPSG:2056"]))
def test_forms_and_datums_never_end_in_a_traceback(lat: float, lon: float, crs: str) -> None:
    """Any place in any system is located or refused in words."""
    for text in (f"{lat}, {lon}", three_forms(lat, lon).utm, f"{lat * 1e5:.1f} {lon * 1e5:.1f}"):
        _located_or_refused(text=text, crs=crs)


scraps = st.sampled_from(
    "36 84.25 -84.25 36,2 12.5 444140.54 3684706.36 38 38n 38S 38SMB 4414084706 ° ' \" N S E W n s e w - − + , ; : / . "
    "lat lon zone utm north south d m sec O mgrs 0 00 90 180 -0 1e5 nan inf ́ ٣ ½".split(" ")
)


@given(st.one_of(st.text(max_size=60), st.lists(scraps, max_size=14).map("".join), st.lists(scraps).map(" ".join)))
@settings(max_examples=400)
def test_arbitrary_text_never_ends_in_a_traceback(text: str) -> None:
    """Whatever is typed is located on the globe or refused in words, and never warned about by a library."""
    _located_or_refused(text=text)


@given(
    st.one_of(st.none(), st.floats()),
    st.one_of(st.none(), st.floats()),
    st.one_of(st.text(max_size=20), st.just("EPSG:27700")),
)
def test_arbitrary_numbers_and_codes_never_end_in_a_traceback(
    easting_m: float | None, northing_m: float | None, crs: str
) -> None:
    """Whatever stands in the fields is located on the globe or refused in words."""
    _located_or_refused(easting_m=easting_m, northing_m=northing_m, crs=crs)


def _located_or_refused(**fields: Any) -> None:
    """Locate, and look at whichever answer comes."""
    try:
        located = locate(**fields)
    except PlanError as refused:
        problems = refused.problems
    else:
        problems = located.warnings
        assert abs(located.lat_deg) <= 90
        assert abs(located.lon_deg) <= 180
        assert located.resolution_m > 0
    assert all(p.where.startswith("position.") and p.what and p.expected for p in problems)


@pytest.mark.parametrize(
    "text",
    [
        "38n 444140.54 3684706.36",
        "38N444140.54 3684706.36",
        "38 north 444140.54 3684706.36",
        "UTM 38N E 444140.54 N 3684706.36",
        "UTM zone 38 North: 444140.54 mE, 3684706.36 mN",
        "zone 38 n N3684706.36 E444140.54",
        "38n; 444140,54; 3684706,36",
        "38 north 3684706.36 N 444140.54 E",
    ],
)
def test_spellings_of_utm(text: str) -> None:
    """All of these are 33.3 N 44.4 E, as GeographicLib's manual has it."""
    located = locate(text=text)

    assert "UTM" == located.kind
    assert (33.3, 44.4) == pytest.approx((located.lat_deg, located.lon_deg), abs=1e-7)
    assert ("38N", 0.01) == (located.utm_zone, located.resolution_m)


@pytest.mark.parametrize(
    "text", ["38SMB4414084706", "38S MB 44140 84706", "38 s mb 4414084706", "MGRS: 38SMB4414084706"]
)
def test_spellings_of_mgrs(text: str) -> None:
    """All of these are the square metre that holds 444140.5, 3684706.5 of zone 38 north."""
    located = locate(text=text)

    assert "MGRS" == located.kind
    assert apart_m(located, locate(text="38 north 444140.5 3684706.5")) < ROUNDING_M


def test_mgrs_stands_for_the_centre_of_its_square_and_says_how_large_it_is() -> None:
    """A short reference is the middle of a large square, with a warning about its size."""
    located = locate(text="38SMB44")

    assert apart_m(located, locate(text="38 north 445000 3645000")) < ROUNDING_M
    assert 10_000 == pytest.approx(located.resolution_m)
    assert "the position is written to 10\u202f000 m only, that is 33.37 us" == located.warnings[0].what


def test_letter_s_is_settled_by_the_northing_or_asked_about() -> None:
    """S is hemisphere or band: the northing decides where one of them is impossible, else it is a question."""
    southern = locate(text="55S 273741 5796490")
    assert southern.lat_deg == pytest.approx(-37.951, abs=1e-3)

    with pytest.raises(PlanError, match=r"38S can be the band S, which makes 33\.30 north, or the southern hemisphere"):
        locate(text="38S 444140 3684706")
    assert 33.3 == pytest.approx(locate(text="38S 444140 3684706", crs="EPSG:32638").lat_deg, abs=1e-4)
    assert locate(text="38S 444140 3684706", crs="EPSG:32738").lat_deg == pytest.approx(-56.98, abs=0.01)


@pytest.mark.parametrize(
    ("text", "crs", "words"),
    [
        ("38T 444140 3684706", "EPSG:4326", "the band T runs from 40 to 48, but the northing lies at latitude 33.30"),
        ("38 444140 3684706", "EPSG:4326", "has no hemisphere"),
        ("61 north 444140 3684706", "EPSG:4326", "UTM zones run from 1 to 60"),
        ("38 north 3684706 444140", "EPSG:4326", "the UTM easting 3684706 m is not between"),
        ("38 north 444140 13684706", "EPSG:4326", "the UTM northing 13684706 m is above 10 000 000"),
        ("38 north N 444140 N 3684706", "EPSG:4326", "do not tell which number is the easting"),
        ("38I 444140 3684706", "EPSG:4326", "I is neither a hemisphere nor a latitude band"),
        ("38SMB441", "EPSG:4326", "has 3 digits; easting and northing need the same number"),
        ("38SAA4414", "EPSG:4326", "names no square"),
        ("99SMB4414084706", "EPSG:4326", "names no square"),
        ("ZAH1234512345", "EPSG:4326", "is a polar reference"),
        ("38SMB4414084706", "EPSG:4230", "MGRS squares are lettered differently on ED50"),
        ("38 north 444140 3684706", "EPSG:32639", "the text names UTM zone 38 north, but crs EPSG:32639 is"),
        ("50.5, 0.5", "EPSG:27700", "is not an easting and a northing, which crs EPSG:27700"),
        (HAWAII, "EPSG:4267", "PROJ knows no transformation from NAD27 to WGS 84 near 20.50, -157.00"),
        (KANSAS, "EPSG:4230", "PROJ knows no transformation from ED50 to WGS 84 near 38.00, -98.00"),
        ("x" * 201, "EPSG:4326", "the text has 201 characters"),
        ("50.5, 0.5", "OSGB36", "'OSGB36' is not an EPSG code"),
        ("50.5, 0.5", "EPSG:999999", "EPSG:999999 is not known to PROJ"),
        ("50.5, 0.5", "EPSG:4807", "counts in grads, not degrees"),
        ("50.5, 0.5", "EPSG:4978", "is a Geocentric CRS"),
        ("50.5, 0.5", "EPSG:5773", "is a Vertical CRS"),
        ("1000 2000", "EPSG:2048", "counts along southing and westing"),
    ],
)
def test_refusals_say_why(text: str, crs: str, words: str) -> None:
    """What cannot be located is refused in words, at its place in the document."""
    with pytest.raises(PlanError, match=re.escape(words)) as refused:
        locate(text=text, crs=crs, where="sites[2].position")

    assert refused.value.problems[0].where.startswith("sites[2].position.")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({}, "a position is either a text, or an easting with a northing"),
        ({"easting_m": 500_000.0}, "a position is either a text, or an easting with a northing"),
        ({"text": "36, 84", "easting_m": 1.0, "northing_m": 1.0}, "a position is either a text, or an easting"),
        ({"easting_m": 5e5, "northing_m": 5e6}, "easting and northing need a grid, but crs EPSG:4326"),
        ({"easting_m": math.nan, "northing_m": 5e6, "crs": "EPSG:27700"}, "nan m is on no map"),
        ({"easting_m": 1e8, "northing_m": 1e8, "crs": "EPSG:27700"}, "lies nowhere in EPSG:27700"),
    ],
)
def test_fields_that_do_not_go_together_are_refused(fields: dict[str, Any], words: str) -> None:
    """Missing, doubled and impossible fields are named."""
    with pytest.raises(PlanError, match=re.escape(words)):
        locate(**fields)


def test_a_known_name_is_answered_with_its_code() -> None:
    """Somebody who writes ED50 is told the number."""
    with pytest.raises(PlanError) as refused:
        locate(text="50, 8", crs="ed50")

    assert "EPSG:4230 (ED50)" == refused.value.problems[0].expected


def test_transformation_accuracy_and_missing_grid_are_named() -> None:
    """NAD27 in Kansas: the choice, its accuracy in m and us, the better one and the grid it lacks, no network address."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        located = locate(text=KANSAS, crs="EPSG:4267")

    assert ("NAD27", "NAD27 to WGS 84 (6)", 7.0) == (located.datum, located.transformation, located.accuracy_m)
    assert 7.0 * 1.000315 / 299.792458 == pytest.approx(located.accuracy_us)
    assert located.better_transformation is not None
    assert "needs the grid us_noaa_conus.tif" in located.better_transformation
    assert 30.0 == pytest.approx(located.datum_shift_m, abs=2.0)
    assert "NAD27 to WGS 84 (6) is good to 7 m; there is a better one" == located.warnings[0].what
    assert "http" not in str(located)


@pytest.mark.parametrize(
    "description",
    [
        "NAD27 to WGS 84 (6)",
        "NAD27 to WGS 84 (6) (with axis order normalized for visualization)",
        "axis order change (2D) + NAD27 to WGS 84 (6) + axis order change (2D)",
        "Inverse of UTM zone 11N + NAD27 to WGS 84 (6) (with axis order normalized for visualization)",
    ],
)
def test_a_transformation_has_one_name_with_every_proj(description: str) -> None:
    """What PROJ adds about the order of axes, in the words of any version, is not part of the name."""
    assert "NAD27 to WGS 84 (6)" == datum.transformation_name(description)


def test_wgs84_needs_nothing() -> None:
    """A WGS84 position comes back as it is, without a doubt."""
    located = locate(text="36°22'12.0\"N 84°15'00.0\"W")

    assert (36.37, -84.25) == pytest.approx((located.lat_deg, located.lon_deg), abs=1e-12)
    assert ("none needed: already WGS 84", 0.0, 0.0) == (
        located.transformation,
        located.accuracy_m,
        located.datum_shift_m,
    )
    assert () == located.warnings


@pytest.mark.parametrize(
    ("text", "warned"),
    [
        ("36.37000, -84.25000", False),
        ("36.3700, -84.2500", True),
        ("36 22 12.0 N 84 15 00.0 W", False),
        ("36 22 12 N 84 15 00 W", True),
        ("36 22.200 N 84 15.000 W", False),
        ("36 22.20 N 84 15.00 W", True),
        ("16SGF4683427736", False),
        ("16SGF46832773", True),
        ("16 north 746834 4027736", False),
    ],
)
def test_less_than_a_tenth_of_an_arc_second_is_questioned(text: str, warned: bool) -> None:
    """0.1 arc-second, 5 decimals and whole metres pass; anything coarser is questioned in metres and microseconds."""
    assert warned == any("only, that is" in problem.what for problem in locate(text=text).warnings)


def test_a_place_outside_the_grids_area_is_questioned() -> None:
    """An easting that reaches into the zone after the next is doubtful, and the zone's area is named."""
    located = locate(easting_m=990_000.0, northing_m=5_500_000.0, crs="EPSG:32633")

    problem = next(p for p in located.warnings if "lies outside the area" in p.what)
    assert problem.expected.startswith("a place within 0 to 84 north, 12 to 18 east; if it is right, written as 49.45")
    assert "position-outside-area" == problem.code
    east_edge_m = float(inverse(located.lat_deg, located.lon_deg, located.lat_deg, 18.0)[0])
    assert east_edge_m == pytest.approx(problem.values["doubt_m"], rel=1e-9)


def test_grids_in_feet_take_metres_and_say_so() -> None:
    """Fields are in metres by their name: a grid in feet is converted to, with a warning."""
    metres = locate(easting_m=3e6 * 1200 / 3937, northing_m=1e7 * 1200 / 3937, crs="EPSG:2277")

    assert (30.08037, -98.10932) == pytest.approx((metres.lat_deg, metres.lon_deg), abs=1e-5)
    assert any("counts in US survey foot" in problem.what for problem in metres.warnings)


@pytest.mark.parametrize("crs", ["EPSG:31467", "EPSG:2180", "EPSG:2193"])
def test_systems_that_put_northing_first_take_the_fields_by_name(crs: str) -> None:
    """Axis order of the code does not matter: easting is easting, and the place lies inside the system's area."""
    numbers = {
        "EPSG:31467": (3_500_000.0, 5_500_000.0),
        "EPSG:2180": (637_000.0, 487_000.0),
        "EPSG:2193": (1.6e6, 5.4e6),
    }

    located = locate(easting_m=numbers[crs][0], northing_m=numbers[crs][1], crs=crs)

    assert not any("outside" in problem.what for problem in located.warnings)


def test_utm_on_another_datum_is_that_datums_utm() -> None:
    """UTM text with crs ED50 is the same as easting and northing in ED50 / UTM zone 32N."""
    text = locate(text="32 north 500000 5500000", crs="EPSG:4230")
    fields = locate(easting_m=500_000.0, northing_m=5_500_000.0, crs="EPSG:23032")

    assert apart_m(text, fields) < ROUNDING_M
    assert "ED50" == text.datum


def test_threads_get_the_same_answers() -> None:
    """Places located from several threads at once are those located from one."""
    places = [(50 + 0.01 * i, 8 + 0.01 * i) for i in range(40)]
    alone = [locate(text=f"{lat:.5f}, {lon:.5f}", crs="EPSG:4230") for lat, lon in places]
    position._located.cache_clear()
    datum.to_wgs84.cache_clear()
    answers: dict[int, list[Located]] = {}

    def work(number: int) -> None:
        answers[number] = [locate(text=f"{lat:.5f}, {lon:.5f}", crs="EPSG:4230") for lat, lon in places]

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert [alone] * 4 == [answers[number] for number in range(4)]


def test_three_forms_carry_seconds_and_leave_out_utm_at_the_poles() -> None:
    """59.999999999 is 60 degrees, not 59 59 60.00; beyond 84 north there is no UTM; out of range is refused."""
    forms = three_forms(59.9999999999, -0.0000000001)
    assert ("60.000000, 0.000000", "60°00'00.00\"N 000°00'00.00\"W") == (forms.decimal, forms.dms)
    assert ("", "") == (three_forms(86, 1).utm, three_forms(-81, 1).mgrs)
    with pytest.raises(ValueError, match="lat_deg must be from -90 to 90"):
        three_forms(91, 0)


def test_fields_lose_their_trailing_zeros() -> None:
    """577274.99 with 69740.5 was written to centimetres: the finer of two numbers tells, as the other lost its zero."""
    located = locate(easting_m=577_274.99, northing_m=69_740.5, crs="EPSG:27700")

    assert 0.01 == pytest.approx(located.resolution_m)
    assert 1.0 == pytest.approx(locate(easting_m=577_200.0, northing_m=69_740.0, crs="EPSG:27700").resolution_m)


@pytest.mark.parametrize(
    ("fields", "code", "worth_m"),
    [
        ({"text": "51 30 00.0, 0 06 00.0"}, "position-hemisphere", 13_885.0),  # 0.2 degrees of longitude in London
        ({"text": "0 30 00.0, 32 30 00.0"}, "position-hemisphere", 110_574.0),  # a degree of latitude at the equator
        ({"text": "51 30 00.0 N, 0 06 00.0 E"}, "position-hemisphere", None),
        ({"text": "51.50000, 0.10000"}, "position-hemisphere", None),
        ({"text": "50 12 33.1, 8 40 12.2"}, "position-hemisphere", None),  # the other sites would show it
        ({"text": "0, -84.25000"}, "position-zero", 20_004_000.0),
        ({"easting_m": 0.0, "northing_m": 313_177.3, "crs": "EPSG:27700"}, "position-zero", 20_004_000.0),
        ({"text": "16 north 747000 4028000"}, "position-kilometre-square", 1000.0),
        ({"easting_m": 651_000.0, "northing_m": 313_000.0, "crs": "EPSG:27700"}, "position-kilometre-square", 1000.0),
        ({"easting_m": 651_400.0, "northing_m": 313_200.0, "crs": "EPSG:27700"}, "position-coarse", 100.0),
        ({"text": "651000.0 313000.0", "crs": "EPSG:27700"}, "position-kilometre-square", None),
    ],
)
def test_each_doubt_has_its_code_and_worth(fields: dict[str, Any], code: str, worth_m: float | None) -> None:
    """Metres, the microseconds that light takes for them, and the same as a problem."""
    located = locate(**fields)
    found = {doubt.code: doubt for doubt in located.doubts}

    assert (worth_m is not None) == (code in found)
    if worth_m is None:
        return
    assert worth_m == pytest.approx(found[code].doubt_m, rel=0.005)
    assert found[code].doubt_m * 1.000315 / 299.792458 == pytest.approx(found[code].doubt_us, rel=1e-9)
    problem = next(p for p in located.warnings if p.code == code)
    assert {"doubt_m": found[code].doubt_m, "doubt_us": found[code].doubt_us} == problem.values
    assert located.position_m >= found[code].doubt_m


@pytest.mark.parametrize("letter", "CDEFGHJKLMNPQRTUVWX")
def test_a_band_that_does_not_fit_its_square_is_refused_with_those_that_do(
    letter: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """Rows of squares repeat every 2000 km: MB of zone 38 lies in S and in eight other bands, by pyproj's latitudes."""
    unproject = Transformer.from_crs(32638, 4326, always_xy=True).transform
    north_deg = [unproject(444_140.5, 3_684_706.5 + 2e6 * n)[1] for n in (-1, 0, 1, 2)]
    bands = {"P": north_deg[0], "S": north_deg[1], "U": north_deg[2], "W": north_deg[3]}
    if letter in (*bands, *"CEHKM"):
        south_deg = -80 + 8 * "CDEFGHJKLMNPQRSTUVWX".index(letter)
        found_deg = locate(text=f"38{letter}MB4414084706").lat_deg
        assert south_deg <= found_deg <= south_deg + 8
        assert found_deg == pytest.approx(bands.get(letter, found_deg), abs=1e-4)
        return
    with pytest.raises(PlanError) as refused:
        locate(text=f"38{letter}MB 44140 84706")
    (problem,) = refused.value.problems

    assert f"band {letter} runs from" in problem.what
    assert all(f"38{band} ({deg:.2f} north)" in problem.expected for band, deg in bands.items())
    assert "" == capfd.readouterr().err


@pytest.mark.parametrize(
    ("zone", "lat_deg", "lon_deg"),
    [(32, 60.366, 5.282), (32, 56.5, 3.2), (31, 78.0, 8.9), (33, 72.5, 9.2), (33, 80.0, 20.8), (35, 74.5, 21.2),
     (35, 78.0, 32.8), (37, 79.0, 33.2)],
)  # fmt: skip
def test_the_wider_zones_of_west_norway_and_svalbard_are_zones(zone: int, lat_deg: float, lon_deg: float) -> None:
    """NGA.STND.0037: 32V reaches west to 3, 31X to 9, 33X from 9 to 21, 35X to 33, 37X from 33 degrees east."""
    easting_m, northing_m = Transformer.from_crs(4326, 32600 + zone, always_xy=True).transform(lon_deg, lat_deg)
    for text in (
        f"{zone} north {easting_m:.2f} {northing_m:.2f}",
        f"{zone}{'V' if lat_deg < 72 else 'X'} {easting_m:.2f} {northing_m:.2f}",
    ):
        located = locate(text=text)
        assert (located.lat_deg, located.lon_deg) == pytest.approx((lat_deg, lon_deg), abs=1e-6)
        assert [] == [doubt.code for doubt in located.doubts]


@pytest.mark.parametrize(("zone", "lat_deg", "lon_deg"), [(32, 65.5, 3.5), (33, 78.0, 6.0), (34, 74.0, 12.0)])
def test_beside_the_wider_zones_a_zone_is_questioned_as_before(zone: int, lat_deg: float, lon_deg: float) -> None:
    """North of the wider 32V, and west of 33X and 34: outside."""
    easting_m, northing_m = Transformer.from_crs(4326, 32600 + zone, always_xy=True).transform(lon_deg, lat_deg)
    located = locate(text=f"{zone} north {easting_m:.2f} {northing_m:.2f}")
    assert "position-outside-area" in [doubt.code for doubt in located.doubts]
