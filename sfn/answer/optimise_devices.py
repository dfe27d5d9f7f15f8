"""From offsets wished to settings made: several searches, the descent on devices, and which devices change."""

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.solve.descent import Told
from sfn.solve.devices import Launched, Settled, rounded, settle
from sfn.solve.large import LARGE_RATIO, SMALL_PLACES_N, round_s, search_large
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective, Score
from sfn.solve.search import Found, search
from sfn.timing import DelayTable, delay_table
from sfn.timing.device import finest_step

Doubles = NDArray[np.float64]

SEED_SHARES = (0.5, 0.15, 0.15)  # of the time, for searches that start apart; the rest goes on from the best
DEVICES_SHARE = 0.25  # of the time, on top, for the descent on what devices can make
LEAST_DEVICES_S = 2.0
LIKELY_RATIO = 0.005  # seeds further apart than this of what is without service: more time is likely to help


@dataclass(frozen=True, slots=True)
class SeedSpread:
    """How far searches that began with different seeds lie apart.

    Parameters
    ----------
    without_service : tuple of float
        What each leaves without service; one figure where every set of steps was tried. [people or km2]
    ended : tuple of str
        How each ended, as in `sfn.solve.search.Found`.
    more_time : str
        Whether more time is likely to help, in words.
    """

    without_service: tuple[float, ...]
    ended: tuple[str, ...]
    more_time: str

    @property
    def width(self) -> float:
        """From the best to the worst. [people or km2]"""
        return max(self.without_service) - min(self.without_service)


def searched(
    what: Objective,
    allowed: Limits,
    *,
    seed: int,
    budget_s: float,
    starts: Sequence[tuple[str, Doubles]],
    executor: Executor | None,
    progress: Told | None,
    cancelled: Callable[[], bool] | None,
) -> tuple[Found, SeedSpread]:
    """Searches that begin apart, then one that goes on from the best of them, within one budget.

    A network that is too large for that is searched on samples of its places first (`sfn.solve.large`).

    Parameters
    ----------
    what : Objective
    allowed : Limits
    seed : int
        Of the first; the others follow it.
    budget_s : float
        [s]
    starts : sequence of (name, offsets)
    executor, progress, cancelled
        As in `sfn.solve.search.search`.
    """
    began, found = time.monotonic(), []
    around_s = round_s(what, allowed, executor=executor)
    if around_s > LARGE_RATIO * budget_s and what.places.weight.size > SMALL_PLACES_N:
        last, seeds = search_large(
            what, allowed, round_s=around_s, seed=seed, budget_s=budget_s - (time.monotonic() - began), starts=starts,
            executor=executor, progress=progress, cancelled=cancelled,
        )  # fmt: skip
        best = min(seeds, key=lambda one: _key(one.score))
        return last, _spread(seeds, best.score.without_service - last.score.without_service)
    for k, share in enumerate(SEED_SHARES):
        one = search(
            what, allowed, seed=seed + k, budget_s=share * budget_s, starts=starts,
            exhaustive=k == 0, executor=executor, progress=progress, cancelled=cancelled,
        )  # fmt: skip
        found.append(one)
        if one.ended in ("exhaustive", "cancelled") or not allowed.free.any():
            break
    best = min(found, key=lambda one: _key(one.score))
    left_s = budget_s - (time.monotonic() - began)
    last = best
    if best.ended == "time" and left_s > 0:
        last = search(
            what, allowed, seed=seed + len(SEED_SHARES), budget_s=left_s, starts=[("the best so far", best.offsets_us)],
            exhaustive=False, executor=executor, progress=progress, cancelled=cancelled,
        )  # fmt: skip
        last = last if _key(last.score) <= _key(best.score) else best
    tried = sum(one.tried for one in found) + (0 if last is best else last.tried)
    whole = replace(
        last, before=found[0].before, tried=tried, seconds_s=time.monotonic() - began, starts=found[0].starts
    )
    gained = best.score.without_service - last.score.without_service
    return whole, _spread(found, gained)


def _spread(found: Sequence[Found], gained: float) -> SeedSpread:
    """How far they lie apart, and what more time would bring as far as that tells."""
    without = tuple(one.score.without_service for one in found)
    ended = tuple(one.ended for one in found)
    scale = max(min(without), 1e-9)
    if found[-1].ended == "exhaustive":
        said = "no: every set of steps of the search was tried"
    elif gained > LIKELY_RATIO * scale or max(without) - min(without) > LIKELY_RATIO * scale:
        said = "likely: seeds lie apart, or the last part of the time still brought something"
    elif "time" in ended:
        said = "perhaps: the time ended the search, but seeds agree"
    else:
        said = "unlikely: every search settled by itself, and they agree"
    return SeedSpread(without, ended, said)


def _key(score: Score) -> tuple[float, ...]:
    """A score for comparison."""
    return rounded((score.without_service, score.below_target, score.minus_mean_margin_db))


def with_common_held(network: Network, table: DelayTable) -> Network:
    """The network with the common delay that it has now, whatever its offsets: only sites that move change settings."""
    if network.common_delay.value_us is not None:
        return network
    held = {"mode": "fixed", "value_us": table.common_delay_us, "margin_us": None}
    return network.model_copy(update={"common_delay": network.common_delay.model_copy(update=held)})


def with_offsets(network: Network, offsets_us: Mapping[str, float]) -> Network:
    """The network with other offsets."""
    sites = tuple(
        site.model_copy(update={"offset_us": offsets_us.get(site.id, site.offset_us)}) for site in network.sites
    )
    return network.model_copy(update={"sites": sites})


def launched_by(network: Network, placed: Mapping[str, Located], sites: Sequence[str]) -> Launched:
    """What a network's devices make of offsets, by its delay table; None where one would be far from its wish.

    A site that already misses its wish as it is may go on doing so.
    """
    missed = _missed(delay_table(network, placed=placed))

    def launched(offsets_us: Doubles) -> Doubles | None:
        """Launches of these offsets."""
        made = with_offsets(network, dict(zip(sites, offsets_us.tolist(), strict=True)))
        table = delay_table(made, placed=placed)
        if _missed(table) - missed:
            return None
        launches = table.launches()
        return np.array([launches[site] for site in sites])

    return launched


def _missed(table: DelayTable) -> frozenset[tuple[str, str]]:
    """Sites and routes on air whose setting is further from the wish than a step of the device."""
    return frozenset(
        (row.site_id, row.route)
        for row in table.rows
        if row.on_air and row.fields and abs(row.rounding_us) > row.step_us * 0.51 + 1e-6
    )


def settled_on_devices(
    network: Network, placed: Mapping[str, Located], what: Objective, allowed: Limits, found: Found, *,
    budget_s: float, seed: int, executor: Executor | None, cancelled: Callable[[], bool] | None,
) -> Settled | None:  # fmt: skip
    """The descent on what devices can make, from what was found and from the offsets as they are; the better end."""
    until_s = time.monotonic() + max(DEVICES_SHARE * budget_s, LEAST_DEVICES_S)
    launched = launched_by(network, placed, what.sites)
    steps = np.array([float(finest_step(site.delay_fields)) for site in network.sites])
    ends = [
        settle(
            what, allowed, offsets, launched=launched, steps_us=steps, until_s=until_s, seed=seed, executor=executor,
            cancelled=cancelled,
        )
        for offsets in _distinct(found.offsets_us, allowed.now_us)
    ]  # fmt: skip
    made = [end for end in ends if end is not None]
    return min(made, key=lambda end: (rounded(end.key), not end.proven), default=None)


def _distinct(found: Doubles, now: Doubles) -> list[Doubles]:
    """What was found; as it is only where nothing better was."""
    return [found] if not np.allclose(found, now) else [now]


def changed_sites(before: DelayTable, after: DelayTable, *, from_set: bool) -> tuple[str, ...]:
    """Sites of which a device gets another setting, on any route.

    Parameters
    ----------
    before, after : DelayTable
        Of the saved plan and of the new one.
    from_set : bool
        Against what is set now instead of what the saved plan sets; where that is not known, it counts as changed.
    """
    was = {
        (row.site_id, row.route): {f.name: f.before if from_set else f.value for f in row.fields} for row in before.rows
    }
    return tuple(
        dict.fromkeys(
            row.site_id
            for row in after.rows
            if row.on_air and {f.name: f.value for f in row.fields} != was.get((row.site_id, row.route))
        )
    )
