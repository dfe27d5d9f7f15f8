"""Overlap zones: a GeoTIFF a layer, equal-delay lines as GeoJSON, and a summary of the overlap.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals. `programme`: what FM quality holds for (null: no FM). `classes` have
`code` and `for_people` (the class in words for people). `listeners` (null: no FM): what they hear with levels and
carrier phases drawn, `classes` with `share` (of the people, of the area where these are not known), `shares_are_of`
(places or time), `served_from_share`, `shares_say` (what they rest on). `classes_by`: the rule that made `classes`
(quick estimate, drawn shares; 8-VSB: median levels), in words `classes_say`. `too_weak_below_dbuvm`: what divides too
weak from upset. Sentences (null: nothing to say), of `point` and `road` too: `class_rule` (what makes a class),
`not_judged` (what of the same transmitter no class speaks of), `levels_spread_say`, `receiver_window`, `listeners_say`,
`usable_says`, `too_weak_says`, `worse_says` (which class a place lost in two ways has). `overlap`: `near_km2` and
`near_people` are of its part where the second strongest lies within `near_db` of the strongest. `problems`: doubts
about the people counted. `credits`: whose data ground and people are (null: nobody asks to be named).
`other_transmitters_say`: what is known of transmitters of other programmes. `uncovered_by`: sites whose level the
terrain leaves unknown, and on how many km2; one such site is enough for a place not to be judged (`uncovered_says`,
`uncovered_people`). `treetops_say`: where treetops and roofs count as bare ground because no ground cover is known that
would be taken off them (null: nowhere); `treetops_km2`, `treetops_people` of what is judged, `treetops_served_km2` and
`treetops_served_people` what of it counts as served.
"""

import argparse
from pathlib import Path

from sfn.answer.map_files import FORMS, write_files
from sfn.cli.progress import progress_teller
from sfn.cli.table import add_json, print_json, print_table
from sfn.cli.tries import add_tries, opened, tries_argument
from sfn.errors import PlanError, Problem
from sfn.field.over_smooth import smooth_says
from sfn.field.shift import shift_says
from sfn.geodesy.position import on_globe
from sfn.library.coverage import coverage
from sfn.report.numbers import number
from sfn.study.shares_said import shares_said
from sfn.systems.fm_carried import heard_programme
from sfn.systems.ofdm_window import RISK_STRATEGY

NAME = "zones"
SUMMARY = "rasters and summary of the overlap zones"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder for the files; made if need be")
    parser.add_argument("--pixel-m", type=float, metavar="M", help="pixel on the ground (about 160,000 pixels)")
    parser.add_argument("--bounds", metavar="S,W,N,E", help="area in degrees (as far as the network is usable)")
    parser.add_argument(
        "--forms", metavar="LIST", default="tif,geojson", help=f"files to write, of {', '.join(FORMS)} (tif,geojson)"
    )
    parser.add_argument("--as-set", action="store_true", help="launches with what is set now")
    add_tries(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Compute the layers, write the files, print the summary."""
    forms = forms_argument(args.forms)
    bounds = None if args.bounds is None else bounds_argument(args.bounds)
    made = coverage(
        opened(args),
        pixel_m=args.pixel_m,
        bounds_deg=bounds,
        as_set=args.as_set,
        tries=tries_argument(args),
        progress=progress_teller(),
    )
    found, now, heard, computed = made.found, made.tried, made.listeners, made.found.coverage
    try:
        files = write_files(found, now.launches, args.out, made.stamp, forms)
    except OSError as error:
        raise PlanError(
            [Problem("--out", f"cannot be written ({error.strerror})", "a folder that can", code="file-unwritable")]
        ) from None
    answer = made.with_files(files)
    if args.json:
        print_json(answer)
        return 0
    for said in now.says:
        print(f"TRY: {said}")
    print_table(
        ("layer", "unit", "file"), ((entry["name"], entry["unit"], entry["file"]) for entry in answer["layers"])
    )
    summary = found.summary
    spread = ", ".join(number(value, 1) for value in (summary.median_us, summary.p90_us, summary.max_us))
    print(f"overlap zone {number(summary.area_km2, 1)} km2, delay spread median, 90 %, greatest: {spread} us")
    print(found.overlap_says)
    print()
    in_classes = [(c["for_people"], number(c["area_km2"], 1), _people(c["people"])) for c in answer["classes"]]
    print_table(("reception", "area km2", "people"), in_classes)
    for said in found.says.lines:
        print(said)
    if found.risk is not None:
        served = [(one.served_km2, _people(one.served_people)) for one in (found.classes, found.risk)]
        (ours_km2, ours), (risk_km2, risk) = served
        print(f"window by {found.placing_says}: served {number(ours_km2, 1)} km2, people {ours}")
        print(f"by {RISK_STRATEGY}, the receiver's risk: {number(risk_km2, 1)} km2, people {risk}")
    print()
    by_site = ((one["site"], number(one["area_km2"], 1), _people(one["people"])) for one in answer["served"])
    part = number(found.spoken_pct, 1)
    spoken = f"these figures speak of {number(found.spoken_km2, 1)} of {number(found.shown_km2, 1)} km2, {part} %"
    print("; ".join(filter(None, (spoken, found.served_edges_say))))
    print(found.others_says)
    if said := shares_said(found):
        print(said)
    print_table(("served by", "area km2", "people"), by_site)
    print(f"people: {heard.said}")
    if uncovered := found.uncovered_says:
        print(f"{uncovered}; no figure above counts them")
    if found.cut_says:
        print(found.cut_says)
    if corrected := shift_says(found.network):
        print(corrected)
    if programme := heard_programme(found.network):
        print(f"FM quality of {programme}")
    for beware in filter(None, (computed.averaged_says, found.treetops.says)):
        print(beware)
    if computed.smooth:
        print("no terrain: smooth earth")
        if high := smooth_says(found.network):
            print(high)
    if made.stamp.credits:
        print(made.stamp.credits)
    return 0


def forms_argument(text: str) -> tuple[str, ...]:
    """Kinds of files, commas between.

    Raises
    ------
    PlanError
        If one is none of those on offer.
    """
    forms = tuple(filter(None, (part.strip() for part in text.split(","))))
    if not forms or not set(forms) <= set(FORMS):
        raise PlanError(
            [
                Problem(
                    "--forms", f"cannot be {text!r}", f"some of {', '.join(FORMS)}, commas between", code="not-on-offer"
                )
            ]
        )
    return forms


def bounds_argument(text: str) -> tuple[float, float, float, float]:
    """``S,W,N,E`` in degrees.

    Raises
    ------
    PlanError
        If the text is not four numbers, or a corner is no place on the globe.
    """
    try:
        south, west, north, east = (float(part) for part in text.split(","))
    except ValueError:
        what = f"cannot be {text!r}"
        expected = "S,W,N,E in degrees, as 36.1,-84.5,36.5,-84.0"
        raise PlanError([Problem("--bounds", what, expected, code="bounds-unreadable")]) from None
    on_globe(south, west, where="--bounds", lat_field="S", lon_field="W")
    on_globe(north, east, where="--bounds", lat_field="N", lon_field="E")
    return south, west, north, east


def _people(count: float | None) -> str:
    """People, where they are known."""
    return "-" if count is None else number(count, 0)
