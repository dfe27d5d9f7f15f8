"""As JSON: the answer of ``path``: one path of a network, its ground, every intermediate of P.1812."""

from typing import Any

from sfn.study.path import PathAnswer
from sfn.units import finite_or_none


def document(answer: PathAnswer) -> dict[str, Any]:
    """The JSON document of ``path NETWORK --json``; what is not known is null."""
    levels, ground = answer.levels, answer.levels.ground
    first = levels.loss[0] if levels.loss else None
    return {
        "site": answer.site.id,
        "lat": answer.lat_deg,
        "lon": answer.lon_deg,
        "rx_height_m": answer.rx_height_m,
        "rx_ground_m": finite_or_none(levels.rx_ground_m),
        "level_shift_db": answer.shift_db,
        "building_loss_db": answer.indoors_db,
        "receiving_antenna_says": answer.bare or None,
        "ground_m": levels.ground_distance_m,
        "path_m": finite_or_none(levels.path_m),
        "bearing_deg": levels.bearing_deg,
        "travel_us": answer.travel_us,
        "smooth_earth": ground.smooth,
        "zones_unknown_m": answer.zones_unknown_m,
        "zones_unknown_at_sea_m": answer.unknown_at_sea_m,
        "treetops_m": answer.treetops_m,
        "treetops_say": answer.treetops_say or None,
        "covered": ground.covered,
        "not_covered_from_m": ground.gap_from_m,
        "line_of_sight": first.line_of_sight if first else None,
        "tx_elevation_deg": first.tx_elevation_deg if first else None,
        "rx_elevation_deg": first.rx_elevation_deg if first else None,
        "erp_kw": finite_or_none(10.0 ** (levels.erp_dbk / 10.0)),
        "attenuation_db": finite_or_none(levels.attenuation_db),
        "levels": [
            {"time_pct": pct, "level_dbuvm": finite_or_none(level),
             "loss_db": one.loss_db, "field_dbuvm": one.field_dbuvm,
             "intermediates": {name: finite_or_none(value) for name, value in one.intermediates.items()}}
            for pct, level, one in zip(levels.time_pct, levels.level_dbuvm, levels.loss, strict=False)
        ],
        "profile": {
            "distance_km": (ground.distance_m / 1000.0).tolist(),
            "ground_m": [finite_or_none(v) for v in ground.ground_m.tolist()],
            "cover_m": ground.cover_m.tolist(),
            "zone": [("inland", "coast", "sea")[z] for z in ground.zone],
        },
        "before_receiver": ground.obstacle_m and {
            "distance_km": ground.obstacle_m[0] / 1000.0, "top_m": finite_or_none(ground.obstacle_m[1])
        },
    }  # fmt: skip
