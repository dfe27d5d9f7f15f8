"""As JSON: the answer of ``point``: every signal at one receiving point."""

from typing import Any

from sfn.plan.left_out import left_out_document
from sfn.reception.heard import Heard
from sfn.reception.point import PointQuality
from sfn.reception.signals import PointSignals, Signal
from sfn.units import finite_or_none


def document(found: PointSignals, quality: PointQuality | None = None) -> dict[str, Any]:
    """The JSON document of ``point --json``."""
    return {
        "lat": found.lat_deg,
        "lon": found.lon_deg,
        "rx_height_m": found.rx_height_m,
        "rx_ground_m": found.rx_ground_m,
        "smooth_earth": found.smooth,
        "smooth_earth_says": found.smooth_says or None,
        "treetops_say": found.treetops_say or None,
        "usable": found.usable,
        "uncovered": list(found.uncovered),
        "over_gaps": list(found.over_gaps),
        "too_far": list(found.too_far),
        "left_out_sites": left_out_document(found.left_out),
        "signals": [_signal(signal) for signal in found.signals],
        "receiving_antenna": found.roof or None,
        "level_shifts": found.corrected or None,
        "delay_spread_us": found.delay_spread_us,
        "quality": None if quality is None else quality_document(quality),
    }


def quality_document(quality: PointQuality) -> dict[str, Any]:
    """Class, margin and what would fix it; `answer` is that of ``signals`` for the same list."""
    return {
        "class": quality.class_name,
        "for_people": quality.for_people,
        "class_quick": quality.quick_class_name,
        "for_people_quick": quality.quick_for_people,
        "share_step": quality.share_step_ratio,
        "share_off": quality.share_off_ratio,
        "quality_margin_db": quality.margin_db,
        "coverage_probability": quality.probability,
        "coverage_probability_independent": quality.independent_probability,
        "coverage_probability_quick": quality.quick_probability,
        "coverage_probability_own": quality.own_probability,
        "coverage_probability_says": quality.probability_says or None,
        "judged_without": list(quality.without),
        "judged_without_says": quality.without_says or None,
        "wanted": quality.wanted,
        "hurts": quality.hurts,
        "implementation_margin_db": quality.implementation_margin_db,
        "target_class": quality.target_class,
        "fixes": [
            {
                "site": fix.site,
                "change_us": fix.change_us,
                "quality_margin_db": fix.margin_db,
                "reaches_target": fix.reaches_target,
            }
            for fix in quality.fixes
        ],
        "needed_beside_others_dbuvm": None if quality.beside is None else finite_or_none(quality.beside.level_dbuvm[0]),
        "other_transmitters_say": quality.others_says,
        "others_short_ratio": quality.others_short_ratio,
        "other_transmitter": None if quality.beside is None else quality.beside.name_at(0),
        **quality.says.as_json(),
        "too_weak_says": quality.says.too_weak or None,
        "answer": quality.answer,
        **_listeners(quality.heard),
    }


def _listeners(found: Heard | None) -> dict[str, Any]:
    """FM: shares of receivers, and what they rest on."""
    if found is None:
        return {}
    shares = ("stereo", "blended", "clear_stereo", "clear_mono", "upset", "good")
    return {f"share_{name}": found.share(name) for name in shares} | {
        "share_disturbed": found.disturbed,
        "class_by_drawn_shares": found.people_class,
        "people_class": found.people_class,
        "served": found.served,
        "served_from_share": found.served_ratio,
        "shares_are_of": found.of,
        "listeners": found.blend.listeners,
        "share_that_blends": found.blend.blends_ratio,
        "wanted_snr_db": found.target_db,
        "listener_spread_db": found.spread_db,
        "shares_say": list(found.says),
    }


def _signal(signal: Signal) -> dict[str, Any]:
    """One signal; `distance_m` is the ground distance under the name that early scripts use."""
    return {
        "site": signal.site,
        "name": signal.site_name,
        "ground_m": signal.ground_m,
        "distance_m": signal.ground_m,
        "path_m": signal.path_m,
        "bearing_deg": signal.bearing_deg,
        "level_dbuvm": signal.level_dbuvm,
        "level_1pct_dbuvm": signal.level_1pct_dbuvm,
        "antenna_db": signal.antenna_db,
        "travel_us": signal.travel_us,
        "launch_us": signal.launch_us,
        "arrival_us": signal.arrival_us,
        "delay_difference_us": signal.delay_difference_us,
        "level_difference_db": signal.level_difference_db,
        "significant": signal.significant,
    }
