"""What the frame of a map cuts is said by the map and by every one of its files, with one sentence."""

import io
import json
import zipfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import rasterio
from PIL import Image

from sfn.answer.contours import document, features
from sfn.answer.map_files import layer_png, layer_tif, layers_csv, lines_file, wavefronts, write_zip
from sfn.answer.zones import document as zones_document
from sfn.cli import main
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.reception.coverage import coverage
from sfn.reception.reach import bounds_to_the_edge
from sfn.report.stamp import stamp
from sfn.study.contours import coverage_contours
from sfn.study.frame import contours_cut_says, edges_met, map_cut_says
from sfn.study.what_if import WhatIf, tried
from sfn.study.zones import Zones, zones
from sfn.terrain.ground import Ground
from tests.sfn.networks import example

DEMOS = Path(__file__).parents[3] / "demo_sites"
SAYS = (
    "The frame of the map cuts what is not too weak (beyond the north, east, south and west edge) and the overlap zone"
)


def test_edges_and_their_words() -> None:
    """The first row is the northernmost; an area inside is cut nowhere."""
    inside = np.zeros((4, 5), bool)
    inside[1:3, 1:4] = True
    north_east = inside.copy()
    north_east[0, 4] = True
    west = inside.copy()
    west[2, 0] = True
    assert ((), ("north", "east"), ("west",)) == tuple(edges_met(mask) for mask in (inside, north_east, west))
    grid = grid_for((36.1, -84.4, 36.45, -84.0), pixel_m=5000)
    rows, columns = grid.shape
    whole = np.zeros(rows * columns, bool)
    assert "" == map_cut_says({"it": whole}, grid)
    whole[: 2 * columns - 1] = True  # the first row and most of the second
    assert "cuts it (beyond the north, east and west edge):" in map_cut_says(
        {"it": whole, "else": ~whole & False}, grid
    )
    assert "contour of A, B and C:" in contours_cut_says(["A", "B", "C"])
    assert "" == contours_cut_says([])


def test_where_terrain_ends_before_the_frame_its_last_pixels_are_the_edge() -> None:
    """The frame is a pixel wider than the terrain in the east and slants away from it in the north."""
    known = np.ones((5, 6), bool)
    known[:, -1] = False
    known[0, :3] = known[1, :2] = False
    known[3, 2] = False  # a void inside is no edge
    one = np.zeros_like(known)
    one[2, 4] = True
    assert edges_met(one, known) == ("east",)
    one[:] = False
    one[1, 2] = True
    assert edges_met(one, known) == ("north", "west")  # beyond it both ways nothing is known
    one[:] = False
    one[2, 2] = one[3, 3] = True  # beside the void, and beneath known ground
    assert edges_met(one, known) == ()
    one[:, -1] = True  # what is not known is not met
    assert edges_met(one, known) == ()
    assert edges_met(one, known & False) == ()

    grid = grid_for((36.1, -84.4, 36.45, -84.0), pixel_m=5000)
    covered = np.ones(grid.shape, bool)
    covered[:, -1] = False
    served = np.zeros(grid.shape, bool)
    served[2, -2] = True
    assert map_cut_says({"it": served}, grid, covered.ravel()).startswith(
        "The frame of the map, or the end of its terrain, cuts it (beyond the east edge):"
    )


@pytest.fixture(scope="module")
def found() -> tuple[Zones, dict[str, float]]:
    """The example on a map that is much too small for it."""
    network = example()
    placed = place(network)
    now = tried(network, WhatIf(), placed=placed)
    with ThreadPoolExecutor(2) as executor:
        grid = grid_for((36.25, -84.25, 36.32, -84.15), pixel_m=500)
        computed = coverage(network, grid, placed=placed, ground=Ground(), executor=executor)
    return zones(now.network, computed, now.launches), dict(now.launches)


def test_every_file_says_that_the_frame_cuts(found: tuple[Zones, dict[str, float]]) -> None:
    """GeoTIFF tag, CSV heading, picture, GeoJSON on every feature, KML, archive and answer: the page's sentence."""
    made, launches = found
    said = made.cut_says
    assert said.startswith(SAYS)
    by = stamp(made.network, revision=3, made_at=datetime.now(UTC), cut=said)
    layer = made.layers[0]
    with rasterio.open(io.BytesIO(layer_tif(made, layer, by))) as raster:
        assert said == raster.tags()["cut"]
    assert said in next(layers_csv(made, made.layers, by))
    assert said in Image.open(io.BytesIO(layer_png(made, layer, by))).info["Description"]
    lines = json.loads(lines_file(wavefronts(made, launches), "wavefronts", "geojson", by))
    assert lines["features"]
    assert {said} == {one["properties"]["cut"] for one in (lines, *lines["features"])}
    assert said in lines_file(wavefronts(made, launches), "wavefronts", "kml", by)
    held = io.BytesIO()
    write_zip(held, made, launches, by)
    with zipfile.ZipFile(held) as archive:
        lines = [name for name in archive.namelist() if name.endswith("json")]
        assert lines
        assert all(said in archive.read(name).decode() for name in lines)
    assert said == zones_document(made, {})["cut_by_frame"]
    assert "cut" not in replace(by, cut="").tags()


def test_served_area_at_the_frame_is_named_beside_the_area(
    found: tuple[Zones, dict[str, float]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Sides are those where the outermost row or column holds a served class; page, command and answer have them."""
    made, _ = found
    classes = np.full(made.coverage.grid.shape, 3.0, np.float32)
    assert "" == replace(made, quality=replace(made.quality, quality_class=classes.ravel())).served_edges_say
    classes[0, 3], classes[2, 0], classes[-1, 2], classes[3, -1] = 1, 0, 2, np.nan  # upset and unknown: not served
    some = replace(made, quality=replace(made.quality, quality_class=classes.ravel()))
    assert zones_document(some, {})["served_meets_edges"] == ["north", "west"]
    assert some.served_edges_say.startswith("served area goes on beyond the north and west edge")

    plan, bounds = str(DEMOS / "dab_plain.json"), "52.6,9.6,52.8,10.0"
    assert main(["zones", plan, "--out", str(tmp_path), f"--bounds={bounds}", "--pixel-m", "2000"]) == 0
    line = next(one for one in capsys.readouterr().out.splitlines() if one.startswith("these figures speak of"))
    assert "served area goes on beyond the north, east, south and west edge" in line


@pytest.mark.parametrize("demo", ["dab_plain", "dvbt2_chain"])
def test_a_default_map_over_a_smooth_earth_ends_where_nothing_is_served(demo: str) -> None:
    """No served pixel lies at its edge, and most of what lies there is too weak."""
    network = read_file(DEMOS / f"{demo}.json")
    placed = place(network)
    now = tried(network, WhatIf(), placed=placed)
    with ThreadPoolExecutor(2) as executor:
        grid = grid_for(bounds_to_the_edge(network, placed, ground=Ground()), pixel_m=4000)
        computed = coverage(network, grid, placed=placed, ground=Ground(), executor=executor)
    made = zones(now.network, computed, now.launches)
    classes = made.quality.quality_class.reshape(grid.shape)
    around = np.concatenate([classes[0], classes[-1], classes[:, 0], classes[:, -1]])
    assert not np.isin(around, (0, 1)).any()
    assert made.served_edges == ()
    assert np.isin(classes, (0, 1)).sum() > 0.1 * classes.size


def test_contours_that_the_frame_cuts(found: tuple[Zones, dict[str, float]]) -> None:
    """Whose, on the collection and on each area; a level reached only near the masts is cut nowhere."""
    made, _ = found
    cut = coverage_contours(made.network, made.coverage, [], at_dbuvm=40)
    said = "The frame of the map cuts the contour of North ridge, South ridge and Gap: its area and lines end there"
    assert said == features(cut)["properties"]["cut"] == document(cut, file=None)["cut_by_frame"]
    assert all(one["properties"]["reaches_edge"] for one in features(cut)["features"])
    whole = coverage_contours(made.network, made.coverage, [], at_dbuvm=130)
    assert "" == whole.cut_says
