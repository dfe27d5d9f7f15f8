"""A plan in several nights: in each a few devices change.

Two ways are gone, and the one that ends better is answered: the best of every night, going on from the night before;
and the best plan with as many changes as all nights have together, taken apart so that no morning serves worse than
today. The second finds what helps only when two sites have moved.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import replace
from itertools import combinations
from math import comb

import numpy as np

from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.coverage import Coverage
from sfn.solve.descent import Told
from sfn.solve.objective import score
from sfn.study.optimise import on_the_way, optimise, vars_key
from sfn.study.optimise_devices import changed_sites, with_common_held, with_offsets
from sfn.study.optimised import Asked, Optimised
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable, delay_table

MOST_WAYS_N = 12


def in_nights(
    network: Network,
    computed: Coverage,
    asked: Asked,
    *,
    placed: Mapping[str, Located],
    nights: int,
    ground: Ground | None = None,
    executor: Executor | None = None,
    progress: Told | None = None,
) -> tuple[Optimised, ...]:
    """The best plan of the first night, then of each that follows, going on from the one before.

    Parameters
    ----------
    network : Network
    computed : Coverage
    asked : Asked
        `most_changed` holds for every night, `budget_s` for all of them together.
    placed : mapping of site id to Located
    nights : int
        At least 1; fewer are answered where nothing more can be gained.
    ground : Ground, optional
        For the check and the loops; a smooth earth where not given.
    executor : concurrent.futures.Executor, optional
    progress : callable, optional
        As in `sfn.study.optimise.optimise`.

    Raises
    ------
    PlanError
        As `sfn.study.optimise.optimise`.
    """
    if nights == 1 or asked.most_changed is None:
        return (optimise(network, computed, asked, placed=placed, ground=ground, executor=executor, progress=progress),)
    share = replace(asked, budget_s=asked.budget_s / (nights + 1))
    together = replace(share, most_changed=asked.most_changed * nights)
    whole = optimise(network, computed, together, placed=placed, ground=ground, executor=executor, progress=progress)
    apart = _taken_apart(
        network, whole, computed, asked, placed=placed, nights=nights, ground=ground, executor=executor
    )
    found = [optimise(network, computed, share, placed=placed, ground=ground, executor=executor, progress=progress)]
    later = replace(share, from_set=False, after_night=True)  # what the night before set
    while len(found) < nights and found[-1].changed:
        one = optimise(
            found[-1].planned, computed, later, placed=placed, ground=ground, executor=executor, progress=progress
        )
        found.append(replace(one, spread=replace(one.spread, night=len(found) + 1)))
    if apart and vars_key(apart[-1].after.score) < vars_key(found[-1].after.score):
        return apart
    return tuple(found)


def _taken_apart(
    network: Network, whole: Optimised, computed: Coverage, asked: Asked, *, placed: Mapping[str, Located],
    nights: int, ground: Ground | None, executor: Executor | None,
) -> tuple[Optimised, ...]:  # fmt: skip
    """A plan night by night, the best morning first; nothing where a morning would be worse than today.

    Nor where a site that changes hears another that does, where the devices cannot make the way, or where there are
    too many ways to look at.
    """
    most, left, sites = asked.most_changed or 0, set(whole.changed), {site.id: site for site in network.sites}
    if not 0 < len(left) <= most * nights or any(sites[name].fed_off_air_from in left for name in left):
        return ()
    found: list[Optimised] = []
    at, here = {site.id: site.offset_us for site in network.sites}, network

    def served(table: DelayTable) -> tuple[float, float, float]:
        """What a table's launches come to."""
        launches = np.array([table.launches()[name] for name in whole.what.sites])
        return vars_key(score(whole.what, launches, executor=executor))

    today = served(delay_table(network, placed=placed))
    while left:
        size = min(most, len(left))
        if comb(len(left), size) > MOST_WAYS_N or len(found) == nights:
            return ()
        now = delay_table(here, placed=placed)
        held, ways = with_common_held(here, now), []
        for group in combinations(sorted(left), size):
            offsets = at | {name: whole.offsets_us[name] for name in sites if _of_group(name, group, whole, network)}
            table = delay_table(with_offsets(held, offsets), placed=placed)
            if set(changed_sites(now, table)) <= set(group):
                ways.append((served(table), offsets))
        if not ways:
            return ()
        morning, at = min(ways, key=lambda way: way[0])
        if morning > today:
            return ()
        told = replace(whole.asked, after_night=bool(found))
        best = on_the_way(here, whole, computed, told, at, placed=placed, ground=ground, executor=executor)
        found.append(best)
        here, left = best.planned, left - set(best.changed or left)
    last = replace(whole.spread, night=len(found))
    return tuple(replace(one, spread=last) for one in found)


def _of_group(name: str, group: Sequence[str], whole: Optimised, network: Network) -> bool:
    """Whether a site gets its new offset with a group: one of it, or one that changes nothing but hears one of it."""
    feeds = {site.id: site.fed_off_air_from for site in network.sites}
    at: str | None = name
    while at is not None and at not in group:
        if at in whole.changed:
            return False
        at = feeds[at]
    return at is not None
