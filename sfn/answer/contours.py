"""As JSON: the answer of ``contours``: areas at or above a field strength."""

from typing import Any

from sfn.field.contours import area_geometry
from sfn.plan.left_out import left_out_document, left_out_says
from sfn.report.vector import collection
from sfn.study.contours import Contours


def document(found: Contours, *, file: str | None) -> dict[str, Any]:
    """The JSON document of ``contours --json``."""
    return {
        "at_dbuvm": found.at_dbuvm,
        "smooth_earth": found.smooth,
        "smooth_earth_says": found.smooth_says or None,
        "terrain_averaged": found.averaged_says or None,
        "treetops_say": found.treetops_say or None,
        "cut_by_frame": found.cut_says or None,
        "receiving_antenna_says": found.bare_says or None,
        "file": file,
        "left_out_sites": left_out_document(found.left_out),
        "sites": [
            {
                "site": one.site,
                "name": one.name,
                "areas": len(one.areas),
                "area_km2": one.area_km2,
                "reaches_edge": one.edge_cut,
                "uncovered_km2": one.uncovered_km2,
            }
            for one in found.sites
        ],
        "inside": [
            {
                "site": one.site,
                "outer": one.outer,
                "inside": one.found.inside,
                "outside_km2": one.found.outside_km2,
                "outside_pct": one.found.outside_pct,
                "farthest_m": one.found.farthest_m,
                "lat": one.found.lat_deg,
                "lon": one.found.lon_deg,
                "reaches_edge": one.found.edge_cut,
            }
            for one in found.insides
        ],
    }


def features(found: Contours, *, credits_say: str = "") -> dict[str, Any]:
    """The contours as a GeoJSON collection, one feature an area; `credits_say`: whose data their ground is."""
    made = collection(
        {
            "type": "Feature",
            "geometry": area_geometry(area),
            "properties": {
                "site": one.site,
                "name": one.name,
                "level_dbuvm": found.at_dbuvm,
                "reaches_edge": one.edge_cut,
            },
        }
        for one in found.sites
        for area in one.areas
    )
    said = {"left_out": left_out_says(found.left_out), "terrain_averaged": found.averaged_says, "cut": found.cut_says}
    said |= {"treetops": found.treetops_say, "ground": found.smooth_says, "credits": credits_say}
    said = {name: text for name, text in said.items() if text}
    return made | {"properties": said} if said else made
