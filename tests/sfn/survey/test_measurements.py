"""Measurements from CSV, and what the plan predicts for them."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.plan.sheets import read_sheet
from sfn.survey.measurements import Measurement, MeasurementTable, planes, predicted_difference, understood

HEAD = "when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,reference_plane,by"
SITES = {"north": "North hill", "south": "South ridge"}


def read(text: str) -> MeasurementTable:
    """What is understood of a table."""
    return understood(read_sheet(text.encode(), source="night.csv"), SITES)


def measurements_of(text: str) -> tuple[Measurement, ...]:
    """Its measurements; every line must be of use."""
    found = read(text)
    if found.refused:
        raise PlanError(found.refused)
    return found.measurements


def test_a_good_line_is_read() -> None:
    """Every column arrives, with its line; semicolons and decimal commas too."""
    text = HEAD + "\n2026-10-01 02:10,P1,36.28,-84.19,south,north,3.25,0.05,antenna,ab\n"
    (found,) = measurements_of(text)
    assert ("south", "north", 3.25, 0.05, "ab") == (
        found.site, found.reference_site, found.delay_difference_us, found.uncertainty_us, found.by
    )  # fmt: skip
    assert "night.csv line 2" == found.where
    assert np.isnan(found.rx_ground_m)


def test_semicolons_with_decimal_commas_are_read() -> None:
    """The way that spreadsheets write where the comma is decimal."""
    text = HEAD.replace(",", ";") + "\nt;P1;36,28;-84,19;south;north;-3,25;0,05;antenna;ab\n"

    (found,) = measurements_of(text)
    assert (36.28, -84.19, -3.25) == (found.lat_deg, found.lon_deg, found.delay_difference_us)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (
            "t,P1,96.28,-84.19,south,north,3,0.1,antenna,ab",
            "night.csv line 2 column lat: 96.28 is out of range; a number",
        ),
        ("t,P1,36,-84,south,north,3 us,0.1,antenna,ab", "line 2 column delay_difference_us: '3 us' is no number"),
        ("t,P1,36,-84,west,north,3,0.1,antenna,ab", "column site: 'west' is not known; one of north, south"),
        ("t,P1,36,-84,north,north,3,0.1,antenna,ab", "column reference_site: north is compared with itself"),
        ("t,P1,36,-84,south,north,3,0,antenna,ab", "column uncertainty_us: 0 would outweigh all others"),
        ("t,P1,36,-84,south,north,3,,antenna,ab", "column uncertainty_us: is empty"),
        ("t,P1,36,-84,south,north,nan,0.1,antenna,ab", "column delay_difference_us: 'nan' is no number"),
        ("t,P1,36,-84,south,north,3_0,0.1,antenna,ab", "column delay_difference_us: '3_0' is no number"),
        ("t,P1,36,-84," + 200_000 * "x", "night.csv line 2: is no line of a table"),
        ("t,P1,36,-84,south", "night.csv line 2 column reference_site: is empty"),
    ],
)
def test_every_problem_names_file_line_and_column(line: str, words: str) -> None:
    """What is wrong, where, and what would be right."""
    with pytest.raises(PlanError) as refused:
        measurements_of(f"{HEAD}\n{line}\n")

    assert words in str(refused.value)


def test_all_problems_come_at_once_and_twenty_at_most() -> None:
    """Two bad cells in two lines are two problems; a hundred are twenty and a count."""
    bad = "t,P1,x,-84,south,north,3,0.1,antenna,ab\n"
    with pytest.raises(PlanError) as two:
        measurements_of(HEAD + "\n" + 2 * bad)
    with pytest.raises(PlanError) as many:
        measurements_of(HEAD + "\n" + 100 * bad)

    assert ["night.csv line 2 column lat", "night.csv line 3 column lat"] == [p.where for p in two.value.problems]
    assert 21 == len(many.value.problems)
    assert "has 80 more problems like these" == many.value.problems[-1].what


def test_headers_that_cannot_be_used() -> None:
    """Nothing in it, columns missing, one there twice, and no lines: each in words; an unknown one is told."""
    for text, words in (
        ("", "night.csv: is empty"),
        ("when,point,colour\n", "has the columns when, point, colour and lacks lat, lon, site, reference_site,"),
        (HEAD + ",latitude\nx", "night.csv line 1: two columns are taken for lat; each once"),
        (HEAD + "\n", "has a header but no lines"),
    ):
        with pytest.raises(PlanError) as refused:
            read(text)
        assert words in str(refused.value)
    found = read(HEAD + ",colour\nt,P1,36,-84,south,north,3,0.1,antenna,ab,red\n")
    assert 1 == len(found.measurements)
    assert ["nothing is made of the column colour"] == [p.what for p in found.left_out if p.code == "lines-left-out"]


def test_names_of_people_and_their_units_are_understood() -> None:
    """Sites by name, a position in one cell, nanoseconds and feet; the columns say so."""
    text = (
        "Place\tCoordinates\tSite name\tReference\tDifference (ns)\tUncertainty [ns]\tGround (ft)\n"
        "Ford\t36\u00b016'48\"N 84\u00b011'24\"W\tSouth Ridge\tnorth\t-3250\t50\t1000\n"
    )
    found = read(text)
    (row,) = found.measurements

    assert ("Ford", "south", "north") == (row.point, row.site, row.reference_site)
    assert (36.28, -84.19, -3.25, 0.05, 304.8) == pytest.approx(
        (row.lat_deg, row.lon_deg, row.delay_difference_us, row.uncertainty_us, row.rx_ground_m)
    )
    assert [("Difference (ns)", "delay_difference_us", "ns")] == [
        (c.title, c.taken_for, c.unit) for c in found.columns if c.unit and "diff" in c.taken_for
    ]


def test_a_comma_that_can_part_thousands_is_questioned() -> None:
    """1,234 among commas, points and decimal commas: read only where one reading is left."""
    quoted = f'{HEAD}\nt,P1,36.28,-84.19,south,north,"1,234",0.05,antenna,ab\n'
    with pytest.raises(PlanError) as refused:
        measurements_of(quoted)
    assert "column delay_difference_us: '1,234' can be 1.234 or 1234: write thousands without" in str(refused.value)
    commas = HEAD.replace(",", ";") + "\nt;P1;36,28;-84,19;south;north;1,234;0,05;antenna;ab\n"
    assert 1.234 == measurements_of(commas)[0].delay_difference_us
    with pytest.raises(PlanError, match=r"'1.234' can be 1.234 or 1234"):
        measurements_of(commas.replace("1,234", "1.234"))
    with pytest.raises(PlanError, match=r"'1,234' can be 1.234 or 1234"):
        measurements_of(commas.replace("0,05", "0.05"))


def test_what_is_wrong_with_one_line_leaves_the_others() -> None:
    """Good lines stay usable; each bad one says why, also one with too many cells."""
    text = HEAD + (
        "\nt,P1,36,-84,south,north,3,0.1,antenna,ab\n"
        "t,P1,,,south,north,3,0.1,antenna,ab\nt,P1,36,-84,south,north,3,0.1,antenna,ab,more\n"
    )
    found = read(text)

    assert [True, False, False] == [row.measurement is not None for row in found.rows]
    assert ["night.csv line 3: has no place", "night.csv line 4: has 11 cells"] == [
        f"{p.where}: {p.what}" for p in found.refused
    ]


def test_a_plane_other_than_the_antenna_is_doubted() -> None:
    """Arrivals of the plan hold at antennas."""
    text = HEAD + "\nt,P1,36,-84,south,north,3,0.1,exciter output,ab\nt,P1,36,-84,south,north,3,0.1,,ab\n"

    (doubt,) = planes(measurements_of(text))
    assert "reference_plane 'exciter output'" == doubt.where


def test_prediction_is_launch_plus_travel() -> None:
    """On the equator, one degree east and west of two sites: travel cancels, launch and height stay."""
    same = {"site_lat_deg": 0.0, "site_lon_deg": 1.0, "reference_lat_deg": 0.0, "reference_lon_deg": -1.0}
    found = predicted_difference(
        [7.5], **same, site_height_m=500.0, reference_launch_us=[2.0], reference_height_m=500.0, lat_deg=[0.0],
        lon_deg=[0.0], rx_height_m=[10.0], refractivity_n=315.0
    )  # fmt: skip
    near = predicted_difference(
        [0.0], **same, site_height_m=500.0, reference_launch_us=[0.0], reference_height_m=500.0, lat_deg=[0.0],
        lon_deg=[0.5], rx_height_m=[np.nan], refractivity_n=315.0
    )  # fmt: skip

    assert 5.5 == pytest.approx(float(found[0]), abs=1e-9)
    # One degree of the equator is 111 319.4908 m; the site is nearer, hence earlier.
    assert -111_319.4908 * 1.000315 / 299.792458 == pytest.approx(float(near[0]), abs=1e-4)


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ("night,", "shared_uncertainty_us: is empty"),
        (",0.1", "response: is empty"),
        ("night,0.5", "0.5 us is not a part of uncertainty_us, 0.5 us"),
        ("night,0", "0 us is not a part"),
    ],
)
def test_a_shared_arrival_is_told_whole(cells: str, words: str) -> None:
    """Half of what rows share, or more than they claim, is refused; the whole is taken."""
    head = "lat,lon,site,reference_site,delay_difference_us,uncertainty_us,response,shared_uncertainty_us\n"
    sites = {"north": "N", "south": "S"}

    def taken(text: str) -> MeasurementTable:
        return understood(read_sheet((head + text).encode(), source="f.csv"), sites)

    found = taken(f"36.3,-84.2,south,north,1.0,0.5,{cells}\n36.3,-84.2,south,north,1.0,0.5,night,0.3\n")
    assert words in str(PlanError(found.refused))
    assert [("night", 0.3)] == [(m.response, m.shared_uncertainty_us) for m in found.measurements]


@pytest.mark.parametrize(
    ("when", "code"),
    [
        ("2026-10-01T02:10+02:00", None),
        ("2026-10-01 00:10Z", None),
        ("", None),
        ("2026-10-01", "when-date-alone"),
        ("2026-10-01 02:10", "when-without-zone"),
        ("last night", "when-unreadable"),
        ("2026-13-01", "when-unreadable"),
    ],
)
def test_a_time_that_does_not_say_its_zone_is_asked(when: str, code: str | None) -> None:
    """It is read all the same, and a warning names the lines."""
    found = read(f"{HEAD}\n{when},P1,36.28,-84.19,south,north,3.25,0.05,antenna,ab\n")

    assert [code] * bool(code) == [problem.code for problem in found.left_out]
    assert [{"line": 2, "lines_n": 1}] * bool(code) == [problem.values for problem in found.left_out]
    assert when == found.measurements[0].when


@pytest.mark.parametrize(
    ("ahead", "form", "codes"),
    [
        (timedelta(minutes=5), "%Y-%m-%dT%H:%M:%SZ", []),
        (timedelta(minutes=20), "%Y-%m-%dT%H:%M:%SZ", ["when-to-come"]),
        (timedelta(hours=12), "%Y-%m-%d %H:%M", ["when-without-zone"]),
        (timedelta(hours=15), "%Y-%m-%d %H:%M", ["when-without-zone", "when-to-come"]),
        (timedelta(days=400), "%Y-%m-%d", ["when-date-alone", "when-to-come"]),
    ],
)
def test_a_measurement_that_is_still_to_come_is_questioned(ahead: timedelta, form: str, codes: list[str]) -> None:
    """With its line; without a zone it may be as late as anywhere on earth, fourteen hours before UTC."""
    when = f"{datetime.now(UTC) + ahead:{form}}"
    found = read(f"{HEAD}\n{when},P1,36.28,-84.19,south,north,3.25,0.05,antenna,ab\n")

    assert codes == [problem.code for problem in found.left_out]
    assert all(problem.values == {"line": 2, "lines_n": 1} for problem in found.left_out)
