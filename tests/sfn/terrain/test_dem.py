"""Terrain files: what is read, how tiles lie on each other, what is void, what is refused."""

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from rasterio.warp import transform

from sfn.errors import PlanError
from sfn.terrain.dem import heights, terrain_from_files, terrain_from_folder, window


def ground(lat: np.ndarray, lon: np.ndarray) -> np.ndarray:
    """A tilted plane in degrees, so that any bilinear reading gives it back."""
    return 300.0 + 400.0 * (lat - 36.0) + 200.0 * (lon + 84.0)


def write(
    path: Path, data: np.ndarray, origin: tuple[float, float], step: float, crs: str = "EPSG:4326", **more
) -> Path:
    """A GeoTIFF whose upper left corner is `origin` (x, y)."""
    place = from_origin(*origin, step, step)
    rows, columns = data.shape[-2:]
    bands = data.reshape(-1, rows, columns)
    units = more.pop("units", None)
    with rasterio.open(
        path, "w", driver="GTiff", width=columns, height=rows, count=len(bands), dtype=data.dtype, crs=crs,
        transform=place, **more,
    ) as out:  # fmt: skip
        out.write(bands)
        if units:
            out.units = (units,) * len(bands)
    return path


def write_degrees(path: Path, *, west: float, north: float, per_degree: int, size: int, **more) -> Path:
    """A GeoTIFF of the plane in degrees; samples are cell centres."""
    step = 1.0 / per_degree
    rows, columns = np.mgrid[0:size, 0:size]
    data = ground(north - (rows + 0.5) * step, west + (columns + 0.5) * step)
    return write(path, data.astype(more.pop("dtype", np.float32)), (west, north), step, **more)


def test_a_geotiff_in_degrees_is_read_between_its_samples(tmp_path: Path) -> None:
    """Heights of a plane come back within float32's rounding, at samples and between them."""
    write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1200, size=240)
    lat, lon = np.array([36.2, 36.21234, 36.15]), np.array([-84.1, -84.12345, -84.05])

    assert np.allclose(ground(lat, lon), heights(terrain_from_folder(tmp_path), lat, lon), atol=1e-3)


def test_a_projected_file_lies_where_it_should(tmp_path: Path) -> None:
    """A UTM raster gives the plane back within a tenth of a metre (30 m cells, 5 cm of height to a metre)."""
    (easting,), (northing,) = transform("EPSG:4326", "EPSG:32616", [-84.2], [36.3])
    rows, columns = np.mgrid[0:400, 0:400]
    x, y = easting + (columns + 0.5) * 30.0, northing - (rows + 0.5) * 30.0
    lon, lat = transform("EPSG:32616", "EPSG:4326", x.ravel(), y.ravel())
    data = ground(np.array(lat), np.array(lon)).reshape(x.shape).astype(np.float32)
    terrain = terrain_from_files([write(tmp_path / "utm.tif", data, (easting, northing), 30.0, "EPSG:32616")], name="u")
    lat, lon = np.array([36.25, 36.22]), np.array([-84.15, -84.1])

    assert np.allclose(ground(lat, lon), heights(terrain, lat, lon), atol=0.1)


def write_hgt(path: Path, void: tuple[int, int] | None = None) -> Path:
    """An SRTM tile of 1 201 x 1 201 samples: one degree, edge to edge, big-endian, metres."""
    rows, columns = np.mgrid[0:1201, 0:1201]
    data = np.round(ground(37.0 - rows / 1200, -85.0 + columns / 1200)).astype(">i2")
    if void:
        data[void] = -32768
    data.tofile(path)
    return path


def test_an_srtm_tile_is_read_at_its_samples_and_its_void_stays_void(tmp_path: Path) -> None:
    """Samples lie on whole 3 arc-seconds; -32768 is "not known" and never blended."""
    terrain = terrain_from_files([write_hgt(tmp_path / "N36W085.hgt", void=(600, 600))], name="srtm")
    found = heights(
        terrain, [36.25, 36.5, 36.5 + 0.5 / 1200, 36.5 + 1 / 1200, 37.0], [-84.75, -84.5, -84.5, -84.5, -85.0]
    )

    assert [250.0, 400.0, 500.0] == pytest.approx([found[0], found[3], found[4]], abs=0.51)
    assert [True, True] == list(np.isnan(found[1:3]))


def test_a_finer_tile_lies_on_top_and_its_voids_show_the_coarser(tmp_path: Path) -> None:
    """With 3 and 1 arc-second tiles over each other the finer counts, except where it is void."""
    write_degrees(tmp_path / "a_fine.tif", west=-84.1, north=36.3, per_degree=3600, size=360)
    with rasterio.open(tmp_path / "a_fine.tif", "r+") as fine:
        data = fine.read(1) + 50.0
        data[100:200, 100:200] = -9999.0
        fine.nodata = -9999.0
        fine.write(data.astype(np.float32), 1)
    write_degrees(tmp_path / "z_coarse.tif", west=-84.2, north=36.3, per_degree=1200, size=240)
    terrain = terrain_from_folder(tmp_path)
    lat = np.array([36.21, 36.3 - 150 / 3600, 36.21])
    lon = np.array([-84.09, -84.1 + 150 / 3600, -84.15])

    assert np.allclose(ground(lat, lon) + np.array([50.0, 0.0, 0.0]), heights(terrain, lat, lon), atol=2e-3)


def test_neighbouring_tiles_join_without_a_seam(tmp_path: Path) -> None:
    """Between the last sample of one tile and the first of the next the plane goes on, and no void opens."""
    write_degrees(tmp_path / "w.tif", west=-84.2, north=36.3, per_degree=1200, size=120)
    write_degrees(tmp_path / "e.tif", west=-84.1, north=36.3, per_degree=1200, size=120)
    lon = np.linspace(-84.102, -84.098, 41)

    assert np.allclose(ground(36.25, lon), heights(terrain_from_folder(tmp_path), 36.25, lon), atol=2e-3)


def test_a_place_has_one_height_whatever_the_window(tmp_path: Path) -> None:
    """Windows of different extent hold the same heights at the same samples."""
    write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1000, size=200)
    terrain = terrain_from_folder(tmp_path)
    large = window(terrain, south_deg=36.15, west_deg=-84.15, north_deg=36.25, east_deg=-84.05)
    small = window(terrain, south_deg=36.2, west_deg=-84.1, north_deg=36.21, east_deg=-84.09)
    row = round((large.north_deg - small.north_deg) / small.step_lat_deg)
    column = round((small.west_deg - large.west_deg) / small.step_lon_deg)
    rows, columns = small.height_m.shape

    assert np.allclose(small.height_m, large.height_m[row : row + rows, column : column + columns], rtol=0, atol=1e-3)


def test_a_large_window_gets_coarser_and_not_larger(tmp_path: Path) -> None:
    """The bound on samples is kept; the coarse samples are means of their cells, so a plane stays."""
    write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1200, size=240)
    grid = window(
        terrain_from_folder(tmp_path),
        south_deg=36.15, west_deg=-84.15, north_deg=36.25, east_deg=-84.05, most_samples=2000,
    )  # fmt: skip
    rows, columns = np.indices(grid.height_m.shape)
    lat, lon = grid.north_deg - rows * grid.step_lat_deg, grid.west_deg + columns * grid.step_lon_deg

    assert 2000 >= grid.height_m.size
    assert np.allclose(ground(lat, lon), grid.height_m, atol=0.2)


def test_outside_the_files_nothing_is_known(tmp_path: Path) -> None:
    """Points off the tiles are NaN, never zero."""
    write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1200, size=24)

    assert np.isnan(heights(terrain_from_folder(tmp_path), [35.0, 36.3, np.nan], [-84.19, 100.0, -84.19])).all()


def test_an_undeclared_void_is_void_all_the_same(tmp_path: Path) -> None:
    """A file that forgets to declare -32768 does not dig a hole of 32 km."""
    path = write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1200, size=24, dtype=np.int16)
    with rasterio.open(path, "r+") as source:
        data = source.read(1)
        data[12, 12] = -32768
        source.write(data, 1)
    found = heights(terrain_from_folder(tmp_path), 36.3 - 12.5 / 1200, [-84.2 + 12.5 / 1200, -84.2 + 15.5 / 1200])

    assert [True, False] == list(np.isnan(found))


def test_an_undeclared_void_is_counted_where_files_are_listed(tmp_path: Path) -> None:
    """72 of 576 samples are -9999: an eighth, whether the file declares them or not."""
    path = write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1200, size=24)
    with rasterio.open(path, "r+") as source:
        data = source.read(1)
        data[3:6] = -9999
        source.write(data, 1)
    (tile,) = terrain_from_folder(tmp_path).tiles

    assert tile.void_pct == pytest.approx(12.5)


def test_a_great_window_can_be_ended_before_anything_is_read(tmp_path: Path) -> None:
    """A degree at 4800 samples, none of them read yet: whoever asked is called for every stripe of rows."""
    write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=4800, size=24)
    calls: list[int] = []

    def look() -> None:
        """The third call asks for an end."""
        calls.append(0)
        if len(calls) == 3:
            raise InterruptedError

    with pytest.raises(InterruptedError):
        window(terrain_from_folder(tmp_path), south_deg=35.3, west_deg=-85.2, north_deg=36.3, east_deg=-84.2, look=look)
    assert len(calls) == 3


def test_heights_in_feet_become_metres(tmp_path: Path) -> None:
    """A file that says it counts in feet is converted."""
    write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1200, size=24, units="ft")

    assert 0.3048 * ground(36.29, -84.19) == pytest.approx(
        float(heights(terrain_from_folder(tmp_path), 36.29, -84.19)), abs=1e-3
    )


def test_the_digest_follows_the_content(tmp_path: Path) -> None:
    """One changed height changes the digest, another name does not."""
    path = write_degrees(tmp_path / "a.tif", west=-84.2, north=36.3, per_degree=1200, size=24)
    first = terrain_from_folder(tmp_path).digest
    path = path.rename(tmp_path / "b.tif")
    renamed = terrain_from_folder(tmp_path).digest
    with rasterio.open(path, "r+") as source:
        data = source.read(1)
        data[3, 3] += 1.0
        source.write(data, 1)

    assert first == renamed
    assert first != terrain_from_folder(tmp_path).digest


def test_every_unusable_file_is_named(tmp_path: Path) -> None:
    """A picture, a file without coordinates, one in fathoms and one that is no raster are refused together."""
    write(tmp_path / "picture.tif", np.zeros((3, 8, 8), dtype=np.uint8), (-84.0, 36.0), 0.01)
    (tmp_path / "text.tif").write_text("heights")
    write_degrees(tmp_path / "fathoms.tif", west=-84.2, north=36.3, per_degree=1200, size=8, units="fathom")
    shape = {"width": 8, "height": 8, "count": 1, "dtype": "int16"}
    with (
        pytest.warns(rasterio.errors.NotGeoreferencedWarning),
        rasterio.open(tmp_path / "nowhere.tif", "w", driver="GTiff", **shape) as out,
    ):
        out.write(np.zeros((1, 8, 8), dtype=np.int16))
    (tmp_path / "moved.hgt").write_bytes(bytes(2 * 1201 * 1201))
    with pytest.raises(PlanError) as caught:
        terrain_from_folder(tmp_path)

    assert [
        "fathoms.tif counts heights in 'fathom'",
        "moved.hgt cannot be read as a raster",
        "nowhere.tif does not say where it lies",
        "picture.tif is a picture, not heights",
        "text.tif cannot be read as a raster",
    ] == [p.what for p in caught.value.problems]


def test_a_raster_that_points_elsewhere_is_not_followed(tmp_path: Path) -> None:
    """A virtual raster in a .tif's clothes, which could open any file or address, is refused."""
    inner = write_degrees(tmp_path / "inner.tif", west=-84.2, north=36.3, per_degree=1200, size=8)
    outer = tmp_path / "outer.tif"
    outer.write_text(
        '<VRTDataset rasterXSize="8" rasterYSize="8"><SRS>EPSG:4326</SRS><GeoTransform>-84.2,0.1,0,36.3,0,-0.1'
        f'</GeoTransform><VRTRasterBand dataType="Float32" band="1"><SimpleSource><SourceFilename>{inner}'
        "</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
    )
    with pytest.raises(PlanError, match=r"outer\.tif cannot be read as a raster"):
        terrain_from_files([outer], name="outer")


@pytest.mark.parametrize(("make", "text"), [(False, "there is no folder"), (True, "holds no terrain files")])
def test_a_folder_without_terrain_is_refused(tmp_path: Path, make: bool, text: str) -> None:
    """A missing and an empty folder are told apart."""
    folder = tmp_path / "dem"
    if make:
        folder.mkdir()
    with pytest.raises(PlanError, match=text):
        terrain_from_folder(folder)


@pytest.mark.parametrize("most_samples", [16_000, 7_000, 1_300])
@pytest.mark.parametrize("blended", [True, False])
def test_what_is_made_coarser_has_no_seams(tmp_path: Path, most_samples: int, blended: bool) -> None:
    """Cells across the seams of tiles, as many samples a side as fit no tile, hold the mean (or middle) of theirs."""
    side, per_degree = 61, 100
    chance = np.random.default_rng(8)
    whole = (500.0 + 300.0 * chance.random((3 * side, 3 * side))).astype(np.float32)
    north, west = 47.3, 9.1
    for row, column in np.ndindex(3, 3):
        part = whole[row * side :, column * side :][:side, :side]
        with rasterio.open(
            tmp_path / f"{row}{column}.tif", "w", driver="GTiff", width=side, height=side, count=1, dtype="float32",
            crs="EPSG:4326", transform=from_origin(
                west + column * side / per_degree, north - row * side / per_degree, 1 / per_degree, 1 / per_degree
            ),
        ) as out:  # fmt: skip
            out.write(part, 1)
    terrain = terrain_from_folder(tmp_path, blended=blended)
    found = window(terrain, south_deg=45.6, west_deg=9.2, north_deg=47.2, east_deg=10.8, most_samples=most_samples)
    n = found.averaged_n
    rows, columns = found.height_m.shape
    top = (north - found.north_deg) * per_degree - 0.5 - (n - 1) / 2
    left = (found.west_deg - west) * per_degree - 0.5 - (n - 1) / 2

    assert n > 1
    assert (top, left) == pytest.approx((round(top), round(left)), abs=1e-6)
    padded = np.pad(whole.astype(np.float64), 3 * n, constant_values=np.nan)
    own = padded[round(top) + 3 * n :, round(left) + 3 * n :][: rows * n, : columns * n]
    cells = own.reshape(rows, n, columns, n)
    expected = cells.mean(axis=(1, 3)) if blended else cells[:, n // 2, :, n // 2]
    inner = np.isfinite(expected)
    assert inner[1:-1, 1:-1].all()
    assert found.height_m[inner] == pytest.approx(expected[inner], abs=1e-3)
