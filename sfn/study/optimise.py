"""The answer of ``optimise``: offsets, settings, before and after, who loses, how sure it is, what else would help."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.check import all_problems
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.coverage import Coverage
from sfn.reception.quality import yardstick
from sfn.solve.bound import least_without_service, roundings
from sfn.solve.descent import Told
from sfn.solve.devices import Settled
from sfn.solve.limits import USUAL_MOST_US, Limits, limits, set_offsets
from sfn.solve.objective import Objective, Score, along, objective, score
from sfn.solve.search import Found
from sfn.solve.start import least_absolute, minimax, wishes
from sfn.solve.tolerance import launch_errors
from sfn.study.at_limit import at_limits
from sfn.study.delays import delays
from sfn.study.levers import levers
from sfn.study.losers import changed_places, lost_areas, names_near
from sfn.study.optimise_devices import (
    SeedSpread,
    any_step,
    changed_sites,
    devices_told,
    searched,
    settled_on_devices,
    spread_of,
    with_common_held,
    with_offsets,
)
from sfn.study.optimised import OF_RELAYS, Asked, Optimised, Part
from sfn.study.served import State, counted_km2, levels, other_needed, state
from sfn.systems.of_network import service_of
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable, delay_table

Doubles = NDArray[np.float64]
Weight = float  # people or km2

SAME_US = 1e-6
DRAWS_N = 100
LEAST_DRAWS_N = 10


def network_objective(network: Network, computed: Coverage, asked: Asked, *, executor: Executor | None) -> Objective:
    """The objective of a network over a coverage; sites not transmitting have no signal.

    Raises
    ------
    PlanError
        If the service is not known.
    """
    level, rare = levels(network, computed)
    weight = asked.people if asked.counts_people and asked.people is not None else computed.area_km2()
    if asked.weights is not None:
        weight = (weight + asked.weights.added_people * asked.counts_people) * asked.weights.factor
    return objective(
        computed.sites,
        level,
        rare,
        computed.travel_us,
        yardstick(network),
        frequency_mhz=network.frequency_mhz,
        weight=np.where(computed.covered, weight, 0.0),
        unit="people" if asked.counts_people else "km2",
        other=other_needed(network, computed, executor=executor),
        executor=executor,
    )


def usual_most_us(network: Network) -> float:
    """Greatest offset looked at where none is given: 50 us, for OFDM the guard interval. [us]"""
    carried = service_of(network)
    return float(carried.guard_us or USUAL_MOST_US) if carried.kind == "ofdm" else USUAL_MOST_US


def usual_step_us(network: Network) -> float:
    """Step of a search for offsets: 1 us, for OFDM a hundredth of the guard interval where that is longer. [us]"""
    carried = service_of(network)
    return max(1.0, round(float(carried.guard_us or 0.0) / 100)) if carried.kind == "ofdm" else 1.0


def network_limits(network: Network, table: DelayTable, asked: Asked) -> Limits:
    """The limits of a network's offsets."""
    most = usual_most_us(network) if asked.most_us is None else asked.most_us
    return limits(
        network, table, held=asked.held, most_us=most, most_move_us=asked.most_move_us, from_set=asked.from_set,
        most_changed=asked.most_changed, step_us=usual_step_us(network),
    )  # fmt: skip


def optimise(
    network: Network,
    computed: Coverage,
    asked: Asked,
    *,
    placed: Mapping[str, Located],
    ground: Ground | None = None,
    executor: Executor | None = None,
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Optimised:
    """The best offsets found for a network, with what they do.

    Parameters
    ----------
    network : Network
    computed : Coverage
        From `sfn.reception.coverage.coverage`; all its pixels count.
    asked : Asked
    placed : mapping of site id to Located
    ground : Ground, optional
        For the check and the loops; a smooth earth where not given.
    executor : concurrent.futures.Executor, optional
        Threads.
    progress, cancelled : callable, optional
        As in `sfn.solve.search.search`.

    Raises
    ------
    PlanError
        If the service is not known, or the limits leave a site no offset.
    """
    what = network_objective(network, computed, asked, executor=executor)
    table = delay_table(network, placed=placed)
    base = network if asked.most_changed is None else with_common_held(network, table)
    allowed = network_limits(base, table if base is network else delay_table(base, placed=placed), asked)
    found, seeds = searched(
        what, allowed, seed=asked.seed, budget_s=asked.budget_s, starts=convex_starts(what, allowed),
        executor=executor, progress=progress, cancelled=cancelled,
    )  # fmt: skip
    settled, made = settled_on_devices(
        base, placed, what, allowed, found, seeds=seeds, budget_s=asked.budget_s, seed=asked.seed, executor=executor,
        cancelled=cancelled,
    )  # fmt: skip
    at = found.offsets_us if settled is None else settled.offsets_us
    planned = with_offsets(base, dict(zip(what.sites, at.tolist(), strict=True)))
    planned_table = delay_table(planned, placed=placed)
    before, after = (
        state(network, computed, what, one.launches(), people=asked.people, executor=executor)
        for one in (table, planned_table)
    )
    proven, every = (False, False) if settled is None else (settled.proven, settled.every)
    steps = any_step(base, allowed)
    if vars_key(after.score) >= vars_key(before.score):  # nothing that the devices can make is better
        asis = [table.launches()[name] for name in what.sites]
        proven = every or (proven and settled is not None and bool(np.ptp(settled.launches_us - asis) < SAME_US))
        at, planned, planned_table, after = allowed.now_us.copy(), network, table, before
    elif base is not network:
        planned, planned_table = _freed(network, planned, planned_table, table, placed=placed, asked=asked)
    return _described(
        network, planned, computed, asked, what=what, allowed=allowed,
        found=replace(found, offsets_us=at, score=after.score, ended=_ended(found, settled)),
        spread=spread_of(seeds, made, answer=after.score.without_service, every=every, on_devices=steps),
        settled=proven, on_devices=steps, before=before, after=after, tables=(table, planned_table),
        placed=placed, ground=ground, executor=executor, progress=progress, cancelled=cancelled,
    )  # fmt: skip


def _ended(found: Found, settled: Settled | None) -> str:
    """How the search ended: exhaustive only where all settings were looked at, on the grid of the search: steps."""
    if settled is not None and settled.every:
        return "exhaustive"
    return "steps" if found.ended == "exhaustive" else found.ended


def on_the_way(
    network: Network,
    plan: Optimised,
    computed: Coverage,
    asked: Asked,
    offsets_us: Mapping[str, float],
    *,
    placed: Mapping[str, Located],
    ground: Ground | None = None,
    executor: Executor | None = None,
) -> Optimised:
    """Some of a plan's offsets, with the common delay as it is before them; described as the plan is, not searched.

    That no step improves the plan says nothing of a morning that is not yet the plan.

    Parameters
    ----------
    network : Network
        As it is before.
    plan : Optimised
    computed : Coverage
    asked : Asked
    offsets_us : mapping of site id to offset
        Of all sites. [us]
    placed : mapping of site id to Located
    ground : Ground, optional
    executor : concurrent.futures.Executor, optional
    """
    table = delay_table(network, placed=placed)
    planned = with_offsets(with_common_held(network, table), offsets_us)
    planned_table = delay_table(planned, placed=placed)
    before, after = (
        state(network, computed, plan.what, one.launches(), people=asked.people, executor=executor)
        for one in (table, planned_table)
    )
    at = np.array([offsets_us[name] for name in plan.what.sites])
    apart = [planned_table.launches()[name] - at_us for name, at_us in plan.table.launches().items()]
    whole = max(apart) - min(apart) < SAME_US
    return _described(
        network, planned, computed, asked, what=plan.what, allowed=plan.limits,
        found=replace(plan.found, offsets_us=at, score=after.score, before=before.score), spread=plan.spread,
        settled=plan.settled and whole, on_devices=plan.on_devices,
        part="last night" if whole else "on the way", before=before, after=after, tables=(table, planned_table),
        placed=placed, ground=ground, executor=executor,
    )  # fmt: skip


def _described(
    network: Network, planned: Network, computed: Coverage, asked: Asked, *, what: Objective, allowed: Limits,
    found: Found, spread: SeedSpread, settled: bool, on_devices: bool, before: State, after: State,
    tables: tuple[DelayTable, DelayTable], placed: Mapping[str, Located], part: Part = "of its own",
    ground: Ground | None = None, executor: Executor | None = None,
    progress: Told | None = None, cancelled: Callable[[], bool] | None = None,
) -> Optimised:  # fmt: skip
    """A plan with all that is said of it."""
    table, planned_table = tables
    launches = np.array([planned_table.launches()[name] for name in what.sites])
    errors = launch_errors(network, draws_n=DRAWS_N, seed=asked.seed)

    def tell(phase: str, part: float) -> None:
        """What is being worked out after the search."""
        if progress is not None:
            progress(launches, after.score, phase, part)

    drawn = _drawn(what, launches, errors, executor=executor, tell=tell, cancelled=cancelled)
    others = () if network.unjudged else levers(
        network, computed, what, launches, after, executor=executor, cancelled=cancelled,
        told=lambda part: tell("what else would help", part),
    )  # fmt: skip
    names = {site.id: site.name for site in network.sites}
    area_km2 = counted_km2(computed)
    gap = ~computed.covered
    left_out = float(computed.area_km2()[gap].sum()), None if asked.people is None else float(asked.people[gap].sum())
    raw = asked.people if asked.counts_people and asked.people is not None else area_km2
    problems = all_problems(planned.whole, ground=ground or Ground())
    room = np.maximum(*(roundings(network, one, sites=what.sites) for one in tables))
    bound = min(least_without_service(what, allowed, rounding_us=room), after.score.without_service)
    return Optimised(
        network, planned, asked, what, allowed, found, spread, settled, on_devices, part, before, after,
        planned_table,
        _sensitivity(what, allowed, launches, executor), drawn, others,
        changed_places(computed, asked.places, before, after),
        lost_areas(computed, before, after, raw, near=names_near(asked.places, placed, names)),
        bound, area_km2,
        delays(planned.whole, problems=problems, ground=ground), *left_out, changed_sites(table, planned_table),
        devices_told(table, planned_table, after_night=asked.after_night),
        tuple(one for one in problems if one.code in OF_RELAYS),
        computed.uncovered_says(network, left_out[1]),
        at_limits(
            network, planned_table, allowed, found.offsets_us, most_move_us=asked.most_move_us,
            most_us=usual_most_us(network) if asked.most_us is None else asked.most_us,
            moved_from_us=set_offsets(network, table) if asked.from_set else None,
        ),
    )  # fmt: skip


def _freed(
    network: Network, planned: Network, held: DelayTable, before: DelayTable, *,
    placed: Mapping[str, Located], asked: Asked,
) -> tuple[Network, DelayTable]:  # fmt: skip
    """The plan with its common delay worked out as the network says, where no more devices change for that.

    And where all sites then launch earlier or later by just the same: else the figures would be of another plan.
    """
    free = planned.model_copy(update={"common_delay": network.common_delay})
    table = delay_table(free, placed=placed)
    plans, counts = (table, held), []
    for one in plans:
        told = devices_told(before, one, after_night=asked.after_night)
        counts.append((sum(device.by_offsets for device in told), sum(device.changes for device in told)))
    moved = [table.launches()[name] - at_us for name, at_us in held.launches().items()]
    fewer = counts[0][0] <= counts[1][0] and counts[0][1] <= counts[1][1]
    return (free, table) if fewer and max(moved) - min(moved) < SAME_US else (planned, held)


def _drawn(
    what: Objective, launches: Doubles, errors: Doubles, *,
    executor: Executor | None, tell: Callable[[str, float], None], cancelled: Callable[[], bool] | None,
) -> Doubles:  # fmt: skip
    """People or km2 without service for each draw of launch errors; the first few only, once cancelled."""
    found = []
    for k, error in enumerate(errors):
        if k >= LEAST_DRAWS_N and cancelled is not None and cancelled():
            break
        tell("chain tolerances", k / len(errors))
        found.append(score(what, launches + error, executor=executor).without_service)
    return np.array(found)


def vars_key(one: Score) -> tuple[float, float, float]:
    """A score as numbers, rounded to what a single-precision class map resolves."""
    return round(one.without_service, 6), round(one.below_target, 6), round(one.minus_mean_margin_db, 5)


def convex_starts(what: Objective, allowed: Limits) -> tuple[tuple[str, Doubles], ...]:
    """Starts by linear programming, where there is anything to wish and the limits can be kept."""
    asked = wishes(what)
    if asked.a.size == 0 or not allowed.free.any():
        return ()
    made = [("least absolute difference", least_absolute(asked, allowed))]
    if what.yard.carried.kind != "ofdm":
        made.append(("weighted worst difference", minimax(asked, allowed, weighted=True)))
    return tuple((name, offsets) for name, offsets in made if offsets is not None)


def _sensitivity(
    what: Objective, allowed: Limits, launches: Doubles, executor: Executor | None
) -> dict[str, tuple[Score, Score]]:
    """Scores with each site 1 us early and 1 us late; sites that receive it off air move with it."""
    made = {}
    for i, name in enumerate(what.sites):
        found = along(what, launches, allowed.group(i), np.array([-1.0, 1.0]), executor=executor)
        made[name] = (Score(*found[0].tolist()), Score(*found[1].tolist()))
    return made


def held_of(names: Iterable[str] | Sequence[str]) -> frozenset[str]:
    """Sites to hold, out of repeated or comma-separated names."""
    return frozenset(part.strip() for name in names for part in name.split(",") if part.strip())
