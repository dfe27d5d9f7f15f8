"""A map's reception: the quick estimate that follows a slider, or classes and figures by drawn shares."""

from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.aimed import bearings_to, masts_of, received
from sfn.reception.coverage import Coverage
from sfn.reception.drawn_quality import by_drawn_shares, by_listeners, drawn_share, risk_of
from sfn.reception.heard import map_sharing
from sfn.reception.others import needed_on
from sfn.reception.quality import ServiceQuality, Yardstick, service_quality
from sfn.systems.fm_listeners import Shares

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Judged:
    """Reception at each pixel.

    Parameters
    ----------
    quality : ServiceQuality
        By drawn shares where they were asked for and the service has them.
    quick : ServiceQuality
        The quick estimate; the same object where nothing was drawn.
    levels : ndarray, shape (S, M)
        Of the sites on air, as receivers get them. [dB(uV/m)]
    shares : Shares or None
        FM, drawn: what listeners hear.
    """

    quality: ServiceQuality
    quick: ServiceQuality
    levels: Singles
    shares: Shares | None

    @property
    def drawn(self) -> bool:
        """Whether classes go by drawn shares."""
        return self.quality is not self.quick


def judged_on(
    network: Network,
    coverage: Coverage,
    on_air: NDArray[np.intp],
    arrivals: Doubles,
    yard: Yardstick,
    *,
    drawn: bool,
    executor: Executor | None,
) -> Judged:
    """Reception over a grid, NaN where a signal is not known.

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
    beside = needed_on(network, coverage, on_air, yard.carried, executor=executor)
    f = network.frequency_mhz
    quick = service_quality(
        levels, arrivals, yard, frequency_mhz=f, level_1pct_dbuvm=rare, sites=sites, other=beside, executor=executor
    )
    known = coverage.judged(on_air)
    quick = quick.where(known)
    if not drawn or not len(on_air) or yard.carried.kind not in ("ofdm", "fm"):
        return Judged(quick, quick, levels, None)
    if yard.carried.kind == "fm":
        shares = map_sharing(yard, levels, arrivals, sites)
        return Judged(by_listeners(quick, levels, yard, shares, other=beside), quick, levels, shares)
    bearing_deg, masts = bearings_to(network, coverage, on_air), masts_of(network, sites)
    found = []
    for placing in (yard.placing, risk_of(yard.placing)):
        one = None
        if placing is not None:
            one = drawn_share(
                levels, arrivals, yard, frequency_mhz=f, bearing_deg=bearing_deg, masts=masts, level_1pct_dbuvm=rare,
                strangers=None if beside is None else beside.strangers, placing=placing, executor=executor,
            )  # fmt: skip
        found.append(one)
    chosen, risk = found
    if chosen is None:
        return Judged(quick, quick, levels, None)
    made = by_drawn_shares(quick, levels, yard, chosen, risk, frequency_mhz=f, other=beside)
    return Judged(made.where(known), quick, levels, None)
