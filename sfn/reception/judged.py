"""Places judged by drawn sets: one function for a map's pixels and for a point, so that they agree where levels do."""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.reception.drawn import USUAL_DRAWS_N, Drawn
from sfn.reception.drawn_kernels import FEW_DRAWS_N
from sfn.reception.drawn_quality import by_drawn_shares, by_listeners, drawn_share, risk_of
from sfn.reception.heard import MAP_LEVEL_SETS_N, map_sharing
from sfn.reception.others import Needed
from sfn.reception.quality import ServiceQuality, Yardstick, service_quality
from sfn.systems.fm_listeners import Shares
from sfn.systems.service import Service

Doubles = NDArray[np.float64]

SETS_N = {"fm": MAP_LEVEL_SETS_N, "ofdm": USUAL_DRAWS_N}
"""Sets of levels that are drawn at a place; of another service none are."""
DRAWN_SHARE_OFF = {"fm": 0.04, "ofdm": 0.03}
"""What a share by these sets may be off from one by very many: OFDM wherever it was tried, FM at 95 places of 100
(random ones of 2, 3, 5 and 8 signals; 0.08 at worst, in stereo). [1]"""


@dataclass(frozen=True, slots=True)
class Judged:
    """Reception at M places.

    Parameters
    ----------
    quality : ServiceQuality
        By drawn sets where they were asked for and the service has them.
    quick : ServiceQuality
        The quick estimate; the same object where nothing was drawn.
    shares : Shares or None
        FM, drawn: what listeners hear, before stations with other programmes.
    share : Drawn or None
        OFDM, drawn: share of places served, with such stations and without.
    """

    quality: ServiceQuality
    quick: ServiceQuality
    shares: Shares | None = None
    share: Drawn | None = None

    @property
    def drawn(self) -> bool:
        """Whether classes go by drawn shares."""
        return self.quality is not self.quick


def step_of(service: Service) -> float | None:
    """Step of a drawn share at a place, one set of levels; None for a service whose levels are not drawn. [1]"""
    sets_n = SETS_N.get(service.kind)
    return None if sets_n is None else 1.0 / sets_n


def share_off(service: Service) -> float | None:
    """By how much such a share may be off; None for a service whose levels are not drawn. [1]"""
    return DRAWN_SHARE_OFF.get(service.kind)


def draws_say(service: Service) -> str:
    """How many sets are drawn at a place, how fine that makes a share, and how far off; empty where none are."""
    sets_n = SETS_N.get(service.kind)
    if sets_n is None:
        return ""
    few = "" if service.kind == "fm" else f" ({100 / FEW_DRAWS_N:.2g} % where nearly all or none are served)"
    where = " at 95 places of 100" if service.kind == "fm" else ""
    off = f"within {100 * DRAWN_SHARE_OFF[service.kind]:g} % of very many{where}"
    return f"{sets_n} sets of levels a place, in steps of {100 / sets_n:.2g} %{few}, {off}"


def judge(
    level_dbuvm: NDArray[np.floating],
    arrival_us: Doubles,
    yard: Yardstick,
    *,
    frequency_mhz: float,
    sites: Sequence[str],
    drawn: bool = True,
    known: NDArray[np.bool_] | None = None,
    bearing_deg: NDArray[np.floating] | None = None,
    masts: NDArray[np.int64] | None = None,
    level_1pct_dbuvm: NDArray[np.floating] | None = None,
    other: Needed | None = None,
    executor: Executor | None = None,
    workers: int = 2,
) -> Judged:
    """Reception at M places of S signals: the quick estimate, and by drawn sets beside it.

    Parameters
    ----------
    level_dbuvm, arrival_us, level_1pct_dbuvm, yard, frequency_mhz, sites, other, executor, workers
        As for `sfn.reception.quality.service_quality`.
    drawn : bool
        Draw levels (FM: and phases); 8-VSB has the one rule alone.
    known : ndarray of bool, shape (M,), optional
        Where all signals are known: nothing is judged elsewhere.
    bearing_deg : ndarray, shape (S, M), optional
        From the places to the sites; OFDM draws by it. [degrees]
    masts : ndarray, shape (S,), optional
        From `sfn.reception.aimed.masts_of`; OFDM.
    """
    quick = service_quality(
        level_dbuvm, arrival_us, yard, frequency_mhz=frequency_mhz, level_1pct_dbuvm=level_1pct_dbuvm, sites=sites,
        other=other, executor=executor, workers=workers,
    )  # fmt: skip
    quick = quick if known is None else quick.where(known)
    if not drawn or not len(level_dbuvm) or yard.carried.kind not in SETS_N:
        return Judged(quick, quick)
    if yard.carried.kind == "fm":
        shares = map_sharing(yard, level_dbuvm, arrival_us, sites, workers=workers)
        return Judged(by_listeners(quick, level_dbuvm, arrival_us, yard, shares, other=other), quick, shares)
    if bearing_deg is None or masts is None:
        raise ValueError("OFDM is drawn by bearings and masts: neither may be left out")
    found: list[Drawn | None] = []
    for placing in (yard.placing, risk_of(yard.placing)):
        one = None
        if placing is not None:
            one = drawn_share(
                level_dbuvm, arrival_us, yard, frequency_mhz=frequency_mhz, bearing_deg=bearing_deg, masts=masts,
                level_1pct_dbuvm=level_1pct_dbuvm, strangers=None if other is None else other.strangers,
                placing=placing, executor=executor,
            )  # fmt: skip
        found.append(one)
    chosen, risk = found
    if chosen is None:
        return Judged(quick, quick)
    made = by_drawn_shares(quick, level_dbuvm, arrival_us, yard, chosen, risk, frequency_mhz=frequency_mhz, other=other)
    return Judged(made if known is None else made.where(known), quick, share=chosen)
