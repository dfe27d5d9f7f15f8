"""A road as files: a table, lines for maps, a chart; each with unit, network, revision and state."""

import itertools
import json
from typing import Any

import numpy as np

from sfn.answer.road_document import hurting, stretch_document
from sfn.reception.classes import CLASSES
from sfn.report.colours import class_colours
from sfn.report.plots import PictureFormat
from sfn.report.road_chart import Drawn, road_chart, road_profile
from sfn.report.stamp import Stamp, stamped
from sfn.report.tables import Value, csv_text
from sfn.report.vector import collection, kml, line_feature, point_feature
from sfn.study.road import Road
from sfn.study.road_plan import PlannedRoad

FORMS = ("csv", "geojson", "kml", "svg", "png")
MEDIA = {
    "csv": "text/csv; charset=utf-8",
    "geojson": "application/geo+json",
    "kml": "application/vnd.google-earth.kml+xml",
    "svg": "image/svg+xml",
    "png": "image/png",
}
UNKNOWN_COLOUR = "#8a857a"


def road_file(made: PlannedRoad, form: str, by: Stamp) -> bytes:
    """A road in one of `FORMS`.

    Raises
    ------
    ValueError
        If the form is none of these.
    """
    if form == "csv":
        return road_csv(made.found, by).encode()
    if form == "geojson":
        return (json.dumps(road_lines(made.found, by), ensure_ascii=False, allow_nan=False) + "\n").encode()
    if form == "kml":
        heading = "; ".join((f"{by.network}, {by.of}, road", *by.remarks))
        return kml(road_lines(made.found, by), name=f"{by.state}: {heading}" if by.is_try else heading).encode()
    if form in ("svg", "png"):
        return road_picture(made, by, form)
    raise ValueError(f"form must be one of {FORMS}, got {form!r}")


def road_csv(of: Road, by: Stamp) -> str:
    """A line a sample: levels and delays of every site on air; empty where nothing is known.

    The headings of last, empty columns say the document's checksum and what is tried.
    """
    lines: list[list[Value]] = []
    names = [
        "quality_margin_db",
        *of.figures,
        *of.shares,
        "class",
        "hurts",
        "other_transmitter",
        "strongest",
        "second",
        "level_difference_db",
        "delay_difference_us",
        "hurts_level_db",
        "hurts_delay_us",
    ]
    sites = [name for site in of.sites for name in (f"{site}_level_dbuvm", f"{site}_delay_difference_us")]
    extra = [said for said in (f"checksum {by.checksum}", by.state if by.is_try else "", *by.remarks) if said]
    lines.append(["distance_m", "lat_deg", "lon_deg", "covered", *map(by.column, [*names, *sites]), *extra])
    covered, level_difference = of.covered, of.level_difference_db
    delay_difference = of.of_second(of.delay_difference_us)
    hurts_level, hurts_delay = hurting(of)
    for k, at_m in enumerate(of.samples.distance_m):
        kind, hurts = of.quality.quality_class[k], of.quality.limiting[k]
        cells: list[Value] = [
            _cell(of.quality.margin_db[k]),
            *(_cell(values[k]) for values in of.figures.values()),
            *(_cell(values[k]) for values in of.shares.values()),
            "" if np.isnan(kind) else of.words[int(kind)],
            "" if np.isnan(hurts) else of.sites[int(hurts)],
            of.other_at(k) or "",
            "" if of.strongest[k] < 0 else of.sites[of.strongest[k]],
            "" if of.second[k] < 0 else of.sites[of.second[k]],
            _cell(level_difference[k]),
            _cell(delay_difference[k]),
            _cell(hurts_level[k]),
            _cell(hurts_delay[k]),
        ]
        for i in range(len(of.sites)):
            cells += [_cell(of.level_dbuvm[i, k]), _cell(of.delay_difference_us[i, k])]
        where = [round(float(at_m), 1), round(float(of.samples.lat_deg[k]), 6), round(float(of.samples.lon_deg[k]), 6)]
        lines.append([*where, "yes" if covered[k] else "no", *cells, *([""] * len(extra))])
    return csv_text(lines)


def road_lines(of: Road, by: Stamp) -> dict[str, Any]:
    """GeoJSON: the road in pieces of one class each, and the worst place of every stretch without service."""
    colours, pieces = [*class_colours(), UNKNOWN_COLOUR], []
    at_m, kinds = of.samples.distance_m, np.nan_to_num(of.quality.quality_class, nan=len(CLASSES)).astype(int)
    edges = [0, *(np.flatnonzero(np.diff(kinds)) + 1).tolist(), len(kinds)]
    words = of.words
    for a, b in itertools.pairwise(edges):
        kind, last = int(kinds[a]), min(b, len(kinds) - 1)  # pieces touch
        margin = of.quality.margin_db[a:b]
        known = margin[np.isfinite(margin)]
        pieces.append(
            line_feature(
                list(zip(of.samples.lon_deg[a : last + 1], of.samples.lat_deg[a : last + 1], strict=True)),
                {
                    "class": words[kind] if kind < len(CLASSES) else "not known",
                    "code": kind if kind < len(CLASSES) else None,
                    "from_m": round(float(at_m[a]), 1),
                    "to_m": round(float(at_m[last]), 1),
                    "least_margin_db": round(float(known.min()), 2) if known.size else None,
                    "label": words[kind] if kind < len(CLASSES) else "not known",
                    "colour": colours[kind],
                },
            )
        )
    worst = [
        point_feature(
            s.lon_deg,
            s.lat_deg,
            stretch_document(s)
            | {"class": s.for_people, "worst_class": s.worst_for_people}
            | {"label": f"{n}: {s.worst_for_people}", "kind": "worst place"},
        )
        for n, s in enumerate(of.stretches, start=1)
    ]
    return stamped(collection([*(p for p in pieces if len(p["geometry"]["coordinates"]) > 1), *worst]), by)


def road_picture(made: PlannedRoad, by: Stamp, form: str) -> bytes:
    """The chart with what it is of."""
    said = f"{by.network}, {by.of}, {by.checksum[:8]}, {by.date}"
    said = ". ".join((said, *by.remarks))
    picture: PictureFormat = "png" if form == "png" else "svg"
    return road_chart(_drawn(made), said=said, state=by.state if by.is_try else "", picture=picture)


def road_profile_picture(made: PlannedRoad) -> bytes:
    """Level, margin and class alone, as an SVG to stand beside a map."""
    return road_profile(_drawn(made))


def _drawn(made: PlannedRoad) -> Drawn:
    """What charts of a road show."""
    found = made.found
    names = {site.id: site.name for site in found.network.sites}
    ofdm = found.yard.carried.kind == "ofdm"
    tolerance_us = found.yard.carried.tolerance_us
    return Drawn(
        distance_m=found.samples.distance_m,
        edges_m=found.samples.edges_m,
        sites=tuple(names[name] for name in found.sites),
        site_places=tuple(found.signals.sites.index(name) for name in found.sites),
        level_dbuvm=found.level_dbuvm,
        delay_difference_us=found.delay_difference_us,
        counts=found.counts,
        strongest=found.strongest,
        usable_dbuvm=found.yard.counts.usable_dbuvm,
        tolerance_us=tolerance_us,
        tolerance_said="guard interval" if ofdm else f"tolerated where levels match: ±{tolerance_us:g} µs",
        margin_db=found.quality.margin_db,
        margin_before_db=None if made.before is None else made.before.quality.margin_db,
        quality_class=found.quality.quality_class,
        covered=found.covered,
        words=found.words,
        stretches=tuple((s.from_m, s.to_m) for s in found.stretches),
        measured=None if made.measured is None else (made.measured.distance_m, made.measured.measured_dbuvm),
    )


def _cell(value: float) -> float | None:
    """A number, or nothing."""
    return round(float(value), 3) if np.isfinite(value) else None
