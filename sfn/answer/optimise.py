"""The answer of ``optimise``: offsets, settings, before and after, who loses, how sure it is, what else would help."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.answer.delays import delays
from sfn.answer.delays import document as delays_document
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.area import ClassSummary, class_summary
from sfn.reception.coverage import Coverage
from sfn.reception.quality import CLASSES, ServiceQuality, service_quality, yardstick
from sfn.solve.bound import least_without_service
from sfn.solve.limits import USUAL_MOST_US, Limits, limits
from sfn.solve.objective import Objective, Score, along, objective, quality_totals, score
from sfn.solve.search import Found, Told, search
from sfn.solve.start import least_absolute, minimax, wishes
from sfn.solve.tolerance import launch_errors
from sfn.systems.service import service
from sfn.timing import DelayTable, delay_table

Doubles = NDArray[np.float64]
Weight = float  # people or km2

DRAWS_N = 100
LEAST_DRAWS_N = 10
AS_PROMISED_RATIO = 0.01  # of what is served: a plan that loses more through tolerances does not meet its target
LEVER_DB = 3.0


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be optimised, and within which limits.

    Parameters
    ----------
    people : ndarray, shape (M,), or None
        Weight of each pixel; None: its area.
    factor : ndarray, shape (M,), or None
        Multiplies the weights: this town first, that ridge does not matter.
    held : frozenset of str
    most_us, most_move_us : float or None
        Greatest offset and greatest change of one. [us]
    most_changed : int or None
    seed : int
    budget_s : float
    """

    people: Doubles | None = None
    factor: Doubles | None = None
    held: frozenset[str] = frozenset()
    most_us: float | None = None
    most_move_us: float | None = None
    most_changed: int | None = None
    seed: int = 1
    budget_s: float = 60.0


@dataclass(frozen=True, slots=True)
class State:
    """How a network serves with one set of launches."""

    score: Score
    quality: ServiceQuality
    classes: ClassSummary


@dataclass(frozen=True, slots=True)
class Lever:
    """What one change besides delay would do; `gain` is people or km2 more with adequate service."""

    site: str
    change: str
    gain: Weight


@dataclass(frozen=True, slots=True)
class Optimised:
    """The answer."""

    network: Network
    planned: Network
    what: Objective
    limits: Limits
    found: Found
    before: State
    after: State
    table: DelayTable
    sensitivity: Mapping[str, tuple[Score, Score]]
    drawn: Doubles
    levers: tuple[Lever, ...]
    bound: Weight
    delays: Any

    @property
    def offsets_us(self) -> dict[str, float]:
        """The offsets found, by site. [us]"""
        return dict(zip(self.what.sites, self.found.offsets_us.tolist(), strict=True))

    def moved_weight(self, *, gained: bool) -> Weight:
        """People or km2 that come to adequate service, or lose it."""
        was, now = (np.nan_to_num(s.quality.quality_class, nan=3.0) <= 1 for s in (self.before, self.after))
        return float(self.what.weight[(now & ~was) if gained else (was & ~now)].sum())


def network_objective(network: Network, computed: Coverage, asked: Asked, *, executor: Executor | None) -> Objective:
    """The objective of a network over a coverage; sites off air have no signal.

    Raises
    ------
    PlanError
        If the service is not known.
    """
    level, rare = _levels(network, computed)
    weight = computed.area_km2() if asked.people is None else asked.people
    weight = np.where(computed.covered, weight if asked.factor is None else weight * asked.factor, 0.0)
    return objective(
        computed.sites,
        level,
        rare,
        computed.travel_us,
        yardstick(network),
        frequency_mhz=network.frequency_mhz,
        weight=weight,
        unit="km2" if asked.people is None else "people",
        executor=executor,
    )


def usual_most_us(network: Network) -> float:
    """Greatest offset looked at where none is given: 50 us, for OFDM the guard interval. [us]"""
    carried = service(network.service)
    return float(carried.guard_us or USUAL_MOST_US) if carried.kind == "ofdm" else USUAL_MOST_US


def network_limits(network: Network, table: DelayTable, asked: Asked) -> Limits:
    """The limits of a network's offsets."""
    carried = service(network.service)
    step_us = max(1.0, round(float(carried.guard_us or 0.0) / 100)) if carried.kind == "ofdm" else 1.0
    most = usual_most_us(network) if asked.most_us is None else asked.most_us
    return limits(
        network, table, held=asked.held, most_us=most, most_move_us=asked.most_move_us,
        most_changed=asked.most_changed, step_us=step_us,
    )  # fmt: skip


def with_offsets(network: Network, offsets_us: Mapping[str, float]) -> Network:
    """The network with other offsets."""
    sites = tuple(
        site.model_copy(update={"offset_us": offsets_us.get(site.id, site.offset_us)}) for site in network.sites
    )
    return network.model_copy(update={"sites": sites})


def optimise(
    network: Network,
    computed: Coverage,
    asked: Asked,
    *,
    placed: Mapping[str, Located],
    executor: Executor | None = None,
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Optimised:
    """The best offsets found for a network, with what they do.

    Parameters
    ----------
    network : Network
    computed : Coverage
        From `sfn.reception.coverage.coverage`; all its pixels count.
    asked : Asked
    placed : mapping of site id to Located
    executor : concurrent.futures.Executor, optional
        Threads.
    progress, cancelled : callable, optional
        As in `sfn.solve.search.search`.

    Raises
    ------
    PlanError
        If the service is not known, or the limits leave a site no offset.
    """
    what = network_objective(network, computed, asked, executor=executor)
    table = delay_table(network, placed=placed)
    allowed = network_limits(network, table, asked)
    found = search(
        what, allowed, seed=asked.seed, budget_s=asked.budget_s, starts=convex_starts(what, allowed),
        executor=executor, progress=progress, cancelled=cancelled,
    )  # fmt: skip
    offsets = dict(zip(what.sites, found.offsets_us.tolist(), strict=True))
    planned = with_offsets(network, offsets)
    planned_table = delay_table(planned, placed=placed)
    before = _state(network, computed, what, table.launches(), executor)
    after = _state(network, computed, what, planned_table.launches(), executor)
    if vars_key(after.score) >= vars_key(before.score):  # rounding to the devices' steps ate what was gained
        planned, planned_table, after = network, table, before
        offsets = dict(zip(what.sites, allowed.now_us.tolist(), strict=True))
    at = np.array([offsets[name] for name in what.sites])
    found = Found(at, found.score, found.before, found.ended, found.tried, found.seconds_s, found.starts)
    launches = np.array([planned_table.launches()[name] for name in what.sites])
    errors = launch_errors(network, draws_n=DRAWS_N, seed=asked.seed)
    drawn = _drawn(what, launches, errors, after, executor=executor, progress=progress, cancelled=cancelled)
    return Optimised(
        network, planned, what, allowed, found, before, after, planned_table,
        _sensitivity(what, allowed, launches, executor), drawn,
        _levers(network, computed, what, launches, after, executor, cancelled),
        min(least_without_service(what, allowed), after.score.without_service), delays(planned),
    )  # fmt: skip


def _drawn(
    what: Objective, launches: Doubles, errors: Doubles, after: State, *,
    executor: Executor | None, progress: Told | None, cancelled: Callable[[], bool] | None,
) -> Doubles:  # fmt: skip
    """People or km2 without service for each draw of launch errors; the first few only, once cancelled."""
    found = []
    for k, error in enumerate(errors):
        if k >= LEAST_DRAWS_N and cancelled is not None and cancelled():
            break
        if progress is not None:
            progress(launches, after.score, "chain tolerances, then other levers", k / len(errors))
        found.append(score(what, launches + error, executor=executor).without_service)
    return np.array(found)


def vars_key(one: Score) -> tuple[float, float, float]:
    """A score as numbers, rounded to what a single-precision class map resolves."""
    return round(one.without_service, 6), round(one.below_target, 6), round(one.minus_mean_margin_db, 5)


def convex_starts(what: Objective, allowed: Limits) -> tuple[tuple[str, Doubles], ...]:
    """Starts by linear programming, where there is anything to wish and the limits can be kept."""
    asked = wishes(what)
    if asked.a.size == 0 or not allowed.free.any():
        return ()
    made = [("least absolute difference", least_absolute(asked, allowed))]
    if what.yard.carried.kind != "ofdm":
        made.append(("weighted worst difference", minimax(asked, allowed, weighted=True)))
    return tuple((name, offsets) for name, offsets in made if offsets is not None)


def _levels(network: Network, computed: Coverage) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Levels with nothing where a site is off air or the terrain has a gap."""
    silent = np.ones(len(computed.sites), bool)
    silent[computed.on_air(network)] = False
    hidden = silent[:, None] | ~computed.covered[None, :]
    nothing = np.float32(np.nan)
    return np.where(hidden, nothing, computed.level_dbuvm), np.where(hidden, nothing, computed.level_1pct_dbuvm)


def _state(
    network: Network, computed: Coverage, what: Objective, launches: Mapping[str, float], executor: Executor | None
) -> State:
    """Reception as the map shows it, with settings in force."""
    level, rare = _levels(network, computed)
    return _judged(network, computed, what, level, rare, computed.arrivals(launches), executor)


def _judged(
    network: Network, computed: Coverage, what: Objective, level: NDArray[np.float32], rare: NDArray[np.float32],
    arrivals: Doubles, executor: Executor | None,
) -> State:  # fmt: skip
    """Reception of given levels and arrivals."""
    quality = service_quality(
        level, arrivals, what.yard, frequency_mhz=network.frequency_mhz, level_1pct_dbuvm=rare, executor=executor
    )
    found = quality_totals(quality, what.weight, np.ones(what.weight.size, bool))
    people = what.weight if what.unit == "people" else None
    mean = float(found[2]) / max(what.usable_weight, 1e-12)
    classes = class_summary(quality.quality_class, computed.area_km2(), people=people)
    return State(Score(float(found[0]), float(found[1]), -mean), quality, classes)


def _sensitivity(
    what: Objective, allowed: Limits, launches: Doubles, executor: Executor | None
) -> dict[str, tuple[Score, Score]]:
    """Scores with each site 1 us early and 1 us late; sites that receive it off air move with it."""
    made = {}
    for i, name in enumerate(what.sites):
        found = along(what, launches, allowed.group(i), np.array([-1.0, 1.0]), executor=executor)
        made[name] = (Score(*found[0].tolist()), Score(*found[1].tolist()))
    return made


def _levers(
    network: Network, computed: Coverage, what: Objective, launches: Doubles, after: State,
    executor: Executor | None, cancelled: Callable[[], bool] | None,
) -> tuple[Lever, ...]:  # fmt: skip
    """What 3 dB more or less, or silence, of each site would add to the plan, the best first."""
    level, rare = _levels(network, computed)
    arrivals = computed.travel_us + launches[:, None]
    made = []
    for i, site in enumerate(network.sites):
        for change, by_db in (("3 dB more", LEVER_DB), ("3 dB less", -LEVER_DB), ("off air", np.nan)):
            if not site.on_air or (cancelled is not None and cancelled()):
                continue
            row, rare_row = level[i].copy(), rare[i].copy()
            level[i], rare[i] = row + np.float32(by_db), rare_row + np.float32(by_db)
            tried = _judged(network, computed, what, level, rare, arrivals, executor)
            level[i], rare[i] = row, rare_row
            made.append(Lever(site.id, change, after.score.without_service - tried.score.without_service))
    return tuple(sorted(made, key=lambda lever: -lever.gain))


def document(found: Optimised) -> dict[str, Any]:
    """The JSON document of ``optimise --json``."""
    settings = delays_document(found.delays)
    after = found.after.score.without_service
    promised = after + AS_PROMISED_RATIO * max(float(found.what.weight.sum()) - after, 0.0)
    quantiles = np.quantile(found.drawn, [0.5, 0.9]).tolist()
    return {
        "network": found.network.name,
        "objective": "area" if found.what.unit == "km2" else "people",
        "unit": found.what.unit,
        "before": _state_document(found.before),
        "after": _state_document(found.after),
        "offsets": found.offsets_us,
        "changed": [
            s for s, c in zip(found.what.sites, found.limits.changed(found.found.offsets_us), strict=True) if c
        ],
        "settings": settings["sites"],
        "gained": found.moved_weight(gained=True),
        "lost": found.moved_weight(gained=False),
        "sensitivity": {
            name: {"earlier_1_us": score_document(early), "later_1_us": score_document(late)}
            for name, (early, late) in found.sensitivity.items()
        },
        "tolerances": {
            "draws": int(found.drawn.size),
            "without_service": {"median": quantiles[0], "p90": quantiles[1], "max": float(found.drawn.max())},
            "target_without_service": promised,
            "probability_target_met": float(np.mean(found.drawn <= promised)),
            "probability_better_than_before": float(np.mean(found.drawn <= found.before.score.without_service)),
        },
        "loops": [_loop(entry, found) for entry in settings["triangles"]],
        "levers": [{"site": x.site, "change": x.change, "gain": x.gain} for x in found.levers],
        "lower_bound": found.bound,
        "ended": found.found.ended,
        "tried": found.found.tried,
        "starts": [{"start": name} | score_document(s) for name, s in found.found.starts],
        "problems": settings["problems"],
        "seconds": found.found.seconds_s,
    }


def score_document(one: Score) -> dict[str, float]:
    """A score with its keys."""
    return {
        "without_service": one.without_service,
        "below_target": one.below_target,
        "mean_margin_db": -one.minus_mean_margin_db,
    }


def _state_document(state: State) -> dict[str, Any]:
    """Score and classes."""
    people = state.classes.people
    return score_document(state.score) | {
        "classes": [
            {"class": name, "area_km2": area, "people": None if people is None else people[i]}
            for i, (name, area) in enumerate(zip(CLASSES, state.classes.area_km2, strict=True))
        ]
    }


def _loop(entry: Mapping[str, Any], found: Optimised) -> dict[str, Any]:
    """A loop's misclosure and what the plan leaves of it at each of its points."""
    a, b, c = entry["sites"]
    launches = found.table.launches()
    left = [
        launches[q] - launches[p] - wish
        for (p, q), wish in zip(((a, b), (b, c), (c, a)), entry["wishes_us"], strict=True)
    ]
    return {"sites": [a, b, c], "misclosure_us": entry["misclosure_us"], "left_us": left}


def held_of(names: Iterable[str] | Sequence[str]) -> frozenset[str]:
    """Sites to hold, out of repeated or comma-separated names."""
    return frozenset(part.strip() for name in names for part in name.split(",") if part.strip())


def lost_places(found: Optimised) -> NDArray[np.bool_]:
    """Pixels that lose adequate service, shape (M,)."""
    was, now = (np.nan_to_num(s.quality.quality_class, nan=3.0) <= 1 for s in (found.before, found.after))
    return np.asarray(was & ~now & (found.what.weight > 0))
