"""Terrain in the browser: chosen, sent, refused in words; heights offered and taken."""

import io
import json
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.transform import from_origin
from starlette.testclient import TestClient

from sfn.terrain.ridge import ridge
from webapp.config.settings import Settings

RIDGE = Path(__file__).parents[2] / "demo_sites" / "fm_ridge.json"


def geotiff(tmp_path: Path, *, crs: str | None = "EPSG:4326") -> bytes:
    """The ridge as a GeoTIFF."""
    with rasterio.open(
        tmp_path / "made.tif", "w", driver="GTiff", width=403, height=344, count=1, dtype="int16", crs=crs,
        transform=from_origin(-84.41375, 36.44625, 1 / 1200, 1 / 1200),
    ) as out:  # fmt: skip
        out.write(ridge().grids[0].height_m.astype(np.int16), 1)
    return (tmp_path / "made.tif").read_bytes()


@pytest.fixture
def number(post: Callable[..., Any]) -> str:
    """The ridge network, without its terrain, imported; gives its address."""
    document = json.loads(RIDGE.read_text(encoding="utf-8"))
    del document["terrain"]
    document["sites"][0]["ground_m"] = 900.0
    return str(post("/networks/import", files={"file": ("n.json", json.dumps(document))}).headers["location"])


def exported(client: TestClient, address: str) -> dict[str, Any]:
    """The newest document."""
    document: dict[str, Any] = client.get(f"{address}/export.json").json()
    return document


def send(post: Callable[..., Any], address: str, name: str, *files: tuple[str, bytes]) -> Any:
    """Send terrain files."""
    return post(f"{address}/terrain/upload", files=[("files", (n, io.BytesIO(data))) for n, data in files], name=name)


def test_a_terrain_is_chosen_and_heights_are_questioned(
    client: TestClient, post: Callable[..., Any], number: str
) -> None:
    """Without terrain none is in force; with the ridge the mistyped height is questioned, on this page and in the check."""
    before = client.get(f"{number}/terrain").text
    done = post(f"{number}/terrain", base_revision="1", terrain="ridge", author="Ada")
    after = client.get(f"{number}/terrain").text

    assert "Ground heights of the sites" not in before
    assert 303 == done.status_code
    assert {"source": "ridge"} == exported(client, number)["terrain"]
    assert 1 == after.count("questioned</span>")
    assert 'value="1076.0"' in after
    problems = client.get(f"/api{number}/check").json()["problems"]
    assert ["sites[0].ground_m"] == [p["where"] for p in problems if "the terrain ridge has" in p["what"]]


def test_the_sites_own_page_questions_the_height_at_its_field(
    client: TestClient, post: Callable[..., Any], number: str
) -> None:
    """Where the height is typed it is questioned, beside the terrain's; another site is not; off the terrain that is said."""
    post(f"{number}/terrain", base_revision="1", terrain="ridge", author="Ada")
    wrong, right = (client.get(f"{number}/sites/{site}").text for site in ("summit", "north"))

    assert "is 900 m, the terrain ridge has 1\u202f076 m there" in wrong
    assert 'aria-invalid="true"' in wrong
    assert "Ground there" in right
    assert "the terrain ridge has" not in right
    document = exported(client, number)
    document["sites"][0]["position"] = {"text": "36.60, -84.23", "crs": "EPSG:4326"}
    moved = str(post("/networks/import", files={"file": ("n.json", json.dumps(document))}).headers["location"])
    assert "does not cover this place" in client.get(f"{moved}/sites/summit").text


def test_a_ticked_height_is_taken(client: TestClient, post: Callable[..., Any], number: str) -> None:
    """The terrain's height replaces the typed one where it is ticked, nowhere else."""
    post(f"{number}/terrain", base_revision="1", terrain="ridge", author="Ada")
    post(f"{number}/terrain", base_revision="2", terrain="ridge", author="Ada", **{"height-summit": "1076.0"})
    heights = [site["ground_m"] for site in exported(client, number)["sites"]]

    assert 1076.0 == heights[0]
    assert [s["ground_m"] for s in json.loads(RIDGE.read_text())["sites"]][1:] == heights[1:]
    assert "questioned</span>" not in client.get(f"{number}/terrain").text


def test_files_are_sent_chosen_and_used(
    client: TestClient, post: Callable[..., Any], number: str, tmp_path: Path
) -> None:
    """Sent files become a terrain on offer; a path over them is answered as over the ridge itself."""
    assert 303 == send(post, number, "my ridge", ("a.tif", geotiff(tmp_path))).status_code
    offered = client.get(f"{number}/terrain").text
    post(f"{number}/terrain", base_revision="1", terrain="folder my ridge", author="Ada", **{"height-summit": "1076"})

    assert 'value="folder my ridge"' in offered
    assert {"folder": "my ridge"} == exported(client, number)["terrain"]
    path = client.get(f"{number}/path", params={"site": "summit", "at": "36.335, -84.2"}).text
    assert "76.91" in path


def test_what_is_no_terrain_is_refused_whole(
    client: TestClient, post: Callable[..., Any], number: str, tmp_path: Path, settings: Settings
) -> None:
    """One bad file among good ones: nothing is kept, every bad one is named."""
    answer = send(post, number, "mixed", ("a.tif", geotiff(tmp_path)), ("b.tif", b"no raster"), ("c.exe", b"MZ"))

    assert 422 == answer.status_code
    assert "b.tif cannot be read as a raster" in answer.text
    assert "c.exe is not a terrain file" in answer.text
    assert [] == list((settings.data_folder / "terrain").iterdir())


@pytest.mark.parametrize("name", ["../outside", "", ".hidden", "a/b", "x" * 61])
def test_a_folder_name_cannot_lead_elsewhere(
    post: Callable[..., Any], number: str, tmp_path: Path, settings: Settings, name: str
) -> None:
    """Names with paths, dots in front or too long are refused, and nothing is written."""
    answer = send(post, number, name, ("a.tif", geotiff(tmp_path)))

    assert 422 == answer.status_code
    assert "letters, digits, blanks" in answer.text
    assert not (settings.data_folder / "terrain").exists() or not list((settings.data_folder / "terrain").iterdir())


def test_a_file_name_cannot_lead_elsewhere(
    client: TestClient, post: Callable[..., Any], number: str, tmp_path: Path, settings: Settings
) -> None:
    """Of a file's name only its last part counts."""
    assert 303 == send(post, number, "mine", ("../../evil.tif", geotiff(tmp_path))).status_code

    assert ["evil.tif"] == [p.name for p in (settings.data_folder / "terrain" / "mine").iterdir()]


def test_a_document_cannot_name_a_folder_elsewhere(client: TestClient, post: Callable[..., Any], number: str) -> None:
    """A document that names a folder outside the terrain folder is answered in words on every page that needs ground."""
    document = exported(client, number) | {"terrain": {"folder": "../../../etc"}}
    address = str(post("/networks/import", files={"file": ("n.json", json.dumps(document))}).headers["location"])

    for page in ("terrain", "delays"):
        answer = client.get(f"{address}/{page}")
        assert 200 == answer.status_code
        assert "lies outside the terrain folder" in answer.text
    answer = client.get(f"{address}/path", params={"at": "36.3, -84.2"})
    assert 422 == answer.status_code
    assert "lies outside the terrain folder" in answer.text


def test_an_old_page_is_told_of_the_newer_revision(post: Callable[..., Any], number: str) -> None:
    """Two people choosing from the same revision: the second is told."""
    post(f"{number}/terrain", base_revision="1", terrain="ridge", author="Ada")
    late = post(f"{number}/terrain", base_revision="1", terrain="folder other", author="Bob")

    assert 409 == late.status_code


def test_a_choice_that_is_not_on_offer_is_refused(post: Callable[..., Any], number: str) -> None:
    """Whatever is sent in the choice's place is answered in words."""
    answer = post(f"{number}/terrain", base_revision="1", terrain="file:///etc", author="Ada")

    assert 422 == answer.status_code
    assert "one of those on offer" in answer.text


def test_feet_are_asked_for_and_a_refusal_keeps_what_was_typed(
    client: TestClient, post: Callable[..., Any], number: str, tmp_path: Path, settings: Settings
) -> None:
    """Without a unit metres are taken and it is said; told as feet the heights are a third; a wrong system keeps the form."""
    send(post, number, "mine", ("a.tif", geotiff(tmp_path)))
    assert "No unit of heights in a.tif: taken as metres" in client.get(f"{number}/terrain").text
    files = [("files", ("a.tif", io.BytesIO(geotiff(tmp_path))))]
    refused = post(f"{number}/terrain/upload", files=files, name="mine", unit="ft", crs="EPSG:nought")
    files = [("files", ("a.tif", io.BytesIO(geotiff(tmp_path))))]
    taken = post(f"{number}/terrain/upload", files=files, name="mine", unit="ft", crs="")
    post(f"{number}/terrain", base_revision="1", terrain="folder mine", author="Ada")
    page = client.get(f"{number}/terrain").text

    assert 422 == refused.status_code
    assert "EPSG:nought" in refused.text
    assert 'value="mine"' in refused.text
    assert '<option value="ft" selected>' in refused.text
    assert 303 == taken.status_code
    assert "taken as metres" not in page
    assert f"{1076 * 0.3048:.1f} m" in page


def test_an_archive_is_unpacked_and_what_it_holds_besides_is_said(
    client: TestClient, post: Callable[..., Any], number: str, tmp_path: Path, settings: Settings
) -> None:
    """Rasters of a zip archive lie in the folder, its other files are named in the notice."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("data/a.tif", geotiff(tmp_path))
        archive.writestr("data/licence.txt", "words")
    send(post, number, "mine", ("all.zip", packed.getvalue()))

    assert ["a.tif"] == [p.name for p in (settings.data_folder / "terrain" / "mine").iterdir()]
    assert "Left out, being no rasters: licence.txt" in client.get(f"{number}/terrain").text


def test_whose_data_were_sent_stands_under_what_is_made_of_them(
    client: TestClient, post: Callable[..., Any], number: str, tmp_path: Path
) -> None:
    """Typed beside the files, it stands with the terrain on offer, under the map and in its files; too long is refused."""

    def files() -> list[Any]:
        return [("files", ("a.tif", io.BytesIO(geotiff(tmp_path))))]

    said = "Heights: Survey of Elmland, licence <A>"
    refused = post(f"{number}/terrain/upload", files=files(), name="mine", credits=f"{said}\n{501 * 'x'}")
    kept_before = "mine" in client.get(f"{number}/terrain").text
    taken = post(f"{number}/terrain/upload", files=files(), name="mine", credits=f"{said}\r\n\r\nBy air, 2024")
    post(f"{number}/terrain", base_revision="1", terrain="folder mine", author="Ada")
    point = client.get(f"/api{number}/point", params={"lat": 36.2, "lon": -84.4}).json()

    assert (refused.status_code, kept_before, taken.status_code) == (422, False, 303)
    assert "501 characters" in refused.text
    assert "Survey of Elmland, licence &lt;A&gt;" in refused.text
    for page in ("terrain", "map", "point?at=36.2+-84.4"):
        text = client.get(f"{number}/{page}").text
        assert "Survey of Elmland, licence &lt;A&gt;" in text, page
        assert "By air, 2024" in text, page
    assert said in str(point)
