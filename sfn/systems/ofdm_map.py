"""OFDM reception at many points at once: margins, who is wanted, who hurts, what self-interference costs."""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm import DEFAULT_THRESHOLD_DB, EDGE_US, STRATEGIES, USUAL_STRATEGIES, window_times
from sfn.systems.ofdm_kernels import ofdm_points
from sfn.systems.service import Service

# Points handed to a worker at a time: large beside the cost of handing over, small beside a map.
POINTS_AT_A_TIME = 32_768


@dataclass(frozen=True, slots=True)
class OfdmMap:
    """What M points receive.

    Parameters
    ----------
    strategies : tuple of str
        The chosen set; the first is the one that `margin_db` and the rest hold for.
    margin_db : (M,) float32 array
        C/(N+I) less the required C/N; NaN where no signal is. [dB]
    least_margin_db : (M,) float32 array
        The least favourable of the chosen set. [dB]
    window_us, least_window_us : (M,) arrays
        t0 of the first strategy, and of the least favourable. [us]
    wanted_site, hurting_site : (M,) int16 arrays
        Row of the site with the largest useful and the largest interfering part; -1 for none.
    lost_to_self_interference : (M,) bool array
        Not served, though the strongest signal alone would be.
    """

    strategies: tuple[str, ...]
    margin_db: NDArray[np.float32]
    least_margin_db: NDArray[np.float32]
    window_us: NDArray[np.float64]
    least_window_us: NDArray[np.float64]
    wanted_site: NDArray[np.int16]
    hurting_site: NDArray[np.int16]
    lost_to_self_interference: NDArray[np.bool_]


def ofdm_map(
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    service: Service,
    *,
    level_1pct_dbuvm: ArrayLike | None = None,
    strategies: Sequence[str] = USUAL_STRATEGIES,
    threshold_db: float = DEFAULT_THRESHOLD_DB,
    frequency_mhz: float | None = None,
    noise_dbuvm: ArrayLike | None = None,
    executor: Executor | None = None,
) -> OfdmMap:
    """Reception at M points from S sites.

    Parameters
    ----------
    level_dbuvm, arrival_us : (S, M) array_like
        Levels at 50 % of time (NaN: not covered or off air) and arrivals. [dBuV/m, us]
    service : Service
        OFDM.
    level_1pct_dbuvm : (S, M) array_like, optional
        Levels at 1 % of time, for the interfering parts; the same levels where not given. [dBuV/m]
    strategies : sequence of str
        Chosen set, of `sfn.systems.ofdm.STRATEGIES`; the first is the one the map is drawn for.
    threshold_db : float
        X of "first". [dB]
    frequency_mhz : float, optional
        Carrier, for the noise field. [MHz]
    noise_dbuvm : float or (M,) array_like, optional
        Noise and unrelated services as a field; from the service where not given. [dBuV/m]
    executor : concurrent.futures.Executor, optional
        Threads to share the points out to (the kernel lets go of the lock); none: this thread alone.

    Returns
    -------
    reception : OfdmMap

    Raises
    ------
    ValueError
        If shapes differ, a strategy is unknown, or the service is not OFDM.
    """
    levels = _two_dimensional("level_dbuvm", level_dbuvm)
    arrivals = _two_dimensional("arrival_us", arrival_us)
    rare = levels if level_1pct_dbuvm is None else _two_dimensional("level_1pct_dbuvm", level_1pct_dbuvm)
    if not levels.shape == arrivals.shape == rare.shape:
        raise ValueError(
            "level_dbuvm, arrival_us and level_1pct_dbuvm must have one shape (S, M), got "
            f"{levels.shape}, {arrivals.shape}, {rare.shape}"
        )
    unknown = [s for s in strategies if s not in STRATEGIES]
    if unknown or not strategies:
        raise ValueError(f"strategies must be some of {', '.join(STRATEGIES)}, got {list(strategies)!r}")
    if noise_dbuvm is None:
        noise_dbuvm = noise_field_dbuvm(service, frequency_mhz=frequency_mhz)
    noise = 10.0 ** (np.atleast_1d(np.asarray(noise_dbuvm, dtype=np.float64)) / 10.0)
    points = levels.shape[1]
    if noise.shape not in {(1,), (points,)} or np.isnan(noise).any():
        raise ValueError(f"noise_dbuvm must be one field or one for each of {points} points, got shape {noise.shape}")
    times = window_times(service)
    result = OfdmMap(
        strategies=tuple(strategies),
        margin_db=np.empty(points, np.float32),
        least_margin_db=np.empty(points, np.float32),
        window_us=np.empty(points),
        least_window_us=np.empty(points),
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
            np.array([times.useful_us, times.guard_us, times.early_us, times.late_us, times.reach_us or 0.0, EDGE_US]),
            10.0 ** (float(service.required_cn_db or 0.0) / 10.0),
            10.0 ** (-threshold_db / 10.0),
            np.array([STRATEGIES.index(s) for s in strategies]),
            start,
            min(start + POINTS_AT_A_TIME, points),
            result.margin_db,
            result.least_margin_db,
            result.window_us,
            result.least_window_us,
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
