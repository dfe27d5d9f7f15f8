"""Plans of change: offsets, power, antennas and sites on air searched together, each plan judged over the whole map.

The search looks at a sample of the places (`sfn.solve.together`); what is answered is worked out as the map does it,
from the network as a document would have it with the plan: its delay table, its settings, its levels.
"""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.coverage import Coverage
from sfn.solve.descent import Told
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective
from sfn.solve.options import Choice, Seen
from sfn.solve.scene import Scene
from sfn.solve.together import Together, together
from sfn.solve.world_scene import P20_QUANTILE, in_worlds
from sfn.study.how_sure import AskedSure, sure_of
from sfn.study.optimise import convex_starts, network_limits, network_objective
from sfn.study.optimise_devices import with_common_held
from sfn.study.plan_judged import Judged
from sfn.study.plan_levers import SiteLevers, costs_of, options_of, pattern_doubts, site_levers
from sfn.study.plan_relays import RelayLost, Relays, silent_behind, without_silent
from sfn.study.plan_scene import Radiated, licence_of, network_scene
from sfn.study.plans_found import (
    MOST_PLANS_N,
    ROBUST_PLACES_N,
    ROBUST_WORLDS_N,
    AskedPlans,
    Plan,
    Plans,
)
from sfn.study.served import counted_km2, state
from sfn.study.worlds import Worlds
from sfn.terrain.ground import Ground
from sfn.timing import delay_table
from sfn.timing.launch_draws import drawn_part, launch_doubts, launch_errors_us

SEARCH_DRAWS_FROM = 1_000_000
"""Worlds of a search: none of those in which its plans are judged."""


def plans(
    network: Network,
    computed: Coverage,
    asked: AskedPlans,
    *,
    placed: Mapping[str, Located],
    ground: Ground | None = None,
    executor: Executor | None = None,
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Plans:
    """The front of people (or area) served against cost, over the offsets and levers that may be varied.

    Parameters
    ----------
    network : Network
    computed : Coverage
        From `sfn.reception.coverage.coverage`, of this network.
    asked : AskedPlans
    placed : mapping of site id to Located
    ground : Ground, optional
        What the levels were computed over: relays are held against it. A smooth earth without it.
    executor : concurrent.futures.Executor, optional
        Threads.
    progress, cancelled : callable, optional
        As in `sfn.solve.together.together`; once cancelled, the best so far is the answer.

    Raises
    ------
    PlanError
        If nothing may be varied, a pattern is not there, or the limits leave a site no offset.
    """
    if wrong := tuple(pattern_doubts(network, asked.general)):
        expected = "sites of the network that have a pattern, or -"
        raise PlanError(Problem("patterns", what, expected, code="pattern-unknown") for _, what in wrong)
    silent = silent_behind(network)
    network = without_silent(network, silent)
    levers, left = site_levers(network, asked.vary, held=asked.counted.held, general=asked.general, waiting=silent)
    costs, assumed = costs_of(network, asked.costs)
    licences = (*asked.licences, *map(licence_of, network.may_change.licences if network.may_change else ()))
    what = network_objective(network, computed, asked.counted, executor=executor)
    table = delay_table(network, placed=placed)
    base = with_common_held(network, table)
    allowed = _limits(base, levers, asked, placed=placed)
    if not allowed.free.any() and not any(one.fields for one in levers):
        names = {site.id: site.name for site in network.whole.sites}
        why = "; ".join(dict.fromkeys(f"{names[one.site]}, {one.what}: {one.why}" for one in left))
        expected = "bounds in the document (may_change) or with the search, at one site at least"
        raise PlanError([Problem("vary", f"nothing may be varied: {why}", expected, code="nothing-to-vary")])
    radiated = Radiated(network, computed, levers, licences)
    relays = Relays(network, levers, radiated, ground=ground)
    scene = network_scene(network, radiated, what)
    before = state(network, computed, what, table.launches(), people=asked.counted.people, executor=executor)

    def may(i: int, choice: Choice) -> bool:
        """Whether licences hold, and relays hear as well as they did."""
        return radiated.licensed(i, choice) and relays.heard(i, choice)

    if asked.sure is not None:
        asked.sure.seen(computed)  # what cannot be used is told before the search
    sure = asked.sure if asked.robust is None else asked.sure or AskedSure(seed=asked.counted.seed)
    robust = None if asked.robust is None or sure is None else _in_worlds(network, computed, what, scene, sure, asked)

    def look(over: Scene, part: float, begin: Sequence[Seen] = ()) -> Together:
        """One search, with a part of the time."""
        return together(
            over, options_of(levers, costs=costs, licensed=may), allowed, seed=asked.counted.seed,
            budget_s=part * asked.counted.budget_s, starts=convex_starts(what, allowed), begin=begin,
            executor=executor, progress=progress, cancelled=cancelled,
        )  # fmt: skip

    found = look(scene, 1.0)
    candidates = found.plans
    if robust is not None and found.ended != "cancelled":
        found = look(robust, 0.5, candidates)
        candidates = (*candidates, *found.plans)
    judged = Judged(
        network, base, computed, what, levers, costs, allowed, table, before, asked.counted.people,
        asked.counted.places, placed, executor,
    )  # fmt: skip
    made = [judged.plan(one) for one in candidates]
    unheard = {id(one): problems for one in made if (problems := relays.lost(one.planned))}
    heard = [one for one in made if id(one) not in unheard]
    worth = {id(one): -one.after.score.without_service for one in heard}
    today = -before.score.without_service
    if asked.robust is not None and sure is not None:
        drawn = sure_of(
            network, computed, what, sure, [one.planned for one in heard], placed=placed, unknowns=False,
            executor=executor, cancelled=cancelled,
        ).plans  # fmt: skip
        today, *theirs = ((one.p20 if asked.robust == "p20" else one.mean) for one in drawn)
        worth = {id(one): value for one, value in zip(heard, theirs, strict=True)}
    front = _front(heard, worth, today)
    lost = tuple(RelayLost(one.cost, one.gain, unheard[id(one)][0]) for one in made if id(one) in unheard)
    kept = _few(front, worth)
    return Plans(
        network, asked, what, costs, assumed, licences, radiated.overstepped(), before, kept, len(front) - len(kept),
        left, found, int(scene.weight.size), counted_km2(computed),
        not allowed.kept(allowed.now_us), tuple(sorted(silent)), lost,
        None if sure is None else sure_of(
            network, computed, what, sure, [one.planned for one in kept], placed=placed, executor=executor,
            cancelled=cancelled,
        ),
    )  # fmt: skip


def _limits(base: Network, levers: Sequence[SiteLevers], asked: AskedPlans, *, placed: Mapping[str, Located]) -> Limits:
    """Limits of the offsets, where a site that may be put on air is on air."""
    on = {one.site.id for one in levers if "on_air" in one.fields}
    sites = tuple(s.model_copy(update={"on_air": True}) if s.id in on and not s.on_air else s for s in base.sites)
    all_on = base.model_copy(update={"sites": sites})
    bare = {site.id for site in sites if not site.delay_fields}
    held = asked.counted.held | bare if "offset" in asked.vary else frozenset(site.id for site in sites)
    return network_limits(all_on, delay_table(all_on, placed=placed), replace(asked.counted, held=held))


def _in_worlds(
    network: Network, computed: Coverage, what: Objective, scene: Scene, sure: AskedSure, asked: AskedPlans
) -> Scene:
    """A sample of the places in drawn worlds that agree with what was measured; plans are judged in others."""
    doubt, _ = sure.doubt(network, smooth=computed.smooth)
    thin = scene.sample(ROBUST_PLACES_N, seed=asked.counted.seed)
    worlds = Worlds(
        network, computed, what, doubt, seed=sure.seed, places=thin.place, weight=thin.weight,
        seen=sure.seen(computed),
    )  # fmt: skip
    every = tuple(site.model_copy(update={"on_air": True}) for site in network.sites)
    doubts, _ = launch_doubts(network.model_copy(update={"sites": every}), computed.sites)
    errors_db, off_us = [], []
    for draw in range(SEARCH_DRAWS_FROM, SEARCH_DRAWS_FROM + ROBUST_WORLDS_N):
        errors_db.append(worlds.fields(draw).errors_db)
        parts = [drawn_part(one, seed=sure.seed, draw=draw) for one in doubts]
        off_us.append(launch_errors_us(doubts, parts, len(computed.sites)))
    return in_worlds(thin, errors_db, off_us, quantile=P20_QUANTILE if asked.robust == "p20" else None)


def _front(plans: Sequence[Plan], worth: Mapping[int, float], today: float) -> tuple[Plan, ...]:
    """Plans that are worth more than the network as planned, and than every other that costs no more."""
    made: list[Plan] = []
    best = today
    for plan in sorted(plans, key=lambda one: (one.cost, -worth[id(one)])):
        if plan.changes and worth[id(plan)] > best:
            best = worth[id(plan)]
            made.append(plan)
    return tuple(made)


def _few(front: Sequence[Plan], worth: Mapping[int, float]) -> tuple[Plan, ...]:
    """A short list: those go that are worth least more than the one before them; never the first and the last."""
    kept = list(front)
    while len(kept) > MOST_PLANS_N:
        more = [worth[id(kept[k])] - worth[id(kept[k - 1])] for k in range(1, len(kept) - 1)]
        del kept[1 + int(np.argmin(more))]
    return tuple(kept)
