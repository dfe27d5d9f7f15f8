"""Options that the commands ``stream`` and ``loss`` share, and what they mean: protection, losses, exact numbers."""

import argparse
from fractions import Fraction

from sfn.errors import in_range
from sfn.stream.fields import USUAL
from sfn.stream.loss import (
    GREATEST_BURST_PACKETS,
    LEAST_BURST_PACKETS,
    LossModel,
    bursts,
    independent,
    least_burst_packets,
)
from sfn.stream.paths import joint_bounds
from sfn.stream.protection import Protection

BURST_HELP = "mean burst; without it each packet alike is lost, which flatters FEC (the answer says so)"


def protection_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the protection; shared by the commands that speak of it."""
    guard = parser.add_argument_group("protection")
    guard.add_argument("--columns", type=int, default=0, metavar="L", help="width of the FEC matrix; page: 5")
    guard.add_argument("--rows", type=int, default=0, metavar="D", help="its height; page: 10")
    guard.add_argument("--parity", choices=("none", "row", "column", "both"), default=USUAL.parity)
    guard.add_argument("--parity-spread", action="store_true", help="FEC spread over the following block")
    guard.add_argument(
        "--repeat-after",
        type=int,
        default=USUAL.repeat_after,
        metavar="PACKETS",
        help="send all again, same path; 0: not",
    )
    guard.add_argument("--second-path", action="store_true", help="send all on a second path too")


def joint_interval(group: argparse._ArgumentGroup) -> None:
    """Declare the interval of what both paths lose."""
    group.add_argument(
        "--joint-interval-pct", type=several, metavar="LOW,HIGH", help="99 %% interval of what both paths lose"
    )


def interval_ratio(args: argparse.Namespace) -> tuple[float, float] | None:
    """Both ends of what both paths lose, where they are typed.

    Raises
    ------
    ValueError
        If they are not two.
    """
    if args.joint_interval_pct is None:
        return None
    if len(args.joint_interval_pct) != 2:
        raise ValueError(f"--joint-interval-pct must be two numbers such as 0.01,0.2, got {args.joint_interval_pct}")
    low, high = args.joint_interval_pct
    joint_pct = args.joint_loss_pct
    if not 0 <= low <= high <= 100 or not (joint_pct is None or low <= joint_pct <= high):
        around = "" if joint_pct is None else f" around --joint-loss-pct {joint_pct:g}"
        raise ValueError(f"--joint-interval-pct must be 0 to 100 %, the lower first{around}, got {low:g},{high:g}")
    return low / 100, high / 100


def number(text: str) -> Fraction:
    """An exact number: 2.5 or 1/3."""
    try:
        return Fraction(text.strip())
    except (ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"a number such as 2.5 or 1/3 is expected, got {text!r}") from None


def several(text: str) -> list[float]:
    """Numbers with commas between them."""
    return [float(number(piece)) for piece in text.split(",")]


def protection_of(args: argparse.Namespace) -> Protection:
    """The protection that the arguments describe.

    Raises
    ------
    ValueError
        If a matrix is given without parity or parity without its matrix.
    """
    row, column = args.parity in ("row", "both"), args.parity in ("column", "both")
    if not row and not column and (args.columns or args.rows):
        raise ValueError("parity must be row, column or both when columns or rows are given, got none")
    return Protection(
        columns=args.columns,
        rows=args.rows if column else min(1, args.columns),
        row_parity=row,
        column_parity=column,
        parity_spread=args.parity_spread,
        repeat_after=args.repeat_after,
        second_path=args.second_path,
    )


def joint_ratio(args: argparse.Namespace, first: LossModel, second: LossModel | None) -> float | None:
    """Share of all packets that both paths lose, where it was typed.

    Raises
    ------
    ValueError
        If the two paths cannot lose so much or so little together.
    """
    if args.joint_loss_pct is None:
        return None
    least, most = joint_bounds(first, second or first)
    ratio: float = args.joint_loss_pct / 100
    if not least * (1 - 1e-9) <= ratio <= most * (1 + 1e-9):
        raise ValueError(
            f"--joint-loss-pct must be from {100 * least:g} to {100 * most:g} % (what is lost on both is lost on "
            f"either), got {args.joint_loss_pct:g} %"
        )
    return ratio


def loss_in_range(args: argparse.Namespace) -> None:
    """Refuse shares of lost packets that are none, by the name and in the unit that was typed.

    Raises
    ------
    ValueError
    """
    for name in ("loss_pct", "second_loss_pct", "joint_loss_pct"):
        value = getattr(args, name)
        if value is not None and not 0 <= value <= 100:
            raise ValueError(f"{option(name)} must be from 0 to 100 %, got {value:g} %")
    if args.joint_burst_packets is not None:
        most_pct = max([args.joint_loss_pct or 0.0, *(args.joint_interval_pct or [])])
        _burst_possible("--joint-burst-packets", args.joint_burst_packets, most_pct)


def option(name: str) -> str:
    """An option as it is typed."""
    return f"--{name.replace('_', '-')}"


def model_of(args: argparse.Namespace, loss_pct: float, burst: str = "burst_packets") -> LossModel:
    """A loss model from per cent and the mean burst that was typed under a name.

    Raises
    ------
    ValueError
        By the option's name, if there is no such model.
    """
    packets = getattr(args, burst)
    if packets is None:
        return independent(loss_pct / 100)
    _burst_possible(option(burst), packets, loss_pct)
    return bursts(loss_pct / 100, mean_burst_packets=packets)


def _burst_possible(typed: str, packets: float, loss_pct: float) -> None:
    """Refuse a mean burst that cannot be with such losses, by its option."""
    in_range(typed, packets, least=LEAST_BURST_PACKETS, greatest=GREATEST_BURST_PACKETS, unit="packets")
    if loss_pct < 100 and packets < (least := least_burst_packets(loss_pct / 100)):
        raise ValueError(f"{typed} must be at least {least:.4g} packets where {loss_pct:g} % are lost, got {packets:g}")
