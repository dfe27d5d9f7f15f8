"""As JSON: the answer of ``delays``: the delay table, pairs of sites and loops of three."""

from math import isfinite
from typing import Any

from sfn.answer.states import states_document
from sfn.check.on_sheet import to_enter
from sfn.geodesy.position import Located
from sfn.pairs import Pair
from sfn.study.delays import Delays, Loop
from sfn.systems.of_network import stamped_checksum
from sfn.timing import DelayRow, FieldSetting
from sfn.timing.row import Alternative


def document(found: Delays, *, revision: int | None = None) -> dict[str, Any]:
    """The JSON document of ``delays --json``."""
    return {
        "network": found.network.name,
        "revision": revision,
        "checksum": stamped_checksum(found.network),
        "state": found.network.state.name if found.network.state else None,
        "planned_states": states_document(found.network),
        "common_delay_us": found.table.common_delay_us,
        "least_common_delay_us": found.table.least_common_delay_us,
        "forced_by": {"site": found.table.forced_by[0], "route": found.table.forced_by[1]},
        "reachable": _reachable(found),
        "sites": [
            _row(row, found) | _position(found.placed, row.site_id) | _verdict(found, row) for row in found.table.rows
        ],
        "missing": [
            {"id": one.site_id, "name": one.site_name, "whose": one.whose, "what": one.problem.what}
            for one in found.table.missing
        ],
        "pairs": [_pair(pair) for pair in found.pairs],
        "triangles": [_loop(one) for one in found.loops],
        "no_loop": found.no_loop,
        "problems": [problem.as_json() for problem in found.problems],
    }


def _row(row: DelayRow, found: Delays) -> dict[str, Any]:
    """One site and route."""
    site = next(site for site in found.network.sites if site.id == row.site_id)
    asked = found.on_sheet[row.site_id, row.route]
    split = [one.value for one in asked] != [one.value for one in row.fields]
    return {
        "id": row.site_id,
        "name": row.site_name,
        "route": row.route,
        "on_air": row.on_air,
        "latency_us": row.latency_us,
        "tolerance_us": row.tolerance_us,
        "rss_us": row.rss_us,
        "assumed_us": row.assumed_us,
        "assumed_stages": list(row.assumed_stages),
        "absorbed_stages": list(row.own.absorbed),
        "offset_us": row.offset_us,
        "least_offset_us": row.least_offset_us,
        "added_us": row.added_us,
        "fields": [
            _field(made) | {"entry": field.entry, "enter": to_enter(site, row.route, field, made)}
            for made, field in zip(row.fields, site.delay_fields, strict=True)
        ],
        "commissioning_fields": [_field(o.made) | {"entry": o.entry, "enter": o.enter} for o in asked]
        if split
        else None,
        "set_us": row.set_us,
        "rounding_us": row.rounding_us,
        "launch_us": row.launch_us,
        "now_us": row.now_us,
        "change_us": row.change_us,
        "headroom_us": row.headroom_us,
        "coarse_headroom_us": row.coarse_headroom_us,
        "jump_us": row.jump_us,
        "jumps": dict(row.jumps),
        "pad_us": row.pad_us,
        "alternative": _alternative(row.alternative),
        "terms": [{"label": term.label, "signed_us": term.signed_us} for term in row.latency_terms],
    }


def _verdict(found: Delays, row: DelayRow) -> dict[str, Any]:
    """Whether a sheet of this route may go out, and what stands against it."""
    verdict = found.verdicts[row.site_id, row.route]
    return {"verdict": verdict.state, "reasons": list(verdict.codes), "release": list(verdict.release)}


def _position(placed: dict[str, Located], site_id: str) -> dict[str, Any]:
    """How far the site may stand from its position, all doubts taken together; null where it cannot be placed."""
    at = placed.get(site_id)
    return {
        "position_m": at.position_m if at else None,
        "position_us": at.position_us if at else None,
        "position_doubts": [{"code": d.code, "doubt_m": d.doubt_m, "doubt_us": d.doubt_us} for d in at.doubts]
        if at
        else [],
    }


def _reachable(found: Delays) -> dict[str, Any] | None:
    """What would let every site have its wish."""
    one = found.table.reachable
    return None if one is None else {"common_delay_us": one.common_delay_us, "offsets": dict(one.offsets)}


def _alternative(one: Alternative | None) -> dict[str, Any] | None:
    """Settings that leave the coarse fields alone."""
    if one is None:
        return None
    return {
        "fields": [_field(field) for field in one.fields],
        "set_us": one.set_us,
        "rounding_us": one.rounding_us,
        "words": one.words,
    }


def _field(field: FieldSetting) -> dict[str, Any]:
    """One delay field's setting."""
    return {
        "name": field.name,
        "unit": field.unit,
        "value": field.value,
        "set_us": field.set_us,
        "before": field.before,
        "change": field.change,
        "headroom_us": field.headroom_us,
    }


def _pair(pair: Pair) -> dict[str, Any]:
    """One pair of sites."""
    return {
        "a": pair.a,
        "b": pair.b,
        "ground_m": pair.ground_m,
        "path_us": pair.path_us,
        "bearing_deg": pair.bearing_deg,
        "difference_at_a_us": pair.difference_at_a_us,
        "difference_at_b_us": pair.difference_at_b_us,
        "zero_at_m_from_a": pair.zero_at_m_from_a,
        "zero_rx_above_sea_m": pair.zero_rx_above_sea_m,
        "tolerance_us": pair.tolerance_us,
        "rss_us": pair.rss_us,
        "position_us": pair.position_us,
    }


def _loop(one: Loop) -> dict[str, Any]:
    """One loop of three sites."""
    return {
        "sites": list(one.sites),
        "points": [list(point) for point in one.points],
        "wishes_us": list(one.wishes_us),
        "misclosure_us": one.misclosure_us,
        "point_kinds": [at.kind for at in one.levels],
        "point_over": [at.over for at in one.levels],
        "crossings_n": [at.crossings_n for at in one.levels],
        "level_difference_db": [
            at.level_difference_db if isfinite(at.level_difference_db) else None for at in one.levels
        ],
        "rx_above_sea_m": list(one.rx_above_sea_m),
    }
