"""Which signals count at a receiving point, and how far apart they arrive.

| symbol | name | unit |
|---|---|---|
| S, M | sites and points: signals are arrays shaped (S, M) | |
| Tg | guard interval of an OFDM service | us |
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.classes import BLENDED, JUST_ENOUGH, OTHER_STATION, UPSET
from sfn.reception.kernels import quiet_loop
from sfn.systems.link_chain import minimum_median_dbuvm
from sfn.systems.service import Service

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Criteria:
    """The figures that decide what counts; all editable, each with its source.

    `guard_us` is NaN where the service has no guard interval.
    """

    usable_dbuvm: float
    usable_source: str
    significant_db: float
    guard_us: float
    equal_signal_db: float


def with_margin(network: Network, service: Service) -> Service:
    """The service with the network's implementation margin in what it requires (OFDM and VSB; FM takes it off S/N).

    Their required C/N, and with it the usable field and what counts, rise by as much: published ratios hold a real
    receiver already where their source says so, and what a document gives comes on top. Nothing where it gives none.
    """
    more_db = network.thresholds.implementation_margin_db
    if service.kind == "fm" or not more_db:
        return service

    def raised(value_db: float | None) -> float | None:
        """A ratio with the margin."""
        return None if value_db is None else value_db + more_db

    return replace(
        service,
        required_cn_db=raised(service.required_cn_db),
        required_cn_rice_db=raised(service.required_cn_rice_db),
        required_cn_rayleigh_db=raised(service.required_cn_rayleigh_db),
        required_cn_echo_db=raised(service.required_cn_echo_db),
        echo_mask=tuple((late_us, ratio_db + more_db) for late_us, ratio_db in service.echo_mask),
        required_cn_source=f"{service.required_cn_source}; and {more_db:g} dB of this network's implementation margin",
        minimum_median_dbuvm=service.minimum_median_dbuvm + more_db,
        minimum_median_source=f"{service.minimum_median_source}; raised by {more_db:g} dB of implementation margin",
        significant_db=service.significant_db + more_db,
    )


def criteria(network: Network, service: Service) -> Criteria:
    """The network's own figures where it gives them, the service's with the network's margin otherwise."""
    own = network.thresholds
    service = with_margin(network, service)
    given = own.usable_dbuvm is not None
    return Criteria(
        own.usable_dbuvm
        if own.usable_dbuvm is not None
        else minimum_median_dbuvm(service, frequency_mhz=network.frequency_mhz),
        (own.usable_source or "set in this network") if given else service.minimum_median_source,
        own.significant_db if own.significant_db is not None else service.significant_db,
        service.guard_us if service.kind == "ofdm" and service.guard_us is not None else float("nan"),
        own.equal_signal_db,
    )


def significant(
    level_dbuvm: Floats, arrival_us: Floats, *, significant_db: float, guard_us: float
) -> NDArray[np.bool_]:
    """Which signals are significant.

    Parameters
    ----------
    level_dbuvm, arrival_us : ndarray, shape (S, M)
        Median levels and arrival times; NaN level where there is no signal. [dB(uV/m), us]
    significant_db : float
        A signal within this of the strongest counts. [dB]
    guard_us : float
        Guard interval of an OFDM service: a signal inside it counts whatever its level; NaN for others. [us]

    Returns
    -------
    significant : ndarray of bool, shape (S, M)
    """
    present = np.isfinite(level_dbuvm)
    levels = np.where(present, level_dbuvm, -np.inf)
    strongest = np.argmax(levels, axis=0)
    top = np.take_along_axis(levels, strongest[None], axis=0)
    counted = present & (levels >= top - significant_db)
    if np.isfinite(guard_us):
        reference = np.take_along_axis(arrival_us, strongest[None], axis=0)
        counted |= present & (np.abs(arrival_us - reference) <= guard_us)
    return counted


def decides(quality_class: NDArray[np.floating]) -> NDArray[np.bool_]:
    """Where the signal that takes most counts, however weak: it decides the class, or takes what margin there is."""
    return np.asarray((quality_class == UPSET) | (quality_class == JUST_ENOUGH) | (quality_class == BLENDED))


def limiting(
    taking: NDArray[np.float32],
    quality_class: NDArray[np.floating],
    level_dbuvm: NDArray[np.floating],
    arrival_us: Floats,
    counts: Criteria,
) -> NDArray[np.float32]:
    """Row of the signal that is said to hurt, shape (M,): none that is not significant and decides nothing.

    Parameters
    ----------
    taking : ndarray, shape (M,)
        Row of the one that takes most; NaN where none does.
    quality_class : ndarray, shape (M,)
        Codes of the classes; where another station disturbs, none of ours is named.
    level_dbuvm, arrival_us : ndarray, shape (S, M)
        [dB(uV/m), us]
    counts : Criteria
    """
    made = np.where(quality_class == OTHER_STATION, np.float32(np.nan), taking).astype(np.float32)
    quiet_loop(level_dbuvm, arrival_us, decides(quality_class), counts.significant_db, counts.guard_us, made)
    return made


def delay_spread(arrival_us: Floats, counted: NDArray[np.bool_]) -> Floats:
    """Largest delay difference among the significant signals (maximum excess delay, not the rms figure).

    Parameters
    ----------
    arrival_us : ndarray, shape (S, M)
        [us]
    counted : ndarray of bool, shape (S, M)
        From `significant`.

    Returns
    -------
    spread_us : ndarray, shape (M,)
        Zero for a single significant signal, NaN where there is none. [us]
    """
    latest = np.where(counted, arrival_us, -np.inf).max(axis=0)
    earliest = np.where(counted, arrival_us, np.inf).min(axis=0)
    return np.where(counted.any(axis=0), latest - earliest, np.nan)
