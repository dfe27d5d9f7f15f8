"""OFDM reception of a list of signals: window, useful and interfering parts, C/(N+I).

| symbol | name | meaning |
|---|---|---|
| Tu, Tg, Tp | `useful_us`, `guard_us`, `equalisation_us` | of the service |
| t0 | `window_us` | earliest arrival that is still free of intersymbol interference |
| tau | `late_us` | arrival less t0 |
| w | weight | useful part of a signal's power; the rest interferes |
| X | `threshold_db` | of the strategy "first" |

The FFT window opens Tg after the start of the symbol of a path that arrives at t0, so signals with
tau from 0 to Tg lie in the guard interval. Real receivers' algorithms are their makers' secret:
the strategies bracket them, and `best` is what no receiver can exceed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.service import Service

FloatArray = NDArray[np.float64]

STRATEGIES = ("strongest", "first", "centre-of-gravity", "quasi-optimal", "best")

# Shown where nothing else is chosen: two that receivers are known to use, never the upper bound alone.
USUAL_STRATEGIES = ("strongest", "first")

DEFAULT_THRESHOLD_DB = 15.0

# A candidate at a cliff of the weight stands this far inside it. [us]
INSIDE_CLIFF_US = 1e-6
# A signal just at a threshold counts, whatever rounding makes of it. [dB]
ROUNDING_DB = 4e-6
# Rounding of sums of times must not push a signal over the edge of the guard interval. [us]
EDGE_US = 1e-9


def weight(late_us: ArrayLike, *, service: Service) -> FloatArray:
    """Useful part of a signal's power by its arrival after t0.

    Parameters
    ----------
    late_us : array_like
        Arrival less t0. [us]
    service : Service
        OFDM; differential services have no equalisation limit.

    Returns
    -------
    weight : array
        From 0 to 1. 1 in the guard interval; ``((Tu + tau)/Tu)^2`` before it, down to 0 at
        ``Tg - Tp``; ``((Tu + Tg - tau)/Tu)^2`` after it, to 0 beyond Tp.

    Raises
    ------
    ValueError
        If the service is not OFDM.

    Notes
    -----
    The squared law follows from the part of the window that still holds the signal's own symbol
    (shown by simulation in tests/sfn/systems/test_ofdm_simulation.py). The cut at Tp is planning
    practice (EBU BPN 059, ITU-R BT.2386 Part 2; from memory).

    Examples
    --------
    >>> from sfn.systems.service import service
    >>> weight([-30.0, 0.0, 240.0, 262.0], service=service("dvb-t-8k-1/4-8mhz")).round(5).tolist()
    [0.93416, 1.0, 0.9646, 0.0]
    """
    times = window_times(service)
    late = np.asarray(late_us, dtype=np.float64)
    outside_us = np.maximum(np.maximum(-late, late - times.guard_us) - EDGE_US, 0.0)
    reached = (late > -times.early_us) & (late < times.late_us)
    return np.where(reached, np.square(np.maximum(1.0 - outside_us / times.useful_us, 0.0)), 0.0)


@dataclass(frozen=True, slots=True)
class WindowTimes:
    """Times of the weighting function, edges widened or narrowed by `EDGE_US` so that rounding can't decide.

    Parameters
    ----------
    useful_us, guard_us : float
        Tu and Tg. [us]
    reach_us : float or None
        Tp, never under Tg; None without a limit. [us]
    early_us, late_us : float
        A signal is useful in part while ``-early_us < tau < late_us``. [us]
    """

    useful_us: float
    guard_us: float
    reach_us: float | None
    early_us: float
    late_us: float


def window_times(service: Service) -> WindowTimes:
    """Tu, Tg, Tp and how early and how late a signal may be and still be useful in part.

    Early to ``Tp - Tg`` (not quite), late to Tp; without a limit Tu before and Tu after the guard interval.

    Raises
    ------
    ValueError
        If the service is not OFDM.
    """
    if service.kind != "ofdm" or service.useful_us is None or service.guard_us is None:
        raise ValueError(f"service must be OFDM to have an FFT window, got {service.id} ({service.kind})")
    useful_us, guard_us, reach_us = service.useful_us, service.guard_us, service.equalisation_us
    if service.differential or reach_us is None:
        return WindowTimes(useful_us, guard_us, None, useful_us, useful_us + guard_us)
    reach_us = min(max(reach_us, guard_us), useful_us + guard_us)
    early_us = reach_us - guard_us
    return WindowTimes(
        useful_us, guard_us, reach_us, early_us - EDGE_US if early_us > EDGE_US else EDGE_US, reach_us + EDGE_US
    )


def candidate_windows(arrival_us: ArrayLike, *, service: Service, cliffs: bool) -> FloatArray:
    """Windows worth trying: each t_i and t_i - Tg; with `cliffs` also t_i + Tp - Tg and t_i - Tp, just inside.

    Between two of these the useful power is convex in t0 and the interference concave, so C/(N+I) is
    largest at one of them: with `cliffs` this is the maximum over every t0, not an estimate of it.

    Parameters
    ----------
    arrival_us : (S,) array_like
        [us]
    service : Service
        OFDM.
    cliffs : bool
        Whether to try the ends of the equalisation interval too.

    Returns
    -------
    window_us : (2 S,) or (4 S,) array
        In the order of preference when they are equally good. [us]
    """
    times = window_times(service)
    arrival = np.sort(np.asarray(arrival_us, dtype=np.float64))
    groups = [arrival, arrival - times.guard_us]
    if cliffs and times.reach_us is not None:
        early_us = times.reach_us - times.guard_us
        groups += [arrival + early_us - INSIDE_CLIFF_US, arrival - times.reach_us + INSIDE_CLIFF_US]
    return np.concatenate(groups)


def window(
    strategy: str,
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    *,
    service: Service,
    level_1pct_dbuvm: ArrayLike | None = None,
    threshold_db: float = DEFAULT_THRESHOLD_DB,
    noise_dbuvm: float = -np.inf,
) -> float:
    """t0 of one strategy for one list of signals.

    Parameters
    ----------
    strategy : str
        One of `STRATEGIES`.
    level_dbuvm, arrival_us : (S,) array_like
        Levels at 50 % of time and arrivals; NaN levels don't count. [dBuV/m, us]
    service : Service
        OFDM.
    level_1pct_dbuvm : (S,) array_like, optional
        Levels at 1 % of time, for the interfering parts. [dBuV/m]
    threshold_db : float
        X of "first": how far below the strongest a signal still counts. [dB]
    noise_dbuvm : float
        [dBuV/m]

    Returns
    -------
    window_us : float
        On the axis of `arrival_us`. [us]

    Raises
    ------
    ValueError
        If there is no such strategy or no signal.
    """
    levels, arrivals, interfering = _received(level_dbuvm, arrival_us, level_1pct_dbuvm)
    powers = 10.0 ** (levels / 10.0)
    if strategy == "strongest":
        return float(arrivals[np.lexsort((arrivals, -levels))[0]])
    if strategy == "first":
        if not threshold_db >= 0:
            raise ValueError(f"threshold_db must be 0 or more dB, got {threshold_db!r}")
        return float(arrivals[levels >= levels.max() - threshold_db - ROUNDING_DB].min())
    if strategy == "centre-of-gravity":
        start_us = arrivals.min()
        centre_us = start_us + float(powers @ (arrivals - start_us)) / powers.sum()
        return float(centre_us - window_times(service).guard_us / 2.0)
    if strategy not in STRATEGIES:
        raise ValueError(f"strategy must be one of {', '.join(STRATEGIES)}, got {strategy!r}")
    windows = candidate_windows(arrivals, service=service, cliffs=strategy == "best")
    weights = weight(arrivals[None, :] - windows[:, None], service=service)
    wanted = weights @ powers
    against = (1.0 - weights) @ 10.0 ** (interfering / 10.0) + 10.0 ** (noise_dbuvm / 10.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        merit = np.where(against > 0, wanted / against, np.inf)
    # Equally good windows are told apart by their order, not by rounding.
    return float(windows[np.argmax(merit >= merit.max() * (1.0 - 1e-12))])


def _received(
    level_dbuvm: ArrayLike, arrival_us: ArrayLike, level_1pct_dbuvm: ArrayLike | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The signals that are there: levels at 50 %, arrivals, levels at 1 % of time."""
    levels = np.asarray(level_dbuvm, dtype=np.float64)
    arrivals = np.asarray(arrival_us, dtype=np.float64)
    rare = levels if level_1pct_dbuvm is None else np.asarray(level_1pct_dbuvm, dtype=np.float64)
    if not levels.shape == arrivals.shape == rare.shape or levels.ndim != 1:
        raise ValueError(
            "level_dbuvm, arrival_us and level_1pct_dbuvm must be lists of the same length, got shapes "
            f"{levels.shape}, {arrivals.shape}, {rare.shape}"
        )
    there = np.isfinite(levels)
    if not there.any():
        raise ValueError("level_dbuvm must hold at least one finite level, got none")
    if not np.isfinite(arrivals[there]).all():
        raise ValueError("arrival_us must be finite wherever there is a level, got a value that is not")
    rare = np.where(np.isfinite(rare), rare, levels)
    return levels[there], arrivals[there], rare[there]


def ofdm_answer(
    level_dbuvm: ArrayLike,
    delay_us: ArrayLike,
    service: Service,
    *,
    levels_1pct: ArrayLike | None = None,
    threshold_db: float = DEFAULT_THRESHOLD_DB,
    strategies: Sequence[str] = STRATEGIES,
    frequency_mhz: float | None = None,
    noise_dbuvm: float | None = None,
) -> dict[str, Any]:
    """What every strategy makes of one list of signals.

    Parameters
    ----------
    level_dbuvm, delay_us : (S,) array_like
        Levels at 50 % of time and arrivals on any axis. NaN levels: not received. [dBuV/m, us]
    service : Service
        OFDM.
    levels_1pct : (S,) array_like, optional
        Levels at 1 % of time; the same levels where not given. [dBuV/m]
    threshold_db : float
        Of the strategy "first". [dB]
    strategies : sequence of str
        Those to answer, of `STRATEGIES`.
    frequency_mhz : float, optional
        Carrier, for the noise field; the service's reference frequency where not given. [MHz]
    noise_dbuvm : float, optional
        Noise as a field, worked out from the service where not given. [dBuV/m]

    Returns
    -------
    answer : dict
        ``noise_dbuvm``, ``required_cn_db``, ``strategies`` (each with ``window_us``,
        ``wanted_dbuvm``, ``interference_dbuvm``, ``ci_db``, ``cni_db``, ``margin_db``, ``wanted`` and
        ``hurts`` (places in the list), ``signals``), ``least_favourable`` and
        ``strongest_alone_margin_db``. None stands for infinite: no interference, or nothing useful.

    Raises
    ------
    ValueError
        If the service is not OFDM, or the lists are unusable.

    Notes
    -----
    Wanted at 50 % and interfering at 1 % of time. Self-interference counts as noise.
    """
    levels, arrivals, rare = _received(level_dbuvm, delay_us, levels_1pct)
    places = np.flatnonzero(np.isfinite(np.asarray(level_dbuvm, dtype=np.float64)))
    noise = noise_field_dbuvm(service, frequency_mhz=frequency_mhz) if noise_dbuvm is None else noise_dbuvm
    required_cn_db = float(service.required_cn_db or 0.0)
    answers = []
    for strategy in strategies:
        window_us = window(
            strategy,
            levels,
            arrivals,
            service=service,
            level_1pct_dbuvm=rare,
            threshold_db=threshold_db,
            noise_dbuvm=noise,
        )
        answers.append({"strategy": strategy, **_split(levels, arrivals, rare, window_us, service, noise, places)})
    least = min(answers, key=lambda a: -np.inf if a["margin_db"] is None else a["margin_db"], default=None)
    return {
        "noise_dbuvm": float(noise),
        "required_cn_db": required_cn_db,
        "threshold_db": float(threshold_db),
        "strongest_alone_margin_db": float(levels.max() - noise - required_cn_db),
        "least_favourable": None if least is None else least["strategy"],
        "strategies": answers,
    }


def _split(
    levels: FloatArray,
    arrivals: FloatArray,
    rare: FloatArray,
    window_us: float,
    service: Service,
    noise_dbuvm: float,
    places: NDArray[np.intp],
) -> dict[str, Any]:
    """Useful and interfering sums for one window, with each signal's part."""
    weights = weight(arrivals - window_us, service=service)
    useful = weights * 10.0 ** (levels / 10.0)
    against = (1.0 - weights) * 10.0 ** (rare / 10.0)
    wanted_db = _decibels(float(useful.sum()))
    interference_db = _decibels(float(against.sum()))
    noise_and_interference_db = _decibels(float(against.sum() + 10.0 ** (noise_dbuvm / 10.0)))
    cni_db = None if wanted_db is None else wanted_db - float(noise_and_interference_db or 0.0)
    return {
        "window_us": window_us,
        "wanted_dbuvm": wanted_db,
        "interference_dbuvm": interference_db,
        "ci_db": None if interference_db is None or wanted_db is None else wanted_db - interference_db,
        "cni_db": cni_db,
        "margin_db": None if cni_db is None else cni_db - float(service.required_cn_db or 0.0),
        "wanted": int(places[np.argmax(useful)]),
        "hurts": int(places[np.argmax(against)]) if interference_db is not None else None,
        "signals": [
            {"place": int(place), "late_us": float(late), "weight": float(part)}
            for place, late, part in zip(places, arrivals - window_us, weights, strict=True)
        ],
    }


def _decibels(power: float) -> float | None:
    """10 log10, None for nothing at all."""
    return float(10.0 * np.log10(power)) if power > 0 else None
