"""Latency of a route: the sum of its stages, and how far it may be off.

| symbol | name | unit |
|---|---|---|
| T_i | `latency_us`, sum of the stage latencies of a route | us |
| | `tolerance_us`, sum of the stage tolerances (worst case) | us |
| | `rss_us`, root of the sum of their squares | us |

Sums are exact (decimal), so that the rounding of a setting never hangs on a binary fraction. A site fed
off air sums its own stages only; `sfn.timing` adds its parent's launch and the path.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal, localcontext

from sfn.plan import Chain, Network, Site, Stage

MAIN = "main"  # the route that every site has
# Feeders need a division: 40 digits are far below the 1e-4 us that anybody can see.
_DIGITS = 40
_C_M_PER_US = Decimal("299.792458")


@dataclass(frozen=True, slots=True)
class RouteLatency:
    """Latency of one route's own stages, and its tolerances."""

    site_id: str
    route: str
    stages: tuple[Stage, ...]
    stage_us: tuple[Decimal, ...]
    exact_us: Decimal
    tolerance_us: float
    rss_us: float
    assumed_us: float
    assumed_stages: tuple[str, ...]


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


def route_latency(site: Site, chain: Chain, *, stages: Mapping[str, Stage], refractivity_n: float) -> RouteLatency:
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

    Returns
    -------
    latency : RouteLatency
        Worst case adds the tolerances, RSS adds their squares; `assumed_us` is the part of the worst case that
        rests on assumed stages. A stage without a stated tolerance counts as exact here; `sfn.check` asks for it.
    """
    own = tuple(stages[name] for name in chain.stages)
    with localcontext() as context:
        context.prec = _DIGITS
        latencies = tuple(stage_latency(stage, refractivity_n=refractivity_n) for stage in own)
        total = sum(latencies, Decimal(0))
    tolerances = [stage.tolerance_us or 0.0 for stage in own]
    assumed = [stage for stage in own if rests_on_assumption(stage)]
    return RouteLatency(
        site.id,
        chain.route,
        own,
        latencies,
        total,
        math.fsum(tolerances),
        math.hypot(*tolerances),
        math.fsum(stage.tolerance_us or 0.0 for stage in assumed),
        tuple(stage.id for stage in assumed),
    )


def all_routes(network: Network) -> dict[tuple[str, str], RouteLatency]:
    """Latency of every route of every site, by (site id, route)."""
    stages = {stage.id: stage for stage in network.stages}
    return {
        (site.id, chain.route): route_latency(site, chain, stages=stages, refractivity_n=network.refractivity_n)
        for site in network.sites
        for chain in site.chains
    }


def difference_tolerance(a: Iterable[Stage], b: Iterable[Stage]) -> tuple[float, float]:
    """How far the difference of two routes' latencies may be off: worst case and RSS.

    Parameters
    ----------
    a, b : iterable of Stage
        Stages of the two routes.

    Returns
    -------
    worst_us, rss_us : float
        Without the stages that both share, and without the tolerances common to a model that both use: these
        cancel out of the difference. [us]
    """
    by_id_a, by_id_b = {s.id: s for s in a}, {s.id: s for s in b}
    only_a = [s for name, s in by_id_a.items() if name not in by_id_b]
    only_b = [s for name, s in by_id_b.items() if name not in by_id_a]
    for stage in tuple(only_a):
        twin = next((other for other in only_b if _same_model(stage, other)), None)
        if twin is not None:
            only_a.remove(stage)
            only_b.remove(twin)
    tolerances = [s.tolerance_us or 0.0 for s in (*only_a, *only_b)]
    return math.fsum(tolerances), math.hypot(*tolerances)


def _same_model(a: Stage, b: Stage) -> bool:
    """Whether two devices share a tolerance because they are the same model and firmware."""
    common = a.tolerance_kind == b.tolerance_kind == "model"
    return common and a.model is not None and (a.model, a.firmware) == (b.model, b.firmware)
