"""Latency of a route: the sum of its stages, and how far it may be off.

| symbol | name | unit |
|---|---|---|
| T_i | `latency_us`, sum of the stage latencies of a route | us |
| | `tolerance_us`, sum of the stage tolerances (worst case) | us |
| | `rss_us`, root of the sum of their squares | us |

Sums are exact (decimal), so that the rounding of a setting never hangs on a binary fraction. A site fed
off air sums its own stages only; `sfn.timing` adds its parent's launch and the path, `feed_stages` its parent's stages.
"""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext

from sfn.plan import Chain, Network, Site, Stage, TimeStamps

MAIN = "main"  # the route that every site has
TIME_STAMPED = "time-stamped section"
# Feeders need a division: 40 digits are far below the 1e-4 us that anybody can see.
_DIGITS = 40
_C_M_PER_US = Decimal("299.792458")


@dataclass(frozen=True, slots=True)
class RouteLatency:
    """Latency of one route's own stages, and its tolerances.

    Parameters
    ----------
    site_id, route : str
    stages : tuple of Stage
        In the order the signal passes them.
    stage_us : tuple of Decimal
        What each adds to the latency; nothing where the time stamp already counts to behind it. [us]
    exact_us : Decimal
        Their sum. [us]
    tolerance_us, rss_us : float
        Worst case and root of the squares. [us]
    assumed_us : float
        The part of the worst case that rests on assumed figures; never more than the whole. [us]
    assumed_stages : tuple of str
        Stages whose figures are assumed, with a stated tolerance or not.
    absorbed : tuple of str
        Stages that add nothing, because the time stamp names the instant behind them.
    device_us : tuple of Decimal
        What each stage takes by itself, also where it adds nothing. [us]
    """

    site_id: str
    route: str
    stages: tuple[Stage, ...]
    stage_us: tuple[Decimal, ...]
    exact_us: Decimal
    tolerance_us: float
    rss_us: float
    assumed_us: float
    assumed_stages: tuple[str, ...]
    absorbed: tuple[str, ...]
    device_us: tuple[Decimal, ...]

    @property
    def counted(self) -> tuple[Stage, ...]:
        """The stages that the latency, and so its tolerance, rests on."""
        return tuple(stage for stage in self.stages if stage.id not in self.absorbed)


@dataclass(frozen=True, slots=True)
class Spread:
    """How far a sum of stages may be off: worst case, root of the squares, and the assumed part of the worst case."""

    worst_us: float
    rss_us: float
    assumed_us: float


def spread(stages: Iterable[Stage]) -> Spread:
    """How far the sum of some stages may be off; the one place where the assumed part is worked out.

    A stage without a stated tolerance counts as exact here; `sfn.check` asks for it. A tolerance common to a model and
    firmware is one error in all such devices: in the RSS they add before they are squared.
    """
    stages = tuple(stages)
    tolerances = [stage.tolerance_us or 0.0 for stage in stages]
    assumed = (stage.tolerance_us or 0.0 for stage in stages if rests_on_assumption(stage))
    return Spread(math.fsum(tolerances), _rss(stages, tolerances), math.fsum(assumed))


def _rss(stages: Sequence[Stage], off_us: Sequence[float]) -> float:
    """Root of the sum of squares of independent errors; one device, or one model and firmware, is one error. [us]"""
    together: dict[tuple[str | None, ...], list[float]] = {}
    for stage, off in zip(stages, off_us, strict=True):
        common = stage.tolerance_kind == "model" and stage.model is not None
        one = (stage.model, stage.firmware) if common else (stage.id,)
        together.setdefault(one, []).append(off)
    return math.hypot(*(math.fsum(same) for same in together.values()))


def _decimal(number: float) -> Decimal:
    """The number as it was written in the document."""
    return Decimal(repr(number))


def _through_air_us(length_m: Decimal, refractivity_n: float) -> Decimal:
    """Travel time through the lower atmosphere, ``L n / c``."""
    return length_m * (1 + _decimal(refractivity_n) / 1_000_000) / _C_M_PER_US


def stage_latency(stage: Stage, *, refractivity_n: float) -> Decimal:
    """Latency of one stage, exactly, in us.

    Parameters
    ----------
    stage : Stage
        Any stage of the document.
    refractivity_n : float
        Refractivity of the air, for microwave paths. [N-units]

    Returns
    -------
    latency_us : Decimal
        Feeder ``l / (c v)``, fibre ``l n / c``, microwave ``L n / c + equipment``; a time-stamped section
        contributes its release delay and nothing else. [us]

    Examples
    --------
    100 m of coax at velocity factor 0.88, and 1 km of fibre at 1.468:

    >>> coax = Stage(id="f", kind="feeder", length_m=100, velocity_factor=0.88)
    >>> print(f"{stage_latency(coax, refractivity_n=315):.3f}")
    0.379
    >>> fibre = Stage(id="g", kind="fibre", length_m=1000, group_index=1.468)
    >>> print(f"{stage_latency(fibre, refractivity_n=315):.3f}")
    4.897
    """
    if stage.latency_us is not None:
        return _decimal(stage.latency_us)
    if stage.release_delay_us is not None:
        return _decimal(stage.release_delay_us)
    with localcontext() as context:
        context.prec = _DIGITS
        return _from_length(stage, refractivity_n)


def _from_length(stage: Stage, refractivity_n: float) -> Decimal:
    """Latency of a stage that is given as a length."""
    if stage.path_km is not None and stage.equipment_us is not None:
        return _through_air_us(_decimal(stage.path_km) * 1000, refractivity_n) + _decimal(stage.equipment_us)
    length = _decimal(stage.length_m or 0.0)
    if stage.velocity_factor is not None:
        return length / (_C_M_PER_US * _decimal(stage.velocity_factor))
    return length * _decimal(stage.group_index or 1.0) / _C_M_PER_US


def rests_on_assumption(stage: Stage) -> bool:
    """Whether nobody measured, looked up or computed this stage's latency."""
    return stage.source in (None, "assumed")


def outdated(stage: Stage) -> bool:
    """Whether firmware or mode changed after the day of the stage's figure, or the figure bears no day."""
    return stage.changed is not None and (stage.date is None or stage.date < stage.changed)


def absorbed_stages(stages: Sequence[Stage], stamps: TimeStamps | None) -> tuple[str, ...]:
    """Stages of a chain that add nothing, because the time stamp names the instant behind them.

    Parameters
    ----------
    stages : sequence of Stage
        In the order the signal passes them.
    stamps : TimeStamps or None

    Returns
    -------
    absorbed : tuple of str
        With the meaning `emission`: those behind the last time-stamped section before the plane, up to and with the
        stage that the plane names. None of them with another meaning, without a plane, where the chain does not pass
        the plane, or where the plane is the section itself.
    """
    if stamps is None or stamps.plane is None or stamps.meaning != "emission":
        return ()
    plane = next((i for i in reversed(range(len(stages))) if stages[i].id in stamps.plane), -1)
    section = next((i for i in reversed(range(plane + 1)) if stages[i].kind == TIME_STAMPED), plane)
    return tuple(stage.id for stage in stages[section + 1 : plane + 1])


def route_latency(
    site: Site,
    chain: Chain,
    *,
    stages: Mapping[str, Stage],
    refractivity_n: float,
    time_stamps: TimeStamps | None = None,
) -> RouteLatency:
    """Latency and tolerance of one route's own stages.

    Parameters
    ----------
    site : Site
        The site that the chain belongs to.
    chain : Chain
        One of its routes.
    stages : mapping of stage id to Stage
        Every stage of the network.
    refractivity_n : float
        Refractivity of the air, for microwave paths. [N-units]
    time_stamps : TimeStamps, optional
        What the network's time stamps mean. `origin`, and nothing said: all stages add; `emission`: see
        `absorbed_stages`.

    Returns
    -------
    latency : RouteLatency
        Worst case adds the tolerances, RSS adds their squares: see `spread`. A stage that adds nothing has no
        tolerance here either.
    """
    own = tuple(stages[name] for name in chain.stages)
    absorbed = absorbed_stages(own, time_stamps)
    with localcontext() as context:
        context.prec = _DIGITS
        device = tuple(stage_latency(stage, refractivity_n=refractivity_n) for stage in own)
        adds = tuple(
            Decimal(0) if stage.id in absorbed else latency for stage, latency in zip(own, device, strict=True)
        )
        total = sum(adds, Decimal(0))
    counted = tuple(stage for stage in own if stage.id not in absorbed)
    off = spread(counted)
    return RouteLatency(
        site.id,
        chain.route,
        own,
        adds,
        total,
        off.worst_us,
        off.rss_us,
        off.assumed_us,
        tuple(stage.id for stage in counted if rests_on_assumption(stage)),
        absorbed,
        device,
    )


def all_routes(network: Network) -> dict[tuple[str, str], RouteLatency]:
    """Latency of every route of every site, by (site id, route)."""
    stages = {stage.id: stage for stage in network.stages}
    return {
        (site.id, chain.route): route_latency(
            site, chain, stages=stages, refractivity_n=network.refractivity_n, time_stamps=network.time_stamps
        )
        for site in network.sites
        for chain in site.chains
    }


def feed_stages(
    network: Network, routes: Mapping[tuple[str, str], RouteLatency] | None = None
) -> dict[tuple[str, str], tuple[Stage, ...]]:
    """Every stage that a launch rests on, by (site id, route): its own, its parent's, that one's parent's, ...

    Parameters
    ----------
    network : Network
    routes : mapping of (site id, route) to RouteLatency, optional
        From `all_routes`, where the caller has it already.

    Returns
    -------
    stages : dict of (site id, route) to tuple of Stage
        The parent's first. A site fed off air hears the main route of its parent. Without the stages that add nothing.
    """
    routes = all_routes(network) if routes is None else routes
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    passed: dict[tuple[str, str], tuple[Stage, ...]] = {}

    def of(site_id: str, route: str) -> tuple[Stage, ...]:
        """One site and route; parents are worked out once."""
        key = site_id, route
        if key not in passed:
            parent = parents[site_id]
            above = () if parent is None else of(parent, MAIN)
            passed[key] = (*above, *routes[key].counted)
        return passed[key]

    return {key: of(*key) for key in routes}


def difference_tolerance(a: Iterable[Stage], b: Iterable[Stage]) -> tuple[float, float]:
    """How far the difference of two launches may be off: worst case and RSS.

    Parameters
    ----------
    a, b : iterable of Stage
        Every stage that each launch rests on, from `feed_stages`; one that is passed twice stands twice.

    Returns
    -------
    worst_us, rss_us : float
        Without what cancels out of the difference. [us]

    Notes
    -----
    A stage in both is one device with one error: it cancels as often as both pass it. Of what is left, a tolerance of
    kind `model` is the same error in every device of that model and firmware: they cancel one to one between the two
    sides, not within a side. Where one side has more of them, the least certain stay. A model that is not named
    cancels with nothing; two that name no firmware count as equal.
    """
    return Passed(a).apart_from(Passed(b))


class Passed:
    """Every stage that a launch rests on, counted: for the differences of many launches."""

    def __init__(self, stages: Iterable[Stage]) -> None:
        """Count the stages, from `feed_stages`; one that is passed twice stands twice."""
        passed = tuple(stages)
        self.stages = {stage.id: stage for stage in passed}
        self.count = Counter(stage.id for stage in passed)
        self._models = frozenset(_common(self.count, self.stages))
        self._own = _off(self.stages, self.count)

    def apart_from(self, other: "Passed") -> tuple[float, float]:
        """What `difference_tolerance` gives."""
        if self.count.keys().isdisjoint(other.count) and self._models.isdisjoint(other._models):
            return self._own[0] + other._own[0], math.hypot(self._own[1], other._own[1])
        return _of_the_rest(self, other)


def _of_the_rest(a: Passed, b: Passed) -> tuple[float, float]:
    """How far a difference may be off by what does not cancel out of it."""
    stages = a.stages | b.stages
    left_a, left_b = a.count - b.count, b.count - a.count
    models_a, models_b = (_common(left, stages) for left in (left_a, left_b))
    for model in models_a.keys() & models_b.keys():
        for name_a, name_b in zip(models_a[model], models_b[model], strict=False):
            left_a[name_a] -= 1
            left_b[name_b] -= 1
    return _off(stages, left_a, left_b)


def _off(stages: Mapping[str, Stage], *left: Counter[str]) -> tuple[float, float]:
    """How far counted stages may be off, worst case and RSS; one passed twice by twice its error, the same way."""
    off = [(stages[name], n * (stages[name].tolerance_us or 0.0)) for one in left for name, n in one.items()]
    worth = [us for _, us in off]
    return math.fsum(worth), _rss([stage for stage, _ in off], worth)


def _common(left: Counter[str], stages: Mapping[str, Stage]) -> dict[tuple[str, str | None], list[str]]:
    """Stages with a tolerance common to their model, by model and firmware, the most certain first."""
    found: dict[tuple[str, str | None], list[str]] = {}
    for name in sorted(left.elements(), key=lambda one: (stages[one].tolerance_us or 0.0, one)):
        stage = stages[name]
        if stage.tolerance_kind == "model" and stage.model is not None:
            found.setdefault((stage.model, stage.firmware), []).append(name)
    return found
