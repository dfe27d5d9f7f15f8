"""Measurements from CSV, and what the plan predicts for them."""

from pathlib import Path

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.measurements import measurements_of, planes, predicted_difference, read_measurements

HEAD = "when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,reference_plane,by"
SITES = ("north", "south")


def test_a_good_line_is_read() -> None:
    """Every column arrives, with its line; semicolons and decimal commas too."""
    text = HEAD + "\n2026-10-01 02:10,P1,36.28,-84.19,south,north,3.25,0.05,antenna,ab\n"
    (found,) = measurements_of(text, source="night.csv", sites=SITES)
    assert ("south", "north", 3.25, 0.05, "ab") == (
        found.site, found.reference_site, found.delay_difference_us, found.uncertainty_us, found.by
    )  # fmt: skip
    assert "night.csv line 2" == found.where
    assert np.isnan(found.rx_ground_m)


def test_semicolons_with_decimal_commas_are_read() -> None:
    """The way that spreadsheets write where the comma is decimal."""
    text = HEAD.replace(",", ";") + "\nt;P1;36,28;-84,19;south;north;-3,25;0,05;antenna;ab\n"

    (found,) = measurements_of(text, source="night.csv", sites=SITES)
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
        ("t,P1,36,-84,south,north,nan,0.1,antenna,ab", "column delay_difference_us: nan is out of range"),
        ("t,P1,36,-84,south,north,3_0,0.1,antenna,ab", "column delay_difference_us: '3_0' is no number"),
        ("t,P\x001,36,-84," + 200_000 * "x", "night.csv line 2: is no line of a table"),
        ("t,P1,36,-84,south", "line 2: has 5 cells; 10, as the header has"),
    ],
)
def test_every_problem_names_file_line_and_column(line: str, words: str) -> None:
    """What is wrong, where, and what would be right."""
    with pytest.raises(PlanError) as refused:
        measurements_of(f"{HEAD}\n{line}\n", source="night.csv", sites=SITES)

    assert words in str(refused.value)


def test_all_problems_come_at_once_and_twenty_at_most() -> None:
    """Two bad cells in two lines are two problems; a hundred are twenty and a count."""
    bad = "t,P1,x,-84,south,north,3,0.1,antenna,ab\n"
    with pytest.raises(PlanError) as two:
        measurements_of(HEAD + "\n" + 2 * bad, source="night.csv", sites=SITES)
    with pytest.raises(PlanError) as many:
        measurements_of(HEAD + "\n" + 100 * bad, source="night.csv", sites=SITES)

    assert ["night.csv line 2 column lat", "night.csv line 3 column lat"] == [p.where for p in two.value.problems]
    assert 21 == len(many.value.problems)
    assert "has 80 more problems like these" == many.value.problems[-1].what


def test_files_and_headers_that_cannot_be_used(tmp_path: Path) -> None:
    """Missing file, binary file, empty file, missing and unknown columns."""
    (tmp_path / "binary.csv").write_bytes(b"\xff\xfe\x00")
    (tmp_path / "empty.csv").write_text("", encoding="utf-8")
    (tmp_path / "short.csv").write_text("when,point,colour\n", encoding="utf-8")
    (tmp_path / "head.csv").write_text(HEAD + "\n", encoding="utf-8")
    for name, words in (
        ("lost.csv", "cannot be opened"),
        ("binary.csv", "is not text in UTF-8"),
        ("empty.csv", "empty.csv: is empty"),
        ("short.csv", "short.csv line 1: lacks the column lat, lon,"),
        ("short.csv", "has the unknown column colour"),
        ("head.csv", "has a header but no lines"),
    ):
        with pytest.raises(PlanError) as refused:
            read_measurements(tmp_path / name, sites=SITES)
        assert words in str(refused.value)


def test_a_plane_other_than_the_antenna_is_doubted() -> None:
    """Arrivals of the plan hold at antennas."""
    text = HEAD + "\nt,P1,36,-84,south,north,3,0.1,exciter output,ab\nt,P1,36,-84,south,north,3,0.1,,ab\n"

    (doubt,) = planes(measurements_of(text, source="night.csv", sites=SITES))
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
