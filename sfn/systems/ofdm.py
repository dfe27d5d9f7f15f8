"""OFDM reception of a list of signals: useful and interfering parts, required C/N, C/(N+I) by window strategy.

`sfn.systems.ofdm_window` says where windows stand and what of a signal is useful then. This is the form to read;
`sfn.systems.ofdm_map` gives the same for many points, held to this one by tests/sfn/systems/test_ofdm_map.py.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm_window import (
    MAP_STRATEGY,
    RISK_STRATEGY,
    STRATEGIES,
    Placing,
    filled,
    parts,
    place_window,
    window_times,
)
from sfn.systems.service import Service

FloatArray = NDArray[np.float64]


def required_cn(useful: ArrayLike, *, service: Service) -> float:
    """Required C/N for a profile of useful powers: Rice for one, Rayleigh for many, most for two equal ones.

    Parameters
    ----------
    useful : (S,) array_like
        Useful part of each signal's power, on any linear scale.
    service : Service
        OFDM, with its three figures.

    Returns
    -------
    required_cn_db : float
        [dB]

    Notes
    -----
    Two waves with a diffuse rest: with shares a >= b of the two strongest and c = 1 - a - b of all others,
    ``e = log2(1 + b/a)`` goes from the Rice figure to that of the 0 dB echo (what a two-path channel takes off the
    geometric mean over carriers, Jensen's formula) and ``d = 1 - (1 - c)^2.5`` from there to the Rayleigh figure (the
    same mean for one wave with a diffuse rest, ``ln(1 - c) + E1((1 - c)/c)``, within 0.1 of the way). Against mutual
    information of coded QAM over the carriers it is within 0.3 dB for two paths and up to 0.8 dB on the safe side for
    three, tests/sfn/systems/test_ofdm_receiver.py.

    Examples
    --------
    >>> from sfn.systems.service import service
    >>> t2 = service("dvb-t2-32k-19/128-pp2-8mhz")
    >>> [round(required_cn(p, service=t2), 2) for p in ([1], [1, 1], [1, 0.1], [1] * 12)]
    [20.0, 22.6, 20.36, 22.11]
    """
    planned_db = float(service.required_cn_db or 0.0)
    ordered = -np.sort(-np.asarray(useful, dtype=np.float64))
    if not ordered.size or not ordered[0] > 0:
        return planned_db
    rice_db, rayleigh_db, echo_db = profile(service)
    second = float(ordered[1]) if ordered.size > 1 else 0.0
    rest = float(ordered[2:].sum()) / float(ordered.sum())
    diffuse = 1.0 - (1.0 - rest) ** 2.5
    two_db = rice_db + (echo_db - rice_db) * float(np.log2(1.0 + second / ordered[0]))
    return float(two_db + (rayleigh_db - two_db) * diffuse)


def profile(service: Service) -> tuple[float, float, float]:
    """Required C/N of a service for Rice, Rayleigh and the 0 dB echo; all the same where it gives one figure. [dB]"""
    planned_db = float(service.required_cn_db or 0.0)
    given = (service.required_cn_rice_db, service.required_cn_rayleigh_db, service.required_cn_echo_db)
    rice_db, rayleigh_db, echo_db = (planned_db if value is None else value for value in given)
    return rice_db, rayleigh_db, echo_db


def window(
    placing: Placing,
    level_dbuvm: ArrayLike,
    arrival_us: ArrayLike,
    *,
    service: Service,
    level_1pct_dbuvm: ArrayLike | None = None,
    noise_dbuvm: float = -np.inf,
) -> float:
    """t0 of one placing for one list of signals; NaN levels don't count. [us]

    Parameters
    ----------
    placing : Placing
        Strategy, back-off and threshold.
    level_dbuvm, arrival_us, level_1pct_dbuvm : (S,) array_like
        As for `ofdm_answer`. [dBuV/m, us]
    service : Service
        OFDM.
    noise_dbuvm : float
        [dBuV/m]

    Raises
    ------
    ValueError
        If there is no such strategy or no signal, or a figure of the placing is out of its range.
    """
    levels, arrivals, interfering = _received(level_dbuvm, arrival_us, level_1pct_dbuvm)
    return place_window(placing, levels, arrivals, service=service, against_dbuvm=interfering, noise_dbuvm=noise_dbuvm)


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
    placing: Placing | None = None,
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
    placing : Placing, optional
        The strategy that counts, with its back-off; others keep their own. Its threshold is that of "first".
    strategies : sequence of str
        Those to answer, of `STRATEGIES`.
    frequency_mhz : float, optional
        Carrier, for the noise field; the service's reference frequency where not given. [MHz]
    noise_dbuvm : float, optional
        Noise as a field, worked out from the service where not given. [dBuV/m]

    Returns
    -------
    answer : dict
        ``noise_dbuvm``, ``required_cn_db`` (as planned with), ``required_cn_profile`` (Rice, Rayleigh, 0 dB echo),
        ``threshold_db``, ``chosen`` and ``risk`` (strategies), ``least_favourable``, ``strongest_alone_margin_db`` and
        ``strategies``, each with ``window_us``, ``backoff_us``, ``equaliser_start_us``, ``equaliser_us``,
        ``wanted_dbuvm``, ``interference_dbuvm``, ``ci_db``, ``cni_db``, ``required_cn_db`` (of its profile),
        ``margin_db``, ``wanted`` and ``hurts`` (places in the list), ``signals`` (``place``, ``late_us``, ``weight``,
        ``against``). None stands for infinite (no interference, nothing useful) and for what a strategy has not.

    Raises
    ------
    ValueError
        If the service is not OFDM, or the lists or the placing are unusable.

    Notes
    -----
    Wanted at 50 % and interfering at 1 % of time. Self-interference counts as noise.
    """
    levels, arrivals, rare = _received(level_dbuvm, delay_us, levels_1pct)
    places = np.flatnonzero(np.isfinite(np.asarray(level_dbuvm, dtype=np.float64)))
    noise = noise_field_dbuvm(service, frequency_mhz=frequency_mhz) if noise_dbuvm is None else noise_dbuvm
    chosen = filled(placing or Placing(), service)
    answers = []
    for strategy in strategies:
        own = chosen if strategy == chosen.strategy else filled(Placing(strategy, None, chosen.threshold_db), service)
        at_us = place_window(own, levels, arrivals, service=service, against_dbuvm=rare, noise_dbuvm=noise)
        split = _split(levels, arrivals, rare, at_us, service, noise, places)
        answers.append({"strategy": strategy, "backoff_us": own.backoff_us, **split})
    least = min(answers, key=lambda a: -np.inf if a["margin_db"] is None else a["margin_db"], default=None)
    rice_db, rayleigh_db, echo_db = profile(service)
    return {
        "noise_dbuvm": float(noise),
        "required_cn_db": float(service.required_cn_db or 0.0),
        "required_cn_profile": {"rice_db": rice_db, "rayleigh_db": rayleigh_db, "echo_db": echo_db},
        "threshold_db": float(chosen.threshold_db or 0.0),
        "chosen": chosen.strategy,
        "risk": RISK_STRATEGY,
        "strongest_alone_margin_db": float(levels.max() - noise - rice_db),
        "least_favourable": None if least is None else least["strategy"],
        "strategies": answers,
    }


def of_strategy(answer: Mapping[str, Any], strategy: str | None = None) -> Mapping[str, Any]:
    """One strategy's part of an answer; the chosen one's where none is named."""
    wanted = answer.get("chosen", MAP_STRATEGY) if strategy is None else strategy
    lines: Sequence[Mapping[str, Any]] = answer["strategies"]
    return next(one for one in lines if one["strategy"] == wanted)


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
    times = window_times(service)
    share, share_against = parts(arrivals - window_us, service=service)
    useful = share * 10.0 ** (levels / 10.0)
    against = share_against * 10.0 ** (rare / 10.0)
    wanted_db = _decibels(float(useful.sum()))
    interference_db = _decibels(float(against.sum()))
    noise_and_interference_db = _decibels(float(against.sum() + 10.0 ** (noise_dbuvm / 10.0)))
    cni_db = None if wanted_db is None else wanted_db - float(noise_and_interference_db or 0.0)
    needed_db = required_cn(useful, service=service)
    middle_us = window_us + times.guard_us / 2
    return {
        "window_us": window_us,
        "equaliser_start_us": None if times.full_us is None else middle_us - times.full_us / 2,
        "equaliser_us": times.full_us,
        "wanted_dbuvm": wanted_db,
        "interference_dbuvm": interference_db,
        "ci_db": None if interference_db is None or wanted_db is None else wanted_db - interference_db,
        "cni_db": cni_db,
        "required_cn_db": needed_db,
        "margin_db": None if cni_db is None else cni_db - needed_db,
        "wanted": int(places[np.argmax(useful)]),
        "hurts": int(places[np.argmax(against)]) if interference_db is not None else None,
        "signals": [
            {"place": int(place), "late_us": float(late), "weight": float(part), "against": float(rest)}
            for place, late, part, rest in zip(places, arrivals - window_us, share, share_against, strict=True)
        ],
    }


def _decibels(power: float) -> float | None:
    """10 log10, None for nothing at all."""
    return float(10.0 * np.log10(power)) if power > 0 else None
