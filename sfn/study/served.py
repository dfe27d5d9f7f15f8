"""How a network serves with one set of launches: the score that is searched for, and people and area as they are."""

from collections.abc import Collection, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.aimed import received
from sfn.reception.area import ClassSummary, class_summary
from sfn.reception.classes import is_served
from sfn.reception.coverage import Coverage
from sfn.reception.others import Needed, needed_on
from sfn.reception.quality import ServiceQuality, service_quality, yardstick
from sfn.solve.objective import Objective, Score, quality_totals

Doubles = NDArray[np.float64]


Singles = NDArray[np.float32]


Flags = NDArray[np.bool_]


def counted_km2(computed: Coverage) -> Doubles:
    """Area that each pixel adds to any figure of area, shape (M,). [km2]

    Nothing where the terrain has a gap, at the place or on the way to it from some site: the level of a site is not
    known there, so nobody can say whether reception is adequate. Maps, searches, orders and plans all count by this.
    """
    return np.where(computed.covered, computed.area_km2(), 0.0)


def counted_people(computed: Coverage, people: Doubles | None) -> Doubles | None:
    """People that each pixel adds to any figure of people, by the rule of `counted_km2`; None: not known."""
    return None if people is None else np.where(computed.covered, people, 0.0)


@dataclass(frozen=True, slots=True)
class State:
    """How a network serves with one set of launches.

    Parameters
    ----------
    score : Score
        Weighted as asked.
    quality : ServiceQuality
    classes : ClassSummary
        People and area in each class, as they are: weights multiply nothing here.
    without_people : float or None
        People on the map without adequate service; None where they are not known.
    without_km2 : float
        Area of the map without adequate service, where the terrain covers it. [km2]
    """

    score: Score
    quality: ServiceQuality
    classes: ClassSummary
    without_people: float | None
    without_km2: float

    @property
    def served(self) -> Flags:
        """Where service is adequate, shape (M,)."""
        return is_served(self.quality.quality_class)


def levels(network: Network, computed: Coverage) -> tuple[Singles, Singles]:
    """Levels at 50 % and 1 % of time, NaN for a site not transmitting or a gap in terrain, shape (S, M). [dBuV/m]"""
    on_air = computed.on_air(network)
    level, rare = (np.full(computed.level_dbuvm.shape, np.nan, dtype=np.float32) for _ in range(2))
    level[on_air], rare[on_air] = received(network, computed, on_air)
    for one in (level, rare):
        one[:, ~computed.covered] = np.nan
    return level, rare


def other_needed(network: Network, computed: Coverage, *, executor: Executor | None = None) -> Needed | None:
    """What the strongest must reach beside transmitters of other programmes, at each pixel; None: none is listed."""
    return needed_on(network, computed, computed.on_air(network), yardstick(network).carried, executor=executor)


def state(
    network: Network, computed: Coverage, what: Objective, launches: Mapping[str, float], *, people: Doubles | None,
    executor: Executor | None,
) -> State:  # fmt: skip
    """Reception as the map shows it, with settings in force; `people` are the inhabitants of each pixel, shape (M,)."""
    level, rare = levels(network, computed)
    arrivals = computed.arrivals(launches)
    return judged(network, computed, what, level, rare, arrivals, people=people, executor=executor)


def judged(
    network: Network, computed: Coverage, what: Objective, level: Singles, rare: Singles, arrivals: Doubles, *,
    people: Doubles | None, executor: Executor | None,
) -> State:  # fmt: skip
    """Reception of given levels and arrivals, shape (S, M)."""
    quality = service_quality(
        level, arrivals, what.yard, frequency_mhz=network.frequency_mhz, level_1pct_dbuvm=rare, sites=computed.sites,
        other=other_needed(network, computed, executor=executor), executor=executor,
    )  # fmt: skip
    found = quality_totals(quality, what.weight, np.ones(what.weight.size, bool))
    mean = float(found[2]) / max(what.usable_weight, 1e-12)
    area, heard = counted_km2(computed), counted_people(computed, people)
    without = ~is_served(quality.quality_class)
    return State(
        Score(float(found[0]), float(found[1]), -mean),
        quality,
        class_summary(quality.quality_class, area, people=heard),
        None if heard is None else float(heard[without].sum()),
        float(area[without].sum()),
    )


def quality_of(
    network: Network, computed: Coverage, launches: Mapping[str, float], *, off: Collection[str] = (),
    executor: Executor | None = None,
) -> ServiceQuality:  # fmt: skip
    """Reception as the map has it, other stations and lock errors included, with some sites not transmitting besides.

    Parameters
    ----------
    network : Network
    computed : Coverage
        With at least one site on air that is not in `off`.
    launches : mapping of site id to launch time
        [us]
    off : collection of str
        Ids of sites that are not transmitting.
    """
    rows = np.array([i for i in computed.on_air(network) if computed.sites[i] not in off], dtype=np.intp)
    level, rare = received(network, computed, rows)
    yard = yardstick(network)
    beside = needed_on(network, computed, rows, yard.carried, executor=executor)
    return service_quality(
        level, computed.arrivals(launches)[rows], yard, frequency_mhz=network.frequency_mhz,
        level_1pct_dbuvm=rare, sites=[computed.sites[i] for i in rows],
        other=beside, executor=executor,
    )  # fmt: skip


def served_summary(
    network: Network, computed: Coverage, launches: Mapping[str, float], *, off: Collection[str] = (),
    people: Doubles | None = None, executor: Executor | None = None,
) -> ClassSummary:  # fmt: skip
    """Area and people in each class, as the map has them, with some sites not transmitting besides.

    Parameters
    ----------
    network : Network
    computed : Coverage
        All its pixels count.
    launches : mapping of site id to launch time
        [us]
    off : collection of str
        Ids of sites that are not transmitting.
    people : ndarray, shape (M,), optional
        Inhabitants of each pixel.
    """
    found = quality_of(network, computed, launches, off=off, executor=executor)
    return class_summary(found.quality_class, counted_km2(computed), people=counted_people(computed, people))
