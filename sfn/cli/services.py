"""The services that a network can name, with their parameters and where each figure comes from.

JSON keys: `services`, each with `id`, `family`, `name`, `kind`, `document`, `status`, `useful_us`, `guard_us`,
`guard_km`, `equalisation_us` (null: no limit), `required_cn_db`, `minimum_median_dbuvm`, `tolerance_us`,
`coarse_step_us` and the rest of the planning figures, those ending in `_source` saying where each comes from;
`modulations`, by family: what may follow an id, as in dvb-t-8k-1/4-8mhz-64qam-2/3, with `gauss_db`, `rice_db`,
`rayleigh_db`.
"""

import argparse

from sfn.answer.signals import services_answer
from sfn.cli.table import add_json, print_json, print_table
from sfn.errors import PlanError, Problem
from sfn.systems.service import Service, modulations, services
from sfn.units import SPEED_OF_LIGHT_M_PER_US

NAME = "services"
SUMMARY = "services with their parameters and sources"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "words", nargs="*", metavar="WORD", help="only ids with all of these in them, as dvb-t2 32k 8mhz"
    )
    parser.add_argument("--services-file", help="your own TOML file of services, beside the shipped ones")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """List what matches."""
    words = [word.lower() for word in args.words]
    listed = tuple(s for s in services(own_services=args.own_services) if all(word in s.id for word in words))
    if not listed:
        raise PlanError(
            [
                Problem(
                    "WORD", f"no id has {' and '.join(words)} in it", "fewer or shorter words", code="service-unknown"
                )
            ]
        )
    if args.json:
        print_json(services_answer(listed, own_services=args.own_services))
        return 0
    print_table(
        ("service", "kind", "useful us", "guard us", "guard km", "equal. us", "C/N dB", "min. dBuV/m", "known"),
        [_row(each) for each in listed],
    )
    for each in {s.family: s for s in listed}.values():
        print(f"\n{each.family}: {each.document} ({each.status})")
        for label, source in (
            ("C/N", each.required_cn_source),
            ("minimum field", each.minimum_median_source),
            ("noise figure", each.noise_figure_source),
            ("equalisation", each.equalisation_source),
            ("tolerance", each.tolerance_source),
            ("note", each.note),
        ):
            if source:
                print(f"  {label}: {source}")
        if may_follow := modulations(each.family, own_services=args.own_services):
            print(f"  may follow the id: {', '.join(may_follow)}")
    return 0


def _row(of: Service) -> tuple[str, ...]:
    """One service as a line."""
    guard_km = None if of.guard_us is None else of.guard_us * SPEED_OF_LIGHT_M_PER_US / 1000.0
    return (
        of.id,
        of.kind,
        *("-" if v is None else f"{v:.3f}" for v in (of.useful_us, of.guard_us)),
        "-" if guard_km is None else f"{guard_km:.2f}",
        ("no limit" if of.kind == "ofdm" else "-") if of.equalisation_us is None else f"{of.equalisation_us:.3f}",
        "-" if of.required_cn_db is None else f"{of.required_cn_db:.1f}",
        f"{of.minimum_median_dbuvm:.1f}",
        of.status,
    )
