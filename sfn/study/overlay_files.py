"""A file of lines, areas or places that somebody brings for a map: what it is, and its shapes on WGS84.

GDAL opens it through pyogrio, after its kind is known from its first bytes: what is no file of that kind never
reaches the reader, nothing in it can name another file or address, and of an archive only the parts of one layer are
unpacked.
"""

import io
import json
import re
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import ParseError, iterparse

from sfn.errors import PlanError, Problem
from sfn.units import grouped

Kind = Literal["geojson", "gpx", "kml", "gpkg", "shapefile"]
EXPECTED = "GeoJSON, GPX, KML, GeoPackage, or a Shapefile packed in a zip with its .shx, .dbf and .prj"
MOST_BYTES = 50_000_000
MOST_UNPACKED_BYTES = 200_000_000
MOST_VERTICES_N = 2_000_000
_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_ENDINGS = {"geojson": ".geojson", "gpx": ".gpx", "kml": ".kml", "gpkg": ".gpkg", "shapefile": ".shp"}


def refused(what: str, expected: str, code: str, **values: Any) -> PlanError:
    """A file that is not taken."""
    return PlanError([Problem("file", what, expected, code=code, fields=("file",), values=values)])


def kind_of(content: bytes) -> Kind:
    """What a file is, by its first bytes, never by its name.

    Raises
    ------
    PlanError
        If it is none of these, or too large.
    """
    if len(content) > MOST_BYTES:
        size, most = (grouped(n // 1_000_000) for n in (len(content), MOST_BYTES))
        raise refused(f"the file holds {size} MB", f"at most {most} MB: cut it to the region", "file-too-large")
    if content.startswith(b"SQLite format 3\0"):
        return "gpkg"
    if content.startswith(b"PK\x03\x04"):
        return "shapefile"
    head = content[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if head.startswith(b"{"):
        return "geojson"
    if head.startswith(b"<"):
        return _of_xml(content)
    raise refused("the file is of no kind that is read here", EXPECTED, "file-unknown")


def _of_xml(content: bytes) -> Kind:
    """GPX or KML, by the root; entities and further declarations are refused."""
    try:
        root = None
        for event, element in iterparse(io.BytesIO(content), events=("start", "end")):
            root = root if root is not None else element.tag.rpartition("}")[2].lower()
            if event == "end":
                element.clear()
    except (ParseError, DefusedXmlException, LookupError, ValueError) as error:
        raise refused(f"the file is no XML that can be read: {error}", EXPECTED, "file-unreadable") from None
    if root in ("gpx", "kml"):
        return "gpx" if root == "gpx" else "kml"
    raise refused(f"the file is XML of another kind ({root})", EXPECTED, "file-unknown")


@contextmanager
def laid_out(content: bytes, kind: Kind) -> Iterator[Path]:
    """The file under a name of ours in a folder of its own, which goes again.

    Raises
    ------
    PlanError
        If an archive holds no layer or several, or a GeoJSON says where its coordinate system is to be fetched.
    """
    with tempfile.TemporaryDirectory(prefix="overlay-") as folder:
        path = Path(folder) / f"layer{_ENDINGS[kind]}"
        if kind == "shapefile":
            _unpacked(content, Path(folder))
        else:
            if kind == "geojson":
                _no_link(content)
            path.write_bytes(content)
        yield path


def _unpacked(content: bytes, folder: Path) -> None:
    """The parts of the one Shapefile of an archive; nothing else of it."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            wanted = [one for one in archive.infolist() if Path(one.filename).suffix.lower() in _PARTS]
            wanted = [one for one in wanted if not Path(one.filename).name.startswith("._")]
            names = sorted({str(Path(one.filename).with_suffix("")) for one in wanted if _is(one, ".shp")})
            if len(names) != 1:
                told = ", ".join(names) or "none"
                raise refused(f"the archive holds {len(names)} Shapefiles ({told})", "one in each archive", "not-one")
            mine = [one for one in wanted if str(Path(one.filename).with_suffix("")) == names[0]]
            if sum(one.file_size for one in mine) > MOST_UNPACKED_BYTES:
                most = grouped(MOST_UNPACKED_BYTES // 1_000_000)
                raise refused("the archive holds too much", f"at most {most} MB unpacked", "file-too-large")
            if not any(_is(one, ".prj") for one in mine):
                raise refused(
                    "no coordinate system is told: the archive has no .prj",
                    "the .prj packed beside the .shp", "system-unknown",
                )  # fmt: skip
            for one in mine:
                (folder / f"layer{Path(one.filename).suffix.lower()}").write_bytes(archive.read(one))
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError, EOFError) as error:
        raise refused(f"the archive cannot be unpacked: {error}", EXPECTED, "file-unreadable") from None


def _is(one: zipfile.ZipInfo, ending: str) -> bool:
    """Whether a part of an archive ends so."""
    return Path(one.filename).suffix.lower() == ending


def _no_link(content: bytes) -> None:
    """Refuse a GeoJSON that cannot be read, or whose coordinate system would have to be fetched from somewhere."""
    try:
        document = json.loads(content)
    except (ValueError, RecursionError) as error:
        raise refused(f"the GeoJSON cannot be read: {error}", EXPECTED, "file-unreadable") from None
    system = document.get("crs") if isinstance(document, dict) else None
    if system is None:
        return
    named = system.get("properties", {}).get("name") if isinstance(system, dict) else None
    if system.get("type") != "name" or not re.fullmatch(r"[A-Za-z0-9:._-]{1,80}", str(named)):
        raise refused(
            "the GeoJSON tells its coordinate system in a way that is not read here",
            "longitude and latitude on WGS84, as RFC 7946 has it", "system-unknown",
        )  # fmt: skip
