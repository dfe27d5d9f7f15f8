"""Lines and places of one's own: every kind of file, cut to the area, simplified by no more than is said."""

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from pyogrio.raw import write
from pyproj import Transformer

from sfn.country.shelf import Shelf
from sfn.errors import PlanError
from sfn.study import overlay, overlay_files
from sfn.study.overlay import country_overlay, read_overlay

AREA = (36.0, -85.0, 37.0, -84.0)  # with a tenth around it: -85.1, 35.9, -83.9, 37.1
ROAD = [(-84.6, 36.2), (-84.5, 36.3), (-84.3, 36.35)]


def geojson(*geometries: dict[str, Any], **more: Any) -> bytes:
    """A collection of shapes without properties."""
    features = [{"type": "Feature", "properties": {}, "geometry": one} for one in geometries]
    return json.dumps({"type": "FeatureCollection", "features": features} | more).encode()


def line(*places: tuple[float, float]) -> dict[str, Any]:
    """A line."""
    return {"type": "LineString", "coordinates": [list(place) for place in places]}


def coordinates(content: bytes) -> list[Any]:
    """Coordinates of each shape that is kept."""
    return [one["geometry"]["coordinates"] for one in read_overlay(content, bounds_deg=AREA).document["features"]]


def code_of(content: bytes) -> str:
    """Why a file is refused."""
    with pytest.raises(PlanError) as refused:
        read_overlay(content, bounds_deg=AREA)
    return refused.value.problems[0].code


def written(tmp_path: Path, name: str, driver: str, places: list[tuple[float, float]], crs: str) -> Path:
    """A file of one line, written by GDAL."""
    path = tmp_path / name
    made = np.array([shapely.to_wkb(shapely.linestrings(places))], dtype=object)
    write(
        path, geometry=made, field_data=[np.array(["Valley road"], dtype=object)], fields=["name"],
        geometry_type="LineString", crs=crs, driver=driver,
    )  # fmt: skip
    return path


def zipped(*paths: Path) -> bytes:
    """Files in an archive."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for path in paths:
            archive.write(path, f"roads/{path.name}")
    return made.getvalue()


def test_five_kinds_of_files_give_the_same_line(tmp_path: Path) -> None:
    """Geographic and UTM; the names that GDAL wrote are there."""
    there = Transformer.from_crs("EPSG:4326", "EPSG:32616", always_xy=True)
    on_plane = [there.transform(*place) for place in ROAD]
    gpkg = written(tmp_path, "a.gpkg", "GPKG", on_plane, "EPSG:32616").read_bytes()
    shp = written(tmp_path, "b.shp", "ESRI Shapefile", on_plane, "EPSG:32616")
    trail = "".join(f'<trkpt lat="{lat}" lon="{lon}"/>' for lon, lat in ROAD)
    gpx = f'<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>Valley road</name><trkseg>{trail}</trkseg></trk></gpx>'
    kml = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>Valley road</name><LineString><coordinates>{" ".join(f"{lon},{lat},0" for lon, lat in ROAD)}</coordinates></LineString></Placemark></Document></kml>'
    for content in (
        gpkg,
        zipped(*(shp.with_suffix(end) for end in (".shp", ".shx", ".dbf", ".prj"))),
        gpx.encode(),
        kml.encode(),
        written(tmp_path, "c.geojson", "GeoJSON", ROAD, "EPSG:4326").read_bytes(),
    ):
        (one,) = read_overlay(content, bounds_deg=AREA).document["features"]
        flat = np.array(one["geometry"]["coordinates"]).reshape(-1, 2)
        assert flat == pytest.approx(np.array(ROAD), abs=2e-6)
        assert one["properties"] == {"name": "Valley road"}


def test_lines_are_cut_at_the_area_and_areas_become_outlines() -> None:
    """A straight line leaves where the equation of the line says; what lies elsewhere is counted and left out."""
    crossing = line((-84.5, 36.5), (-83.5, 36.7))  # leaves at -83.9: 36.5 + 0.6 * 0.2
    far = {"type": "Point", "coordinates": [8.0, 47.0]}
    square = {"type": "Polygon", "coordinates": [[[-84.4, 36.2], [-84.2, 36.2], [-84.2, 36.4], [-84.4, 36.2]]]}
    found = read_overlay(geojson(crossing, far, square), bounds_deg=AREA)
    first, second = found.document["features"]

    assert first["geometry"]["coordinates"] == [[-84.5, 36.5], [-83.9, pytest.approx(36.62, abs=1e-6)]]
    assert second["geometry"]["type"] == "LineString"
    assert any(said.startswith("1 of 3 shapes lie outside") for said in found.says)
    assert any("outlines" in said for said in found.says)


def test_no_line_moves_by_more_than_is_said() -> None:
    """A wavy line of 4001 vertices: each lies within 10 m of what is kept, by geodesics."""
    lon = np.linspace(-84.8, -84.2, 4001)
    lat = 36.5 + 0.02 * np.sin(40 * lon) + 0.00004 * np.sin(4000 * lon)
    found = read_overlay(geojson(line(*zip(lon.tolist(), lat.tolist(), strict=True))), bounds_deg=AREA)
    kept = np.array(found.document["features"][0]["geometry"]["coordinates"])
    assert 10 < len(kept) < 2000
    assert any("Simplified from" in said and "10 m" in said for said in found.says)
    # The nearest of points 2 m apart on the kept line; 1.5 m for their distance and the rounding to 1e-6 degrees.
    dense = shapely.get_coordinates(shapely.segmentize(shapely.linestrings(kept), 2e-5))
    for k in range(0, 4001, 37):
        near = dense[np.argmin(np.hypot((dense[:, 0] - lon[k]) * 0.8, dense[:, 1] - lat[k]))]
        assert Geodesic.WGS84.Inverse(lat[k], lon[k], near[1], near[0])["s12"] <= 11.5


@pytest.mark.filterwarnings("ignore::RuntimeWarning")  # GDAL's words about what it refuses
def test_what_cannot_be_read_is_refused_with_its_reason(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each by its code: kind, system, place, size; nothing in a file names another file or an address."""
    shp = written(tmp_path, "b.shp", "ESRI Shapefile", ROAD, "EPSG:4326")
    parts = [shp.with_suffix(end) for end in (".shp", ".shx", ".dbf")]
    linked = geojson(line(*ROAD), crs={"type": "link", "properties": {"href": "http://127.0.0.1:9/crs"}})
    bomb = b'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "aaaa">]><gpx><trk><name>&a;</name></trk></gpx>'
    for content, code in (
        (b"not a map", "file-unknown"),
        (b"<html><body/></html>", "file-unknown"),
        (b"<gpx><trk>", "file-unreadable"),
        (bomb, "file-unreadable"),
        (b"{", "file-unreadable"),
        (b'{"type": "FeatureCollection", "features": []}', "file-unreadable"),
        (b"SQLite format 3\0" + bytes(4000), "file-unreadable"),
        (b"PK\x03\x04 cut off", "file-unreadable"),
        (zipped(*parts), "system-unknown"),
        (zipped(tmp_path / "b.prj"), "not-one"),
        (linked, "system-unknown"),
        (geojson(line((8.0, 47.0), (8.1, 47.1))), "nothing-here"),
    ):
        found = code_of(content)
        assert found == code or (code == "file-unreadable" and found == "file-empty"), (content[:40], found)
    monkeypatch.setattr(overlay, "MOST_VERTICES_N", 2)
    assert code_of(geojson(line(*ROAD))) == "file-too-large"
    monkeypatch.undo()
    monkeypatch.setattr(overlay, "MOST_KEPT_N", 2)
    assert code_of(geojson(line(*ROAD))) == "file-too-large"
    monkeypatch.setattr(overlay_files, "MOST_BYTES", 20)
    assert code_of(geojson(line(*ROAD))) == "file-too-large"


def test_coast_comes_from_the_shelf_where_it_was_fetched(tmp_path: Path) -> None:
    """Natural Earth's archive as it lies there, with its notice; None where it is not, or the area has none."""
    shelf = Shelf(tmp_path / "country")
    assert country_overlay(shelf, "coast", bounds_deg=AREA) is None
    shp = written(tmp_path, "ne_10m_coastline.shp", "ESRI Shapefile", ROAD, "EPSG:4326")
    (shelf.folder / "coast").mkdir(parents=True)
    (shelf.folder / "coast/ne_10m_coastline.zip").write_bytes(
        zipped(*(shp.with_suffix(end) for end in (".shp", ".shx", ".dbf", ".prj")))
    )
    found = country_overlay(shelf, "coast", bounds_deg=AREA)
    assert found is not None
    assert found.says[0] == "Made with Natural Earth."
    assert np.array(found.document["features"][0]["geometry"]["coordinates"]) == pytest.approx(np.array(ROAD))
    assert country_overlay(shelf, "coast", bounds_deg=(50.0, 8.0, 51.0, 9.0)) is None


def test_a_long_name_is_cut_where_it_can_be_seen(tmp_path: Path) -> None:
    """80 characters stay as they are; of 81 the last shown is an ellipsis, and that is said."""
    short, long = "a" * 80, "b" * 81
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": {"type": "LineString", "coordinates": ROAD}}
        for name in (short, long)
    ]
    content = json.dumps({"type": "FeatureCollection", "features": features}).encode()
    found = read_overlay(content, bounds_deg=AREA)
    assert [one["properties"]["name"] for one in found.document["features"]] == [short, "b" * 79 + "…"]
    assert any(said.startswith("1 name longer than 80 characters") for said in found.says)
