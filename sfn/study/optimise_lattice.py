"""The settings of a network's devices as a lattice that can be looked at point by point, where they are one."""

from collections.abc import Callable, Mapping
from concurrent.futures import Executor

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.solve.devices import Launched, Settled
from sfn.solve.lattice import Devices, every
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective
from sfn.timing import DelayTable, delay_table
from sfn.timing.device import Device, device

Doubles = NDArray[np.float64]


def devices_of(network: Network, table: DelayTable) -> Devices | None:
    """The devices of a network; None where they are no plain lattice.

    That is where a site has several routes, is fed off air, has no field or fields whose totals leave gaps, or is left
    out.
    """
    plain = all(len(site.chains) == 1 and site.delay_fields and site.fed_off_air_from is None for site in network.sites)
    if not plain or network.left_out or table.missing:
        return None
    rows = {row.site_id: row for row in table.rows}
    made = [device(site.delay_fields) for site in network.sites]
    if not all(_gapless(one) for one in made):
        return None
    return Devices(
        np.array([rows[site.id].latency_us for site in network.sites]),
        np.array([float(one.least) for one in made]),
        np.array([float(one.greatest) for one in made]),
        np.array([float(one.finest) for one in made]),
        np.array([site.on_air for site in network.sites]),
        network.common_delay.value_us,
        network.common_delay.margin_us or 0.0,
    )


def _gapless(one: Device) -> bool:
    """Whether the fields together reach every whole finest step from their least to their greatest."""
    finest, reach = one.finest, one.finest
    for k in reversed(one.coarse_first):
        field = one.fields[k]
        if finest <= 0 or field.quantum % finest or field.quantum > reach:
            return False
        reach += (field.hi - field.lo) * field.quantum
    return True


def every_setting(
    network: Network, placed: Mapping[str, Located], what: Objective, allowed: Limits, *, launched: Launched,
    until_s: float, executor: Executor | None, cancelled: Callable[[], bool] | None,
) -> Settled | None:  # fmt: skip
    """The best of all settings that wishes within the limits come to; None where they cannot all be looked at."""
    table = delay_table(network, placed=placed)
    devices = devices_of(network, table)
    if devices is None or not allowed.free.any() or not any(site.on_air for site in network.sites):
        return None
    launches = np.array([table.launches()[site] for site in what.sites])
    found = every(
        what, devices, allowed, now_launches_us=launches, launched=launched, until_s=until_s, executor=executor,
        cancelled=cancelled,
    )  # fmt: skip
    if found is None:
        return None
    offsets, made, key, tried = found
    return Settled(offsets, made, key, proven=True, tried=tried, every=True)
