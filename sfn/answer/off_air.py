"""As JSON: sites fed off air as pages and the command ``repeaters`` show them: the loop's figures."""

from math import isinf
from typing import Any

from sfn.plan.left_out import LeftOut, left_out_document
from sfn.reception.off_air import Heard
from sfn.study.off_air import OffAirSite


def document(sites: tuple[OffAirSite, ...], left_out: tuple[LeftOut, ...] = ()) -> dict[str, Any]:
    """The JSON document of ``repeaters --json``; null where something is missing, and `missing` says what."""
    return {
        "left_out_sites": left_out_document(left_out),
        "sites": [_site(one) for one in sites],
        "problems": [p.as_json() for one in sites for p in one.found.problems],
    }


def _site(one: OffAirSite) -> dict[str, Any]:
    """One site."""
    found, loop = one.found, one.loop
    parent = found.parent
    return {
        "id": found.site.id,
        "parent": found.site.fed_off_air_from,
        "receiving_height_m": found.height_m,
        "receiving_antenna": found.antenna,
        "smooth_earth": found.smooth,
        "smooth_earth_says": one.smooth_says or None,
        "processing_us": found.processing_us,
        "received_dbuvm": found.repeater.received_dbuvm if found.repeater else None,
        "received_typed": found.received_typed,
        "missing": list(found.missing),
        "input_dbw": loop.input_dbw if loop else None,
        "output_dbw": loop.output_dbw if loop else None,
        "gain_db": loop.gain_db if loop else None,
        "isolation_db": loop.isolation_db if loop else None,
        "isolation_estimated": found.isolation_estimated,
        "needed_isolation_db": loop.needed_isolation_db if loop else None,
        "cancelled_db": loop.cancelled_db if loop else None,
        "margin_db": loop.margin_db if loop else None,
        "ripple_db": None if loop is None or isinf(loop.ripple_db) else loop.ripple_db,
        "allowed": [
            {"margin_db": m, "output_dbw": out, "erp_kw": erp} for m, out, erp in (loop.allowed if loop else ())
        ],
        "reflector_m": loop.reflector_m if loop else None,
        "parent_margin_db": None if parent is None or isinf(parent.margin_db) else parent.margin_db,
        "parent_margin_from": None if parent is None else "measured" if found.received_typed else "predicted",
        "wrong_parent": None if parent is None else parent.wrong,
        "heard": [_heard(h) for h in found.heard],
    }


def _heard(heard: Heard) -> dict[str, Any]:
    """One site at the receiving antenna; differences null where the parent is not heard."""
    known = heard.difference_db == heard.difference_db
    return {
        "site": heard.site,
        "ground_m": heard.ground_m,
        "bearing_deg": heard.bearing_deg,
        "off_axis_deg": heard.off_axis_deg,
        "level_dbuvm": heard.level_dbuvm,
        "level_1pct_dbuvm": heard.level_1pct_dbuvm,
        "discrimination_db": heard.discrimination_db,
        "difference_db": heard.difference_db if known else None,
        "difference_1pct_db": heard.difference_1pct_db if known else None,
        "launch_error_us": heard.launch_error_us if known else None,
    }
