"""Corrections of launch times from delay differences measured on air.

MEASUREMENTS.csv (or .xlsx) has the columns when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,
reference_plane,by (and rx_ground_m, if wanted): arrival of `site` minus arrival of `reference_site`, with its standard
uncertainty (one sigma). Rows of one impulse response name it in `response`, and in `shared_uncertainty_us` what the
reference arrival that they share is worth: they are adjusted with that correlation. Sites by id or name; a column
position, and units in brackets, as in "uncertainty (ns)", are understood too. What `doubt` says of a row (a recording
that its arrivals do not explain) is said of all that rests on it.

JSON keys: `network`, `measurements_n`, `held`; `sites`: for each `site`, `launch_error_us` (later than planned is
positive), `correction_us` (what to add: its negative), `uncertainty_us` (one sigma against the held site, or against
the mean of its group, times `growth_ratio`), `claimed_uncertainty_us` (before that), `group`, `held`,
`observations_n`, `causes` (known amounts that the launch error equals: what, expected_us, left_us, chance_ratio),
`causes_by_chance_n` (chance, 0 to 1, that one or more of all known amounts would be met by accident:
1 - (1 - p1)(1 - p2)...); `groups` of sites that points tie together; `rank`, `freedom` (measurements minus rank),
`chi_square` and its 95 % limits `chi_square_low`, `chi_square_high`, `scale_ratio` (what the uncertainties would have
to be multiplied by), `growth_ratio` (what they were multiplied by: `scale_ratio` where chi-square is above its limit,
else 1); `residual_sign` (which of the two keys below has which sign); `residuals`: for each measurement its columns,
`predicted_us`, `misclosure_us` (measured minus predicted),
`left_over_us` (measured minus adjusted, as people are shown it), `residual_us` (adjusted minus measured),
`redundancy_ratio` (0: nothing checks it), `w_ratio` (with the sign of `residual_us`), `least_detectable_us`,
`weight_factor`, `verdict` (fits, doubtful, suspect, uncheckable, left out), `alike`; `suspects`, `uncheckable`,
`left_out`: their numbers from 0; `problems`.

`left_out_sites` are sites that cannot be read (each with site, name, whose: the site at fault, and problems as in
`check`): the answer does without their signals.
"""

import argparse
from pathlib import Path

from sfn.answer.reconciled import document
from sfn.cli.table import add_json, print_json, print_problems, print_table, readable_file
from sfn.errors import PlanError, Problem
from sfn.plan.sheets import content_of, read_sheet
from sfn.report.numbers import number
from sfn.study.measurement_table import understood_measurements
from sfn.study.reconciled import Reconciled, reconciled
from sfn.terrain.ground import open_ground

NAME = "reconcile"
SUMMARY = "corrections from measured delay differences"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("measurements", type=Path, metavar="MEASUREMENTS.csv", help="delay differences (CSV or XLSX)")
    parser.add_argument("--hold", action="append", default=[], metavar="SITE", help="its launch is as planned")
    parser.add_argument("--as-set", action="store_true", help="compare with what is set now, not with the plan")
    parser.add_argument("--robust", action="store_true", help="take weight from measurements that stand out")
    parser.add_argument("--without-suspects", action="store_true", help="leave suspects out, the worst first")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Adjust and print."""
    network = readable_file(args)
    if args.robust and args.without_suspects:
        what = "re-weights and leaves out at once"
        raise PlanError(
            [Problem("--robust", what, "--robust or --without-suspects", code="arguments-exclude-each-other")]
        )
    table = read_sheet(content_of(args.measurements), source=args.measurements.name)
    read = understood_measurements(table, network)
    if read.refused:
        raise PlanError(read.refused)
    answer = reconciled(
        network,
        read.measurements,
        held=args.hold,
        way="robust" if args.robust else "without suspects" if args.without_suspects else "all",
        as_set=args.as_set,
        doubts=read.left_out,
        terrain=open_ground(network, folder=args.network.resolve().parent, anywhere=True).terrain,
    )
    if args.json:
        print_json(document(answer))
    else:
        _print(answer)
    return 0


def _print(answer: Reconciled) -> None:
    """The tables for people."""
    found = answer.found
    print_table(
        ("site", "launch error us", "+- us (95 %)", "correction us", "group", "measurements"),
        (
            (
                s.site + (" (held)" if s.held else ""),
                number(s.launch_error_us, 3, signed=True),
                number(None if s.uncertainty_us is None else 1.96 * s.uncertainty_us, 3),
                number(s.correction_us, 3, signed=True),
                "-" if s.group is None else str(s.group + 1),
                str(s.observations_n),
            )
            for s in found.sites
        ),
    )
    print()
    print_table(
        (
            "measurement",
            "measured us",
            "predicted us",
            "left over us (measured - adjusted)",
            "redundancy",
            "w",
            "verdict",
        ),
        (
            (
                f"{r.measurement.site} - {r.measurement.reference_site} at {r.measurement.point}",
                number(r.measurement.delay_difference_us, 3, signed=True),
                number(r.predicted_us, 3, signed=True),
                number(r.left_over_us, 3, signed=True),
                number(r.redundancy_ratio, 3),
                number(None if r.w_ratio is None else -r.w_ratio, 2, signed=True),
                r.verdict,
            )
            for r in found.residuals
        ),
    )
    low, high = found.chi_square_limits
    print()
    if found.freedom:
        print(f"chi-square {number(found.chi_square_ratio, 3)}, {found.freedom} degrees of freedom, ", end="")
        print(f"95 %: {number(low, 3)} to {number(high, 3)}; uncertainties x {number(found.growth_ratio, 3)}")
    for site, guess in answer.guesses.items():
        for cause in guess.causes[:3]:
            print(f"{site}: perhaps {cause.what} ({number(cause.expected_us, 3, signed=True)} us)")
    print_problems(answer.problems)
