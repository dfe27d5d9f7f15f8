"""Spread over places: sums of log-normal fields, and the share of places that is served.

| symbol | name | meaning |
|---|---|---|
| F, sigma | `median_dbuvm`, `sigma_db` | median field and its spread over places |
| k | `k_factor` | of the k-LNM: 1 is plain matching of moments (Fenton and Wilkinson) |
| a | 10/ln 10 = 4.343 dB | one neper |
| PR | required C/N | of the service |

Power sums of medians say nothing about spread and miss that signals rarely fade together: two equal
fields of 5.5 dB spread have a sum 1.3 dB above it in the median, and 5.5 dB turn into 4.2.

References
----------
.. [1] k-LNM: practice of EBU, CEPT and GE06; formula from memory, checked against 10^6 draws in
   tests/sfn/reception/test_statistics.py.
.. [2] S. C. Schwartz and Y. S. Yeh, "On the distribution function and moments of power sums with
   log-normal components", Bell System Technical Journal 61(7), 1982.
"""

from concurrent.futures import Executor

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.reception.statistics_kernels import NEPER_DB, coverage_points
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm import profile, required_cn
from sfn.systems.ofdm_window import parts, window_times
from sfn.systems.service import Service

FloatArray = NDArray[np.float64]

# At 5.5 dB 0.7 gives the field that 95 % of places exceed within -0.3 to +0.4 dB; 0.5 would be optimistic by 1.5 dB.
DEFAULT_K_FACTOR = 0.7

POINTS_AT_A_TIME = 32_768
HERMITE_NODES_N = 80


def k_lnm_sum(
    median_dbuvm: ArrayLike, *, sigma_db: ArrayLike, k_factor: float = DEFAULT_K_FACTOR
) -> tuple[FloatArray, FloatArray]:
    """Median and spread of the sum of independent log-normal fields by the k-LNM [1]_.

    Parameters
    ----------
    median_dbuvm : (S, ...) array_like
        Medians; NaN: no field. Sums run over the first axis. [dBuV/m]
    sigma_db : float or array_like that fits
        Spread of each; 0 for a field that does not vary, as noise. [dB]
    k_factor : float
        0.7 for about 5.5 dB, 0.5 for 6 to 10 dB as a compromise, 1 for plain moments. [1]

    Returns
    -------
    median_dbuvm, sigma_db : arrays
        NaN where nothing is summed. [dBuV/m, dB]

    Raises
    ------
    ValueError
        If k is not above 0 and up to 1, or a spread is negative.

    Notes
    -----
    In nepers ``M = sum exp(F + s^2/2)``, ``V = sum exp(2F + s^2) (exp(s^2) - 1)``,
    ``sigma^2 = ln(1 + k V/M^2)``, ``F = ln M - sigma^2/2``.

    Examples
    --------
    >>> median, sigma = k_lnm_sum([60.0, 60.0], sigma_db=5.5)
    >>> print(f"{median:.3f} {sigma:.3f}")
    64.601 4.054
    """
    if not 0 < k_factor <= 1:
        raise ValueError(f"k_factor must be above 0 and at most 1, got {k_factor!r}")
    fields = np.asarray(median_dbuvm, dtype=np.float64) / NEPER_DB
    given_db = np.asarray(sigma_db, dtype=np.float64)
    if (given_db < 0).any():
        raise ValueError(f"sigma_db must be 0 or more dB, got {float(given_db.min())!r}")
    spreads = np.broadcast_to(given_db / NEPER_DB, fields.shape)
    highest = np.max(np.where(np.isnan(fields), -np.inf, fields), axis=0)
    relative = fields - np.where(np.isfinite(highest), highest, 0.0)  # keeps exponentials near one
    squares = spreads**2
    mean = np.nansum(np.exp(relative + squares / 2.0), axis=0)
    variance = np.nansum(np.exp(2.0 * relative + squares) * np.expm1(squares), axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        square = np.log1p(k_factor * variance / mean**2)
        median = np.where(mean > 0, np.log(mean) - square / 2.0 + highest, np.nan)
    return np.asarray(median * NEPER_DB), np.asarray(np.sqrt(square) * NEPER_DB)


def schwartz_yeh_sum(median_dbuvm: ArrayLike, *, sigma_db: ArrayLike) -> tuple[float, float]:
    """Mean and spread of the sum of independent log-normal fields after Schwartz and Yeh [2]_.

    Two at a time, strongest first, each pair's first two moments in decibels by Gauss-Hermite
    quadrature: exact for two, within 0.06 dB for seven. Slower than `k_lnm_sum`; a check of it.

    Parameters
    ----------
    median_dbuvm : (S,) array_like
        [dBuV/m]
    sigma_db : float or (S,) array_like
        [dB]

    Raises
    ------
    ValueError
        If there is no field.

    Examples
    --------
    >>> mean, sigma = schwartz_yeh_sum([60.0, 60.0], sigma_db=5.5)
    >>> print(f"{mean:.2f} {sigma:.2f}")
    64.37 4.21
    """
    fields = np.asarray(median_dbuvm, dtype=np.float64)
    there = np.isfinite(fields)
    if fields.ndim != 1 or not there.any():
        raise ValueError("median_dbuvm must be a list with at least one finite field")
    spreads = np.broadcast_to(np.asarray(sigma_db, dtype=np.float64), fields.shape)[there]
    fields = fields[there]
    nodes, shares = np.polynomial.hermite_e.hermegauss(HERMITE_NODES_N)
    shares = shares / shares.sum()
    order = np.argsort(-fields)
    mean, sigma = float(fields[order[0]]), float(spreads[order[0]])
    for place in order[1:]:
        one = mean + sigma * nodes[:, None]
        other = fields[place] + spreads[place] * nodes[None, :]
        total = np.logaddexp(one / NEPER_DB, other / NEPER_DB) * NEPER_DB
        mean = float(shares @ total @ shares)
        sigma = float(np.sqrt(shares @ (total - mean) ** 2 @ shares))
    return mean, sigma


def share_above(median_dbuvm: ArrayLike, *, sigma_db: ArrayLike, threshold_dbuvm: ArrayLike) -> FloatArray:
    """Share of places where a log-normal field exceeds a threshold, ``Phi((F - threshold)/sigma)``. [1]

    Examples
    --------
    >>> print(f"{float(share_above(60.0, sigma_db=5.5, threshold_dbuvm=56.0)):.3f}")
    0.766
    """
    from scipy.special import ndtr

    distance = np.asarray(median_dbuvm, dtype=np.float64) - np.asarray(threshold_dbuvm, dtype=np.float64)
    sigma = np.asarray(sigma_db, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        standing = np.where(np.isnan(distance), np.nan, np.where(distance >= 0, np.inf, -np.inf))
        return np.asarray(ndtr(np.where(sigma > 0, distance / sigma, standing)))


def coverage_probability(
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    service: Service,
    *,
    window_us: ArrayLike,
    level_1pct_dbuvm: ArrayLike | None = None,
    sigma_db: float | None = None,
    k_factor: float = DEFAULT_K_FACTOR,
    frequency_mhz: float | None = None,
    noise_dbuvm: ArrayLike | None = None,
    correlated: bool = True,
    executor: Executor | None = None,
) -> NDArray[np.float32]:
    """Share of places around each point where C/(N+I) of an OFDM service reaches the required C/N.

    Parameters
    ----------
    level_dbuvm, arrival_us : (S, M) array_like
        Medians over places at 50 % of time, and arrivals; NaN: not received. [dBuV/m, us]
    service : Service
        OFDM.
    window_us : (M,) array_like
        t0 at each point, as `sfn.systems.ofdm_map.ofdm_map` places it. [us]
    level_1pct_dbuvm : (S, M) array_like, optional
        At 1 % of time, for the interfering parts. [dBuV/m]
    sigma_db : float, optional
        Spread over places; the service's where not given. [dB]
    k_factor : float
        Of the log-normal sums. [1]
    frequency_mhz : float, optional
        Carrier, for the noise field. [MHz]
    noise_dbuvm : float or (M,) array_like, optional
        Noise as a field; it does not vary over places. [dBuV/m]
    correlated : bool
        A signal's useful and interfering part rise and fall together, as they come from one
        transmitter. False gives the usual formula, which takes them as independent and is off by twice
        as much, towards the optimistic side (measured in tests/sfn/reception/test_statistics.py).
    executor : concurrent.futures.Executor, optional
        Threads to share the points out to.

    Returns
    -------
    probability : (M,) float32 array
        NaN where nothing is received. [1]

    Raises
    ------
    ValueError
        If shapes differ or the service is not OFDM.

    Notes
    -----
    ``p = Phi((F_C - F_IN - PR)/sqrt(sC^2 + sI^2 - 2 c))`` with both sums by the k-LNM [1]_ and, if
    `correlated`, ``c = ln(1 + k sum(U_i R_i)(exp(s^2) - 1)/(M_C M_IN))`` in nepers, U_i and R_i the
    means of a transmitter's two parts. The window and the required C/N stay what the medians make of them.
    """
    levels, arrivals = (np.ascontiguousarray(a, dtype=np.float64) for a in (level_dbuvm, arrival_us))
    rare = levels if level_1pct_dbuvm is None else np.ascontiguousarray(level_1pct_dbuvm, dtype=np.float64)
    windows = np.ascontiguousarray(window_us, dtype=np.float64)
    if levels.ndim != 2 or not levels.shape == arrivals.shape == rare.shape or windows.shape != levels.shape[1:]:
        raise ValueError(
            "levels and arrivals must have one shape (S, M) and window_us (M,), got "
            f"{levels.shape}, {rare.shape}, {arrivals.shape}, {windows.shape}"
        )
    if not 0 < k_factor <= 1:
        raise ValueError(f"k_factor must be above 0 and at most 1, got {k_factor!r}")
    if noise_dbuvm is None:
        noise_dbuvm = noise_field_dbuvm(service, frequency_mhz=frequency_mhz)
    noise = 10.0 ** (np.atleast_1d(np.asarray(noise_dbuvm, dtype=np.float64)) / 10.0)
    times = window_times(service).clock()
    needed = np.array([*profile(service), float(service.required_cn_db or 0.0)])
    points = levels.shape[1]
    if noise.shape not in {(1,), (points,)}:
        raise ValueError(f"noise_dbuvm must be one field or one for each of {points} points, got shape {noise.shape}")
    probability = np.empty(points, np.float32)

    def some(start: int) -> None:
        coverage_points(
            levels,
            rare,
            arrivals,
            windows,
            noise,
            times,
            needed,
            service.location_sigma_db if sigma_db is None else sigma_db,
            k_factor,
            correlated,
            start,
            min(start + POINTS_AT_A_TIME, points),
            probability,
        )

    starts = range(0, points, POINTS_AT_A_TIME)
    for _ in map(some, starts) if executor is None else executor.map(some, starts):
        pass
    return probability


def simulated_coverage(
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    service: Service,
    *,
    window_us: float,
    noise_dbuvm: float,
    level_1pct_dbuvm: ArrayLike | None = None,
    sigma_db: float | None = None,
    draws_n: int = 100_000,
    seed: int = 1,
) -> float:
    """The same share at one point by drawing each transmitter's field: the clean reference, too slow for maps.

    Parameters
    ----------
    level_dbuvm, arrival_us, level_1pct_dbuvm : (S,) array_like
        As in `coverage_probability`, all finite. [dBuV/m, us]
    service : Service
        OFDM.
    window_us, noise_dbuvm : float
        t0 and noise as a field. [us, dBuV/m]
    sigma_db : float, optional
        Spread over places; the service's where not given. [dB]
    draws_n, seed : int
        Number of draws; the standard error is at most ``0.5/sqrt(draws_n)``.

    Returns
    -------
    probability : float
        [1]
    """
    levels, arrivals = np.asarray(level_dbuvm, dtype=np.float64), np.asarray(arrival_us, dtype=np.float64)
    rare = levels if level_1pct_dbuvm is None else np.asarray(level_1pct_dbuvm, dtype=np.float64)
    spread_db = service.location_sigma_db if sigma_db is None else sigma_db
    share, share_against = parts(arrivals - window_us, service=service)
    faded = 10.0 ** (spread_db * np.random.default_rng(seed).standard_normal((draws_n, levels.size)) / 10.0)
    useful = faded @ (share * 10.0 ** (levels / 10.0))
    rest = faded @ (share_against * 10.0 ** (rare / 10.0)) + 10.0 ** (noise_dbuvm / 10.0)
    required_cn_db = required_cn(share * 10.0 ** (levels / 10.0), service=service)
    return float(np.mean(useful >= rest * 10.0 ** (required_cn_db / 10.0)))
