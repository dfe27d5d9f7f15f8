"""As JSON: the answer of ``zones``: overlap layers over an area, as files and in numbers."""

from collections.abc import Mapping
from typing import Any

from sfn.answer.map_listeners import heard_document
from sfn.field.over_smooth import smooth_says
from sfn.field.shift import shift_says
from sfn.plan.left_out import left_out_document
from sfn.reception.area import ClassSummary
from sfn.reception.classes import CLASSES, class_words, shown_classes
from sfn.report.vector import collection, line_feature
from sfn.study.shares_said import shares_said
from sfn.study.zones import Zones, pair_lines
from sfn.systems.fm_carried import heard_programme
from sfn.systems.of_network import stamped_checksum
from sfn.systems.ofdm_window import RISK_STRATEGY


def lines_document(found: Zones, launches: Mapping[str, float], pairs: tuple[tuple[str, str], ...]) -> dict[str, Any]:
    """GeoJSON of the lines of several pairs."""
    return collection(
        line_feature(
            line.line,
            {
                "kind": line.kind,
                "a": a,
                "b": b,
                "delay_difference_us": line.delay_us,
                "level_difference_db": line.level_db,
                "levels_match": line.strong,
            },
        )
        for a, b in pairs
        for line in pair_lines(found, launches, a, b)
    )


def _classes(found: Zones, of: ClassSummary | None) -> list[dict[str, Any]]:
    """Area and people in each class that the service has."""
    if of is None:
        return []
    return [
        {
            "class": CLASSES[code],
            "code": code,
            "for_people": class_words(found.carried)[code],
            "area_km2": of.area_km2[code],
            "people": None if of.people is None else of.people[code],
        }
        for code in sorted(shown_classes(found.carried))
    ]


def document(found: Zones, files: Mapping[str, str]) -> dict[str, Any]:
    """The JSON document of ``zones --json``; `files` names the file of each layer."""
    summary, says = found.summary, found.says
    spread = {"median": summary.median_us, "p90": summary.p90_us, "max": summary.max_us}
    return {
        "network": found.network.name,
        "checksum": stamped_checksum(found.network),
        "sites": list(found.coverage.sites),
        "left_out_sites": left_out_document(found.network.left_out),
        "layers": [
            {"name": n, "file": files[n], "unit": layer.unit} for layer in found.layers if (n := layer.name) in files
        ],
        "lines": files.get("lines"),
        "pixel_m": found.coverage.grid.pixel_m,
        "bounds": list(found.coverage.grid.bounds_deg),
        "smooth_earth": found.coverage.smooth,
        "smooth_earth_says": smooth_says(found.network) or None,
        "terrain_averaged": found.coverage.averaged_says or None,
        **found.treetops.as_json(),
        "level_shifts": shift_says(found.network) or None,
        "programme": heard_programme(found.network) or None,
        "usable_dbuvm": found.counts.usable_dbuvm,
        "usable_source": found.counts.usable_source,
        "too_weak_below_dbuvm": says.too_weak_below_dbuvm,
        "too_weak_says": says.too_weak or None,
        **says.as_json(),
        "significant_db": found.counts.significant_db,
        "classes": _classes(found, found.classes),
        "quick_classes": _classes(found, found.quick),
        "served_km2": found.classes.served_km2,
        "served_people": found.classes.served_people,
        "served_between_km2": None if found.served_between_km2 is None else list(found.served_between_km2),
        "served_between_people": None if found.served_between_people is None else list(found.served_between_people),
        "shares_say": shares_said(found) or None,
        "listeners": None if found.heard is None else heard_document(found.heard),
        "other_transmitters_say": found.others_says,
        "shown_km2": found.shown_km2,
        "spoken_km2": found.spoken_km2,
        "served_meets_edges": list(found.served_edges),
        "cut_by_frame": found.cut_says or None,
        "uncovered_km2": found.uncovered_km2,
        "uncovered_by": [{"site": name, "area_km2": km2} for name, km2 in found.coverage.uncovered_by()],
        "uncovered_says": found.uncovered_says or None,
        "uncovered_people": found.uncovered_people,
        "uncovered_counted_km2": found.uncovered_counted_km2,
        "risk": None
        if found.risk is None
        else {
            "strategy": RISK_STRATEGY,
            "served_km2": found.risk.served_km2,
            "served_people": found.risk.served_people,
        },
        "overlap": {
            "area_km2": summary.area_km2,
            "delay_spread_us": spread,
            "people": summary.people,
            "near_db": summary.near_db,
            "near_km2": summary.near_km2,
            "near_people": summary.near_people,
        },
    }
