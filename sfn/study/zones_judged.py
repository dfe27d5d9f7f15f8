"""A map's reception: the quick estimate that follows a slider, or classes and figures by drawn shares."""

from concurrent.futures import Executor

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.aimed import bearings_to, masts_of, received
from sfn.reception.coverage import Coverage
from sfn.reception.judged import Judged, judge
from sfn.reception.others import needed_on
from sfn.reception.quality import Yardstick

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]


def judged_on(
    network: Network,
    coverage: Coverage,
    on_air: NDArray[np.intp],
    arrivals: Doubles,
    yard: Yardstick,
    *,
    drawn: bool,
    executor: Executor | None,
) -> tuple[Judged, Singles]:
    """Reception over a grid, NaN where a signal is not known; and levels as receivers get them, shape (S, M).

    Parameters
    ----------
    network : Network
    coverage : Coverage
        Levels as the network radiates.
    on_air : ndarray of int
        Sites that radiate, as places in the first axis.
    arrivals : ndarray, shape (S, M)
        Of these. [us]
    yard : Yardstick
    drawn : bool
        Draw levels (and phases), seconds of work.
    executor : concurrent.futures.Executor, optional
        Threads.
    """
    levels, rare = received(network, coverage, on_air)
    sites = [coverage.sites[i] for i in on_air]
    ofdm = drawn and yard.carried.kind == "ofdm"
    found = judge(
        levels,
        arrivals,
        yard,
        frequency_mhz=network.frequency_mhz,
        sites=sites,
        drawn=drawn,
        known=coverage.judged(on_air),
        bearing_deg=bearings_to(network, coverage, on_air) if ofdm else None,
        masts=masts_of(network, sites) if ofdm else None,
        level_1pct_dbuvm=rare,
        other=needed_on(network, coverage, on_air, yard.carried, executor=executor),
        executor=executor,
    )
    return found, levels
