"""The JSON document of ``road --json``."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.field.shift import shift_says
from sfn.plan.left_out import left_out_document
from sfn.reception.classes import CLASSES, class_words, shown_classes
from sfn.reception.figures import hurting_minus_strongest
from sfn.study.road import Road
from sfn.study.road_plan import PlannedRoad
from sfn.study.stretch import Stretch
from sfn.systems.fm_carried import heard_programme
from sfn.units import finite_or_none


def document(made: PlannedRoad, *, revision: int | None = None) -> dict[str, Any]:
    """The JSON document of ``road --json``; `before` in it is the plan where something is tried."""
    found, samples = made.found, made.found.samples
    return {
        "network": found.network.name,
        "revision": revision,
        "checksum": made.checksum,
        "tried": list(found.says),
        "length_m": samples.length_m,
        "samples_n": len(samples.distance_m),
        "rx_height_m": found.signals.rx_height_m,
        "smooth_earth": found.signals.smooth,
        "smooth_earth_says": found.smooth_says or None,
        "terrain_averaged": found.signals.averaged_says or None,
        "treetops_m": found.treetops_m,
        "treetops_say": found.treetops_say or None,
        "level_shifts": shift_says(found.network) or None,
        "other_transmitters_say": found.others_says,
        "too_weak_says": found.says_of_classes.too_weak or None,
        **found.says_of_classes.as_json(),
        "programme": heard_programme(found.network) or None,
        "left_out_sites": left_out_document(found.network.left_out),
        **_lengths(found),
        "stretches": _changed(found, made.were, "planned"),
        "before": None
        if made.before is None
        else _lengths(made.before) | {"stretches": _changed(made.before, made.become, "tried")},
        "measured": None if made.measured is None else made.measured.as_json(),
        "samples": _samples(found),
        "problems": [problem.as_json() for problem in made.problems],
    }


def _changed(of: Road, other: tuple[tuple[float, float | None], ...], name: str) -> list[dict[str, Any]]:
    """Stretches, and what the same part of the road is `name`d: planned, or tried; nothing where nothing is tried."""
    made = [stretch_document(one) for one in of.stretches]
    for one, (lost_m, margin_db) in zip(made, other, strict=bool(other)):
        one |= {f"{name}_lost_m": lost_m, f"{name}_margin_db": margin_db}
    return made


def stretch_document(one: Stretch) -> dict[str, Any]:
    """One stretch; the worst of it is at `lat`, `lon`."""
    return {
        "from_m": one.from_m,
        "to_m": one.to_m,
        "lost_m": one.lost_m,
        "class": one.class_name,
        "for_people": one.for_people,
        "lengths_m": dict(one.lengths),
        "hurts": one.hurts,
        "other_transmitter": one.other_transmitter,
        "wanted": one.wanted,
        "margin_db": one.margin_db,
        "lat": one.lat_deg,
        "lon": one.lon_deg,
        "second": one.second,
        "delay_difference_us": one.delay_difference_us,
        "level_difference_db": one.level_difference_db,
        "hurts_delay_us": one.hurts_delay_us,
        "hurts_level_db": one.hurts_level_db,
        "worst_class": one.worst_class,
        "worst_for_people": one.worst_for_people,
        "nearest": one.nearest,
        "away_m": finite_or_none(one.away_m),
    }


def _lengths(of: Road) -> dict[str, Any]:
    """How much of the road is in each class."""
    whole = of.samples.length_m
    return {
        "served_m": of.served_m,
        "classes": [
            {
                "class": CLASSES[code],
                "code": code,
                "for_people": class_words(of.yard.carried)[code],
                "length_m": of.class_m[code],
                "share_pct": 100.0 * of.class_m[code] / whole,
            }
            for code in sorted(shown_classes(of.yard.carried))
        ],
        "risk_served_m": of.risk_m,
        "drawn_served_m": of.drawn_m,
        "unknown_m": of.unknown_m,
        "uncovered_m": of.uncovered_m,
    }


def hurting(of: Road) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The signal that hurts over the strongest at every sample: level and arrival, each of shape (M,). [dB, us]"""
    level, delay = (
        hurting_minus_strongest(values, of.quality.limiting, of.strongest)
        for values in (of.level_dbuvm, of.delay_difference_us)
    )
    return level, delay


def _samples(of: Road) -> list[dict[str, Any]]:
    """Every sample; signals strongest first."""
    covered, level_difference, delay_difference = (
        of.covered,
        of.level_difference_db,
        of.of_second(of.delay_difference_us),
    )
    hurts_level, hurts_delay = hurting(of)
    made = []
    for k, at_m in enumerate(of.samples.distance_m):
        known = np.flatnonzero(np.isfinite(of.level_dbuvm[:, k]))
        order = known[np.argsort(-of.level_dbuvm[known, k], kind="stable")]
        top = of.level_dbuvm[order[0], k] if len(order) else np.nan
        kind, limiting = of.quality.quality_class[k], of.quality.limiting[k]
        share = of.quality.probability
        made.append(
            {
                "distance_m": float(at_m),
                "lat": float(of.samples.lat_deg[k]),
                "lon": float(of.samples.lon_deg[k]),
                "rx_ground_m": finite_or_none(of.signals.rx_ground_m[k]),
                "covered": bool(covered[k]),
                "class": None if np.isnan(kind) else CLASSES[int(kind)],
                "for_people": None if np.isnan(kind) else class_words(of.yard.carried)[int(kind)],
                "quality_margin_db": finite_or_none(of.quality.margin_db[k]),
                "hurts": None if np.isnan(limiting) else of.sites[int(limiting)],
                "other_transmitter": of.other_at(k),
                **{name: finite_or_none(float(one[k])) for name, one in of.figures.items()},
                **{name: finite_or_none(float(one[k])) for name, one in of.shares.items()},
                "coverage_probability": None if share is None else finite_or_none(share[k]),
                "level_dbuvm": finite_or_none(top),
                "strongest": None if of.strongest[k] < 0 else of.sites[of.strongest[k]],
                "second": None if of.second[k] < 0 else of.sites[of.second[k]],
                "level_difference_db": finite_or_none(level_difference[k]),
                "delay_difference_us": finite_or_none(delay_difference[k]),
                "hurts_level_db": finite_or_none(float(hurts_level[k])),
                "hurts_delay_us": finite_or_none(float(hurts_delay[k])),
                "signals": [_signal(of, int(i), k, float(top)) for i in order],
            }
        )
    return made


def _signal(of: Road, i: int, k: int, top_dbuvm: float) -> dict[str, Any]:
    """One signal at a sample; differences are from the strongest."""
    return {
        "site": of.sites[i],
        "level_dbuvm": float(of.level_dbuvm[i, k]),
        "level_difference_db": float(of.level_dbuvm[i, k] - top_dbuvm),
        "delay_difference_us": float(of.delay_difference_us[i, k]),
        "significant": bool(of.counts[i, k]),
    }
