"""Sites out as CSV, XLSX, GeoJSON and KML, and the same files in again: what goes out comes in as it was."""

import io
import json
from collections.abc import Mapping
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network, Site
from sfn.plan.formula import kept
from sfn.plan.json_parts import JsonMost, read_within
from sfn.plan.sheets import MOST_BYTES, MOST_CELLS_N, MOST_ROWS_N, SheetTable, decoded, read_sheet
from sfn.report.tables import csv_text, figure
from sfn.report.vector import collection, point_feature, unlocated_feature
from sfn.study.site_table import STUDIO, WRITTEN
from sfn.units import grouped

# A point that was not moved: coordinates leave with seven decimals of a degree, a centimetre.
_SAME_DEG = 2e-7
_PARTS = JsonMost(
    values=2 * MOST_CELLS_N,
    texts=2 * MOST_CELLS_N + 4 * MOST_ROWS_N,
    lists=2 * MOST_ROWS_N,
    objects=3 * MOST_ROWS_N + 10,
    keys=MOST_CELLS_N + 6 * MOST_ROWS_N,
)


def sites_csv(network: Network) -> str:
    """Every site as a line that `sfn.study.site_table.understood_sites` reads again."""
    return csv_text([WRITTEN, *([_cells(site)[key] for key in WRITTEN] for site in network.sites)])


def sites_xlsx(network: Network) -> bytes:
    """The same as a workbook of one sheet; text is text there, whatever it begins with."""
    import xlsxwriter

    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}) as book:
        sheet = book.add_worksheet("Sites")
        for c, name in enumerate(WRITTEN):
            sheet.write_string(0, c, name, book.add_format({"bold": True}))
        for r, site in enumerate(network.sites, start=1):
            for c, value in enumerate(_cells(site)[key] for key in WRITTEN):
                if isinstance(value, str):
                    sheet.write_string(r, c, kept(value))
                elif value is not None:
                    sheet.write_number(r, c, value)
        sheet.freeze_panes(1, 2)
    return out.getvalue()


def sites_document(network: Network) -> dict[str, Any]:
    """Every site as GeoJSON, on WGS84; the position as it was typed stands beside.

    A site whose position cannot be read is there without a place, and says why.
    """
    placed = placed_sites(network)
    why = {name: problem.what for problem in placed.problems for name in problem.sites}
    return collection(
        point_feature(at.lon_deg, at.lat_deg, _properties(site))
        if (at := placed.at.get(site.id)) is not None
        else unlocated_feature(_properties(site) | {"left_out": why[site.id]})
        for site in network.sites
    )


def read_sites(content: bytes, *, source: str) -> SheetTable:
    """The table in a file of sites: GeoJSON of points, CSV or XLSX.

    Raises
    ------
    PlanError
        If it is none of them, is empty, or is too large.
    """
    if content.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] != b"{":
        return read_sheet(content, source=source)
    if len(content) > MOST_BYTES:
        raise _refused(source, f"has {grouped(len(content))} bytes", f"{grouped(MOST_BYTES)} at most", "file-too-large")
    try:
        tree = read_within(decoded(content, source=source), _PARTS, source)
    except (ValueError, RecursionError) as error:
        raise _refused(source, f"is no JSON that can be read ({str(error)[:100]})", _EXPECTED, "not-json") from None
    features = tree.get("features")
    if tree.get("type") != "FeatureCollection" or not isinstance(features, list) or not features:
        raise _refused(source, "holds no collection of features", _EXPECTED, "file-of-another-kind")
    if len(features) > MOST_ROWS_N:
        what = f"has {grouped(len(features))} features"
        raise _refused(source, what, f"{grouped(MOST_ROWS_N)} at most", "file-too-large")
    system = json.dumps(tree.get("crs") or "CRS84")
    if "CRS84" not in system:
        what = f"says that it is in {system[:80]}"
        raise _refused(source, what, "longitude and latitude on WGS84, as RFC 7946 has it", "file-of-another-crs")
    rows = [_row(feature, f"{source} feature {n}") for n, feature in enumerate(features, start=1)]
    head = tuple(dict.fromkeys(key for row in rows for key in row))
    lines = tuple((n, tuple(row.get(key, "") for key in head)) for n, row in enumerate(rows, start=2))
    return SheetTable(source, head, lines, "")


_EXPECTED = "a GeoJSON FeatureCollection of points"


def _row(feature: Any, where: str) -> dict[str, str]:
    """One feature's cells: its properties, and its point where the position as typed does not stand there."""
    try:
        properties = dict(feature.get("properties") or {})
        if feature["geometry"] is None and properties.get("position"):  # as it left: without a place
            lat = lon = None
        else:
            lat, lon = _point(feature["geometry"])
    except (KeyError, TypeError, ValueError, AttributeError):
        raise _refused(where, "is no point", "a Point of longitude and latitude", "not-a-point") from None
    if "name" not in properties and "label" in properties:
        properties["name"] = properties.pop("label")
    elif properties.get("label") == properties.get("name"):
        properties.pop("label", None)
    if "fed_off_air_from" in properties and properties["fed_off_air_from"] is None:
        properties["fed_off_air_from"] = STUDIO
    properties.pop("left_out", None)
    if lat is not None and lon is not None and not _stands_at(properties, lat, lon):
        properties.pop("crs", None)
        properties["position"] = f"{lat!r}, {lon!r}"
    return {str(key): _text(value) for key, value in properties.items()}


def _point(geometry: Mapping[str, Any]) -> tuple[float, float]:
    """Latitude and longitude of a point; raises what a feature that is none raises. [degrees]"""
    kind, (lon, lat) = geometry["type"], geometry["coordinates"][:2]
    if kind != "Point" or not all(isinstance(v, int | float) and not isinstance(v, bool) for v in (lon, lat)):
        raise TypeError
    return lat, lon


def _stands_at(properties: Mapping[str, Any], lat: float, lon: float) -> bool:
    """Whether the position as typed is where the point is: it was not moved since it left."""
    typed, crs = properties.get("position"), properties.get("crs")
    if not isinstance(typed, str) or not isinstance(crs, str):
        return False
    try:
        at = locate(text=typed, crs=crs)
    except PlanError:
        return False
    return abs(at.lat_deg - lat) < _SAME_DEG and abs(at.lon_deg - lon) < _SAME_DEG


def _text(value: Any) -> str:
    """A property as a cell of a table."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return figure(value) if isinstance(value, int | float) else str(value).strip()


def _cells(site: Site) -> dict[str, str | float | None]:
    """What is told of a site, under the names of the table's columns."""
    at = site.position
    return {
        "id": site.id,
        "name": site.name,
        "position": at.typed,
        "crs": at.crs,
        "ground_m": site.ground_m,
        "antenna_m": site.antenna_m,
        "erp_h_kw": site.erp_kw.h,
        "erp_v_kw": site.erp_kw.v,
        "on_air": "yes" if site.on_air else "no",
        "offset_us": site.offset_us,
        "remote": "yes" if site.remote else "no",
        "fed_off_air_from": site.fed_off_air_from or STUDIO,
    }


def _properties(site: Site) -> dict[str, Any]:
    """The same for a feature, with the types of JSON."""
    own = {"label": site.name, "on_air": site.on_air, "remote": site.remote, "fed_off_air_from": site.fed_off_air_from}
    return {"label": site.name, **_cells(site), **own}


def _refused(where: str, what: str, expected: str, code: str) -> PlanError:
    """One thing that keeps a file from being read."""
    return PlanError([Problem(where, what, expected, code=code)])
