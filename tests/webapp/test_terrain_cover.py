"""Ground cover and zones in the browser: looked into, given heights, refused in words, nothing typed lost."""

import html
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from starlette.testclient import TestClient

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"
HEIGHTS = {"cover-value-0": "0", "cover-value-1": "10", "cover-value-2": "15"}
COVER = {"cover": "folder woods", "cover-kind": "classes", "cover-number-0": "11", "cover-number-1": "21",
         "cover-number-2": "41"}  # fmt: skip
ZONES = {"zones": "folder shore", "zones-number-0": "1", "zones-value-0": "inland", "zones-number-1": "3",
         "zones-value-1": "sea"}  # fmt: skip


def raster(tmp_path: Path, values: np.ndarray) -> bytes:
    """A GeoTIFF over the ridge country."""
    rows, columns = values.shape
    with rasterio.open(
        tmp_path / "made.tif", "w", driver="GTiff", width=columns, height=rows, count=1, dtype=values.dtype,
        crs="EPSG:4326", transform=from_origin(-84.42, 36.45, 0.35 / columns, 0.3 / rows),
    ) as out:  # fmt: skip
        out.write(values, 1)
    return (tmp_path / "made.tif").read_bytes()


@pytest.fixture
def number(post: Callable[..., Any], tmp_path: Path) -> str:
    """The ridge network, with files of land cover, canopy heights and zones sent; gives its address."""
    address = str(post("/networks/import", files={"file": ("n.json", RIDGE.read_bytes())}).headers["location"])
    classes = np.full((60, 70), 41, dtype=np.uint8)
    classes[:6], classes[6:12] = 11, 21
    shore = np.ones((60, 70), dtype=np.uint8)
    shore[:, :7] = 3
    canopy = np.linspace(0.0, 30.0, 4200, dtype=np.float32).reshape(60, 70)
    for name, values in (("woods", classes), ("shore", shore), ("canopy", canopy)):
        files = [("files", ("a.tif", io.BytesIO(raster(tmp_path, values))))]
        assert 303 == post(f"{address}/terrain/upload", files=files, name=name).status_code
    return address


@pytest.fixture
def save(post: Callable[..., Any], number: str) -> Callable[..., Any]:
    """Save the terrain form."""

    def send(**fields: str) -> Any:
        return post(f"{number}/terrain", **{"base_revision": "1", "terrain": "ridge", "author": "Ada"} | fields)

    return send


def exported(client: TestClient, address: str) -> dict[str, Any]:
    """The newest document."""
    document: dict[str, Any] = client.get(f"{address}/export.json").json()
    return document


def test_looking_lists_the_classes_and_saves_nothing(client: TestClient, save: Callable[..., Any], number: str) -> None:
    """Every class that occurs gets a row with its share; what was typed stays; no revision is made."""
    answer = save(act="look", author="", reason="because", **{"cover": "folder woods", "cover-kind": "classes"})

    assert 200 == answer.status_code
    for text in ('name="cover-number-2" value="41"', "80.0 %", 'value="because"', "3 different values"):
        assert text in answer.text
    assert "cover" not in exported(client, number)


def test_classes_with_heights_and_zones_are_saved_and_used(
    client: TestClient, save: Callable[..., Any], number: str
) -> None:
    """The document holds a height and a zone for each class, the page shows them again, and a path stands in the wood."""
    before = client.get(f"{number}/path", params={"site": "summit", "at": "36.335, -84.2"}).text
    answer = save(**COVER, **HEIGHTS, **ZONES)
    document = exported(client, number)
    after = client.get(f"{number}/path", params={"site": "summit", "at": "36.335, -84.2"}).text

    assert 303 == answer.status_code
    heights = [{"number": 11, "height_m": 0}, {"number": 21, "height_m": 10}, {"number": 41, "height_m": 15}]
    assert {"folder": "woods", "classes": heights} == document["cover"]
    assert [{"number": 1, "zone": "inland"}, {"number": 3, "zone": "sea"}] == document["zones"]["classes"]
    assert 'name="cover-value-2" value="15"' in client.get(f"{number}/terrain").text
    assert "76.91" in before
    assert "76.91" not in after


def test_a_distance_of_a_class_and_a_surface_model_are_kept(
    client: TestClient, save: Callable[..., Any], number: str
) -> None:
    """Both stand in the document and in the form again; a sender that knows of neither the one nor the other keeps it."""
    save(**COVER, **HEIGHTS, **{"cover-distance-2": "50", "surface-asked": "1", "surface": "yes"})
    save(base_revision="2", **{"height-summit": "1070"})
    document, shown = exported(client, number), client.get(f"{number}/terrain").text

    assert {"number": 41, "height_m": 15, "distance_m": 50} == document["cover"]["classes"][2]
    assert {"source": "ridge", "heights_of": "surface"} == document["terrain"]
    assert 'name="cover-distance-2" value="50"' in shown
    assert 'name="surface" value="yes" checked' in shown
    save(base_revision="3", **{"surface-asked": "1"})
    assert {"source": "ridge"} == exported(client, number)["terrain"]


def test_zones_are_made_of_water_classes_and_of_a_coastline(
    client: TestClient, post: Callable[..., Any], save: Callable[..., Any], number: str
) -> None:
    """Kept in a folder of their own and named in the document; what cannot be is refused in words, and stays typed."""
    save(**COVER, **HEIGHTS)
    refused = post(f"{number}/coast/upload", base_revision="2", author="Ada", name="shores", water="77")
    made = post(f"{number}/coast/upload", base_revision="2", author="Ada", name="shores", water="11, 12")
    zones = exported(client, number)["zones"]
    ring = [[-90.0, 30.0], [-84.3, 30.0], [-84.3, 40.0], [-90.0, 40.0], [-90.0, 30.0]]
    shape = json.dumps({"type": "Polygon", "coordinates": [ring]}).encode()
    again = post(
        f"{number}/coast/upload", base_revision="3", author="Ada", name="west", polygons="sea",
        files=[("coastline", ("w.json", io.BytesIO(shape)))],
    )  # fmt: skip
    page = client.get(f"{number}/terrain").text

    assert 422 == refused.status_code
    assert "no sample of woods is of class 77" in refused.text
    assert 'value="77"' in refused.text
    assert (303, 303) == (made.status_code, again.status_code)
    assert "shores" == zones["folder"]
    assert {"number": 2, "zone": "sea"} in zones["classes"]
    assert "west" == exported(client, number)["zones"]["folder"]
    assert "Sea is by the polygons of sea in w.json" in page


def test_heights_need_no_table(client: TestClient, save: Callable[..., Any], number: str) -> None:
    """A raster of heights above ground is taken as it is, and taken away again."""
    save(**{"cover": "folder canopy", "cover-kind": "heights"})
    assert {"folder": "canopy"} == exported(client, number)["cover"]
    save(base_revision="2", cover="none")
    assert "cover" not in exported(client, number)


def test_a_class_without_its_height_is_named_and_nothing_typed_is_lost(
    client: TestClient, save: Callable[..., Any], number: str
) -> None:
    """What is missing is named for cover and zones at once; heights, choices and reason stand in the form again."""
    answer = save(reason="spring", **COVER, **(HEIGHTS | {"cover-value-1": ""}), **(ZONES | {"zones-value-1": ""}))

    assert 422 == answer.status_code
    for text in (
        "class 21 occurs and has no height in metres", "class 3 occurs and has no zone", 'value="15"', 'value="spring"',
        '<option value="folder woods" selected>',
    ):  # fmt: skip
        assert text in answer.text
    assert "cover" not in exported(client, number)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"cover-value-0": "high"}, "high"),
        ({"cover-value-0": "900"}, "200"),
        ({"cover-number-3": "4x", "cover-value-3": "5"}, "class &#39;4x&#39; is no whole number"),
        ({"cover-number-3": "41", "cover-value-3": "5"}, "class 41 is given twice"),
        ({"cover": "folder ../etc"}, "one of those on offer"),
        ({"cover": "folder canopy"}, "holds no classes but values from 0 to 30"),
    ],
)
def test_what_cannot_be_is_refused_in_words(save: Callable[..., Any], change: dict[str, str], said: str) -> None:
    """A height that is none, out of range, a class that is none or given twice, a folder that is not on offer."""
    answer = save(**COVER | HEIGHTS | change)

    assert 422 == answer.status_code
    assert said in answer.text


def test_a_form_without_cover_leaves_it(client: TestClient, save: Callable[..., Any], number: str) -> None:
    """A sender that knows nothing of cover changes none."""
    save(**COVER, **HEIGHTS)
    save(base_revision="2", reason="later", **{"height-summit": "1070"})

    assert "woods" == exported(client, number)["cover"]["folder"]
    assert 1070.0 == exported(client, number)["sites"][0]["ground_m"]


def test_the_check_says_where_cover_ends(client: TestClient, save: Callable[..., Any], number: str) -> None:
    """Files that do not reach a site are a warning of the check."""
    document = exported(client, number)
    save(**COVER, **HEIGHTS)
    problems = client.get(f"/api{number}/check").json()["problems"]
    assert not [p for p in problems if p["where"] == "cover.folder"]

    document["sites"][0]["position"] = {"text": "36.60, -84.23", "crs": "EPSG:4326"}
    document["cover"] = {"folder": "canopy"}
    moved = client.post(
        "/networks/import",
        data={"csrf_token": client.get("/").text.split('name="csrf_token" value="')[1].split('"')[0]},
        files={"file": ("n.json", json.dumps(document))},
        follow_redirects=False,
    ).headers["location"]
    problems = client.get(f"/api{moved}/check").json()["problems"]

    assert ["cover.folder"] == [p["where"] for p in problems if "does not reach Summit" in p["what"]]


def test_classes_are_not_offered_as_terrain_nor_heights_as_cover(
    client: TestClient, post: Callable[..., Any], save: Callable[..., Any], number: str, tmp_path: Path
) -> None:
    """Neither stands in its list; sent by hand they are refused in words, nothing is saved, and no unit is asked for."""
    rows, columns = np.mgrid[0:60, 0:70]
    hills = (300.0 + 80.0 * np.sin(rows / 9.0) + 50.0 * np.cos(columns / 7.0)).astype(np.float32)
    files = [("files", ("h.tif", io.BytesIO(raster(tmp_path, hills))))]
    assert 303 == post(f"{number}/terrain/upload", files=files, name="hills").status_code
    page = html.unescape(client.get(f"{number}/terrain").text)
    covers = page[page.index('<select id="cover"') :]
    covers = covers[: covers.index("</select>")]

    assert 'name="terrain" value="folder hills"' in page
    assert 'name="terrain" value="folder woods"' not in page
    assert "Not offered as terrain: a.tif holds classes, not heights of the ground: only 3 different" in page
    assert 'value="folder woods"' in covers
    assert 'value="folder canopy"' in covers
    assert 'value="folder hills"' not in covers
    assert "Not offered as ground cover: half of h.tif lies above" in page
    woods = page[page.index('<th scope="row">woods') : page.index("</tr>", page.index('<th scope="row">woods'))]
    assert "No unit of heights" not in woods

    for sent, says in (
        ({"terrain": "folder woods"}, "a.tif holds classes, not heights of the ground"),
        ({"cover": "folder hills", "cover-kind": "heights"}, "half of h.tif lies above"),
        (
            {"cover": "folder canopy", "cover-kind": "heights", "terrain": "folder canopy"},
            "the very files that the terrain is",
        ),
    ):
        refused = save(**sent)
        assert 422 == refused.status_code, sent
        assert says in html.unescape(refused.text)
    assert "cover" not in exported(client, number)
    assert exported(client, number)["terrain"] == {"source": "ridge"}
    odd = [("files", ("low.tif", io.BytesIO(raster(tmp_path, hills - 230.0))))]
    assert 303 == post(f"{number}/terrain/upload", files=odd, name="low").status_code
    looked = html.unescape(save(act="look", **{"cover": "folder low", "cover-kind": "heights"}).text)
    assert f"Half of low.tif lies above {np.median(hills - 230.0):.0f}: much for trees" in looked
    assert "Heights above the sea are no ground cover" in looked
