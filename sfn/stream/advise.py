"""Which protection meets a target: all combinations worked out, ranked, with the figures that decide.

A target is a mean time between audible errors, with ceilings for latency and rate. Combinations outside a ceiling are
named with the figure that puts them there; the rest are simulated or worked out exactly, the best again more finely.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf, isfinite

from sfn.errors import in_range
from sfn.stream.link import Link, LinkPlan, link_plan
from sfn.stream.loss import LossModel
from sfn.stream.packet import Headers, Packet
from sfn.stream.paths import Paths, left_by
from sfn.stream.payload import Payload
from sfn.stream.protection import (
    GREATEST_REPEAT_PACKETS,
    Protection,
    both_parities,
    column_parity,
    row_parity,
    with_repeat,
    with_second_path,
)
from sfn.stream.residual import Residual

WEEK_S = 604_800.0
# Sizes within ST 2022-1 that differ enough to be worth comparing, width by height.
MATRICES = ((4, 5), (5, 5), (5, 10), (5, 20), (8, 8), (10, 5), (10, 10), (20, 5))
ROWS = (5, 10, 20)
REPEATS_BURSTS = (2, 5, 10, 20)  # spacing of a repeat in mean bursts
COARSE_BLOCKS = 10_000
FINE_BLOCKS = 200_000
FINE_CHOICES = 12


@dataclass(frozen=True, slots=True)
class Target:
    """What is wanted of a link.

    Parameters
    ----------
    error_every_s : float
        Mean time between audible errors. [s]
    latency_us : float or None
        Ceiling of the whole latency. [us]
    rate_mbps : float or None
        Ceiling of the rate on each path, at the layer at which the link's capacity is meant. [Mbit/s]
    """

    error_every_s: float = WEEK_S
    latency_us: float | None = None
    rate_mbps: float | None = None

    def __post_init__(self) -> None:
        """Refuse what is no target."""
        in_range("error_every_s", self.error_every_s, least=1e-3, greatest=1e12, unit="s")
        for name in ("latency_us", "rate_mbps"):
            value = getattr(self, name)
            if value is not None and not value > 0:
                raise ValueError(f"{name} must be above 0, got {value!r}")


@dataclass(frozen=True, slots=True)
class Choice:
    """One combination and what decides for or against it.

    Parameters
    ----------
    plan : LinkPlan
        Latency, rates and problems.
    left : Residual or None
        What stays lost; None when a ceiling rules it out before.
    error_every_s : float or None
        Mean time between audible errors, None for never (or not worked out). [s]
    rate_mbps, all_paths_mbps : float
        On one path and on all. [Mbit/s]
    meets : bool
        Target and ceilings.
    unbeaten : bool
        No other within the ceilings is at least as good in errors, latency and rate, and better in one.
    decides : str
        The figure that rules it out or says how far it meets the target.
    """

    plan: LinkPlan
    left: Residual | None
    error_every_s: float | None
    rate_mbps: float
    all_paths_mbps: float
    meets: bool
    unbeaten: bool
    decides: str

    @property
    def protection(self) -> Protection:
        """The combination."""
        return self.plan.protection


def combinations(paths: Paths, *, parity_spread: bool = False) -> Iterator[Protection]:
    """Every combination worth comparing: parity as the sender sends it, repeat, a second path where one has a model."""
    parities = [Protection(), *(row_parity(n) for n in ROWS)]
    parities += [make(*size, spread=parity_spread) for size in MATRICES for make in (column_parity, both_parities)]
    mean = paths.first.model.mean_burst_packets
    spacings = (
        sorted({min(max(1, ceil(k * mean)), GREATEST_REPEAT_PACKETS) for k in REPEATS_BURSTS})
        if isfinite(mean)
        else [10]
    )
    for parity in parities:
        for spacing in (0, *spacings):
            one_path = with_repeat(parity, after=spacing) if spacing else parity
            yield one_path
            if paths.second is not None:
                yield with_second_path(one_path)


def usual(model: LossModel) -> tuple[Protection, ...]:
    """A handful of protections that differ in kind, for a first look; a repeat is spaced by five mean bursts.

    By no more than `GREATEST_REPEAT_PACKETS`: against outages a repeat does not help.
    """
    mean = model.mean_burst_packets
    after = min(max(10, round(5 * mean)), GREATEST_REPEAT_PACKETS) if isfinite(mean) else 10
    return (
        Protection(),
        row_parity(10),
        column_parity(10, 10),
        both_parities(10, 10),
        both_parities(10, 10, spread=True),
        with_repeat(Protection(), after=after),
        with_second_path(Protection()),
        with_repeat(column_parity(10, 10), after=after),
        with_second_path(both_parities(10, 10)),
    )


def advise(
    payload: Payload,
    packet: Packet,
    *,
    headers: Headers,
    link: Link,
    paths: Paths,
    target: Target,
    parity_spread: bool = False,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> tuple[Choice, ...]:
    """All combinations, those that meet the target first, then by latency and rate.

    Parameters
    ----------
    payload, packet, headers, link
        As for `sfn.stream.link.link_plan`.
    paths : Paths
        Combinations with a second path only where there is one.
    target : Target
    parity_spread : bool
        The sender spreads column parity over the next matrix: nearly twice the wait.
    seed : int
        Of the simulations.
    progress : callable, optional
        Called with the part done, 0 to 1.

    Returns
    -------
    choices : tuple of Choice
    """
    rough = []
    listed = list(combinations(paths, parity_spread=parity_spread))
    for k, protection in enumerate(listed):
        plan = link_plan(payload, packet, headers=headers, protection=protection, link=link)
        rough.append(_choice(plan, paths, target=target, seed=seed, block_n=COARSE_BLOCKS))
        if progress:
            progress(0.7 * (k + 1) / len(listed))
    ranked = _ranked(rough)
    fine = [choice for choice in ranked if choice.left is not None][:FINE_CHOICES]
    better = {}
    for k, choice in enumerate(fine):
        better[choice.protection] = _choice(choice.plan, paths, target=target, seed=seed, block_n=FINE_BLOCKS)
        if progress:
            progress(0.7 + 0.3 * (k + 1) / len(fine))
    return _ranked([better.get(choice.protection, choice) for choice in ranked])


def _choice(plan: LinkPlan, paths: Paths, *, target: Target, seed: int, block_n: int) -> Choice:
    """One combination judged; the target counts as met only when the whole interval meets it."""
    rate_mbps = float(plan.rates[plan.link.capacity_layer]) / 1e6
    ruled_out = _beyond(plan, rate_mbps=rate_mbps, target=target)
    all_mbps = plan.paths * rate_mbps
    if ruled_out:
        return Choice(plan, None, None, rate_mbps, all_mbps, False, False, ruled_out)
    left = left_by(plan.protection, paths=paths, seed=seed, block_n=block_n)
    packet_s = float(plan.packet.time_s)
    every_s = left.error_every_s(packet_s)
    surely_s = packet_s / left.errors_high_ratio if left.errors_high_ratio > 0 else inf
    meets = surely_s >= target.error_every_s
    said = _said(left, every_s, target=target)
    if not meets and every_s is not None and every_s >= target.error_every_s:
        said += f"; but it may be every {spoken(surely_s)}"
    if plan.protection.second_path and paths.joint is None:
        said += f"; paths {paths.tie}"
    return Choice(plan, left, every_s, rate_mbps, all_mbps, meets, False, said)


def _beyond(plan: LinkPlan, *, rate_mbps: float, target: Target) -> str:
    """The figure that puts a plan beyond a ceiling; empty when it is within all."""
    if target.latency_us is not None and plan.latency_us > target.latency_us:
        return f"latency {plan.latency_us / 1000:.1f} ms, at most {target.latency_us / 1000:g}"
    if target.rate_mbps is not None and rate_mbps > target.rate_mbps:
        return f"{rate_mbps:.3f} Mbit/s, at most {target.rate_mbps:g}"
    errors = [p for p in plan.problems if p.severity == "error"]
    return errors[0].what if errors else ""


def _said(left: Residual, every_s: float | None, *, target: Target) -> str:
    """How the target is met or missed."""
    if every_s is None:
        return "nothing is lost"
    more = "more than " if left.errors_kind == "less than" else ""
    times = every_s / target.error_every_s
    return f"an audible error every {more}{spoken(every_s)}, {times:.3g} times the target"


def spoken(seconds_s: float) -> str:
    """A time between errors as people say it.

    Examples
    --------
    >>> spoken(0.25), spoken(5400.0), spoken(604_800.0)
    ('0.25 s', '90 min', '7 days')
    """
    for unit, length_s in (("years", 31_557_600), ("days", 86_400), ("h", 3600), ("min", 60)):
        if seconds_s >= 2 * length_s:
            return f"{seconds_s / length_s:.3g} {unit}"
    return f"{seconds_s:.3g} s"


def _ranked(choices: Sequence[Choice]) -> tuple[Choice, ...]:
    """In order: meets the target, unbeaten, latency, rate, errors; ruled out last."""
    worked = [c for c in choices if c.left is not None]
    marked = [replace(c, unbeaten=c.left is not None and not any(_beats(o, c) for o in worked)) for c in choices]
    return tuple(sorted(marked, key=_order))


def _order(choice: Choice) -> tuple[bool, bool, bool, float, float, float]:
    """Sort key of `_ranked`."""
    worked = choice.left is not None
    figures = (choice.plan.latency_us, choice.all_paths_mbps, _errors(choice))
    return (not worked, not choice.meets, not choice.unbeaten, *figures)


def _errors(choice: Choice) -> float:
    """Audible errors a packet, for ordering."""
    return choice.left.errors_per_packet_ratio if choice.left else 1.0


def _beats(one: Choice, other: Choice) -> bool:
    """At least as good in all three, better in one."""
    ours = (_errors(one), one.plan.latency_us, one.all_paths_mbps)
    theirs = (_errors(other), other.plan.latency_us, other.all_paths_mbps)
    return ours != theirs and all(a <= b for a, b in zip(ours, theirs, strict=True))
