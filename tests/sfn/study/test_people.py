"""A file of people is looked at before it counts: what was understood, and in words what was not."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.geodesy.grid import grid_for
from sfn.reception.listeners import Listeners, from_raster, spread, understood_places
from sfn.study.people import beside, look

GRID = grid_for((36.0, -84.5, 36.5, -84.0), pixel_m=500)
HEAD = "name,lat,lon,people\n"


def written(folder: Path, text: str) -> Path:
    """A table in a file whose name nobody is told."""
    path = folder / "arriving.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_good_table_is_summed_up(tmp_path: Path) -> None:
    """Places, people, what it covers, the largest first, and how many live on the map."""
    found = look(written(tmp_path, HEAD + "A,36.2,-84.3,400\nB,36.3,-84.2,900\nC,40,-84,50\n"), name="t.csv", grid=GRID)

    assert [place.name for place in found.largest] == ["B", "A", "C"]
    assert (found.count, found.total_people, found.map_people) == (3, 1350, pytest.approx(1300))
    assert found.bounds_deg == (36.2, -84.3, 40, -84)
    assert found.problems == found.doubts == ()


def test_every_wrong_line_is_named_and_the_others_are_understood(tmp_path: Path) -> None:
    """By the name that the user knows, in the order of the lines."""
    text = HEAD + "A,36.2,-84.3,400\nB,99,-84.3,many\n,36,-84,1\nC,36\n"
    found = look(written(tmp_path, text), name="t.csv", grid=GRID)

    assert [p.where for p in found.problems] == [
        "t.csv line 3 column lat",
        "t.csv line 3 column people",
        "t.csv line 4 column name",
        "t.csv line 5",
    ]
    assert found.problems[1].expected == "a number from 0 to 100000000 people"
    assert [place.name for place in found.largest] == ["A"]
    many = look(written(tmp_path, HEAD + "A,1,1,x\n" * 50), name="t.csv", grid=GRID)
    assert (len(many.problems), many.problems[-1].what) == (21, "has 30 more problems like these")


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("A,-84.2,36.3,400\n", "none of its places lies on the network's map"),
        ("A,36.3,-84.2,400\nA,36.3,-84.2,400\n", "holds 1 place twice"),
        ("A,36.3,-84.2,0\n", "says of 1 place that nobody lives there"),
        ("A,36.3,-84.2,600000\nB,36.31,-84.2,9000\n", "holds 1 place well within a town"),
    ],
)
def test_what_is_odd_is_asked_about(tmp_path: Path, lines: str, said: str) -> None:
    """Each can be used; a second look is asked for."""
    found = look(written(tmp_path, HEAD + lines), name="t.csv", grid=GRID)

    assert found.problems == ()
    assert said in found.doubts[0].what


def test_swapped_latitude_and_longitude_are_recognised(tmp_path: Path) -> None:
    """The doubt says what would put the places on the map."""
    found = look(written(tmp_path, HEAD + "A,-84.2,36.3,400\n"), name="t.csv", grid=GRID)

    assert "the other way round" in found.doubts[0].expected


def test_a_file_that_is_no_table_is_refused_in_words(tmp_path: Path) -> None:
    """A wrong header names the columns that it should have."""
    found = look(written(tmp_path, "town,lat,lng,pop\nA,1,2,3\n"), name="t.csv", grid=GRID)

    assert found.kind == ""
    assert found.problems[0].where == "t.csv line 1"
    assert found.problems[0].expected == "name,lat,lon,people"


def raster(path: Path, count: np.ndarray, *, crs: str | None) -> Path:
    """People in cells of 0.01 degrees."""
    import rasterio
    from rasterio.transform import from_origin

    with rasterio.open(
        path, "w", driver="GTiff", width=count.shape[1], height=count.shape[0], count=1, dtype="float32",
        crs=crs, transform=from_origin(-84.3, 36.3, 0.01, 0.01),
    ) as out:  # fmt: skip
        out.write(count.astype(np.float32), 1)
    return path


def test_a_raster_is_described_and_counted(tmp_path: Path) -> None:
    """Cells, coordinate system, people on the map."""
    found = look(raster(tmp_path / "a.tif", np.full((6, 5), 70.0), crs="EPSG:4326"), name="a.tif", grid=GRID)

    assert found.kind.replace("\u202f", " ") == "a raster of 5 × 6 cells of 0.01 degrees, EPSG:4326"
    assert found.map_people == pytest.approx(2100)
    assert found.bounds_deg == pytest.approx((36.24, -84.3, 36.3, -84.25))
    assert found.doubts == ()


def test_a_raster_of_something_else_is_doubted_or_refused(tmp_path: Path) -> None:
    """Far too dense, nobody on the map, no coordinate system, no raster."""
    dense = look(raster(tmp_path / "a.tif", np.full((6, 5), 1e6), crs="EPSG:4326"), name="a.tif", grid=GRID)
    assert "people/km²" in dense.doubts[0].what
    far = grid_for((50.0, 8.0, 50.5, 8.5), pixel_m=500)
    assert "holds nobody" in look(tmp_path / "a.tif", name="a.tif", grid=far).doubts[0].what
    lost = look(raster(tmp_path / "b.tif", np.full((6, 5), 1.0), crs=None), name="b.tif", grid=GRID)
    assert lost.problems[0].what == "has no coordinate system"
    (tmp_path / "c.tif").write_bytes(b"no raster")
    assert "cannot be read" in look(tmp_path / "c.tif", name="c.tif", grid=GRID).problems[0].what


def people_raster(folder: Path) -> Path:
    """1,500 people in one cell at 36.3 N, 84.2 W, and 40 far from any place."""
    path, step = folder / "people.tif", 1 / 1200
    cells = np.zeros((600, 600), dtype=np.float32)
    cells[240, 360], cells[500, 60] = 1500.0, 40.0
    with rasterio.open(
        path, "w", driver="GTiff", width=600, height=600, count=1, dtype="float32", crs="EPSG:4326",
        transform=from_origin(-84.5 - step / 2, 36.5 + step / 2, step, step),
    ) as out:  # fmt: skip
        out.write(cells, 1)
    return path


def test_a_list_and_a_raster_stand_side_by_side(tmp_path: Path) -> None:
    """Their sums, their difference, and each place beside what the raster has where it lies; either way round."""
    table = written(tmp_path, HEAD + "A,36.3,-84.2,900\nB,36.2,-84.3,400\nFar,40,-84,5000\n")
    raster = people_raster(tmp_path)
    listed = Listeners(spread(understood_places(table)[0], GRID), "a list", understood_places(table)[0])
    counted = Listeners(from_raster(raster, GRID), "a raster")

    for now, path, sign in ((listed, raster, 1.0), (counted, table, -1.0)):
        found = beside(now, path, grid=GRID)
        assert found is not None
        assert found.more_people == pytest.approx(sign * (1540.0 - 1300.0), rel=1e-6)
        assert found.more_pct == pytest.approx(100.0 * sign * 240.0 / (1300.0 if sign > 0 else 1540.0), rel=1e-6)
        assert [(p.name, p.listed_people, pytest.approx(p.raster_people)) for p in found.places] == [
            ("A", 900.0, 1500.0),
            ("B", 400.0, 0.0),
        ]
    same = beside(listed, table, grid=GRID)
    assert same is not None
    assert (same.more_people, same.places) == (0.0, ())
    assert beside(Listeners(None, "nobody"), table, grid=GRID) is None
    assert beside(listed, tmp_path / "gone.csv", grid=GRID) is None
