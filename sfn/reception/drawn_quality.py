"""Quality by drawn shares: levels drawn, receivers following, other programmes' stations drawn with ours."""

from concurrent.futures import Executor

import numpy as np
from numpy.typing import NDArray

from sfn.reception.drawn import Drawn, Strangers, drawn_beside
from sfn.reception.quality import Yardstick

Doubles = NDArray[np.float64]


def drawn_share(
    level_dbuvm: NDArray[np.floating],
    arrival_us: Doubles,
    yard: Yardstick,
    *,
    frequency_mhz: float,
    bearing_deg: NDArray[np.floating],
    masts: NDArray[np.int64],
    level_1pct_dbuvm: NDArray[np.floating] | None = None,
    strangers: Strangers | None = None,
    correlated: bool = True,
    executor: Executor | None = None,
) -> Drawn | None:
    """Share of places around each point that are served, levels drawn and windows placed anew; None but for OFDM.

    Parameters
    ----------
    level_dbuvm, arrival_us, level_1pct_dbuvm, frequency_mhz, executor
        As for `service_quality`.
    yard : Yardstick
    bearing_deg : ndarray, shape (S, M)
        From the places to the sites. [degrees]
    masts : ndarray, shape (S,)
        From `sfn.reception.aimed.masts_of`.
    strangers : Strangers, optional
        Transmitters of other programmes, from `sfn.reception.others.Needed`.
    correlated : bool
        False: as if no two sites' levels varied together.
    """
    if yard.carried.kind != "ofdm" or not level_dbuvm.shape[0]:
        return None
    return drawn_beside(
        level_dbuvm,
        arrival_us,
        yard.carried,
        placing=yard.placing,
        spread=yard.spread,
        bearing_deg=bearing_deg if correlated else None,
        masts=masts,
        level_1pct_dbuvm=level_1pct_dbuvm,
        frequency_mhz=frequency_mhz,
        strangers=strangers,
        executor=executor,
    )
