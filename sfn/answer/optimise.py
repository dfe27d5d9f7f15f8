"""The answer of ``optimise``: offsets, settings, before and after, who loses, how sure it is, what else would help."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.answer.delays import delays
from sfn.answer.levers import Lever, levers
from sfn.answer.losers import AreaLost, PlaceChange, changed_places, lost_areas, names_near
from sfn.answer.optimise_devices import (
    SeedSpread,
    changed_sites,
    searched,
    settled_on_devices,
    with_common_held,
    with_offsets,
)
from sfn.answer.served import State, counted_km2, levels, state
from sfn.geodesy.position import Located
from sfn.plan import Network, Place
from sfn.reception.coverage import Coverage
from sfn.reception.quality import yardstick
from sfn.reception.weights import Weighed
from sfn.solve.bound import least_without_service
from sfn.solve.descent import Told
from sfn.solve.limits import USUAL_MOST_US, Limits, limits
from sfn.solve.objective import Objective, Score, along, objective, score
from sfn.solve.search import Found
from sfn.solve.start import least_absolute, minimax, wishes
from sfn.solve.tolerance import launch_errors
from sfn.systems.of_network import service_of
from sfn.timing import DelayTable, delay_table

Doubles = NDArray[np.float64]
Weight = float  # people or km2

DRAWS_N = 100
LEAST_DRAWS_N = 10


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be optimised, and within which limits.

    Parameters
    ----------
    people : ndarray, shape (M,), or None
        Inhabitants of each pixel; None: not known.
    by_area : bool
        Count area even where people are known.
    weights : Weighed or None
        This town first, that ridge does not matter.
    places : tuple of Place
        Those that people live in, to name who loses.
    held : frozenset of str
    most_us, most_move_us : float or None
        Greatest offset and greatest change of one. [us]
    from_set : bool
        Changes count from what the devices are set to now, not from the saved plan.
    most_changed : int or None
    seed : int
    budget_s : float
    """

    people: Doubles | None = None
    by_area: bool = False
    weights: Weighed | None = None
    places: tuple[Place, ...] = ()
    held: frozenset[str] = frozenset()
    most_us: float | None = None
    most_move_us: float | None = None
    from_set: bool = False
    most_changed: int | None = None
    seed: int = 1
    budget_s: float = 60.0

    @property
    def counts_people(self) -> bool:
        """Whether people are counted; else area."""
        return self.people is not None and not self.by_area


@dataclass(frozen=True, slots=True)
class Optimised:
    """The answer."""

    network: Network
    planned: Network
    asked: Asked
    what: Objective
    limits: Limits
    found: Found
    spread: SeedSpread
    settled: bool
    """No step of a device, of one site or two, improves it; else the time ran out before that was seen."""
    before: State
    after: State
    table: DelayTable
    sensitivity: Mapping[str, tuple[Score, Score]]
    drawn: Doubles
    levers: tuple[Lever, ...]
    places: tuple[PlaceChange, ...]
    areas: tuple[AreaLost, ...]
    bound: Weight
    area_km2: Doubles
    delays: Any
    left_out_km2: float
    """Area that counts for nothing, because the terrain does not cover it or the way to it from some site."""
    left_out_people: float | None
    """People who live there."""
    changed: tuple[str, ...]
    """Sites of which a device gets another setting."""

    @property
    def nothing_to_find(self) -> str | None:
        """Why no offsets could bring anything, in words; None where they might."""
        on_air = [site for site in self.network.sites if site.on_air]
        if len(on_air) < 2 and self.network.unjudged:
            return f"{len(on_air)} site on the air can be read: with whom it is to be in step is not known"
        if len(on_air) < 2:
            return f"{len(on_air)} site on the air: there is no second signal of this network to be in step with"
        if not self.limits.free.any():
            return "every site on the air is held: there is no offset to choose"
        if self.what.places.site.size == 0:
            return "no place that is counted changes with any offset: the sites' signals do not overlap there"
        return None

    @property
    def common_held_us(self) -> float | None:
        """The common delay that the plan holds as it is now, so that fewer settings change; None: as before. [us]"""
        held = self.planned.common_delay.value_us
        return held if held is not None and self.network.common_delay.value_us is None else None

    @property
    def offsets_us(self) -> dict[str, float]:
        """The offsets found, by site. [us]"""
        return dict(zip(self.what.sites, self.found.offsets_us.tolist(), strict=True))

    def moved(self, weight: Doubles | None, *, gained: bool) -> Weight | None:
        """How much of a weight, shape (M,), comes to adequate service, or loses it."""
        if weight is None:
            return None
        was, now = self.before.served, self.after.served
        return float(weight[(now & ~was) if gained else (was & ~now)].sum())


def network_objective(network: Network, computed: Coverage, asked: Asked, *, executor: Executor | None) -> Objective:
    """The objective of a network over a coverage; sites off air have no signal.

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
        executor=executor,
    )


def usual_most_us(network: Network) -> float:
    """Greatest offset looked at where none is given: 50 us, for OFDM the guard interval. [us]"""
    carried = service_of(network)
    return float(carried.guard_us or USUAL_MOST_US) if carried.kind == "ofdm" else USUAL_MOST_US


def network_limits(network: Network, table: DelayTable, asked: Asked) -> Limits:
    """The limits of a network's offsets."""
    carried = service_of(network)
    step_us = max(1.0, round(float(carried.guard_us or 0.0) / 100)) if carried.kind == "ofdm" else 1.0
    most = usual_most_us(network) if asked.most_us is None else asked.most_us
    return limits(
        network, table, held=asked.held, most_us=most, most_move_us=asked.most_move_us, from_set=asked.from_set,
        most_changed=asked.most_changed, step_us=step_us,
    )  # fmt: skip


def optimise(
    network: Network,
    computed: Coverage,
    asked: Asked,
    *,
    placed: Mapping[str, Located],
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
    found, spread = searched(
        what, allowed, seed=asked.seed, budget_s=asked.budget_s, starts=convex_starts(what, allowed),
        executor=executor, progress=progress, cancelled=cancelled,
    )  # fmt: skip
    settled = settled_on_devices(
        base,
        placed,
        what,
        allowed,
        found,
        budget_s=asked.budget_s,
        seed=asked.seed,
        executor=executor,
        cancelled=cancelled,
    )
    at = found.offsets_us if settled is None else settled.offsets_us
    planned = with_offsets(base, dict(zip(what.sites, at.tolist(), strict=True)))
    planned_table = delay_table(planned, placed=placed)
    before, after = (
        state(network, computed, what, one.launches(), people=asked.people, executor=executor)
        for one in (table, planned_table)
    )
    if vars_key(after.score) >= vars_key(before.score):  # nothing that the devices can make is better
        at, planned, planned_table, after = allowed.now_us.copy(), network, table, before
    elif base is not network:
        planned, planned_table = _freed(network, planned, planned_table, table, placed=placed, asked=asked)
    return _described(
        network, planned, computed, asked, what=what, allowed=allowed,
        found=replace(found, offsets_us=at, score=after.score), spread=spread,
        settled=settled is not None and settled.proven, before=before, after=after, tables=(table, planned_table),
        placed=placed, executor=executor, progress=progress, cancelled=cancelled,
    )  # fmt: skip


def on_the_way(
    network: Network,
    plan: Optimised,
    computed: Coverage,
    asked: Asked,
    offsets_us: Mapping[str, float],
    *,
    placed: Mapping[str, Located],
    executor: Executor | None = None,
) -> Optimised:
    """Some of a plan's offsets, with the common delay as it is before them; described as the plan is, not searched.

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
    return _described(
        network, planned, computed, asked, what=plan.what, allowed=plan.limits,
        found=replace(plan.found, offsets_us=at, score=after.score, before=before.score), spread=plan.spread,
        settled=plan.settled, before=before, after=after, tables=(table, planned_table), placed=placed,
        executor=executor,
    )  # fmt: skip


def _described(
    network: Network, planned: Network, computed: Coverage, asked: Asked, *, what: Objective, allowed: Limits,
    found: Found, spread: SeedSpread, settled: bool, before: State, after: State,
    tables: tuple[DelayTable, DelayTable], placed: Mapping[str, Located], executor: Executor | None = None,
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
    return Optimised(
        network, planned, asked, what, allowed, found, spread, settled, before, after,
        planned_table,
        _sensitivity(what, allowed, launches, executor), drawn, others,
        changed_places(computed, asked.places, before, after),
        lost_areas(computed, before, after, raw, near=names_near(asked.places, placed, names)),
        min(least_without_service(what, allowed), after.score.without_service), area_km2, delays(planned.whole),
        *left_out, changed_sites(table, planned_table, from_set=asked.from_set),
    )  # fmt: skip


def _freed(
    network: Network, planned: Network, held: DelayTable, before: DelayTable, *,
    placed: Mapping[str, Located], asked: Asked,
) -> tuple[Network, DelayTable]:  # fmt: skip
    """The plan with its common delay worked out as the network says, where no more devices change for that."""
    free = planned.model_copy(update={"common_delay": network.common_delay})
    table = delay_table(free, placed=placed)
    counts = [len(changed_sites(before, one, from_set=asked.from_set)) for one in (table, held)]
    return (free, table) if counts[0] <= counts[1] else (planned, held)


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
