"""Rasters of every make: turned, askew, in feet, scaled, packed, laid together; heights at their own samples.

Expected heights are those that were written into the file, at places that pyproj gives for the middle of a sample.
"""

import gzip
import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import CRS, Transformer

from sfn.errors import PlanError
from sfn.terrain.as_laid import off_the_file
from sfn.terrain.dem import Terrain, heights, terrain_from_files, terrain_from_folder, window
from sfn.terrain.ground import Ground, averaged_says, ground_window, window_averaged
from sfn.terrain.packed import PackedError, unpacked
from sfn.terrain.told import Told, keep_told

ROWS, COLUMNS = 60, 80
DATA = (300.0 + 40.0 * np.sin(np.arange(ROWS) / 9.0)[:, None] + np.arange(COLUMNS)).astype(np.float32)


def written(path: Path, transform: Affine, *, crs: str | None = "EPSG:4326", driver: str = "GTiff", **more) -> Path:
    """`DATA` as a file."""
    data = more.pop("data", DATA)
    tags = {key: more.pop(key) for key in ("units", "scales", "offsets") if key in more}
    with rasterio.open(
        path, "w", driver=driver, width=data.shape[1], height=data.shape[0], count=1, dtype=data.dtype, crs=crs,
        transform=transform, **more,
    ) as out:  # fmt: skip
        out.write(data, 1)
        for key, value in tags.items():
            setattr(out, key, (value,))
    return path


def at_samples(terrain: Terrain, transform: Affine, crs: str = "EPSG:4326") -> np.ndarray:
    """Our heights at the middle of every inner sample."""
    row, column = np.mgrid[2 : ROWS - 2, 2 : COLUMNS - 2]
    x, y = transform * (column + 0.5, row + 0.5)
    lon, lat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True).transform(x, y)
    return heights(terrain, lat, lon)


INNER = DATA[2:-2, 2:-2]
STEP = 1 / 1200
SOUTH_UP = Affine(STEP, 0, 10.0, 0, STEP, 47.0)
WEST_UP = Affine(-STEP, 0, 10.2, 0, -STEP, 47.1)


@pytest.mark.parametrize(
    ("transform", "driver"),
    [(SOUTH_UP, "GTiff"), (WEST_UP, "GTiff"), (Affine(STEP, 0, 10.0, 0, -STEP, 47.1), "HFA")],
)
def test_rows_and_columns_may_run_either_way(tmp_path: Path, transform: Affine, driver: str) -> None:
    """South-up, east to west and usual: each sample has the height that was written there."""
    path = written(tmp_path / ("a.tif" if driver == "GTiff" else "a.img"), transform, driver=driver)

    assert np.allclose(INNER, at_samples(terrain_from_files([path], name="a"), transform), atol=0.05)


def test_a_raster_that_lies_askew_is_read_where_it_lies(tmp_path: Path) -> None:
    """Rotated by 30 degrees in UTM: within what a second interpolation of this gentle ground may cost."""
    transform = Affine.translation(600_000, 5_200_000) * Affine.rotation(30.0) * Affine.scale(30.0, -30.0)
    path = written(tmp_path / "a.tif", transform, crs="EPSG:32632")
    found = at_samples(terrain_from_files([path], name="a"), transform, "EPSG:32632")

    assert np.isfinite(found).all()
    assert np.abs(found - INNER).max() < 0.3


def test_heights_of_treetops_are_told_with_their_files(tmp_path: Path) -> None:
    """Told of a file it holds for the terrain, changes its digest, and another file's word does not undo it."""
    for name in ("a.tif", "b.tif"):
        written(tmp_path / name, SOUTH_UP)
    before = terrain_from_folder(tmp_path)
    keep_told(tmp_path, {"a.tif": Told(surface=True), "b.tif": Told()})
    after = terrain_from_folder(tmp_path)
    keep_told(tmp_path, {"b.tif": Told(unit="m")})

    assert (before.surface, after.surface, terrain_from_folder(tmp_path).surface) == (False, True, True)
    assert before.digest != after.digest


def test_ridges_of_a_raster_in_utm_are_not_shaved(tmp_path: Path) -> None:
    """Ridges 350 m apart in UTM at 30 m: at the file's own samples and between them 0.3 m rms beside their formula."""
    side = 160

    def ridges(column: np.ndarray, row: np.ndarray) -> np.ndarray:
        return 700.0 + 25.0 * np.cos(2.0 * np.pi * (column + 0.6 * row) / 11.7) + 20.0 * np.sin(row / 9.0)

    x, y = np.meshgrid(np.arange(side), np.arange(side))
    transform = Affine(30.0, 0.0, 600_000.0, 0.0, -30.0, 5_200_000.0)
    path = written(tmp_path / "utm.tif", transform, crs="EPSG:32632", data=ridges(x, y).astype(np.float32))
    terrain = terrain_from_files([path], name="u")
    chance = np.random.default_rng(4)
    between = chance.uniform(10.0, 149.0, (2, 4000))
    for column, row in (between, np.round(between)):
        east, north = transform * (column + 0.5, row + 0.5)
        lon, lat = Transformer.from_crs("EPSG:32632", "EPSG:4326", always_xy=True).transform(east, north)
        own = ridges(column, row)
        apart = heights(terrain, lat, lon) - own

        assert float(np.sqrt(np.mean(apart**2))) < 0.3
        assert abs(float(np.mean(apart[own > np.quantile(own, 0.95)]))) < 0.3


def fractal(side: int, *, rms_m: float) -> np.ndarray:
    """Ground whose power falls with the third power of frequency, as mountains' does: roughest at its own samples."""
    across = np.hypot(*np.meshgrid(np.fft.fftfreq(side), np.fft.fftfreq(side)))
    across[0, 0] = 1.0
    chance = np.random.default_rng(8).normal(size=(side, side))
    ground = np.fft.ifft2(np.fft.fft2(chance) / across**1.5).real
    return np.asarray(1000.0 + rms_m * (ground - ground.mean()) / ground.std(), dtype=np.float32)


CHANCE = (700.0 + np.random.default_rng(8).normal(0.0, 20.0, (200, 200))).astype(np.float32)


@pytest.mark.parametrize(
    ("own", "most_m", "most_large_m"),
    [(fractal(200, rms_m=100.0), 0.3, 5.0), (CHANCE, 0.6, 15.0)],
    ids=["fractal", "chance"],
)
def test_heights_in_utm_pass_through_the_files_own(
    tmp_path: Path, own: np.ndarray, most_m: float, most_large_m: float
) -> None:
    """On the roughest ground too they stay within 0.3 m rms; what is said of it is what `heights` has."""
    transform = Affine(30.0, 0.0, 600_000.0, 0.0, -30.0, 5_200_000.0)
    terrain = terrain_from_files([written(tmp_path / "utm.tif", transform, crs="EPSG:32632", data=own)], name="u")
    rms_m, worst_m, large_m = off_the_file(terrain.tiles[0])
    inside = np.s_[5:-5, 5:-5]
    x, y = np.meshgrid(np.arange(own.shape[1]), np.arange(own.shape[0]))
    east, north = transform * (x[inside] + 0.5, y[inside] + 0.5)
    lon, lat = Transformer.from_crs("EPSG:32632", "EPSG:4326", always_xy=True).transform(east, north)
    apart = heights(terrain, lat, lon) - own[inside]

    assert float(np.sqrt(np.mean(apart**2))) < most_m
    assert rms_m == pytest.approx(float(np.sqrt(np.mean(apart**2))), rel=0.25)
    assert rms_m < worst_m <= float(np.abs(apart).max()) * 1.2
    assert rms_m < large_m < most_large_m


def test_a_height_in_utm_does_not_hang_on_where_the_window_lies(tmp_path: Path) -> None:
    """What is mended reaches as far as is said, and no farther: windows of every place have the same heights."""
    transform = Affine(30.0, 0.0, 600_000.0, 0.0, -30.0, 5_200_000.0)
    own = CHANCE.copy()
    own[90:94, 60:70] = np.nan
    terrain = terrain_from_files([written(tmp_path / "utm.tif", transform, crs="EPSG:32632", data=own)], name="u")
    south, west, north, east = terrain.bounds_deg
    whole = window(terrain, south_deg=south, west_deg=west, north_deg=north, east_deg=east)
    for part in np.random.default_rng(3).uniform(0.05, 0.6, (12, 2)):
        low, left = south + part[0] * (north - south), west + part[1] * (east - west)
        small = window(terrain, south_deg=low, west_deg=left, north_deg=low + 0.011, east_deg=left + 0.011)
        row = round((whole.north_deg - small.north_deg) / whole.step_lat_deg)
        column = round((small.west_deg - whole.west_deg) / whole.step_lon_deg)
        same = whole.height_m[row : row + small.height_m.shape[0], column : column + small.height_m.shape[1]]

        assert np.allclose(same, small.height_m, atol=2e-2, equal_nan=True)


def test_a_raster_along_latitude_is_not_moved(tmp_path: Path) -> None:
    """Its samples are kept: there is nothing to say."""
    transform = Affine(0.001, 0.0, 9.0, 0.0, -0.001, 47.0)
    assert off_the_file(terrain_from_files([written(tmp_path / "a.tif", transform)], name="a").tiles[0]) is None


def test_where_a_raster_in_utm_is_read_no_finer_it_is_said(tmp_path: Path) -> None:
    """Over an area too large for the finer lattice heights are less true than over a smaller one, and that is said."""
    transform = Affine(30.0, 0.0, 600_000.0, 0.0, -30.0, 5_200_000.0)
    ground = Ground(terrain=terrain_from_files([written(tmp_path / "utm.tif", transform, crs="EPSG:32632")], name="u"))
    south, west, north, east = ground.terrain.bounds_deg
    said = {}
    for most in (100_000, 12_000, 1000):
        window = ground_window(
            ground, south_deg=south, west_deg=west, north_deg=north, east_deg=east, most_samples=most
        )
        assert window.averaged == window_averaged(ground, (south, west, north, east), most_samples=most)
        said[most] = averaged_says(*window.averaged)

    assert said[100_000] == ""
    assert "0.3 m rms off the file's own" in said[12_000]
    assert "samples. Ridges count too low" in said[1000]


@pytest.mark.parametrize("axis", [0, 1])
def test_a_raster_in_utm_does_not_slip(tmp_path: Path, axis: int) -> None:
    """Over 36 km every place has the row and column of the file that pyproj gives it, within 0.1 m of ground."""
    counts = np.indices((400, 400))[axis].astype(np.float32)
    transform = Affine(90.0, 0.0, 300_000.0, 0.0, -90.0, 5_200_000.0)
    path = written(tmp_path / "utm.tif", transform, crs="EPSG:32632", data=counts)
    row, column = np.random.default_rng(2).uniform(5.0, 394.0, (2, 3000))
    lon, lat = Transformer.from_crs("EPSG:32632", "EPSG:4326", always_xy=True).transform(
        *(transform * (column + 0.5, row + 0.5))
    )
    apart_m = 90.0 * (heights(terrain_from_files([path], name="u"), lat, lon) - (row, column)[axis])

    assert np.abs(apart_m).max() < 0.1


def test_tiles_join_across_180_degrees(tmp_path: Path) -> None:
    """One tile ends at 180 east, the next begins at 180 west: a line across them meets no gap, whichever way written."""
    data = np.broadcast_to(np.arange(ROWS, dtype=np.float32)[:, None] + 100.0, (ROWS, COLUMNS)).copy()
    west = Affine(STEP, 0, 180.0 - COLUMNS * STEP, 0, -STEP, 47.0)
    written(tmp_path / "w.tif", west, data=data)
    written(tmp_path / "e.tif", Affine(STEP, 0, -180.0, 0, -STEP, 47.0), data=data)
    terrain = terrain_from_folder(tmp_path)
    lat = 47.0 - 30.5 * STEP
    lon = np.linspace(179.99, 180.01, 50)

    assert np.allclose(130.0, heights(terrain, np.full(50, lat), lon), atol=1e-3)
    assert np.allclose(130.0, heights(terrain, np.full(50, lat), np.where(lon > 180, lon - 360, lon)), atol=1e-3)


def test_a_projected_tile_lies_across_180_degrees(tmp_path: Path) -> None:
    """A UTM tile of zone 60 that reaches over the date line is one piece of 2.4 km, not a belt round the earth."""
    transform = Affine(30.0, 0, 727_000.0, 0, -30.0, 5_200_000.0)
    path = written(tmp_path / "a.tif", transform, crs="EPSG:32660")
    terrain = terrain_from_files([path], name="a")
    south, west, north, east = terrain.bounds_deg

    assert 0 < east - west < 0.1
    assert 0 < north - south < 0.1
    assert np.abs(at_samples(terrain, transform, "EPSG:32660") - INNER).max() < 0.3


@pytest.mark.parametrize(
    ("said", "to_m"), [("ft", 0.3048), ("US survey foot", 1200 / 3937), ("metre", 1.0), ("foot", 0.3048)]
)
def test_the_unit_that_a_file_says_counts(tmp_path: Path, said: str, to_m: float) -> None:
    """Feet of either kind become metres, and what somebody said besides does not matter."""
    path = written(tmp_path / "a.tif", SOUTH_UP, units=said)
    keep_told(tmp_path, {"a.tif": Told("m" if to_m < 1 else "ft")})
    terrain = terrain_from_files([path], name="a")

    assert np.allclose(INNER * to_m, at_samples(terrain, SOUTH_UP), atol=0.05)
    assert terrain.tiles[0].unit_known


def test_a_vertical_system_in_feet_counts(tmp_path: Path) -> None:
    """NAD83 with NAVD88 heights in US survey feet (EPSG:4269 + 6360) says its unit in the coordinate system alone."""
    path = written(tmp_path / "a.tif", SOUTH_UP, crs="EPSG:4269+6360")

    assert 1200 / 3937 == pytest.approx(terrain_from_files([path], name="a").tiles[0].to_m)


def test_a_unit_is_asked_for_and_told(tmp_path: Path) -> None:
    """Coordinates in feet without a unit of heights are refused until somebody says it; the digest follows what was said."""
    transform = Affine(100.0, 0, 1_700_000.0, 0, -100.0, 700_000.0)
    path = written(tmp_path / "a.tif", transform, crs="EPSG:2274")
    with pytest.raises(PlanError, match="does not say whether its heights are metres or feet"):
        terrain_from_files([path], name="a")
    keep_told(tmp_path, {"a.tif": Told("ft")})
    feet = terrain_from_files([path], name="a")
    keep_told(tmp_path, {"a.tif": Told("m")})
    metres = terrain_from_files([path], name="a")

    assert 0.3048 == feet.tiles[0].to_m
    assert 1.0 == metres.tiles[0].to_m
    assert feet.digest != metres.digest


def test_scale_and_offset_count(tmp_path: Path) -> None:
    """Whole decimetres above 100 m below the sea: height = 0.1 x value - 100."""
    data = np.round((DATA + 100.0) * 10.0).astype(np.int16)
    path = written(tmp_path / "a.tif", SOUTH_UP, data=data, scales=0.1, offsets=-100.0)

    assert np.allclose(INNER, at_samples(terrain_from_files([path], name="a"), SOUTH_UP), atol=0.06)


def test_an_ascii_grid_is_read_with_its_prj_or_when_told(tmp_path: Path) -> None:
    """Without either it is refused by name."""
    transform = Affine(30.0, 0, 600_000.0, 0, -30.0, 5_200_000.0)
    written(tmp_path / "a.asc", transform, crs=None, driver="AAIGrid")
    (tmp_path / "a.prj").unlink(missing_ok=True)
    with pytest.raises(PlanError, match=r"a\.asc does not say where it lies"):
        terrain_from_folder(tmp_path)
    keep_told(tmp_path, {"a.asc": Told(crs="EPSG:32632")})
    when_told = at_samples(terrain_from_folder(tmp_path), transform, "EPSG:32632")
    keep_told(tmp_path, {"a.asc": Told()})
    (tmp_path / "a.prj").write_text(CRS.from_epsg(32632).to_wkt("WKT1_ESRI"), encoding="utf-8")
    with_prj = at_samples(terrain_from_folder(tmp_path), transform, "EPSG:32632")

    assert np.abs(when_told - INNER).max() < 0.3
    assert np.array_equal(when_told, with_prj)


def hgt() -> bytes:
    """An SRTM tile of 3 arc-seconds, a plane, with one void."""
    row, column = np.mgrid[0:1201, 0:1201]
    data = (row + 2 * column).astype(">i2")
    data[600, 600] = -32768
    return data.tobytes()


@pytest.mark.parametrize("sent", ["N36W085.hgt.gz", "tiles.zip", "in-place.hgt.gz"])
def test_packed_tiles_are_read(tmp_path: Path, sent: str) -> None:
    """In gzip, in an archive with other things beside it, and straight from a folder; a void is told in per cent."""
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("set/N36W085.hgt", hgt())
        archive.writestr("set/readme.txt", "words")
    if sent == "in-place.hgt.gz":
        (tmp_path / "N36W085.hgt.gz").write_bytes(gzip.compress(hgt()))
    else:
        content = zipped.getvalue() if sent == "tiles.zip" else gzip.compress(hgt())
        files, left_out = unpacked(sent, io.BytesIO(content), into=tmp_path)
        assert ["N36W085.hgt"] == [path.name for path in files]
        assert (["readme.txt"] if sent == "tiles.zip" else []) == left_out
    terrain = terrain_from_folder(tmp_path)
    lat, lon = [37.0 - 100 / 1200, 37.0 - 600 / 1200], [-85.0 + 50 / 1200, -85.0 + 600 / 1200]
    found = heights(terrain, lat, lon)

    assert 200.0 == pytest.approx(found[0])
    assert np.isnan(found[1])


def test_archives_are_bounded_and_broken_ones_named(tmp_path: Path) -> None:
    """A flood of zeros, an archive of nothing of use, half an archive: refused in words."""
    flood, empty = io.BytesIO(), io.BytesIO()
    with zipfile.ZipFile(flood, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        archive.writestr("inner.zip", "x")
        archive.writestr("N36W085.hgt.gz", gzip.compress(bytes(70_000_000)))
    with zipfile.ZipFile(empty, "w") as archive:
        archive.writestr("readme.txt", "words")
    for content, words in (
        (flood.getvalue(), "unpacks to more than"),
        (empty.getvalue(), "holds no raster"),
        (flood.getvalue()[:100], "cannot be unpacked"),
    ):
        with pytest.raises(PackedError, match=words):
            unpacked("a.zip", io.BytesIO(content), into=tmp_path)


VRT = (
    '<VRTDataset rasterXSize="80" rasterYSize="60"><SRS>EPSG:4326</SRS><GeoTransform>10, {step}, 0, 47.05, 0, -{step}'
    '</GeoTransform><VRTRasterBand dataType="Float32" band="1"{more}><SimpleSource><SourceFilename relativeToVRT="{beside}">'
    "{name}</SourceFilename><SourceBand>1</SourceBand></SimpleSource>{extra}</VRTRasterBand></VRTDataset>"
)


def virtual(path: Path, *, name: str = "a.tif", more: str = "", beside: str = "1", extra: str = "") -> Path:
    """A virtual raster of one member."""
    path.write_text(VRT.format(step=STEP, name=name, more=more, beside=beside, extra=extra), encoding="utf-8")
    return path


def test_a_virtual_raster_of_members_beside_it_is_read(tmp_path: Path) -> None:
    """Its members count through it alone, and a changed member changes the digest."""
    transform = Affine(STEP, 0, 10.0, 0, -STEP, 47.05)
    written(tmp_path / "a.tif", transform)
    virtual(tmp_path / "all.vrt")
    terrain = terrain_from_folder(tmp_path)
    found = at_samples(terrain, transform)
    written(tmp_path / "a.tif", transform, data=DATA + np.float32(1.0))

    assert ["all.vrt"] == [Path(tile.path).name for tile in terrain.tiles]
    assert np.allclose(INNER, found, atol=0.05)
    assert terrain.digest != terrain_from_folder(tmp_path).digest


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"name": "/etc/hostname"}, "may lie elsewhere"),
        ({"name": "../a.tif"}, "may lie elsewhere"),
        ({"name": "&#46;&#46;/a.tif"}, "may lie elsewhere"),
        ({"name": "/vsicurl/http://127.0.0.1/a.tif"}, "may lie elsewhere"),
        ({"beside": "0"}, "may lie elsewhere"),
        ({"name": "b.tif"}, "not there"),
        ({"name": "dressed.tif"}, "not what its ending says"),
        ({"name": "N36W085.hgt"}, "not what its ending says"),
        ({"more": ' subClass="VRTDerivedRasterBand"'}, "is computed"),
        ({"more": ' subclass="VRTDerivedRasterBand"'}, "is computed"),
        ({"extra": "<PixelFunctionCode>x</PixelFunctionCode>"}, "PixelFunctionCode"),
        ({"extra": "<!-- <SimpleSource> -->"}, "remarks of its own"),
    ],
)
def test_a_virtual_raster_that_leads_elsewhere_is_refused(tmp_path: Path, how: dict[str, str], words: str) -> None:
    """Other files of the machine, addresses, code, members in disguise: refused before GDAL sees them."""
    written(tmp_path / "a.tif", Affine(STEP, 0, 10.0, 0, -STEP, 47.05))
    inner = VRT.format(step=STEP, name="/etc/hostname", more="", beside="0", extra="")
    (tmp_path / "dressed.tif").write_text(inner, encoding="utf-8")
    (tmp_path / "N36W085.hgt").write_bytes(inner.encode().ljust(2 * 1201 * 1201, b"\0"))
    path = virtual(tmp_path / "all.vrt", **how)
    with pytest.raises(PlanError, match=words):
        terrain_from_files([path], name="all")


@pytest.mark.parametrize(
    ("transform", "crs", "data", "words"),
    [
        (Affine(30.0, 0, 600_000.0, 0, -30.0, 5_200_000.0), "EPSG:4326", DATA, "lies off the earth"),
        (SOUTH_UP, "EPSG:4326", DATA + np.float32(20_000.0), "holds values about 203"),
        (SOUTH_UP, "EPSG:4326", np.full_like(DATA, np.nan), "holds no height"),
        (SOUTH_UP, "EPSG:4326", DATA.astype(np.complex64), "complex"),
    ],
)
def test_what_cannot_be_trusted_is_refused(
    tmp_path: Path, transform: Affine, crs: str, data: np.ndarray, words: str
) -> None:
    """Metres said to be degrees, heights of no mountain, nothing but voids, numbers that are no heights."""
    path = written(tmp_path / "a.tif", transform, crs=crs, data=data)
    with pytest.raises(PlanError, match=words):
        terrain_from_files([path], name="a")


def test_classes_are_thinned_and_never_averaged(tmp_path: Path) -> None:
    """Of 10 and 50 side by side a coarse window holds 10 and 50, no 30."""
    from sfn.terrain.dem import window

    data = np.where(np.indices((ROWS, COLUMNS)).sum(axis=0) % 2 == 0, 10, 50).astype(np.uint8)
    written(tmp_path / "a.tif", Affine(STEP, 0, 10.0, 0, -STEP, 47.05), data=data)
    grid = window(
        terrain_from_folder(tmp_path, blended=False), south_deg=47.01, west_deg=10.01, north_deg=47.04, east_deg=10.06,
        most_samples=200,
    )  # fmt: skip

    assert {10.0, 50.0} >= set(np.unique(grid.height_m[np.isfinite(grid.height_m)]).tolist())
