"""What to say of a name that is no service: which piece of it does not exist, and what is near it."""

import difflib
from collections.abc import Iterable, Sequence

from sfn.errors import Problem
from sfn.systems.mode_table import Family


def unknown_service(service_id: str, *, ids: Sequence[str], families: Iterable[Family]) -> Problem:
    """The problem of an unknown name.

    Parameters
    ----------
    service_id : str
        As it was given.
    ids : sequence of str
        All that exist.
    families : iterable of Family
        Whose pieces the name may be made of.
    """
    wanted = service_id.strip().lower()
    what = f"there is no service {service_id!r}"
    within = [f for f in families if wanted.startswith(f"{f.id}-")]
    if not within:
        near = difflib.get_close_matches(wanted, ids, n=6, cutoff=0.6)
        return Problem(
            "service",
            what,
            f"one of {', '.join(near)}" if near else "a name from `python -m sfn services`",
            code="service-unknown",
            fields=("service",),
            values={"service": wanted},
            said={"near": ", ".join(near)},
        )
    family = max(within, key=lambda f: len(f.id))
    (name, kind, piece), options, begin = _wrong_piece(family, wanted)
    near = difflib.get_close_matches(wanted, [i for i in ids if i.startswith(begin)], n=4, cutoff=0)
    return Problem(
        "service",
        f"{what}: {name} has no {KINDS[kind]} {piece!r}",
        f"{', '.join(options)}; near it {', '.join(near)}",
        code="service-unknown",
        fields=("service",),
        values={"service": wanted},
        said={"piece": piece, "of": name, "piece_keys": kind, "options": ", ".join(options), "near": ", ".join(near)},
    )


KINDS = {
    "mode": "mode", "guard-interval": "guard interval", "pilots": "pilots", "channel": "channel",
    "modulation": "modulation",
}  # fmt: skip
"""What the pieces of a service's name are, by what a catalogue calls them."""


def _wrong_piece(family: Family, wanted: str) -> tuple[tuple[str, str, str], list[str], str]:
    """The first piece that does not exist: of what, which and its kind; what does in its place; how such ids begin."""
    begin, rest, name = f"{family.id}-", wanted.removeprefix(f"{family.id}-"), family.name
    transform = _leading(rest, family.guard)
    if transform is None:
        return (name, "mode", _piece(rest)), list(family.guard), begin
    begin, rest, name = f"{begin}{transform}-", _after(rest, transform), f"{name} {transform}"
    guards = family.guard[transform]
    guard = _leading(rest, guards)
    if guard is None:
        return (name, "guard-interval", _piece(rest)), list(guards), begin
    begin, rest, name = f"{begin}{guard}-", _after(rest, guard), f"{name} {guard}"
    patterns = [*guards[guard].pilots, *(f"{p}-miso" for p in guards[guard].miso)]
    if patterns:
        pattern = _leading(rest, patterns)
        if pattern is None:
            return (name, "pilots", _piece(rest)), patterns, begin
        begin, rest = f"{begin}{pattern}-", _after(rest, pattern)
    channel = _leading(rest, family.channel)
    if channel is None:
        return (name, "channel", _piece(rest)), list(family.channel), begin
    modulation = _after(rest, channel)
    return (name, "modulation", modulation), list(family.modulation_cn.ratios), f"{begin}{channel}"


def _leading(text: str, names: Iterable[str]) -> str | None:
    """The longest name that the text begins with, whole."""
    return max((n for n in names if text == n or text.startswith(f"{n}-")), key=len, default=None)


def _after(text: str, piece: str) -> str:
    """The text without its leading piece."""
    return text.removeprefix(piece).removeprefix("-")


def _piece(text: str) -> str:
    """The first piece of a text, for people."""
    return text.split("-")[0]
