"""Which single failure leaves which sites of a network in step, worst first, out of its chains.

Everything in a chain may fail: each stage, what is inside a time-stamped section, the site itself, and the clock that
its release rests on. A stream planned with a second path outlives the loss of either, and what both share is a failure
of its own, with its share of the losses as measured or typed.

A site fed off air has a route for each route of its parent, and jumps with it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from sfn.errors import PlanError
from sfn.plan import Network, Site, Stage
from sfn.stream.failures import Effect, Outcome, Route, effects
from sfn.stream.paths import Paths
from sfn.stream.plan_text import kept_losses, kept_second_path
from sfn.stream.planned import paths_of
from sfn.study.clocks import timed_by_clock
from sfn.timing import DelayTable

CLOCKS = "the reference clock of all sites (jamming, a fault of the system)"


@dataclass(frozen=True, slots=True)
class FailureRow:
    """Failures that have the same effect, and that effect."""

    failures: tuple[str, ...]
    outcomes: tuple[Outcome, ...]
    in_words: str


def failure_table(
    network: Network, table: DelayTable, *, tolerance_us: float, holdover_h: Mapping[str, float | None]
) -> tuple[FailureRow, ...]:
    """Effects of every single failure; failures with the same effect share a row.

    Parameters
    ----------
    network : Network
    table : DelayTable
        Its launches and jumps.
    tolerance_us : float
        How far a site may be off. [us]
    holdover_h : mapping of site id to float or None
        How long each site's clock holds without reference; None for ever. [h]
    """
    routes = [route for site in network.sites if site.on_air for route in _routes(network, table, site, holdover_h)]
    if not routes:
        return ()  # nothing transmits, so nothing can fail
    single = effects(routes, tolerance_us=tolerance_us)
    common = effects(
        [replace(route, clock=CLOCKS) if route.clock else route for route in routes],
        tolerance_us=tolerance_us,
        failures=[CLOCKS] if any(route.clock for route in routes) else [],
    )
    grouped: dict[tuple[Outcome, ...], list[Effect]] = {}
    for effect in sorted((*single, *common), key=lambda effect: effect.harm):
        grouped.setdefault(effect.outcomes, []).append(effect)
    return tuple(
        FailureRow(tuple(e.failure for e in same), outcomes, same[0].in_words) for outcomes, same in grouped.items()
    )


def without_clock_row(network: Network) -> tuple[str, ...]:
    """Sites whose lost reference alone has no row in the table, each with the reason, as sentences."""
    timed = timed_by_clock(network)
    names = {site.id: site.name for site in network.sites}
    said = []
    for site in network.sites:
        stamped = site.id in timed
        if not site.on_air:
            said.append(f"{site.name} is not transmitting: nothing that fails there is heard")
        elif not stamped and site.fed_off_air_from is not None:
            parent = names[site.fed_off_air_from]
            said.append(f"{site.name} is fed off air and launches when it hears {parent}: see the clock of {parent}")
        elif not stamped:
            said.append(
                f"no route of {site.name} holds a time-stamped section, so no clock there times its launch: without "
                "its reference it stays within tolerance as long as its links keep their latency: its pairs count only "
                "the other's clock, it has no turn in the muting order, and the time of each site alone "
                "is its clock's. What else its reference locks, such as the carrier, drifts as "
                "that device's data sheet says"
            )
    return tuple(said)


def _inside(stage: Stage, stages: Mapping[str, Stage]) -> set[str]:
    """What a section holds that may fail: with a second path in its plan no one path ends it, only both at once."""
    if not stage.stream_plan or not kept_second_path(stage.stream_plan):
        return set(stage.inside)
    try:
        paths = paths_of(kept_losses(stage.stream_plan))
        common = _common(paths)
    except PlanError:
        common = "what they share is not known"
    kept = {name for name in stage.inside if stages[name].kind != "network"}
    return kept | {f"both paths of {stage.id} at once ({common})"}


def _common(paths: Paths) -> str:
    """How much of what the first path loses is lost on both, as far as the plan says."""
    first, joint = paths.first.model.loss_ratio, paths.joint
    if not first > 0:
        return "taken as independent: the plan says that the first path loses nothing"
    known = joint or paths.bound
    within = ""
    if known is not None and known.high is not None:
        low = 0.0 if known.low is None else known.low.loss_ratio
        within = f"{100 * low / first:.3g} to {100 * min(known.high.loss_ratio / first, 1):.3g} %"
    if joint is None:
        none = "nothing common was measured or typed"
        return f"taken as independent: {f'{within} of what the first loses may be lost on both' if within else none}"
    said = f"{100 * joint.model.loss_ratio / first:.3g} % of what the first loses is lost on both"
    return f"{said}, 99 %: {within}" if within else said


def _routes(network: Network, table: DelayTable, site: Site, holdover_h: Mapping[str, float | None]) -> list[Route]:
    """Every way to feed a site, in the order of the document."""
    stages = {stage.id: stage for stage in network.stages}
    parent = next((s for s in network.sites if s.id == site.fed_off_air_from), None)
    above = _routes(network, table, parent, holdover_h) if parent else [None]
    found = []
    for feed in above:
        for chain in site.chains:
            used = [stages[name] for name in chain.stages]
            needs = {site.name, *chain.stages, *(need for stage in used for need in _inside(stage, stages))}
            stamped = any(stage.kind == "time-stamped section" for stage in used)
            row = table.row(site.id, chain.route)
            found.append(
                Route(
                    site.name,
                    chain.route if feed is None else f"{chain.route}, by way of the parent's {feed.name}",
                    frozenset(needs | (feed.needs if feed else set())),
                    (row.jump_us or 0.0) + (feed.launch_error_us if feed else 0.0),
                    clock=f"the reference clock of {site.name}" if stamped else feed.clock if feed else None,
                    holdover_h=holdover_h.get(site.id) if stamped else feed.holdover_h if feed else None,
                )
            )
    return found
