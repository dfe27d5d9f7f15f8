"""One site that cannot be read does not take the others down: every page and file gives the rest and names it."""

import io
import zipfile

import pytest
import rasterio
from starlette.testclient import TestClient

from tests.properties.test_left_out import BOUNDS, broken
from tests.properties.test_missing_sites import grown
from tests.webapp.conftest import start_levels
from webapp.store.store import Store

PAGES = (
    "map?bounds={bounds}&pixel_m=2500", "point?at=36.25,-84.2", "point/part?lat=36.25&lon=-84.2", "road", "clocks",
    "change", "offsets", "people", "measurements", "drives", "terrain", "delays", "sheets", "off-air",
    "head-end", "path?site=south&at=36.25,-84.2", "sites/south/antenna", "readings", "ages", "tables",
)  # fmt: skip
SAYS_SO = ("map", "point?", "road", "clocks", "change", "offsets", "people", "measurements", "drives")


@pytest.mark.parametrize("fault", ["unit", "position"])
def test_every_page_and_file_gives_the_rest(fault: str, client: TestClient, store: Store) -> None:
    """Answers 200 and names the site: on the page, in the data, and in every file that leaves."""
    tree = grown([0, 1])  # north feeds the first relay, south the second
    made = store.create(broken(tree, 0, fault), author="A. Planner", reason="a test")
    here, name = f"/networks/{made.network_id}", tree["sites"][0]["name"]
    for page in PAGES:
        answer = client.get(f"{here}/{page.format(bounds=BOUNDS)}")
        assert answer.status_code == 200, (page, answer.text[-800:])
        if page.startswith(SAYS_SO):
            assert f"Without {name} and Relay 0: their levels" in answer.text, page
    map_page = start_levels(client, f"{here}/map?bounds={BOUNDS}&pixel_m=2500")
    key = map_page.split(f'data-part="{here}/map/')[1].split('"')[0]
    view = client.get(f"{here}/map/{key}/view.json")
    assert [site["id"] for site in view.json()["sites"]] == ["south", "relay-1"]
    data = client.get(f"/api/pages{here}/map?bounds={BOUNDS}&pixel_m=2500").json()
    assert [one["site"] for one in data["network"]["left_out"]] == ["north", "relay-0"]
    for file in ("file/all-layers.csv", "wavefronts.geojson", "wavefronts.kml", "lines/level_dbuvm.geojson",
                 "contours.geojson?level=70", "contours.json?level=70"):  # fmt: skip
        answer = client.get(f"{here}/map/{key}/{file}")
        assert answer.status_code == 200, file
        assert name in answer.text, file
    with rasterio.open(io.BytesIO(client.get(f"{here}/map/{key}/file/level_dbuvm.tif").content)) as layer:
        assert name in layer.tags()["left_out"]
    assert name.encode() in client.get(f"{here}/map/{key}/file/level_dbuvm.png").content
    with zipfile.ZipFile(io.BytesIO(client.get(f"{here}/map/{key}/files.zip").content)) as archive:
        lines = [n for n in archive.namelist() if n.endswith((".geojson", ".kml"))]
        assert lines
        assert all(name in archive.read(n).decode() for n in lines)
    for form in ("csv", "geojson", "kml", "xlsx"):
        answer = client.get(f"{here}/sites.{form}")
        assert answer.status_code == 200
        assert form == "xlsx" or name in answer.text
    point = client.get(f"/api{here}/point?lat=36.25&lon=-84.2").json()
    assert [one["site"] for one in point["left_out_sites"]] == ["north", "relay-0"]
    asked = {"line": [[36.20, -84.26], [36.38, -84.16]]}
    road = client.post(f"/api{here}/road", json=asked)
    assert [one["site"] for one in road.json()["left_out_sites"]] == ["north", "relay-0"]
    for form in ("csv", "geojson", "kml", "svg"):
        assert name in client.post(f"/api{here}/road.{form}", json=asked).text, form
    assert client.get(f"{here}/point?at=36.25,-84.2&off=north").status_code == 422, "it cannot be tried: said why"
    assert "there is no site" not in client.get(f"{here}/point?at=36.25,-84.2&off=north").text
