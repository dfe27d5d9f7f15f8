"""Where an OFDM receiver opens its FFT window, and what of each signal is then useful.

| symbol | name | meaning |
|---|---|---|
| Tu, Tg | `useful_us`, `guard_us` | useful part and guard interval of the service |
| Tp | `full_us` | width in delay that the equaliser follows fully |
| Te | `limit_us` | width beyond which it follows nothing: the pilots' own limit, Tu/Dx |
| t0 | `window_us` | earliest arrival that is still free of intersymbol interference |
| tau | `late_us` | arrival less t0 |
| b | `backoff_us` | how far inside the guard interval, from its first instant, a strategy puts its anchor |
| X | `threshold_db` | of the strategy "first" |

The FFT window opens Tg after the start of the symbol of a path that arrives at t0, so signals with tau from 0 to Tg
lie in the guard interval. The equaliser limits the *spread* of arrivals, not their place: its interval is centred on
the guard interval of the chosen window, as receivers derive it from the window's profile of arrivals.

Real receivers' algorithms are their makers' secret. The strategies bracket them: "strongest" and "first" are named in
ITU-R BT.2386 Part 2 sections 2.3 and 2.4 and EBU TR 24 section 2.4 (headings read); "centre-of-gravity" and
"quasi-optimal" come from the same texts (definitions from memory); the back-offs are engineering judgement. "best" is
what no receiver exceeds: a bound, never a map's.

"quasi-optimal" weighs every signal by its energy at 50 % of time, however weak beside the strongest: to overlook one
when the window is placed, and charge it with its 1 % level afterwards, would be a loss that no receiver has.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.systems.service import Service
from sfn.units import THIN, grouped

FloatArray = NDArray[np.float64]

STRATEGIES = ("strongest", "first", "centre-of-gravity", "quasi-optimal", "best")
# What a map may be drawn for; the first figure beside it is always what RISK_STRATEGY would serve.
MAP_STRATEGIES = STRATEGIES[:-1]
MAP_STRATEGY = "quasi-optimal"
RISK_STRATEGY = "strongest"

# Default back-offs as parts of the guard interval: most echoes are late, so "strongest" keeps more room behind.
STRONGEST_BACKOFF, FIRST_BACKOFF, CENTRE_BACKOFF = 1 / 4, 1 / 16, 1 / 2
LEAST_FIRST_BACKOFF_US = 2.0
# X is the required C/N, but receivers look neither less nor more deeply than this. [dB]
THRESHOLD_DB = (8.0, 20.0)
# Left out of placing and, by the compiled forms, of interference: signals whose levels at 50 % and at 1 % of time both
# lie this far below the noise and below the strongest. No other is: what may hurt also counts in placing. [dB]
BELOW_NOISE_DB, BELOW_STRONGEST_DB = 50.0, 30.0

# A signal just at a threshold counts, whatever rounding makes of it. [dB]
ROUNDING_DB = 4e-6
# Energies closer than this are equal but for rounding, and the earlier window is taken.
EQUAL_ENERGY = 1e-12
# Rounding of sums of times must not push a signal over the edge of the guard interval. [us]
EDGE_US = 1e-9
# "best": places tried on each slope of the equaliser, and rounds of looking closer around the best of them.
SLOPE_STEPS_N, CLOSER_ROUNDS_N, CLOSER_N = 8, 5, 17


@dataclass(frozen=True, slots=True)
class Placing:
    """How a receiver places its window; None: the strategy's own default for the service.

    Parameters
    ----------
    strategy : str
        One of `STRATEGIES`.
    backoff_us : float or None
        b of "strongest", "first" or "centre-of-gravity"; "quasi-optimal" and "best" have none. [us]
    threshold_db : float or None
        X of "first". [dB]
    """

    strategy: str = MAP_STRATEGY
    backoff_us: float | None = None
    threshold_db: float | None = None

    @property
    def says(self) -> str:
        """In words, with the figures that count for the strategy."""
        figures = [] if self.backoff_us is None else [f"back-off {grouped(self.backoff_us, '.1f')}{THIN}µs"]
        if self.strategy == "first" and self.threshold_db is not None:
            figures.append(f"down to {grouped(self.threshold_db, '.1f')}{THIN}dB below the strongest")
        if self.strategy == "quasi-optimal":
            figures = ["most energy in the guard interval, every usable signal counted, slack halved"]
        return self.strategy + (f" ({', '.join(figures)})" if figures else "")


@dataclass(frozen=True, slots=True)
class WindowTimes:
    """Tu, Tg, and the widths that the equaliser follows fully and not at all (None without a limit). [us]"""

    useful_us: float
    guard_us: float
    full_us: float | None
    limit_us: float | None

    @property
    def mistaken_ratio(self) -> float:
        """Data carriers lie between pilots, where the error is: Tu/(Tu - Te) is Dx/(Dx - 1)."""
        return (
            0.0 if self.limit_us is None else self.useful_us / max(self.useful_us - self.limit_us, self.useful_us / 2)
        )

    def clock(self) -> FloatArray:
        """For compiled loops: Tu, Tg, Tp/2 (inf: no limit), 1/(Te/2 - Tp/2), edges, Tu/(Tu - Te); shape (6,)."""
        if self.full_us is None or self.limit_us is None:
            return np.array([self.useful_us, self.guard_us, np.inf, 1.0, EDGE_US, 0.0])
        return np.array(
            [
                self.useful_us,
                self.guard_us,
                self.full_us / 2,
                2 / (self.limit_us - self.full_us),
                EDGE_US,
                self.mistaken_ratio,
            ]
        )


def window_times(service: Service) -> WindowTimes:
    """Times of a service's window and equaliser.

    Raises
    ------
    ValueError
        If the service is not OFDM.
    """
    if service.kind != "ofdm" or service.useful_us is None or service.guard_us is None:
        raise ValueError(f"service must be OFDM to have an FFT window, got {service.id} ({service.kind})")
    full_us, limit_us = service.equalisation_us, service.equalisation_limit_us
    if service.differential or full_us is None or limit_us is None:
        return WindowTimes(service.useful_us, service.guard_us, None, None)
    return WindowTimes(service.useful_us, service.guard_us, full_us, limit_us)


def parts(late_us: ArrayLike, *, service: Service) -> tuple[FloatArray, FloatArray]:
    """Useful and interfering part of a signal's power by its arrival after t0.

    Parameters
    ----------
    late_us : array_like
        Arrival less t0. [us]
    service : Service
        OFDM; differential services have no equaliser.

    Returns
    -------
    useful, against : arrays
        Useful: ``((Tu + tau)/Tu)^2`` before the guard interval, 1 in it, ``((Tu + Tg - tau)/Tu)^2`` after it, times
        the equaliser's ``cos^2(pi x/2)``, where x runs from 0 at Tp/2 to 1 at Te/2 from the middle of the guard
        interval. Against: what of the power is not of the window's symbol, and of the rest ``x^2/2 Tu/(Tu - Te)``
        up to x = 2: an equaliser whose gain falls evenly misses a part of what it should follow, and pilots take as
        much for an arrival Te away, so that carriers are corrected by what is not there. This may exceed 1.

    Raises
    ------
    ValueError
        If the service is not OFDM.

    Notes
    -----
    The squared law follows from the part of the window that still holds the signal's own symbol; both parts are held
    to a symbol-level simulation with pilots in tests/sfn/systems/test_ofdm_receiver.py.

    Examples
    --------
    >>> from sfn.systems.service import service
    >>> useful, against = parts([-17.0, 0.0, 240.0, 300.0], service=service("dvb-t-8k-1/4-8mhz"))
    >>> useful.round(4).tolist(), against.round(4).tolist()
    ([0.9624, 1.0, 0.9646, 0.0], [0.0376, 0.0, 0.0354, 2.6751])
    """
    times = window_times(service)
    late = np.asarray(late_us, dtype=np.float64)
    outside_us = np.maximum(np.maximum(-late, late - times.guard_us) - EDGE_US, 0.0)
    coherent = np.square(np.maximum(1.0 - outside_us / times.useful_us, 0.0))
    if times.full_us is None or times.limit_us is None:
        return coherent, 1.0 - coherent
    over_us = np.abs(late - times.guard_us / 2) - times.full_us / 2
    along = over_us / ((times.limit_us - times.full_us) / 2)
    followed = np.where(along < 1.0, np.square(np.cos(np.pi / 2 * np.clip(along, 0.0, 1.0))), 0.0)
    missed = np.square(np.clip(along, 0.0, 2.0)) / 2.0 * times.mistaken_ratio
    return coherent * followed, 1.0 - coherent + coherent * missed


def weight(late_us: ArrayLike, *, service: Service) -> FloatArray:
    """Useful part of a signal's power alone, from 0 to 1; see `parts`.

    Examples
    --------
    >>> from sfn.systems.service import service
    >>> weight([-100.0, 0.0, 300.0], service=service("dab-mode-1")).round(5).tolist()
    [0.81, 1.0, 0.89509]
    """
    return parts(late_us, service=service)[0]


def filled(placing: Placing, service: Service) -> Placing:
    """A placing with the strategy's defaults for the service in place of None.

    Raises
    ------
    ValueError
        If there is no such strategy, the back-off is not within the guard interval or the threshold below 0.
    """
    if placing.strategy not in STRATEGIES:
        raise ValueError(f"strategy must be one of {', '.join(STRATEGIES)}, got {placing.strategy!r}")
    guard_us = window_times(service).guard_us
    usual_us = {
        "strongest": STRONGEST_BACKOFF * guard_us,
        "first": min(max(FIRST_BACKOFF * guard_us, LEAST_FIRST_BACKOFF_US), guard_us),
        "centre-of-gravity": CENTRE_BACKOFF * guard_us,
    }.get(placing.strategy)
    if usual_us is None and placing.backoff_us is not None:
        raise ValueError(f"{placing.strategy} has no back-off: it finds its own place, got {placing.backoff_us!r} us")
    backoff_us = usual_us if placing.backoff_us is None or usual_us is None else placing.backoff_us
    if backoff_us is not None and not 0 <= backoff_us <= guard_us:
        raise ValueError(f"backoff_us must be within the guard interval, 0 to {guard_us:g} us, got {backoff_us!r}")
    threshold_db = placing.threshold_db
    if threshold_db is None:
        threshold_db = float(np.clip(service.required_cn_db or 0.0, *THRESHOLD_DB))
    if not threshold_db >= 0:
        raise ValueError(f"threshold_db must be 0 or more dB, got {threshold_db!r}")
    return replace(placing, backoff_us=backoff_us, threshold_db=threshold_db)


def place_window(
    placing: Placing,
    level_dbuvm: FloatArray,
    arrival_us: FloatArray,
    *,
    service: Service,
    against_dbuvm: FloatArray | None = None,
    noise_dbuvm: float = -np.inf,
) -> float:
    """t0 of a placing for one list of signals.

    Parameters
    ----------
    placing : Placing
    level_dbuvm, arrival_us : ndarray, shape (S,)
        Levels at 50 % of time and arrivals, finite. [dBuV/m, us]
    service : Service
        OFDM.
    against_dbuvm : ndarray, shape (S,), optional
        Levels at 1 % of time, of the interfering parts; the same levels where not given. [dBuV/m]
    noise_dbuvm : float
        For "best", and for what is left out (`BELOW_NOISE_DB`); nothing is where not given. [dBuV/m]

    Returns
    -------
    window_us : float
        On the axis of `arrival_us`. [us]

    Raises
    ------
    ValueError
        As `filled` does.
    """
    placing = filled(placing, service)
    against_dbuvm = level_dbuvm if against_dbuvm is None else against_dbuvm
    usable = _usable(level_dbuvm, against_dbuvm, noise_dbuvm)
    level_dbuvm, against_dbuvm, arrival_us = level_dbuvm[usable], against_dbuvm[usable], arrival_us[usable]
    guard_us = window_times(service).guard_us
    backoff_us = placing.backoff_us or 0.0
    if placing.strategy == "strongest":
        return float(arrival_us[np.lexsort((arrival_us, -level_dbuvm))[0]]) - backoff_us
    if placing.strategy == "first":
        loud = level_dbuvm >= level_dbuvm.max() - float(placing.threshold_db or 0.0) - ROUNDING_DB
        return float(arrival_us[loud].min()) - backoff_us
    powers = 10.0 ** ((level_dbuvm - level_dbuvm.max()) / 10.0)
    if placing.strategy == "centre-of-gravity":
        start_us = arrival_us.min()
        return float(start_us + powers @ (arrival_us - start_us) / powers.sum()) - backoff_us
    if placing.strategy == "quasi-optimal":
        return _most_energy(powers, arrival_us, guard_us)
    others = [place_window(Placing(s), level_dbuvm, arrival_us, service=service) for s in MAP_STRATEGIES]
    rare = 10.0 ** (against_dbuvm / 10.0)
    return _best(others, 10.0 ** (level_dbuvm / 10.0), rare, arrival_us, service, 10.0 ** (noise_dbuvm / 10.0))


def _usable(levels: FloatArray, rare: FloatArray, noise_dbuvm: float) -> NDArray[np.bool_]:
    """Which signals may help or hurt at all: see `BELOW_NOISE_DB`."""
    floor_dbuvm = min(noise_dbuvm - BELOW_NOISE_DB, float(levels.max()) - BELOW_STRONGEST_DB)
    return np.maximum(levels, rare) >= floor_dbuvm


def _most_energy(powers: FloatArray, arrivals: FloatArray, guard_us: float) -> float:
    """The guard interval that holds most energy, its slack before the first and behind the last signal alike."""
    within = (arrivals >= arrivals[:, None]) & (arrivals <= arrivals[:, None] + guard_us + EDGE_US)
    energy = within @ powers
    starts = arrivals[energy >= energy.max() * (1.0 - EQUAL_ENERGY)]
    first_us = float(starts.min())
    last_us = float(arrivals[(arrivals >= first_us) & (arrivals <= first_us + guard_us + EDGE_US)].max())
    return first_us - (guard_us - (last_us - first_us)) / 2


def candidate_windows(arrival_us: ArrayLike, *, service: Service) -> FloatArray:
    """Windows worth trying for "best", shape (K,): t_i, t_i - Tg, and t_i on the equaliser's slopes. [us]

    Between t_i and t_i - Tg the useful power is convex in t0 and the interference concave, so that C/(N+I) is largest
    at an end of every part of the axis where no signal lies on a slope of the equaliser.
    """
    times = window_times(service)
    arrival = np.sort(np.asarray(arrival_us, dtype=np.float64))
    groups = [arrival, arrival - times.guard_us]
    if times.full_us is not None and times.limit_us is not None:
        along = np.linspace(0.0, 2.0, 2 * SLOPE_STEPS_N + 1)
        away_us = times.full_us / 2 + along * (times.limit_us - times.full_us) / 2
        for shift_us in np.concatenate([away_us, -away_us]):
            groups.append(arrival - times.guard_us / 2 + shift_us)
    return np.concatenate(groups)


def _best(
    windows: list[float], powers: FloatArray, rare: FloatArray, arrival_us: FloatArray, service: Service, noise: float
) -> float:
    """The window with the largest C/(N+I): the best candidate, looked at more closely on the equaliser's slopes."""
    times = window_times(service)
    tried = np.concatenate([np.array(windows), candidate_windows(arrival_us, service=service)])
    found, merit = _largest(tried, powers, rare, arrival_us, service, noise)
    if times.full_us is None or times.limit_us is None or np.isinf(merit):
        return found
    step_us = (times.limit_us - times.full_us) / 2 / SLOPE_STEPS_N
    for _ in range(CLOSER_ROUNDS_N):
        near = found + step_us * np.linspace(-1.0, 1.0, CLOSER_N)
        other, better = _largest(near, powers, rare, arrival_us, service, noise)
        if better > merit:
            found, merit = other, better
        step_us *= 2.0 / (CLOSER_N - 1)
    return found


def _largest(
    windows: FloatArray, powers: FloatArray, rare: FloatArray, arrival_us: FloatArray, service: Service, noise: float
) -> tuple[float, float]:
    """The first of the windows whose C/(N+I) is the largest but for rounding, and that ratio."""
    useful, against = parts(arrival_us[None, :] - windows[:, None], service=service)
    wanted, total = useful @ powers, against @ rare + noise
    with np.errstate(divide="ignore", invalid="ignore"):
        merit = np.where(total > 0, wanted / total, np.inf)
    at = int(np.argmax(merit >= merit.max() * (1.0 - 1e-12)))
    return float(windows[at]), float(merit[at])
