"""Sites in and out as a table: what was understood, row by row, and what it would do."""

import io
import json
from typing import Any

import pytest
from openpyxl import Workbook

from sfn.answer.site_files import sites_csv, sites_document
from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.plan import read
from sfn.plan.sheets import read_sheet
from sfn.study.site_table import COLUMNS, TEMPLATE, understood_sites
from tests.sfn.networks import EXAMPLE_PATH, example


@pytest.fixture
def tree() -> dict[str, Any]:
    """The example's document."""
    made: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    return made


def rows_of(content: bytes, tree: dict[str, Any]) -> Any:
    """A table understood."""
    return understood_sites(read_sheet(content, source="s.csv"), tree)


def test_what_goes_out_comes_in_and_changes_nothing(tree: dict[str, Any]) -> None:
    """The table of a network, read again, is the network."""
    found = rows_of(sites_csv(example()).encode(), tree)
    assert [row.does for row in found.rows] == ["nothing"] * len(tree["sites"])
    assert found.document == tree


def test_spreadsheets_of_all_sorts(tree: dict[str, Any]) -> None:
    """XLSX, semicolons with decimal commas, UTF-16, Windows letters, feet and watts, two columns for a place."""
    head = ["Site", "Latitude", "Longitude", "Ground height (ft)", "Antenna height", "ERP H [W]", "Colour"]
    book = Workbook()
    book.active.append(head)
    book.active.append(["Höhe", 36.5, -84.5, 1000, 30, 250, "red"])
    out = io.BytesIO()
    book.save(out)
    plain = ";".join(head) + "\nHöhe;36,5;-84,5;1000;30;250;red\n"
    documents = []
    for content in (out.getvalue(), plain.encode(), plain.encode("utf-16"), plain.encode("cp1252")):
        found = rows_of(content, tree)
        assert [row.does for row in found.rows] == ["new"]
        assert [c.title for c in found.columns if not c.taken_for] == ["Colour"]
        assert found.document["sites"][-1]["ground_m"] == pytest.approx(304.8)
        assert found.document["sites"][-1]["erp_kw"] == {"h": 0.25}
        documents.append(found.document)
    for document in documents:
        network = read(json.dumps(document))
        at = place(network)[network.sites[-1].id]
        assert (at.lat_deg, at.lon_deg) == (36.5, -84.5)
        assert not network.sites[-1].on_air


def test_a_new_site_is_like_another_and_assumed(tree: dict[str, Any]) -> None:
    """Its own stages are copied as assumed; shared ones stay shared; the plan can be read."""
    table = read_sheet(TEMPLATE.replace("north,North", "far,Far").encode(), source="t")
    like = tree["sites"][1]
    found = understood_sites(table, tree, like=like["id"])
    made = found.document["sites"][-1]
    network = read(json.dumps(found.document))
    assert made["id"] == "far"
    assert len(made["chains"][0]["stages"]) == len(like["chains"][0]["stages"])
    shared = set(made["chains"][0]["stages"]) & set(like["chains"][0]["stages"])
    used = {n for s in tree["sites"] if s["id"] != like["id"] for c in s["chains"] for n in c["stages"]}
    assert shared == set(like["chains"][0]["stages"]) & used
    stages = {s.id: s for s in network.stages}
    assert all(stages[n].source == "assumed" for n in made["chains"][0]["stages"] if n not in shared)


def test_rows_say_what_they_change_or_why_not(tree: dict[str, Any]) -> None:
    """A change is told old and new; each refused row says why, and leaves the others alone."""
    site = tree["sites"][0]
    text = (
        "id,antenna_m,on_air,offset_us,ground_m\n"
        f"{site['id']},99,no,2.5,\n"
        "other,10,yes,0,100\n"
        f"{tree['sites'][1]['id']},tall,perhaps,0,\n"
    )
    found = rows_of(text.encode(), tree)
    assert [row.does for row in found.rows] == ["changes", "refused", "refused"]
    assert any(says.startswith("antenna_m: ") and says.endswith("→ 99") for says in found.rows[0].says)
    assert "is new and has no position" in found.rows[1].problems[0].what
    assert {p.where for p in found.rows[2].problems} == {"s.csv line 4 column antenna_m", "s.csv line 4 column on_air"}
    assert found.document["sites"][0]["antenna_m"] == 99
    assert found.document["sites"][1] == tree["sites"][1]
    ambiguous = rows_of(f'id,ground_m\n{site["id"]},"1,200"\n'.encode(), tree)
    assert ambiguous.rows[0].does == "refused"


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "is empty"),
        (b"colour\nred\n", "a column id or name"),
        (b"id,code\na,b\n", "two columns are taken for id"),
        (b"PK\x03\x04 no archive", "no XLSX"),
        (b"id\n\x00\n", "is not text"),
    ],
)
def test_files_that_are_no_table_are_refused(tree: dict[str, Any], content: bytes, says: str) -> None:
    """In words."""
    with pytest.raises(PlanError) as refused:
        rows_of(content, tree)
    assert says in " ".join(f"{p.what}; {p.expected}" for p in refused.value.problems)


def test_geojson_has_every_site(tree: dict[str, Any]) -> None:
    """Longitude first, with what is told of it."""
    network = example()
    found = sites_document(network)
    placed = place(network)
    for feature, site in zip(found["features"], network.sites, strict=True):
        assert feature["geometry"]["coordinates"] == pytest.approx(
            [placed[site.id].lon_deg, placed[site.id].lat_deg], abs=1e-7
        )
        assert feature["properties"]["antenna_m"] == site.antenna_m
    assert set(TEMPLATE.splitlines()[0].split(",")) <= set(COLUMNS)


def test_sites_are_known_by_capitals_too_and_a_move_is_told(tree: dict[str, Any]) -> None:
    """NORTH is north; a place the wrong way round shows by how far it moves; values beyond the plan's are refused."""
    first, second = tree["sites"][0]["id"], tree["sites"][1]["id"]
    text = f'id,position,erp_h_kw\n{first.upper()},"-84.25, 36.35",\n{second},,-5\n'
    found = rows_of(text.encode(), tree)

    assert ["changes", "refused"] == [row.does for row in found.rows]
    assert first == found.rows[0].id
    assert any(says.startswith("it moves by 14") and says.endswith("km") for says in found.rows[0].says)
    assert "-5 is out of range" == found.rows[1].problems[0].what


def test_eastings_and_northings_are_a_place(tree: dict[str, Any]) -> None:
    """UTM zone 16 north by its EPSG code, in two columns; one alone is no place, and degrees are no metres."""
    ids = [site["id"] for site in tree["sites"]]
    text = (
        f"id;Easting (m);Northing (m);EPSG\n{ids[0]};740832,3;4027502,3;32616\n{ids[1]};740832,3;;32616\n"
        f"{ids[2]};740832;4027502;4326\n"
    )
    found = rows_of(text.encode(), tree)

    assert ["changes", "refused", "refused"] == [row.does for row in found.rows]
    assert {"easting_m": 740832.3, "northing_m": 4027502.3, "crs": "EPSG:32616"} == found.document["sites"][0][
        "position"
    ]
    assert "has one of easting_m and northing_m" == found.rows[1].problems[0].what
    read(json.dumps(found.document))


def test_a_site_stands_once_and_there_are_not_too_many(tree: dict[str, Any]) -> None:
    """The second line of a site that is there is refused like that of a new one; 600 new ones are refused at once."""
    first = tree["sites"][0]["id"]
    found = rows_of(f"id,ground_m\n{first},561\n{first},562\n".encode(), tree)
    assert ["changes", "refused"] == [row.does for row in found.rows]
    assert 561 == found.document["sites"][0]["ground_m"]
    many = "id,position,ground_m,antenna_m,erp_h_kw\n" + "".join(f'n{k},"36.4,-84.3",100,20,1\n' for k in range(600))
    with pytest.raises(PlanError, match="500 at most"):
        rows_of(many.encode(), tree)


def test_the_preview_says_where_a_site_would_stand_and_what_is_doubtful(tree: dict[str, Any]) -> None:
    """A spreadsheet that lost its zeros: 11 km and 37 us, of that row, an error before anything is saved."""
    new, moved, same = rows_of(
        b'id,name,position,ground_m,antenna_m,erp_h_kw\nfar,Far,"36.4, -84.1",300,20,1\nsouth,,"36.20600, -84.21000",,,\n'
        b'gap,,"36.28000, -84.19000",,,\n',
        tree,
    ).rows

    (doubt,) = new.doubts
    assert ("position-coarse", "error", ("far",)) == (doubt.code, doubt.severity, doubt.sites)
    assert doubt.values["doubt_us"] == pytest.approx(37.08, abs=0.01)
    assert "it stands at 36.40000, -84.10000, 13.86" in " ".join(new.says)
    assert new.says[-1].endswith("from the nearest site, North ridge")
    assert ((), "it stands at 36.20600, -84.21000") == (moved.doubts, moved.says[-1].partition(", 8")[0])
    assert ("nothing", (), ()) == (same.does, same.says, same.doubts)


def test_eastings_in_feet_have_columns_of_their_own(tree: dict[str, Any]) -> None:
    """``Easting (ft)`` is read in the grid's foot; what goes out of such a network comes in and changes nothing."""
    table = b"id,Easting (ft),Northing (ft),crs\nsouth,2533174.25,757040.5,2274\n"

    found = rows_of(table, tree)
    assert ["changes"] == [row.does for row in found.rows], found.rows
    position = found.document["sites"][1]["position"]
    assert {"easting_ft": 2533174.25, "northing_ft": 757040.5, "crs": "EPSG:2274"} == position
    network = read(json.dumps(found.document))
    at = place(network)["south"]
    assert (36.1, -84.0) == pytest.approx((at.lat_deg, at.lon_deg), abs=0.5)

    again = understood_sites(read_sheet(sites_csv(network).encode(), source="s.csv"), found.document)
    assert ["nothing"] * 3 == [row.does for row in again.rows], again.rows


@pytest.mark.parametrize(
    ("column", "cell", "said"),
    [("", "", "does not say whether"), (",on_air", ",no", "as the table says"), (",on_air", ",yes", "")],
)
def test_a_new_site_says_that_it_does_not_transmit_and_has_no_value_to_roll_back_to(
    tree: dict[str, Any], column: str, cell: str, said: str
) -> None:
    """What is copied is the devices, never what somebody read on another one."""
    head = f"id,position,ground_m,antenna_m,erp_h_kw{column}"
    found = rows_of(f'{head}\nnew,"36.3, -84.3",500,30,1{cell}\n'.encode(), tree)
    (row,), site = found.rows, found.document["sites"][-1]

    assert row.does == "new"
    silent = [one for one in row.says if one.startswith("not transmitting")]
    assert [said in one for one in silent] == ([True] if said else [])
    assert site["on_air"] == (not said)
    assert site["id"] == "new"
    assert all("set" not in field for field in site["delay_fields"])
    assert any("to be read at the site" in one for one in row.says)
    assert "set" in tree["sites"][0]["delay_fields"][0]
