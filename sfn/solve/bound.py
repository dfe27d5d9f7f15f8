"""How good any offsets could be at best: what no set of them can serve."""

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.solve.kernels import pair_shortfall
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective
from sfn.solve.packing import worst_noise
from sfn.solve.totals import echo_figures
from sfn.timing import DelayTable
from sfn.timing.device import finest_step

Doubles = NDArray[np.float64]

FINEST_STEP_US = 0.25  # audio echoes change little within it: see `ROOM_RATIO`
ROOM_RATIO = 1.002  # what noise may do between two such steps
ROUNDING_US = 25.0  # of both sites of a pair together, where no device is coarser: a sample at 48 kHz is less
MOST_ROUNDING_US = 500.0  # of a pair whose differences are walked: four thousand of them
STEP_SHARE = 0.52  # of its step, that a device may miss its wish by: half, and what the descent lets pass
MOST_REACH_US = 1000.0


def roundings(network: Network, table: DelayTable, *, sites: tuple[str, ...]) -> Doubles:
    """How far the launch of each site may lie from its offset, shape (S,). [us]

    Half a step of its finest field, or what it misses by now; a site fed off air misses by what the site that feeds it
    misses too. Infinite of a site without a delay field that is fed by a link: it launches when it can.
    """
    own: dict[str, float] = {}
    parent = {site.id: site.fed_off_air_from for site in network.sites}
    for site in network.sites:
        now_us = max((abs(row.rounding_us) for row in table.rows if row.site_id == site.id), default=0.0)
        free = not site.delay_fields and site.fed_off_air_from is None
        own[site.id] = np.inf if free else max(STEP_SHARE * float(finest_step(site.delay_fields)), now_us)
    found = []
    for name in sites:
        total, at, seen = 0.0, name, set[str]()
        while at in own and at not in seen:
            seen.add(at)
            total += own[at]
            at = parent[at] or ""
        found.append(total)
    return np.array(found)


def least_without_service(what: Objective, limits: Limits, *, rounding_us: Doubles | None = None) -> float:
    """People or km2 that no offsets within the limits, whatever devices make of them, can serve; a lower bound.

    Parameters
    ----------
    what : Objective
    limits : Limits
    rounding_us : ndarray, shape (S,), optional
        From `roundings`; at least 12.5 us each. [us]

    Notes
    -----
    Places that no offsets can change count as they are. FM: every other place is given to the pair of its strongest
    signal and its loudest echo; other echoes only add noise, so each pair's own best offset difference, taken by
    itself, bounds what its places can gain. The pairs' wishes contradict each other, so the bound is seldom reached.
    OFDM and VSB: the places that no offsets can change, alone. A place counts as lost between two differences 0.25 us
    apart only when it is lost at both, with a little room, so the bound holds between whole steps too; and beyond the
    limits by as much as the devices of both sites may round. A pair whose devices may round by more than 500 us
    together bounds nothing: its places count as if they could all be served.
    """
    held = what.places
    bound = float(what.constant[0])
    if held.table is None or held.site.size == 0:
        return bound
    count = np.diff(held.start)
    place = np.repeat(np.arange(count.size), count)
    loud = worst_noise(held.a, held.table.clear)
    order = np.lexsort((-loud, place))
    first = order[held.start[:-1]]
    a, b = np.minimum(held.strongest, held.site[first]), np.maximum(held.strongest, held.site[first])
    sign = np.where(held.site[first] == b, 1.0, -1.0)
    adequate = float(echo_figures(what.yard, held.table)[0])
    table = held.table.clear
    row_of = table.rows_of(held.sites_n)
    pairs, which = np.unique(np.stack([a, b]), axis=1, return_inverse=True)
    for k in range(pairs.shape[1]):
        i, j = int(pairs[0, k]), int(pairs[1, k])
        low = max(float(limits.low_us[j] - limits.high_us[i]), -float(limits.most_us[i, j]), -MOST_REACH_US)
        high = min(float(limits.high_us[j] - limits.low_us[i]), float(limits.most_us[j, i]), MOST_REACH_US)
        rounded = ROUNDING_US if rounding_us is None else max(ROUNDING_US, float(rounding_us[i] + rounding_us[j]))
        if rounded > MOST_ROUNDING_US:
            continue
        low, high = low - rounded, high + rounded
        tried = np.arange(low, high + FINEST_STEP_US / 2, FINEST_STEP_US)
        mine = np.flatnonzero(which.ravel() == k)
        short = np.zeros(tried.size - 1)
        pair_shortfall(
            mine, first[mine], held.a, held.travel_us, sign[mine], held.base, held.weight, tried,
            table.noise.ravel(), table.noise.shape[1], int(row_of[i, j]), adequate * ROOM_RATIO, short,
        )  # fmt: skip
        bound += float(short.min()) if short.size else 0.0
    return bound
