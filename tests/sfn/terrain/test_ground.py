"""The ground that a document names: opened, kept inside its folder, cover and zones by their tables."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin

from sfn.errors import PlanError
from sfn.plan import Network, read
from sfn.terrain.dem import terrain_from_grid
from sfn.terrain.ground import Ground, ground_window, open_ground
from sfn.terrain.heights import HeightGrid
from sfn.terrain.ridge import ridge

RIDGE = Path(__file__).parents[3] / "demo_sites" / "fm_ridge.json"
BOUNDS = {"south_deg": 36.25, "west_deg": -84.25, "north_deg": 36.30, "east_deg": -84.20}


def network(**keys: Any) -> Network:
    """The ridge network with other ground."""
    document = json.loads(RIDGE.read_text(encoding="utf-8"))
    document.pop("terrain")
    return read(json.dumps(document | keys))


def raster(folder: Path, data: np.ndarray) -> Path:
    """A folder with one GeoTIFF over the test's area, 0.001 degrees a sample."""
    folder.mkdir()
    with rasterio.open(
        folder / "a.tif", "w", driver="GTiff", width=data.shape[1], height=data.shape[0], count=1, dtype=data.dtype,
        crs="EPSG:4326", transform=from_origin(-84.3, 36.35, 0.001, 0.001),
    ) as out:  # fmt: skip
        out.write(data, 1)
    return folder


def test_without_terrain_there_is_no_ground(tmp_path: Path) -> None:
    """A document that names none gives an empty window: a smooth earth."""
    ground = open_ground(network(), folder=tmp_path)

    assert Ground() == ground
    assert ground_window(ground, **BOUNDS).terrain is None


def test_everything_that_is_named_is_opened(tmp_path: Path) -> None:
    """Ridge, cover classes with heights and zones with names come together in one window."""
    halves = np.full((150, 150), 10, dtype=np.uint8)
    halves[:, 75:] = 20
    raster(tmp_path / "cover", halves)
    raster(tmp_path / "zones", halves)
    named = network(
        terrain={"source": "ridge"},
        cover={"folder": "cover", "classes": [{"number": 10, "height_m": 15}, {"number": 20, "height_m": 0}]},
        zones={"folder": "zones", "classes": [{"number": 10, "zone": "inland"}, {"number": 20, "zone": "sea"}]},
    )
    ground = open_ground(named, folder=tmp_path)
    window = ground_window(ground, **BOUNDS)

    assert ridge().digest == ground.terrain.digest
    assert {0.0, 15.0} == set(np.unique(window.cover.height_m).tolist())
    assert {0.0, 2.0} == set(np.unique(window.zones.height_m).tolist())


def test_cover_heights_may_come_as_they_are(tmp_path: Path) -> None:
    """Without classes the raster holds heights above ground."""
    raster(tmp_path / "trees", np.full((150, 150), 18.5, dtype=np.float32))
    ground = open_ground(network(cover={"folder": "trees"}), folder=tmp_path)

    assert {18.5} == set(np.unique(ground_window(ground, **BOUNDS).cover.height_m).tolist())


def test_a_class_that_the_table_forgets_is_named(tmp_path: Path) -> None:
    """Nothing is silently bare."""
    raster(tmp_path / "cover", np.full((150, 150), 30, dtype=np.uint8))
    named = network(cover={"folder": "cover", "classes": [{"number": 10, "height_m": 15}]})

    with pytest.raises(PlanError, match="class 30 occurs and has no height"):
        ground_window(open_ground(named, folder=tmp_path), **BOUNDS)


@pytest.mark.parametrize("key", ["terrain", "cover", "zones"])
@pytest.mark.parametrize("name", ["../other", "/etc", "a/../../other"])
def test_folders_stay_inside_unless_allowed(tmp_path: Path, key: str, name: str) -> None:
    """A stranger's document leads nowhere else; one's own may."""
    more = {"classes": [{"number": 1, "zone": "sea"}]} if key == "zones" else {}
    named = network(**{key: {"folder": name} | more})
    (tmp_path / "in").mkdir()

    with pytest.raises(PlanError, match=rf"{key}\.folder: .* lies outside the terrain folder"):
        open_ground(named, folder=tmp_path / "in")
    with pytest.raises(PlanError) as caught:
        open_ground(named, folder=tmp_path / "in", anywhere=True)
    assert "lies outside" not in str(caught.value)


def test_the_digest_follows_every_part(tmp_path: Path) -> None:
    """Another cover height, another zone or another terrain is another digest; the same sources give the same."""
    halves = np.full((150, 150), 10, dtype=np.uint8)
    raster(tmp_path / "cover", halves)

    def digest(height_m: float, **keys: Any) -> str:
        """Digest with one cover height."""
        cover = {"folder": "cover", "classes": [{"number": 10, "height_m": height_m}]}
        return open_ground(network(cover=cover, **keys), folder=tmp_path).digest

    assert digest(15.0) == digest(15.0)
    assert 3 == len({digest(15.0), digest(16.0), digest(15.0, terrain={"source": "ridge"})})


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ({"terrain": {}}, "give one of the two"),
        ({"terrain": {"source": "ridge", "folder": "x"}}, "give one of the two"),
        ({"terrain": {"source": "moon"}}, "terrain"),
        ({"cover": {"folder": "c", "classes": [{"number": 1, "height_m": 900}]}}, "height_m"),
        ({"zones": {"folder": "z", "classes": [{"number": 1, "zone": "lake"}]}}, "zone"),
        ({"zones": {"folder": "z"}}, "classes"),
    ],
)
def test_documents_that_make_no_sense_are_refused(keys: dict[str, Any], text: str) -> None:
    """By the document itself, before any file is looked for."""
    with pytest.raises(PlanError, match=text):
        network(**keys)


def test_voids_are_filled_alike_in_blocks_of_any_size(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each small void is filled from its own rim, wherever blocks meet; what is deep or at the edge stays unknown."""
    chance = np.random.default_rng(4)
    heights = np.cumsum(chance.normal(size=(400, 500)), axis=0).astype(np.float32)
    for row, column in zip(chance.integers(5, 380, 40), chance.integers(5, 480, 40), strict=True):
        heights[row : row + chance.integers(1, 9), column : column + chance.integers(1, 9)] = np.nan
    heights[200:230, 100:140] = np.nan  # 2.8 km wide and more: deep
    heights[:50, :20] = np.nan
    ground = Ground(terrain=terrain_from_grid(HeightGrid(heights, 50.5, 7.0, 1 / 1200, 1 / 1200), name="holed"))
    bounds = {"south_deg": 50.2, "west_deg": 7.02, "north_deg": 50.49, "east_deg": 7.4}
    apart = ground_window(ground, **bounds)
    monkeypatch.setattr("sfn.terrain.ground.FILLED_SAMPLES", 37)
    together = ground_window(ground, **bounds)

    assert apart.filled is not None
    assert np.array_equal(apart.filled, together.filled)
    assert np.array_equal(apart.terrain.height_m, together.terrain.height_m, equal_nan=True)
    assert np.isnan(apart.terrain.height_m).any()
    assert 200 < apart.filled.sum() < 2500
