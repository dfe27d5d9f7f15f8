"""Sites fed off air: what each hears at its receiving antenna, and how far its loop is from oscillation.

JSON keys: `sites`, each with id, parent, receiving_height_m, receiving_antenna (whose curve), smooth_earth,
smooth_earth_says (where it lies; null over a terrain),
processing_us (from antenna to antenna), received_dbuvm of the parent and received_typed, missing (keys of the site's
`off_air` that are needed); the loop as input_dbw, output_dbw, gain_db, isolation_db and isolation_estimated,
needed_isolation_db, cancelled_db, margin_db, ripple_db (null: it oscillates), allowed (margin_db, output_dbw,
erp_kw), reflector_m (farthest reflector inside the canceller's window); parent_margin_db over all others (null:
nobody else), behind the antenna, and wrong_parent; parent_margin_from: measured (the field typed as received_dbuvm,
the others' predicted) or predicted (null: the parent is not heard); heard, each with site, ground_m, bearing_deg,
off_axis_deg, level_dbuvm, level_1pct_dbuvm, discrimination_db, difference_db and difference_1pct_db against the
parent's median, launch_error_us if it were followed instead; `problems`.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals.
"""

import argparse
from pathlib import Path

from sfn.answer.off_air import document
from sfn.cli.table import add_json, print_json, print_problems, print_table, readable_file
from sfn.report.numbers import km, number, us
from sfn.study.off_air import OffAirSite, off_air_sites
from sfn.terrain.ground import open_ground

NAME = "repeaters"
SUMMARY = "sites fed off air: isolation, gain margin, what they hear"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Work out every site fed off air and print it."""
    network = readable_file(args)
    ground = open_ground(network, folder=args.network.resolve().parent, anywhere=True)
    sites = off_air_sites(network.whole, ground=ground)
    if args.json:
        print_json(document(sites, network.left_out))
        return 0
    if not sites:
        print(f"no {'other ' if network.left_out else ''}site is fed off air")
    for one in sites:
        _print(one)
    print_problems(p for one in sites for p in one.found.problems)
    return 0


def _print(one: OffAirSite) -> None:
    """One site for people."""
    found, loop = one.found, one.loop
    print(f"{found.site.name}, fed off air from {found.parent_name}; receiving antenna {found.height_m:g} m: ", end="")
    print(f"{found.antenna}; {us(found.processing_us, 2)} from antenna to antenna")
    if found.missing:
        print(f"missing in its off_air: {', '.join(found.missing)}")
    if loop is not None:
        guessed = " (estimated)" if found.isolation_estimated else ""
        print(
            f"in {loop.input_dbw:.1f} dBW, out {loop.output_dbw:.1f} dBW: gain {loop.gain_db:.1f} dB; isolation "
            f"{loop.isolation_db:.1f} dB{guessed} + cancelled {loop.cancelled_db:.1f} dB: margin {loop.margin_db:.1f} "
            f"dB, ripple {loop.ripple_db:.1f} dB"
        )
        for margin_db, out_dbw, erp_kw in loop.allowed:
            print(f"for a margin of {margin_db:g} dB at most {out_dbw:.1f} dBW out, {erp_kw:.4g} kW e.r.p.")
    if found.parent is not None and found.received_typed and found.heard:
        measured = number(found.given.received_dbuvm or 0.0, 1)
        print(f"against the parent: by its measured field, {measured} dBuV/m; the others are predicted")
    print_table(
        ("heard", "km", "off axis", "dBuV/m", "1 % of time", "behind antenna", "launch if followed"),
        (
            (
                h.site_name,
                km(h.ground_m, 1),
                f"{h.off_axis_deg:.0f} deg",
                number(h.level_dbuvm, 1),
                number(h.level_1pct_dbuvm, 1),
                f"{number(h.difference_db, 1, signed=True)} dB",
                us(h.launch_error_us, 1, signed=True),
            )
            for h in found.heard
        ),
    )
    if found.smooth:
        print(f"no terrain: smooth earth. {one.smooth_says}")
    print()
