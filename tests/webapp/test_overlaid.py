"""Lines and names lie over every map and picture of a network, with whose data they are; none where none is wanted."""

import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from starlette.testclient import TestClient

from tests.sfn.study.test_overlay import written, zipped
from tests.webapp.conftest import start_levels
from webapp.config.settings import Settings
from webapp.store.store import Store

COAST_INK = (29, 79, 115)
ROAD = {"type": "LineString", "coordinates": [[-84.35, 36.24], [-84.15, 36.36]]}
TOWN = {"type": "Point", "coordinates": [-84.2, 36.3]}


@pytest.fixture
def number(store: Store, example: dict[str, Any]) -> int:
    """The example with a road and a town over its maps."""
    number = store.create(example, author="test", reason="test").network_id
    shapes = [
        {"type": "Feature", "properties": {"name": name}, "geometry": of}
        for name, of in (("Valley road", ROAD), ("Mill <Bend>", TOWN))
    ]
    document = {"type": "FeatureCollection", "features": shapes}
    store.overlays.add(number, name="roads <b>", attribution="Own survey & son", document=document, says=())
    return number


def shelf(settings: Settings, tmp_path: Path) -> None:
    """A coast as it is fetched."""
    shp = written(tmp_path, "coast.shp", "ESRI Shapefile", [(-84.4, 36.3), (-84.0, 36.3)], "EPSG:4326")
    folder = settings.data_folder / "country" / "coast"
    folder.mkdir(parents=True)
    (folder / "ne_10m_coastline.zip").write_bytes(
        zipped(*(shp.with_suffix(end) for end in (".shp", ".shx", ".dbf", ".prj")))
    )


def picture(client: TestClient, levels: str, **asked: str) -> tuple[Any, dict[str, str]]:
    """A layer's picture as an array of colours, and what it says of itself."""
    answer = client.get(f"{levels}/file/quality_class.png", params=asked)
    assert answer.status_code == 200, answer.text
    made = Image.open(io.BytesIO(answer.content))
    return np.asarray(made.convert("RGB")).astype(int), made.text  # type: ignore[attr-defined]


def of_colour(pixels: Any, ink: tuple[int, int, int]) -> int:
    """How many pixels have a colour."""
    return int((np.abs(pixels - ink).max(axis=2) <= 2).sum())


def test_what_may_lie_over_a_map_is_told(
    client: TestClient, store: Store, settings: Settings, number: int, tmp_path: Path
) -> None:
    """Coast and own lines with whose data they are, and where their shapes are; what is told is found there."""
    shelf(settings, tmp_path)
    told = client.get(f"/networks/{number}/map/overlays.json").json()["overlays"]
    assert [(one["key"], one["label"], one["credit"], one["usual"]) for one in told] == [
        ("coast", "coast", "Made with Natural Earth", True),
        ("1", "roads <b>", "Own survey & son", True),
    ]
    for one in told:
        assert client.get(one["shapes"]).json()["features"]


def test_a_picture_bears_them_and_whose_they_are(
    client: TestClient, settings: Settings, number: int, tmp_path: Path
) -> None:
    """In their own ink, as many pixels as the line is long; none where none is wanted; a key that is none is refused."""
    shelf(settings, tmp_path)
    page = start_levels(client, f"/networks/{number}/map")
    levels = re.findall(r'data-part="([^"]+)"', page)[0]
    both, says = picture(client, levels)
    none, bare = picture(client, levels, overlays="none")
    coast, of_coast = picture(client, levels, overlays="coast")
    assert says["Copyright"] == "Made with Natural Earth; Own survey & son"
    assert of_coast["Copyright"] == "Made with Natural Earth"
    assert bare["Copyright"] == ""
    own = (90, 42, 107)  # the first of one's own
    assert of_colour(none, COAST_INK) < 20
    assert of_colour(coast, COAST_INK) > 300
    assert of_colour(coast, own) < 20
    assert of_colour(both, own) > 300
    assert both.shape[0] >= none.shape[0], "whose data it is has room beneath"
    refused = client.get(f"{levels}/file/quality_class.png", params={"overlays": "coast,77"})
    assert refused.status_code == 422
    assert "77 lies over no map of this network" in refused.text
    assert client.get(f"{levels}/file/quality_class.tif", params={"overlays": "77"}).status_code == 200, "no picture"


def test_the_small_map_of_a_site_bears_them(client: TestClient, number: int) -> None:
    """As a path with its name and whose it is, escaped; also while the site is edited."""
    page = client.get(f"/networks/{number}/sites/north").text
    (drawn,) = re.findall(
        r'<g class="over over-own" data-over="1"><title>(.*?)</title><path d="(M[^"]+)"/>(.*?)</g>', page
    )
    assert drawn[0] == "roads &lt;b&gt;"
    assert drawn[1].count("L") == 1
    assert "Mill &lt;Bend&gt;" in drawn[2]
    assert "Own survey &amp; son." in page


def test_the_drawing_of_residuals_bears_them(client: TestClient, post: Callable[..., Any], number: int) -> None:
    """Where the residuals lie, the road and the town lie too."""
    table = (
        "point,lat,lon,rx_above_ground_m,reference_site,site,delay_difference_us,uncertainty_us\n"
        "A,36.30,-84.20,2,north,south,5.0,0.2\nB,36.28,-84.25,2,north,south,4.0,0.2\n"
    )
    page = post(f"/networks/{number}/measurements", csv=table)
    assert page.status_code == 200, page.text
    assert 'class="residual-map"' in page.text
    assert '<g class="over over-own" data-over="1">' in page.text
    assert "Own survey &amp; son." in page.text


@pytest.mark.parametrize("page", ["", "/road", "/offsets"])
def test_every_map_that_moves_has_its_list_and_its_scale(client: TestClient, number: int, page: str) -> None:
    """The script finds where both are asked for."""
    text = client.get(f"/networks/{number}{page}").text
    assert f'data-choices="/networks/{number}/map/overlays.json"' in text
    assert f'data-scale="/networks/{number}/map/scale.json"' in text
    assert text.index("map-over.js") < min(
        text.index(one) for one in ("stands.js", "road.js", "offsets-map.js") if one in text
    )


def test_every_page_with_leaflet_draws_them() -> None:
    """A new map is one that `map-over.js` knows."""
    folder = Path(__file__).parents[2] / "templates"
    maps = [one for one in folder.rglob("*.html") if "leaflet('leaflet.js')" in one.read_text(encoding="utf-8")]
    assert len(maps) >= 4
    assert [one.name for one in maps if "map-over.js" not in one.read_text(encoding="utf-8")] == []


RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"


@pytest.fixture
def ridge(client: TestClient, store: Store, post: Callable[..., Any]) -> int:
    """The ridge demo, terrain and people with it."""
    post("/networks/demo/fm_ridge")
    return 1


def test_towns_stand_on_every_map(client: TestClient, ridge: int) -> None:
    """Where people are counted by places: at the document's own positions, on the map, in its list and on small maps."""
    told = client.get(f"/networks/{ridge}/map/overlays.json").json()["overlays"]
    assert [one["key"] for one in told] == ["places"]
    shapes = client.get(told[0]["shapes"]).json()
    written_down = json.loads(RIDGE.read_text(encoding="utf-8"))["listeners"]["places"]
    found = {one["properties"]["name"]: one["geometry"]["coordinates"] for one in shapes["features"]}
    assert found == {one["name"]: [one["lon"], one["lat"]] for one in written_down}
    page = client.get(f"/networks/{ridge}/map").text
    assert 'data-overlay="places"' in page
    assert 'data-overlay="places" data-credit' not in page, "they are no publisher's"
    assert ">Caryville</text>" in client.get(f"/networks/{ridge}/sites/north").text


def test_the_ground_is_there_before_any_level(client: TestClient, store: Store, ridge: int, number: int) -> None:
    """On offsets, route and the network's state; none where no terrain is named."""
    answer = client.get(f"/networks/{ridge}/map/ground.png")
    made = Image.open(io.BytesIO(answer.content))
    assert made.mode == "RGBA"
    pixels = np.asarray(made)
    assert max(pixels.shape[:2]) == 240
    assert (pixels[..., 3] == 255).mean() > 0.98
    assert pixels[..., 0].std() > 5, "hills"
    for page in ("", "/road", "/offsets"):
        assert f"/networks/{ridge}/map/ground.png" in client.get(f"/networks/{ridge}{page}").text
    assert client.get(f"/networks/{number}/map/ground.png").status_code == 404
    assert "ground.png" not in client.get(f"/networks/{number}/offsets").text


def test_warnings_fold_so_that_the_settings_stand_in_the_first_screen(client: TestClient, ridge: int) -> None:
    """Errors stay in sight; of warnings it is said how many there are, and of what."""
    page = client.get(f"/networks/{ridge}/delays").text
    above, fold, below = re.split(r'(<details class="warnings">.*?</details>)', page, flags=re.S)
    assert 'class="error"' in above
    assert 'class="warning"' not in above + below
    assert "<summary>5 warnings and remarks: Long gap: position" in fold
    assert fold.count('class="warning"') == 5
