"""Corrections of launch times from delay differences measured on air.

MEASUREMENTS.csv has the columns when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,
reference_plane,by (and rx_ground_m, if wanted): arrival of `site` minus arrival of `reference_site`, with its standard
uncertainty (one sigma).

JSON keys: `network`, `measurements_n`, `held`; `sites`: for each `site`, `launch_error_us` (later than planned is
positive), `correction_us` (what to add: its negative), `uncertainty_us` (one sigma against the held site, or against
the mean of its group), `group`, `held`, `observations_n`, `causes` (known amounts that the launch error equals: what,
expected_us, left_us), `causes_by_chance_n` (how many would be found by chance); `groups` of sites that points tie
together; `rank`, `freedom` (measurements minus rank), `chi_square` and its 95 % limits `chi_square_low`,
`chi_square_high`, `scale_ratio` (what the uncertainties would have to be multiplied by); `residuals`: for each
measurement its columns, `predicted_us`, `misclosure_us` (measured minus predicted), `residual_us` (adjusted minus
measured), `redundancy_ratio` (0: nothing checks it), `w_ratio`, `least_detectable_us`, `weight_factor`, `verdict`
(fits, doubtful, suspect, uncheckable, left out), `alike`; `suspects`, `uncheckable`, `left_out`: their numbers from 0;
`problems`.
"""

import argparse
import math
from pathlib import Path
from typing import Any

from sfn.cli.table import add_json, print_json, print_problems, print_table
from sfn.errors import PlanError, Problem
from sfn.plan import Network, read_file
from sfn.report.numbers import number
from sfn.survey.explain import site_guesses
from sfn.survey.measurements import planes, read_measurements
from sfn.survey.prediction import planned_differences
from sfn.survey.reconcile import Reconciliation, Residual, reconcile, snoop

NAME = "reconcile"
SUMMARY = "corrections from measured delay differences"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("measurements", type=Path, metavar="MEASUREMENTS.csv", help="measured delay differences")
    parser.add_argument("--hold", action="append", default=[], metavar="SITE", help="its launch is as planned")
    parser.add_argument("--as-set", action="store_true", help="compare with what is set now, not with the plan")
    parser.add_argument("--robust", action="store_true", help="take weight from measurements that stand out")
    parser.add_argument("--without-suspects", action="store_true", help="leave suspects out, the worst first")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Adjust and print."""
    network = read_file(args.network)
    sites = tuple(site.id for site in network.sites)
    wrong = [s for s in args.hold if s not in sites]
    if wrong:
        raise PlanError([Problem("--hold", f"there is no site {', '.join(wrong)}", f"one of {', '.join(sites)}")])
    if args.robust and args.without_suspects:
        what = "re-weights and leaves out at once"
        raise PlanError([Problem("--robust", what, "--robust or --without-suspects")])
    measurements = read_measurements(args.measurements, sites=sites)
    predicted = planned_differences(network, measurements, terrain=_terrain(network, args.network), as_set=args.as_set)
    left_out: tuple[int, ...] = ()
    if args.without_suspects:
        found, left_out = snoop(measurements, predicted_us=predicted, sites=sites, held=args.hold)
    else:
        found = reconcile(measurements, predicted_us=predicted, sites=sites, held=args.hold, robust=args.robust)
    problems = [*planes(measurements), *found.problems]
    if args.json:
        print_json(document(network, found, held=args.hold, left_out=left_out, problems=problems))
    else:
        _print(network, found, problems=problems)
    return 0


def document(
    network: Network, found: Reconciliation, *, held: list[str], left_out: tuple[int, ...], problems: list[Problem]
) -> dict[str, Any]:
    """The JSON document."""
    low, high = found.chi_square_limits
    guesses = site_guesses(network, found)
    return {
        "network": network.name,
        "measurements_n": len(found.residuals),
        "held": list(held),
        "sites": [
            {
                "site": s.site,
                "launch_error_us": s.launch_error_us,
                "correction_us": s.correction_us,
                "uncertainty_us": s.uncertainty_us,
                "group": s.group,
                "held": s.held,
                "observations_n": s.observations_n,
                "causes": [
                    {"what": c.what, "expected_us": c.expected_us, "left_us": c.left_us} for c in guesses[s.site].causes
                ],
                "causes_by_chance_n": guesses[s.site].by_chance_n,
            }
            for s in found.sites
        ],
        "groups": [list(group) for group in found.groups],
        "rank": found.rank,
        "freedom": found.freedom,
        "chi_square": found.chi_square_ratio,
        "chi_square_low": _finite(low),
        "chi_square_high": _finite(high),
        "scale_ratio": _finite(found.scale_ratio),
        "residuals": [_residual(row) for row in found.residuals],
        "suspects": [k for k, row in enumerate(found.residuals) if row.verdict == "suspect"],
        "uncheckable": [k for k, row in enumerate(found.residuals) if row.verdict == "uncheckable"],
        "left_out": list(left_out),
        "problems": [p.as_json() for p in problems],
    }


def _residual(row: Residual) -> dict[str, Any]:
    """One measurement and what became of it."""
    m = row.measurement
    return {
        "when": m.when,
        "point": m.point,
        "lat": m.lat_deg,
        "lon": m.lon_deg,
        "site": m.site,
        "reference_site": m.reference_site,
        "delay_difference_us": m.delay_difference_us,
        "uncertainty_us": m.uncertainty_us,
        "reference_plane": m.reference_plane,
        "by": m.by,
        "predicted_us": row.predicted_us,
        "misclosure_us": row.misclosure_us,
        "residual_us": row.residual_us,
        "redundancy_ratio": row.redundancy_ratio,
        "w_ratio": row.w_ratio,
        "least_detectable_us": row.least_detectable_us,
        "weight_factor": row.weight_factor,
        "verdict": row.verdict,
        "alike": list(row.alike),
    }


def _print(network: Network, found: Reconciliation, *, problems: list[Problem]) -> None:
    """The tables for people."""
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
        ("measurement", "measured us", "predicted us", "residual us", "redundancy", "w", "verdict"),
        (
            (
                f"{r.measurement.site} - {r.measurement.reference_site} at {r.measurement.point}",
                number(r.measurement.delay_difference_us, 3, signed=True),
                number(r.predicted_us, 3, signed=True),
                number(r.residual_us, 3, signed=True),
                number(r.redundancy_ratio, 3),
                number(r.w_ratio, 2, signed=True),
                r.verdict,
            )
            for r in found.residuals
        ),
    )
    low, high = found.chi_square_limits
    print()
    if found.freedom:
        print(f"chi-square {number(found.chi_square_ratio, 3)}, {found.freedom} degrees of freedom, ", end="")
        print(f"95 %: {number(low, 3)} to {number(high, 3)}; uncertainties x {number(found.scale_ratio, 3)}")
    for site, guess in site_guesses(network, found).items():
        for cause in guess.causes[:3]:
            print(f"{site}: perhaps {cause.what} ({number(cause.expected_us, 3, signed=True)} us)")
    print_problems(problems)


def _terrain(network: Network, path: Path) -> Any:
    """The network's terrain, for the ground at the points."""
    if network.terrain is None:
        return None
    from sfn.terrain.ground import open_ground

    return open_ground(network, folder=path.parent, anywhere=True).terrain


def _finite(value: float) -> float | None:
    """NaN is null."""
    return value if math.isfinite(value) else None
