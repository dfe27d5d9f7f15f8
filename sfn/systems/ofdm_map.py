"""OFDM reception at many points at once: margins by strategy, who is wanted, who hurts, what our own sites cost."""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm import profile
from sfn.systems.ofdm_blocks import ofdm_points
from sfn.systems.ofdm_window import MAP_STRATEGIES, RISK_STRATEGY, Placing, filled, window_times
from sfn.systems.service import Service

# Points handed to a worker at a time: large beside the cost of handing over, small beside a map.
POINTS_AT_A_TIME = 32_768


@dataclass(frozen=True, slots=True)
class OfdmMap:
    """What M points receive.

    Parameters
    ----------
    placings : tuple of Placing
        Filled with their defaults; all but `margins_db` and `windows_us` hold for the first.
    margins_db, windows_us : (K, M) arrays
        C/(N+I) less the C/N that the profile requires, and t0, for each placing; NaN where no signal is. [dB, us]
    shares : (K, M) float32 array
        Share of places around that are served, for each placing; of no rows where no spread was given. [1]
    cni_db : (M,) float32 array
        [dB]
    wanted_site, hurting_site : (M,) int16 arrays
        Row of the site with the largest useful and the largest interfering part; -1 for none.
    lost_to_self_interference : (M,) bool array
        Not served, though the strongest signal alone would be.
    """

    placings: tuple[Placing, ...]
    margins_db: NDArray[np.float32]
    shares: NDArray[np.float32]
    windows_us: NDArray[np.float64]
    cni_db: NDArray[np.float32]
    wanted_site: NDArray[np.int16]
    hurting_site: NDArray[np.int16]
    lost_to_self_interference: NDArray[np.bool_]

    @property
    def margin_db(self) -> NDArray[np.float32]:
        """Margin of the first placing. [dB]"""
        return np.asarray(self.margins_db[0])


def with_risk(placing: Placing) -> tuple[Placing, ...]:
    """A placing, and after it the one that its figures stand beside, "strongest", unless it is that itself."""
    return (placing,) if placing.strategy == RISK_STRATEGY else (placing, Placing(RISK_STRATEGY))


def ofdm_map(
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    service: Service,
    *,
    level_1pct_dbuvm: ArrayLike | None = None,
    placings: Sequence[Placing] = (Placing(),),
    frequency_mhz: float | None = None,
    noise_dbuvm: ArrayLike | None = None,
    sigma_db: float | None = None,
    k_factor: float = 1.0,
    executor: Executor | None = None,
) -> OfdmMap:
    """Reception at M points from S sites.

    Parameters
    ----------
    level_dbuvm, arrival_us : (S, M) array_like
        Levels at 50 % of time (NaN: not covered or not transmitting) and arrivals. [dBuV/m, us]
    service : Service
        OFDM.
    level_1pct_dbuvm : (S, M) array_like, optional
        Levels at 1 % of time, for the interfering parts; the same levels where not given. [dBuV/m]
    placings : sequence of Placing
        Strategies of `MAP_STRATEGIES`; the first is the one the map is drawn for. Its threshold is that of all.
    frequency_mhz : float, optional
        Carrier, for the noise field. [MHz]
    noise_dbuvm : float or (M,) array_like, optional
        Noise and unrelated services as a field; from the service where not given. [dBuV/m]
    sigma_db, k_factor : float, optional
        Spread over places and k of the log-normal sums, for the shares, which are those of
        `sfn.reception.statistics.coverage_probability`. [dB, 1]
    executor : concurrent.futures.Executor, optional
        Threads to share the points out to (the kernel lets go of the lock); none: this thread alone.

    Returns
    -------
    reception : OfdmMap

    Raises
    ------
    ValueError
        If shapes differ, a strategy is none of a map's, or the service is not OFDM.
    """
    levels = _two_dimensional("level_dbuvm", level_dbuvm)
    arrivals = _two_dimensional("arrival_us", arrival_us)
    rare = levels if level_1pct_dbuvm is None else _two_dimensional("level_1pct_dbuvm", level_1pct_dbuvm)
    if not levels.shape == arrivals.shape == rare.shape:
        raise ValueError(
            "level_dbuvm, arrival_us and level_1pct_dbuvm must have one shape (S, M), got "
            f"{levels.shape}, {arrivals.shape}, {rare.shape}"
        )
    asked = [placing.strategy for placing in placings]
    if not asked or not set(asked) <= set(MAP_STRATEGIES):
        raise ValueError(f"a map's strategies must be some of {', '.join(MAP_STRATEGIES)}, got {asked!r}")
    whole = tuple(filled(placing, service) for placing in placings)
    if noise_dbuvm is None:
        noise_dbuvm = noise_field_dbuvm(service, frequency_mhz=frequency_mhz)
    noise = 10.0 ** (np.atleast_1d(np.asarray(noise_dbuvm, dtype=np.float64)) / 10.0)
    points = levels.shape[1]
    if noise.shape not in {(1,), (points,)} or np.isnan(noise).any():
        raise ValueError(f"noise_dbuvm must be one field or one for each of {points} points, got shape {noise.shape}")
    times = window_times(service).clock()
    needed = np.array([*profile(service), float(service.required_cn_db or 0.0)])
    codes = np.array([MAP_STRATEGIES.index(placing.strategy) for placing in whole])
    backoffs = np.array([placing.backoff_us or 0.0 for placing in whole])
    result = OfdmMap(
        placings=whole,
        margins_db=np.empty((len(whole), points), np.float32),
        shares=np.empty((0 if sigma_db is None else len(whole), points), np.float32),
        windows_us=np.empty((len(whole), points)),
        cni_db=np.empty(points, np.float32),
        wanted_site=np.empty(points, np.int16),
        hurting_site=np.empty(points, np.int16),
        lost_to_self_interference=np.empty(points, np.bool_),
    )

    def some(start: int) -> None:
        ofdm_points(
            levels,
            rare,
            arrivals,
            noise,
            times,
            needed,
            10.0 ** (-float(whole[0].threshold_db or 0.0) / 10.0),
            codes,
            backoffs,
            sigma_db or 0.0,
            k_factor,
            start,
            min(start + POINTS_AT_A_TIME, points),
            result.margins_db,
            result.shares,
            result.windows_us,
            result.cni_db,
            result.wanted_site,
            result.hurting_site,
            result.lost_to_self_interference,
        )

    starts = range(0, points, POINTS_AT_A_TIME)
    for _ in map(some, starts) if executor is None else executor.map(some, starts):
        pass
    return result


def _two_dimensional(name: str, values: ArrayLike) -> NDArray[np.float64]:
    """An (S, M) array in the order that the kernel reads; float32 stays float32, which it reads too."""
    array = np.asarray(values)
    if array.dtype != np.float32:
        array = array.astype(np.float64, copy=False)
    if array.ndim != 2:
        raise ValueError(f"{name} must have the shape (S, M): a row for each site, got {array.shape}")
    return np.ascontiguousarray(array)
