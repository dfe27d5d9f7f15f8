"""Echoes of an impulse response given to sites by arrival and level, the ambiguous ones named.

An OFDM receiver shows delays against an origin of its own and levels against a gain of its own; so what counts
is how the echoes lie to each other. For every way to lay one echo on one site the rest is assigned at least cost;
the cheapest of all is the answer, and an echo is ambiguous when another assignment costs hardly more.

| symbol | name | unit |
|---|---|---|
| d, L | `delay_us`, `level_db` of an echo | us, dB |
| a, E | predicted arrival and level of a site at the point | us, dBuV/m |
| t0, g | origin and gain of the receiver, unknown | us, dB |
| cost | ``((d - a - t0) / sigma_t)^2 + ((L - E - g) / sigma_L)^2``, or `UNEXPLAINED_COST` for an echo of no site | 1 |
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.survey.rows import refuse, rows_of

Floats = NDArray[np.float64]

COLUMNS = ("delay_us", "level_db")
# Weaker than the strongest by more is noise of the receiver, or its own side lobes.
RANGE_DB = 25.0
# An echo that fits a site worse than 3.5 standard deviations is rather a reflection.
UNEXPLAINED_COST = 12.25
# Another assignment that is less than exp(4 / 2), 7 times, as unlikely cannot be excluded.
AMBIGUOUS_COST = 4.0
_REFINEMENTS = 5


@dataclass(frozen=True, slots=True)
class Echo:
    """One echo and the site it is given to.

    Parameters
    ----------
    site : str or None
        None: no site explains it (a reflection, a site not in the plan).
    arrival_off_us, level_off_db : float or None
        Measured minus predicted, once origin and gain are taken off: the launch error that this response sees.
        [us, dB]
    alternatives : tuple of (str or None)
        Other sites (or none) that explain it nearly as well.
    """

    delay_us: float
    level_db: float
    site: str | None
    arrival_off_us: float | None
    level_off_db: float | None
    alternatives: tuple[str | None, ...]

    @property
    def ambiguous(self) -> bool:
        """Whether another site, or none, explains it nearly as well."""
        return bool(self.alternatives)


@dataclass(frozen=True, slots=True)
class Response:
    """Echoes in the order given, and what was found of the receiver and of the sites."""

    echoes: tuple[Echo, ...]
    origin_us: float
    gain_db: float
    unheard: tuple[str, ...]

    def differences(self) -> tuple[tuple[str, str, float], ...]:
        """(site, reference site, delay difference in us) against the strongest sure echo; ambiguous ones left out."""
        sure = [e for e in self.echoes if e.site is not None and not e.ambiguous]
        if not sure:
            return ()
        top = max(sure, key=lambda e: e.level_db)
        return tuple((str(e.site), str(top.site), e.delay_us - top.delay_us) for e in sure if e is not top)


def response_of(text: str, *, source: str) -> tuple[Floats, Floats]:
    """Delays and levels of a CSV table with the columns delay_us,level_db.

    Raises
    ------
    PlanError
        If anything cannot be used; every problem names file, line and column.
    """
    rows = rows_of(text, source=source, required=COLUMNS)
    delay_us = np.array([r.number("delay_us", least=-1e6, greatest=1e6, unit="us") for r in rows])
    level_db = np.array([r.number("level_db", least=-300.0, greatest=300.0, unit="dB") for r in rows])
    refuse(rows)
    return delay_us, level_db


def peaks(
    delay_us: ArrayLike, *, level_db: ArrayLike, range_db: float = RANGE_DB, apart_us: float = 1.0
) -> NDArray[np.int64]:
    """Numbers of the echoes in a response that a receiver gives sample by sample.

    Parameters
    ----------
    delay_us, level_db : array_like (N,)
        The response.
    range_db : float
        Echoes weaker than the strongest by more are noise. [dB]
    apart_us : float
        Of two echoes nearer than this the stronger stands for both. [us]

    Returns
    -------
    ndarray of int (K,)
        In the order of delay.
    """
    delay, level = np.asarray(delay_us, dtype=np.float64), np.asarray(level_db, dtype=np.float64)
    left = list(np.argsort(-level, kind="stable"))
    kept: list[int] = []
    for k in left:
        if level[k] < level[left[0]] - range_db:
            break
        if all(abs(delay[k] - delay[other]) >= apart_us for other in kept):
            kept.append(int(k))
    return np.array(sorted(kept, key=lambda k: delay[k]), dtype=np.int64)


def assign(
    delay_us: ArrayLike,
    *,
    level_db: ArrayLike,
    sites: Sequence[str],
    arrival_us: ArrayLike,
    level_dbuvm: ArrayLike,
    launch_uncertainty_us: float,
    level_uncertainty_db: float = 8.0,
) -> Response:
    """Give echoes to sites.

    Parameters
    ----------
    delay_us, level_db : array_like (K,)
        Echoes; at most 40. [us, dB]
    sites : sequence of str (S,)
    arrival_us, level_dbuvm : array_like (S,)
        Predicted at the point; NaN level = not covered there. [us, dBuV/m]
    launch_uncertainty_us : float
        How far launches may be off, standard uncertainty. [us]
    level_uncertainty_db : float, default 8
        How far predicted levels may be off. [dB]

    Raises
    ------
    ValueError
        If there is no echo, more than 40, or an uncertainty is not positive.
    """
    delay, level = np.asarray(delay_us, dtype=np.float64), np.asarray(level_db, dtype=np.float64)
    arrival, field = np.asarray(arrival_us, dtype=np.float64), np.asarray(level_dbuvm, dtype=np.float64)
    if not 1 <= len(delay) <= 40:
        raise ValueError(f"delay_us must hold 1 to 40 echoes, got {len(delay)}: take the peaks first")
    for name, value in (
        ("launch_uncertainty_us", launch_uncertainty_us),
        ("level_uncertainty_db", level_uncertainty_db),
    ):
        if not value > 0:
            raise ValueError(f"{name} must be more than 0, got {value!r}")
    heard = np.flatnonzero(np.isfinite(field) & np.isfinite(arrival))
    model = _Model(delay, level, arrival[heard], field[heard], launch_uncertainty_us, level_uncertainty_db)
    solutions = _solutions(model)
    best = solutions[0]
    echoes = []
    for k in range(len(delay)):
        s = int(best.site[k])
        others = {int(o.site[k]) for o in solutions[1:] if o.cost_ratio < best.cost_ratio + AMBIGUOUS_COST} - {s}
        echoes.append(
            Echo(
                delay_us=float(delay[k]),
                level_db=float(level[k]),
                site=sites[heard[s]] if s >= 0 else None,
                arrival_off_us=float(delay[k] - model.arrival_us[s] - best.origin_us) if s >= 0 else None,
                level_off_db=float(level[k] - model.field_dbuvm[s] - best.gain_db) if s >= 0 else None,
                alternatives=tuple(sites[heard[o]] if o >= 0 else None for o in sorted(others, reverse=True)),
            )
        )
    given = {e.site for e in echoes}
    unheard = tuple(s for k, s in enumerate(sites) if s not in given and k in set(heard.tolist()))
    return Response(tuple(echoes), best.origin_us, best.gain_db, unheard)


@dataclass(frozen=True, slots=True)
class _Model:
    """Echoes and predictions as arrays."""

    delay_us: Floats
    level_db: Floats
    arrival_us: Floats
    field_dbuvm: Floats
    sigma_us: float
    sigma_db: float

    def cost(self, origin_us: float, gain_db: float) -> Floats:
        """Cost of every echo with every site, shape (K, S)."""
        t = (self.delay_us[:, None] - self.arrival_us[None, :] - origin_us) / self.sigma_us
        e = (self.level_db[:, None] - self.field_dbuvm[None, :] - gain_db) / self.sigma_db
        return np.asarray(t**2 + e**2)


@dataclass(frozen=True, slots=True)
class _Solution:
    """One assignment: a site's number for each echo, -1 for none."""

    site: NDArray[np.int64]
    cost_ratio: float
    origin_us: float
    gain_db: float


def _solutions(model: _Model) -> list[_Solution]:
    """The cheapest assignment for each way to lay one echo on one site, and for each pair forbidden; cheapest first."""
    found: dict[tuple[int, ...], _Solution] = {}

    def add(one: _Solution) -> None:
        key = tuple(one.site.tolist())
        if key not in found or one.cost_ratio < found[key].cost_ratio:
            found[key] = one

    starts = [(k, s) for k in range(len(model.delay_us)) for s in range(len(model.arrival_us))]
    for start in starts:
        add(_refined(model, start, forbidden=None))
    if not starts:
        return [_Solution(np.full(len(model.delay_us), -1), 0.0, float("nan"), float("nan"))]
    best = min(found.values(), key=lambda one: one.cost_ratio)
    for k, s in enumerate(best.site.tolist()):
        if s < 0:
            continue
        for other in [(k, -1), *((q, t) for q, t in enumerate(best.site.tolist()) if t >= 0 and q != k)]:
            start = other if other[1] >= 0 else (k, s)
            add(_refined(model, start, forbidden=(k, s)))
    return sorted(found.values(), key=lambda one: one.cost_ratio)


def _refined(model: _Model, start: tuple[int, int], *, forbidden: tuple[int, int] | None) -> _Solution:
    """Assignment at least cost from a first guess of origin and gain, both then fitted to what was assigned."""
    from scipy.optimize import linear_sum_assignment

    k, s = start
    origin, gain = float(model.delay_us[k] - model.arrival_us[s]), float(model.level_db[k] - model.field_dbuvm[s])
    n = len(model.delay_us)
    alone = np.full((n, n), np.inf)
    np.fill_diagonal(alone, UNEXPLAINED_COST)
    site = np.full(n, -1)
    for _ in range(_REFINEMENTS):
        cost = model.cost(origin, gain)
        if forbidden is not None:
            cost[forbidden] = 1e9
        wide = np.concatenate((cost, np.where(np.isinf(alone), 1e9, alone)), axis=1)
        rows, columns = linear_sum_assignment(wide)
        new = np.where(columns < cost.shape[1], columns, -1)[np.argsort(rows)]
        if np.array_equal(new, site):
            break
        site = new
        given = site >= 0
        if not given.any():
            break
        origin = float(np.mean(model.delay_us[given] - model.arrival_us[site[given]]))
        gain = float(np.mean(model.level_db[given] - model.field_dbuvm[site[given]]))
    cost = model.cost(origin, gain)
    rows = np.flatnonzero(site >= 0)
    total = float(cost[rows, site[rows]].sum()) + UNEXPLAINED_COST * (n - len(rows))
    return _Solution(site, total, origin, gain)
