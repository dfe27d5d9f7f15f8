"""The map as files: each carries unit, revision and state, and a try is never taken for the plan."""

import csv
import io
import json
import xml.etree.ElementTree as ET
import zipfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from sfn.answer.layer_lines import LEAST_PIXELS_N, layer_lines
from sfn.answer.map_files import layer_png, layer_tif, layers_csv, lines_file, write_files, write_zip
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.reception.coverage import coverage
from sfn.report.stamp import Stamp, stamp
from sfn.study.layers import LAYERS
from sfn.study.what_if import Tried, WhatIf, tried
from sfn.study.zones import Layer, Zones, zones
from sfn.terrain.ground import Ground
from tests.sfn.networks import example

# The gap filler is given enough power to serve whole pixels, to listeners who are content with little.
NETWORK = example(
    lambda tree: [
        tree["sites"][2].update(erp_kw={"h": 5.0, "v": 5.0}),
        tree.update(thresholds={"adequate_snr_db": 15, "target_snr_db": 25}),
    ]
)
WHEN = datetime(2026, 9, 14, 8, 30, tzinfo=UTC)
# The classes of this map in the words of its legend; three cover dozens of pixels in one piece.
LARGE = {
    "distorted by our own transmitters", "clear, partly or wholly mono", "clear stereo, with margin",
    "clear stereo, low margin",
}  # fmt: skip
WORDS_THERE = LARGE
Made = tuple[Zones, Tried, Stamp]


def made(what: WhatIf) -> Made:
    """The example's map with something tried, as revision 7."""
    grid, placed = grid_for((36.1, -84.4, 36.45, -84.0), pixel_m=700), place(NETWORK)
    now = tried(NETWORK, what, placed=placed)
    with ThreadPoolExecutor(2) as executor:
        computed = coverage(NETWORK, grid, placed=placed, ground=Ground(), executor=executor)
    return _stamped(zones(now.network, computed, now.launches), now)


def _stamped(found: Zones, now: Tried) -> Made:
    """With the stamp that the page and the command give its files."""
    by = stamp(NETWORK, revision=7, made_at=WHEN, says=now.says, classes=found.beside_says)
    return found, now, by


@pytest.fixture(scope="module")
def plan() -> Made:
    """As planned."""
    return made(WhatIf())


@pytest.fixture(scope="module")
def trial() -> Made:
    """With south's clock late and gap off the air."""
    return made(WhatIf(clock_errors_us={"south": 40.0}, off_air=frozenset({"gap"})))


def layer(found: Zones, name: str) -> Layer:
    """A layer that is there."""
    one = found.layer(name)
    assert one is not None
    return one


def test_a_geotiff_says_unit_revision_and_state(plan: Made, trial: Made) -> None:
    """In its tags and on its band; the values are the layer's."""
    from rasterio.io import MemoryFile

    for (found, _, by), state, band in (
        (plan, "plan", "quality_margin_db"),
        (
            trial,
            "TRY, not the plan: South ridge: its clock 40.00 µs late; Gap: not transmitting",
            "TRY: quality_margin_db",
        ),
    ):
        one = layer(found, "quality_margin_db")
        with MemoryFile(layer_tif(found, one, by)) as held, held.open() as file:
            tags = file.tags()
            assert (file.units, file.descriptions) == (("dB",), (band,))
            assert (tags["revision"], tags["network"], tags["state"]) == ("7", NETWORK.name, state)
            assert file.crs.to_epsg() == 3857
            np.testing.assert_array_equal(file.read(1), one.values)


def test_a_table_names_unit_and_revision_in_its_columns(plan: Made, trial: Made) -> None:
    """Classes and sites in words, a try in every heading."""
    found, _, by = plan
    rows = list(csv.DictReader(io.StringIO("".join(layers_csv(found, found.layers, by)))))
    assert len(rows) == found.coverage.grid.pixels_n
    assert {row["quality_class_revision_7"] for row in rows} == WORDS_THERE
    assert {row["strongest_site_revision_7"] for row in rows} <= {"north", "south", "gap", ""}
    margin = [float(row["quality_margin_db_revision_7"] or "nan") for row in rows]
    np.testing.assert_allclose(margin, layer(found, "quality_margin_db").values.ravel(), atol=6e-4)

    found, _, by = trial
    head = next(csv.reader(layers_csv(found, [layer(found, "delay_spread_us")], by)))
    assert head[:3] == ["lat_deg", "lon_deg", "TRY_delay_spread_us_revision_7"]
    assert head[3].startswith("TRY, not the plan: ")


def test_file_names_tell_network_revision_and_a_try(plan: Made, trial: Made) -> None:
    """In letters that every system takes."""
    assert plan[2].file("delay_spread_us", "tif") == "example-valley-fm-revision-7-delay_spread_us.tif"
    assert trial[2].file("delay_spread_us", "tif").startswith("TRY-example-valley-fm-")


def test_a_picture_has_room_for_its_legend_and_says_what_it_is(plan: Made, trial: Made) -> None:
    """Wider than its map, state and revision in its text too; a try is framed in rust."""
    for (found, _, by), state in ((plan, "plan"), (trial, "TRY, not the plan")):
        picture = Image.open(io.BytesIO(layer_png(found, layer(found, "quality_class"), by)))
        assert picture.text["Description"].startswith(state)  # type: ignore[attr-defined]
        assert picture.text["Source"].endswith("revision 7")  # type: ignore[attr-defined]
        pixels = np.asarray(picture.convert("RGB")).astype(int)
        rust = (np.abs(pixels - (163, 67, 15)).max(axis=2) < 6).mean()
        assert (rust > 0.002) == by.is_try


def test_a_picture_has_names_of_any_script_and_says_which_it_cannot_set(plan: Made) -> None:
    """A letter drawn as a box is a warning of matplotlib's, and an error here; what is in words is explained beneath."""
    found, _, by = plan
    one, names = layer(found, "quality_class"), ("北山中継局", "남산", "محطة", "Tower " + 16 * "\U000f1234")
    sites = [site.model_copy(update={"name": name}) for site, name in zip(found.network.sites, names, strict=False)]
    renamed = replace(found, network=found.network.model_copy(update={"sites": tuple(sites)}))
    assert len(sites) == 3
    usual = Image.open(io.BytesIO(layer_png(renamed, one, by)))
    sites[2] = sites[2].model_copy(update={"name": names[3]})
    renamed = replace(found, network=found.network.model_copy(update={"sites": tuple(sites)}))
    said = Image.open(io.BytesIO(layer_png(renamed, one, by)))
    assert said.height > usual.height  # the line that names it


def test_lines_of_classes_are_areas_that_hold_their_pixels(plan: Made) -> None:
    """Together they are as large as the class, but for pieces below the least."""
    found, _, by = plan
    one = layer(found, "quality_class")
    document = layer_lines(found, one)
    assert {f["properties"]["class"] for f in document["features"]} == LARGE
    assert {(f["properties"]["code"], f["properties"]["label"]) for f in document["features"]} == {
        (2, "distorted by our own transmitters"),
        (4, "clear, partly or wholly mono"),
        (0, "clear stereo, with margin"),
        (1, "clear stereo, low margin"),
    }
    assert all(f["geometry"]["type"] == "Polygon" for f in document["features"])
    for f in document["features"]:
        assert (one.values == f["properties"]["code"]).sum() >= LEAST_PIXELS_N

    marked = json.loads(lines_file(document, "lines", "geojson", by))
    assert {f["properties"]["revision"] for f in marked["features"]} == {"7"}
    assert {f["properties"]["state"] for f in marked["features"]} == {"plan"}


def test_lines_of_an_amount_lie_at_round_values(plan: Made) -> None:
    """Each bears its value under the layer's name, with its unit."""
    document = layer_lines(plan[0], layer(plan[0], "quality_margin_db"))
    values = {f["properties"]["quality_margin_db"] for f in document["features"]}

    assert values == {-5.0, 0.0, 5.0, 10.0, 15.0, 20.0}  # what is higher stands in pieces too small
    assert {f["properties"]["unit"] for f in document["features"]} == {"dB"}
    assert layer_lines(plan[0], layer(plan[0], "delay_difference_us"))["features"] == []


def test_kml_of_a_try_says_so_in_its_name_and_on_every_line(trial: Made) -> None:
    """And its areas have the colours of their classes."""
    found, _, by = trial
    root = ET.fromstring(lines_file(layer_lines(found, layer(found, "quality_class")), "lines", "kml", by))
    space = "{http://www.opengis.net/kml/2.2}"
    name = root.find(f"{space}Document/{space}name")
    assert name is not None
    assert (name.text or "").startswith("TRY, not the plan")
    marks = root.findall(f".//{space}Placemark")
    assert marks
    for mark in marks:
        data = {d.get("name"): d.findtext(f"{space}value") for d in mark.iter(f"{space}Data")}
        assert data["state"]
        assert data["state"].startswith("TRY")
    styles = {style.get("id") for style in root.iter(f"{space}Style")}
    assert {(mark.findtext(f"{space}styleUrl") or "").removeprefix("#") for mark in marks} == styles


def test_the_archive_holds_every_layer_and_all_lines(trial: Made) -> None:
    """Each name of a try begins with TRY."""
    held = io.BytesIO()
    write_zip(held, trial[0], trial[1].launches, trial[2])
    names = zipfile.ZipFile(held).namelist()

    assert all(name.startswith("TRY-") for name in names)
    assert sum(name.endswith(".tif") for name in names) == len(trial[0].layers)
    assert {name.rpartition(".")[2] for name in names} == {"tif", "geojson", "kml"}


def test_a_folder_gets_the_forms_that_are_asked_for(plan: Made, tmp_path: Path) -> None:
    """The command's files keep their names: one GeoTIFF a layer and the wavefronts."""
    files = write_files(plan[0], plan[1].launches, tmp_path, plan[2])
    assert set(files) == {*(one.name for one in plan[0].layers), "lines"}
    assert Path(files["lines"]).name == "wavefronts.geojson"
    assert set(files) - {"lines"} <= set(LAYERS)
    write_files(plan[0], plan[1].launches, tmp_path / "more", plan[2], ("csv", "kml"))
    assert {p.suffix for p in (tmp_path / "more").iterdir()} == {".csv", ".kml"}


def test_every_file_says_what_its_classes_are(plan: Made) -> None:
    """For whom, by which rule, what is not known: in tags, headings, on every line and in the picture."""
    from rasterio.io import MemoryFile

    found, _, by = plan
    said = (
        "The class goes by level and by listeners",
        "Listeners: cars",
        "No transmitter of another programme is listed",
    )
    one = layer(found, "quality_class")
    with MemoryFile(layer_tif(found, one, by)) as held, held.open() as file:
        tags = file.tags()
    assert tags["classes"].split("; ")[2:5] == [
        "distorted by our own transmitters", "signal too weak", "clear, partly or wholly mono",
    ]  # fmt: skip
    texts = [tags["classes_say"], next(iter(layers_csv(found, [one], by)))]
    texts += [lines_file(layer_lines(found, one), "lines", form, by) for form in ("geojson", "kml")]
    texts.append(Image.open(io.BytesIO(layer_png(found, one, by))).text["Description"])  # type: ignore[attr-defined]
    for text in texts:
        for sentence in said:
            assert sentence in text


def test_a_picture_has_room_for_what_stands_beneath_it(plan: Made) -> None:
    """The lines about classes are in the picture itself: it is taller by them than without."""
    found, _, by = plan
    one = layer(found, "quality_class")
    plain = Image.open(io.BytesIO(layer_png(found, one, replace(by, classes=()))))
    said = Image.open(io.BytesIO(layer_png(found, one, by)))
    assert said.height > plain.height + 50
    assert said.width == plain.width
