"""Where a new transmitter would serve most: every mast judged as a network saved with it there would be.

The sites on air are not computed again: their levels come from the map, and what is computed is the one new site,
over the same grid and ground by the same sweep. What is answered is of its delay table and settings, by the one rule
for what is served (`sfn.study.served`).
"""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.field.rasters import CacheFolder
from sfn.geodesy.position import Located
from sfn.plan import Antenna, Network
from sfn.plan.proposal import name_for
from sfn.propagation.link import SweepCancelled
from sfn.reception.coverage import Coverage, coverage
from sfn.solve.objective import Objective
from sfn.study.how_sure import HowSure, sure_of
from sfn.study.lever_try import ALL_ROUND
from sfn.study.mast import Mast, library, neighbour, pattern_of, with_mast
from sfn.study.optimise import network_objective
from sfn.study.optimise_devices import with_common_held
from sfn.study.placing_found import AskedPlacing, NotPlaced, Placed, Placing
from sfn.study.placing_levels import joined
from sfn.study.placing_said import described
from sfn.study.placing_ways import AtMast, compared_places, ways
from sfn.study.plan_relays import silent_behind, without_silent
from sfn.study.served import State, state
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable, delay_table

Told = Callable[[str, float], None]
Stop = Callable[[], bool]


@dataclass(frozen=True, slots=True)
class _Search:
    """What all masts are held against, and what they share."""

    network: Network
    base: Network
    computed: Coverage
    asked: AskedPlacing
    placed: Mapping[str, Located]
    ground: Ground
    executor: Executor
    cache: CacheFolder | None
    table: DelayTable
    before: State
    known: Mapping[str, Antenna]


def placing(
    network: Network,
    computed: Coverage,
    masts: Sequence[Mast],
    asked: AskedPlacing,
    *,
    placed: Mapping[str, Located],
    ground: Ground,
    executor: Executor,
    cache: CacheFolder | None = None,
    said: tuple[str, ...] = (),
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Placing:
    """Masts ranked by how much more is served with a transmitter on one of them, self-interference taken off.

    Parameters
    ----------
    network : Network
    computed : Coverage
        From `sfn.reception.coverage.coverage`, of this network.
    masts : sequence of Mast
    asked : AskedPlacing
    placed : mapping of site id to Located
    ground : Ground
        What the levels were computed over.
    executor : concurrent.futures.Executor
        Threads.
    cache : CacheFolder, optional
        Where rasters are kept on disk.
    said : tuple of str
        How the masts were found.
    progress : callable(phase, part), optional
    cancelled : callable, optional
        Says whether to stop; what was looked at by then is the answer.

    Raises
    ------
    PlanError
        If there is no mast, none is of a network that a site can be added to, or a pattern is not there.
    """
    if not masts:
        none = "there is no place to look at"
        raise PlanError([Problem("masts", none, "one at least", code="nothing-to-place", fields=("masts",))])
    if asked.sure is not None:
        asked.sure.doubt(network, smooth=computed.smooth)  # a figure out of range is told before the search
    network = without_silent(network, silent_behind(network))
    table = delay_table(network, placed=placed)
    what = network_objective(network, computed, asked.counted, executor=executor)
    before = state(network, computed, what, table.launches(), people=asked.counted.people, executor=executor)
    held = _Search(
        network, with_common_held(network, table), computed, asked, placed, ground, executor, cache, table, before,
        _known(network, masts, asked),
    )  # fmt: skip
    made: list[tuple[Placed, Coverage]] = []
    left: list[NotPlaced] = []
    stopped, names = False, [site.id for site in network.sites]
    for k, mast in enumerate(masts):
        stopped = stopped or (cancelled is not None and cancelled())
        if not stopped:
            if progress is not None:
                progress(f"{mast.name}, {k + 1} of {len(masts)}", k / len(masts))
            names.append(name_for(mast.name, names))
            try:
                made.append(_placed(held, mast, names[-1], cancelled))
            except SweepCancelled:
                stopped = True
            except PlanError as refused:
                left.append(NotPlaced(mast.name, refused.problems[0].code, refused.problems[0].what))
        if stopped:
            left.append(NotPlaced(mast.name, "cancelled", "the search was stopped before it was done"))
    made.sort(key=lambda one: (-one[0].gain, one[0].best.without_service, one[0].mast.name))
    sure = None
    if asked.sure is not None and made and not stopped:
        if progress is not None:
            progress("drawn worlds", 1.0)
        sure = _sure(held, made[: asked.sure_n], what, cancelled)
    compared = compared_places(what.weight, computed.covered) if held.known else np.zeros(0)
    counts_n = int(((what.weight > 0) & computed.covered).sum())
    return Placing(
        network, asked, what, table.common_delay_us, before, tuple(one for one, _ in made), tuple(left),
        int(compared.size) if held.known else counts_n, counts_n, "cancelled" if stopped else "all", sure, said,
    )  # fmt: skip


def _known(network: Network, masts: Sequence[Mast], asked: AskedPlacing) -> dict[str, Antenna]:
    """Patterns that may be tried; refused where one is named that the network has not."""
    named = dict.fromkeys((*(asked.patterns or ()), *(mast.pattern for mast in masts if mast.pattern)))
    found = {name: pattern_of(network, name) for name in named if name != ALL_ROUND}
    if missing := [name for name, antenna in found.items() if antenna is None]:
        expected = f"a site of the network that has one, or {ALL_ROUND} for none"
        raise PlanError(
            Problem("patterns", f"{name} is no site that has a pattern", expected, code="pattern-unknown",
                    fields=("patterns",))
            for name in missing
        )  # fmt: skip
    own = {name: antenna for name, antenna in found.items() if antenna is not None}
    return library(network) | own if asked.patterns is None else own


def _placed(held: _Search, mast: Mast, name: str, cancelled: Stop | None) -> tuple[Placed, Coverage]:
    """One mast, and its levels alike all round."""
    like = neighbour(held.network, held.placed, mast.at.lat_deg, mast.at.lon_deg, held.asked.like)
    planned = with_mast(held.base, mast, like, name=name, common_us=held.table.common_delay_us)
    alone = planned.of_sites(planned.sites[-1:]).model_copy(update={"other_transmitters": None})
    one = coverage(
        alone, held.computed.grid, placed={name: mast.at}, ground=held.ground, executor=held.executor,
        cache=held.cache, cancelled=cancelled,
    )  # fmt: skip
    at = AtMast(
        mast, planned, joined(held.computed, one), held.table, held.asked, held.known, held.executor,
    )  # fmt: skip
    made, directions_n = ways(at)
    found = described(
        at, made, directions_n, before=held.before, like=like.id, where={**held.placed, name: mast.at},
        ground=held.ground, covered_before=held.computed.covered,
    )  # fmt: skip
    return found, one


def _sure(held: _Search, best: Sequence[tuple[Placed, Coverage]], what: Objective, cancelled: Stop | None) -> HowSure:
    """Today's network and the best in the same drawn worlds: all their sites stand in one network, one on at a time."""
    levels, sites, stages = held.computed, list(held.base.sites), list(held.base.stages)
    where = dict(held.placed)
    for one, its in best:
        levels = joined(levels, its)
        sites.append(one.planned.sites[-1])
        stages.append(one.planned.stages[-1])
        where[one.site] = one.mast.at
    new = {one.site for one, _ in best}

    def on_air(site: str) -> Network:
        """With one of them on air; with none where it is none of them."""
        some = tuple(s.model_copy(update={"on_air": s.id == site}) if s.id in new else s for s in sites)
        return held.base.of_sites(some).model_copy(update={"stages": tuple(stages)})

    assert held.asked.sure is not None
    return sure_of(
        on_air(""), levels, what, held.asked.sure, [on_air(one.site) for one, _ in best], placed=where,
        unknowns=False, executor=held.executor, cancelled=cancelled,
    )  # fmt: skip
