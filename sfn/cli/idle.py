"""Options that would do nothing beside others: refused by name, never passed over in silence."""

import argparse
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Idle:
    """Options that count only under a condition.

    Parameters
    ----------
    names : tuple of str
        As the namespace has them.
    counts : bool
        Whether they do.
    otherwise : str
        Words after "must not be given".
    """

    names: tuple[str, ...]
    counts: bool
    otherwise: str


def refuse_idle(
    args: argparse.Namespace, declare: Callable[[argparse.ArgumentParser], None], idle: Iterable[Idle]
) -> None:
    """Refuse the first option that was given and counts for nothing.

    Parameters
    ----------
    args : argparse.Namespace
        With `typed_words`, what was typed after the command's name: an option counts as given whatever its value.
    declare : callable
        Declares the command's arguments on a parser: tells which options were given.
    idle : iterable of Idle

    Raises
    ------
    ValueError
        With the option and what it needs.
    """
    given = _given(args.typed_words, declare)
    for one in idle:
        for name in () if one.counts else one.names:
            if name in given:
                raise ValueError(f"{given[name]} must not be given {one.otherwise}")


def _given(words: Sequence[str], declare: Callable[[argparse.ArgumentParser], None]) -> dict[str, str]:
    """The options that stand in what was typed, those typed with their usual value too: name to how it is spelt."""
    parser = argparse.ArgumentParser(argument_default=argparse.SUPPRESS)
    declare(parser)
    for action in parser._actions:
        action.default = argparse.SUPPRESS
    typed = vars(parser.parse_args(words))
    written = {word.partition("=")[0] for word in words}
    return {
        action.dest: next((name for name in action.option_strings if name in written), action.option_strings[0])
        for action in parser._actions
        if action.dest in typed and action.option_strings
    }


def idle_joint_burst(args: argparse.Namespace) -> list[Idle]:
    """A mean burst of what both paths lose, where they are independent, or where that is nothing or everything."""
    interval = args.joint_interval_pct
    typed = args.joint_loss_pct is not None or interval is not None
    most_pct = args.joint_loss_pct if interval is None else max(interval)
    some = not typed or (most_pct > 0 and args.joint_loss_pct != 100)
    return [
        Idle(
            ("joint_burst_packets",), typed,
            "without --joint-loss-pct or --joint-interval-pct: of independent paths, the bursts of what both lose "
            "follow from the bursts of each",
        ),
        Idle(("joint_burst_packets",), some, "where both paths lose nothing together, or everything"),
    ]  # fmt: skip


def idle_protection(args: argparse.Namespace) -> list[Idle]:
    """What a protection without parity, or without columns, has no use for."""
    column = args.parity in ("column", "both")
    return [
        Idle(("rows",), column, "without --parity column or both: rows of parity have no height"),
        Idle(("parity_spread",), column, "without --parity column or both: only column parity is spread"),
    ]
