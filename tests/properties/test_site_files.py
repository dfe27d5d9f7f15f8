"""Sites out and in again, whatever they are called: CSV, XLSX and GeoJSON give back the sites that went out.

No cell of a file may begin as a formula, and whoever is fed off air from whom must come back.
"""

import csv
import io
import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st
from openpyxl import load_workbook
from pyproj import Geod

from sfn.answer.site_files import read_sites, sites_csv, sites_document, sites_xlsx
from sfn.errors import PlanError
from sfn.plan import read
from sfn.plan.formula import guarded, unguarded
from sfn.study.site_table import Understood, understood_sites
from tests.sfn.networks import EXAMPLE_PATH

TREE: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
FORMULAS = tuple("=+-@\t\r\n＝＋－＠")
NASTY = st.sampled_from(
    ["=cmd|' /C calc'!A0", "+1", "-1,5", "@SUM(A1)", "'quoted", "''=x", "'=x", 'a "b"', "a,b;c\td", "two\nlines", "1,5",
     "1.234,5", "(studio)", "Höhe Ω 山", "true", "=1+1", "\u00a0x", "2026-09-14", "{", "null"]
).filter(lambda name: name == name.strip())  # fmt: skip
WORDS = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"], exclude_characters="\ufffd\ufeff"),
    min_size=1,
    max_size=12,
).filter(lambda name: name == name.strip())
NAMES = st.one_of(NASTY, WORDS)
PLACES = st.sampled_from(
    [
        {"text": "-36.2, -84.3", "crs": "EPSG:4326"},
        {"text": "36.2 N 84.31 W", "crs": "EPSG:4326"},
        {"text": "36°12'18\"N 84°12'36\"W", "crs": "EPSG:4326"},
        {"easting_m": 743000.5, "northing_m": 4010000.25, "crs": "EPSG:32616"},
        {"text": "47.1, 9.5", "crs": "EPSG:4258"},
    ]
)


@st.composite
def networks(draw: st.DrawFn) -> dict[str, Any]:
    """The example with sites of any name, place, power and parent."""
    tree: dict[str, Any] = json.loads(json.dumps(TREE))
    pattern = next(site for site in tree["sites"] if site.get("fed_off_air_from") is None)
    pattern.pop("fed_off_air_from", None)
    names = draw(st.lists(NAMES, min_size=2, max_size=4, unique_by=str.casefold))
    tree["sites"] = []
    for k, name in enumerate(names):
        site = json.loads(json.dumps(pattern)) | {"id": f"s{k}", "name": name, "position": draw(PLACES)}
        site |= {
            "ground_m": draw(st.floats(-100, 4000).map(lambda v: round(v, 3))),
            "antenna_m": draw(st.integers(1, 400)),
            "erp_kw": {"h": draw(st.integers(0, 5000)) / 1000, "v": draw(st.integers(0, 5000)) / 1000},
            "offset_us": draw(st.sampled_from([0.0, -12.5, 1e-7, 3_000_000.0, -0.1])),
            "on_air": draw(st.booleans()),
            "remote": draw(st.booleans()),
        }
        if k and draw(st.booleans()):
            site["fed_off_air_from"] = f"s{draw(st.integers(0, k - 1))}"
        tree["sites"].append(site)
    return tree


def files(tree: dict[str, Any]) -> dict[str, bytes]:
    """Every kind of file of a network's sites that can come in again."""
    network = read(json.dumps(tree))
    return {
        "csv": sites_csv(network).encode(),
        "xlsx": sites_xlsx(network),
        "geojson": json.dumps(sites_document(network)).encode(),
    }


def taken(content: bytes, tree: dict[str, Any], *, by_form: bool = False) -> Understood:
    """A file looked at; as the page does, which keeps the table as text in between."""
    table = read_sites(content, source="sites")
    if by_form:  # a browser makes every line break one of two characters
        text = table.as_csv().replace("\r\n", "\n").replace("\n", "\r\n")
        table = read_sites(text.encode(), source="sites")
    return understood_sites(table, tree)


def told(site: dict[str, Any]) -> dict[str, Any]:
    """What a file tells of a site."""
    keys = ("id", "name", "ground_m", "antenna_m", "offset_us", "on_air")
    power = {plane: site["erp_kw"].get(plane) or 0.0 for plane in "hv"}
    seldom = {"remote": bool(site.get("remote")), "parent": site.get("fed_off_air_from")}
    return {key: site[key] for key in keys} | power | seldom


@pytest.mark.parametrize("form", ["csv", "xlsx", "geojson"])
@given(tree=networks())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_file_of_the_network_itself_changes_nothing(form: str, tree: dict[str, Any]) -> None:
    """Whatever the sites are called, and also through the page."""
    content = files(tree)[form]
    for by_form in (False, True):
        found = taken(content, tree, by_form=by_form)
        assert ["nothing"] * len(tree["sites"]) == [row.does for row in found.rows], found.rows
        assert tree == found.document


@pytest.mark.parametrize("form", ["csv", "xlsx", "geojson"])
@given(tree=networks())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_sites_come_into_another_network_as_they_were(form: str, tree: dict[str, Any]) -> None:
    """New sites: names, heights, powers, offsets, who is on air, who is fed from whom."""
    other: dict[str, Any] = json.loads(json.dumps(tree))
    other["sites"] = [dict(tree["sites"][0]) | {"id": "seed", "name": "the seed of all"}]
    found = taken(files(tree)[form], other)

    assert ["new"] * len(tree["sites"]) == [row.does for row in found.rows], [row.problems for row in found.rows]
    assert [told(site) for site in tree["sites"]] == [told(site) for site in found.document["sites"][1:]]
    assert [site["position"]["crs"] for site in tree["sites"]] == [
        site["position"]["crs"] for site in found.document["sites"][1:]
    ]


@given(tree=networks())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_cell_begins_as_a_formula_and_numbers_stay_numbers(tree: dict[str, Any]) -> None:
    """CSV as a spreadsheet reads it; XLSX by the type of its cells."""
    made = files(tree)
    rows = list(csv.reader(io.StringIO(made["csv"].decode(), newline="")))
    for row, site in zip(rows[1:], tree["sites"], strict=True):
        cells = dict(zip(rows[0], row, strict=True))
        for key in ("ground_m", "offset_us"):  # these may be negative
            assert site[key] == float(cells.pop(key))
        assert not [cell for cell in cells.values() if cell.startswith(FORMULAS)]
    for line in load_workbook(io.BytesIO(made["xlsx"])).worksheets[0].iter_rows():
        assert {"s", "n"} >= {cell.data_type for cell in line}


@given(text=st.one_of(NASTY, st.text(max_size=8)))
def test_guarding_can_be_undone(text: str) -> None:
    """Every text, guarded, begins as none, and is read as it was."""
    cell = guarded(text)

    assert not cell.startswith(FORMULAS)
    assert text == unguarded(cell)


def test_a_point_that_was_moved_wins_over_the_position_beside_it() -> None:
    """A geographic program moves points, not our text."""
    document = sites_document(read(json.dumps(TREE)))
    document["features"][0]["geometry"]["coordinates"][0] += 0.01
    found = taken(json.dumps(document).encode(), TREE)
    lon, lat = document["features"][0]["geometry"]["coordinates"]
    moved_m = Geod(ellps="WGS84").inv(lon - 0.01, lat, lon, lat)[2]

    assert ["changes", "nothing", "nothing"] == [row.does for row in found.rows]
    assert f"it moves by {moved_m:.1f} m" in " ".join(found.rows[0].says)


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"{", "not-json"),
        (b'{"type": "FeatureCollection", "features": []}', "file-of-another-kind"),
        (b'{"type": "Feature"}', "file-of-another-kind"),
        (b'{"type": "FeatureCollection", "features": [{"geometry": null}]}', "not-a-point"),
        (
            b'{"type": "FeatureCollection", "features": [{"geometry": {"type": "LineString", "coordinates": [[1, 2], [3, 4]]}}]}',
            "not-a-point",
        ),
        (
            b'{"type": "FeatureCollection", "crs": {"properties": {"name": "urn:ogc:def:crs:EPSG::3857"}},'
            b' "features": [{"geometry": {"type": "Point", "coordinates": [1, 2]}}]}',
            "file-of-another-crs",
        ),
    ],
)
def test_what_is_no_file_of_points_is_refused(content: bytes, code: str) -> None:
    """In words, with its kind."""
    with pytest.raises(PlanError) as refused:
        read_sites(content, source="sites.geojson")
    assert [code] == [p.code for p in refused.value.problems]


def test_parents_are_known_by_name_and_must_be_there() -> None:
    """A name for an id; a site that is nowhere; a name of two sites."""
    head = "id,fed_off_air_from\n"
    by_name = taken((head + "gap,North ridge\n").encode(), TREE)
    assert ["nothing"] == [row.does for row in by_name.rows]
    free = taken((head + "gap,(studio)\n").encode(), TREE)
    assert free.document["sites"][2]["fed_off_air_from"] is None
    for cell, code in (("nowhere", "unknown-site"), ("Ridge", "name-of-two-sites")):
        tree = json.loads(json.dumps(TREE))
        tree["sites"][0]["name"] = tree["sites"][1]["name"] = "Ridge"
        found = taken((head + f"gap,{cell}\n").encode(), tree)
        assert [[code]] == [[p.code for p in row.problems] for row in found.rows]
