"""How old and how sure every site's number is, the worst first.

JSON keys: `network`, `today`; `sites`: `site`, `latency_us` (own stages), `tolerance_us` (worst case, with a relay's
parents), `rss_us`, `assumed_us` (the part of the worst case that rests on assumed figures), `assumed_latency_us` and
`undated_us` (parts of the latency), `oldest_stage`, `oldest_days`, `without_tolerance` (stages that count as exact),
`measure_again` (stages whose firmware or mode changed since), `launch_measured`, `launch_off_us`, `launch_again` (from
readings, which a document on its own does not have); `stages`: `stage`, `sites`, `latency_us`, `tolerance_us`,
`source`, `date`, `age_days`, `firmware`, `changed`, `measure_again`.
"""

import argparse
from datetime import UTC, date, datetime
from pathlib import Path

from sfn.answer.ages import document
from sfn.cli.table import add_json, print_json, print_table
from sfn.errors import PlanError, Problem
from sfn.plan import read_file
from sfn.report.numbers import number
from sfn.study.ages import ages

NAME = "ages"
SUMMARY = "how old and how sure every site's number is"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument("--today", metavar="DAY", help="count ages up to this day, as 2026-09-14 (today)")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the ages."""
    today = args.today or f"{datetime.now(UTC):%Y-%m-%d}"
    try:
        date.fromisoformat(today)
    except ValueError:
        raise PlanError([Problem("--today", f"{today!r} is no day", "as 2026-09-14", code="not-a-date")]) from None
    found = ages(read_file(args.network, own_services=args.own_services), today=today)
    if args.json:
        print_json(document(found))
        return 0
    print_table(
        ("site", "latency us", "worst case us", "of it assumed us", "oldest figure, days", "measure again"),
        (
            (
                one.site_id,
                number(one.latency_us, 4),
                number(one.tolerance_us, 4),
                number(one.assumed_us, 4),
                "-" if one.oldest is None else f"{one.oldest.age_days} ({one.oldest.stage.id})",
                ", ".join(one.again) or "-",
            )
            for one in found.sites
        ),
    )
    for one in found.stages:
        if one.again:
            print(f"{one.stage.id}: {one.again}")
    return 0
