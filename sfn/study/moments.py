"""How bad a moment of a change is: the area served, or delay differences where two sites are equally strong."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import Protocol

import numpy as np

from sfn.geodesy.position import Located
from sfn.pairs import neighbouring_triangles, wished_difference
from sfn.plan import Network
from sfn.reception.coverage import Coverage
from sfn.reception.equal_level import equal_level
from sfn.reception.quality import yardstick
from sfn.solve.order import MOST_STATES_N
from sfn.study.muting import LEAST_POINTS_N, WORK_POINTS_N, Scene
from sfn.study.served import served_summary
from sfn.systems.of_network import service_of
from sfn.timing import delay_table

MUTES_N = 8  # sites whose muting is tried at the worst moment
# Sites on one line have no triangles: every pair counts then, or, of too many, each site with the next in the list.
MOST_PAIRS_N = 600

Launches = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of the change, after the site called `after` ('' before the first).

    Parameters
    ----------
    pair : tuple of str
        Names of the neighbours that differ most beyond the tolerance at their equal-level point; empty where none do.
    excess_us, difference_us : float
        Of that pair: how far beyond the tolerance, and the difference, second minus first. [us]
    served_km2 : float or None
        Area served; None without levels. [km2]
    """

    after: str
    pair: tuple[str, ...]
    excess_us: float
    difference_us: float
    served_km2: float | None


class Measure(Protocol):
    """What an order of changes is judged by; more is worse."""

    @property
    def most_states_n(self) -> int:
        """States that may be judged."""

    def badness(self, launches: Launches) -> float:
        """Of one state."""


@dataclass(frozen=True, slots=True)
class DifferenceMeasure:
    """Delay differences of neighbours at their equal-level points, beyond the service's tolerance."""

    network: Network
    pairs: tuple[tuple[str, str], ...]
    wishes_us: tuple[float, ...]
    tolerance_us: float
    most_states_n: int = MOST_STATES_N

    def differences(self, launches: Launches) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        """Arrival of the second minus arrival of the first, shape (pairs,). [us]"""
        a, b = (np.array([launches[pair[end]] for pair in self.pairs]) for end in (0, 1))
        return np.asarray(b - a - np.array(self.wishes_us), dtype=np.float64)

    def badness(self, launches: Launches) -> float:
        """The greatest difference beyond the tolerance. [us]"""
        return self.worst(launches)[1]

    def worst(self, launches: Launches, off: frozenset[str] = frozenset()) -> tuple[int, float]:
        """Place of the worst pair among sites that are not off, and its excess; place -1 where none exceeds. [us]"""
        beyond = np.maximum(np.abs(self.differences(launches)) - self.tolerance_us, 0.0)
        heard = np.array([not off & set(pair) for pair in self.pairs], dtype=bool)
        beyond = np.where(heard, beyond, 0.0)
        at = int(np.argmax(beyond)) if beyond.size else -1
        return (at, float(beyond[at])) if at >= 0 and beyond[at] > 0 else (-1, 0.0)

    def moment(self, launches: Launches, *, after: str, area: "AreaMeasure | None") -> Moment:
        """One moment in figures."""
        at, excess = self.worst(launches)
        names = {site.id: site.name for site in self.network.sites}
        pair = tuple(names[name] for name in self.pairs[at]) if at >= 0 else ()
        difference = float(self.differences(launches)[at]) if at >= 0 else 0.0
        served = None if area is None or not area.judges else area.served_km2(launches)
        return Moment(after, pair, excess, difference, served)

    def suspects(self, launches: Launches) -> list[str]:
        """Sites that might be muted, those of the worst pairs first."""
        beyond = np.abs(self.differences(launches)) - self.tolerance_us
        ranked = [name for at in np.argsort(-beyond, kind="stable") for name in self.pairs[int(at)] if beyond[at] > 0]
        return list(dict.fromkeys(ranked))[:MUTES_N]


@dataclass(frozen=True, slots=True)
class AreaMeasure:
    """Area served, from levels that were computed before; what is shown counts every pixel, as the map does."""

    network: Network
    scene: Scene
    coverage: Coverage
    planned: Launches
    orders: bool
    judges: bool
    most_states_n: int

    def served_km2(self, launches: Launches, off: frozenset[str] = frozenset()) -> float:
        """Area served in one state. [km2]"""
        return served_summary(self.network, self.coverage, launches, off=off).served_km2

    def thinned_km2(self, launches: Launches, off: frozenset[str] = frozenset()) -> float:
        """The same from some pixels, where many states are compared. [km2]"""
        late = {name: launches[name] - self.planned[name] for name in self.scene.names}
        return self.scene.served_km2(late, off=set(off))

    def badness(self, launches: Launches) -> float:
        """Area not served, from an arbitrary zero. [km2]"""
        return -self.thinned_km2(launches)


def difference_measure(network: Network, *, placed: Mapping[str, Located]) -> DifferenceMeasure:
    """Neighbours and the launch differences that would make them arrive together where they are equally strong.

    Over a smooth earth: which of two orders hurts less must not wait for terrain.
    """
    sites = {site.id: site for site in network.sites}
    edges: dict[tuple[str, str], None] = {}
    for a, b, c in neighbouring_triangles(network, placed=placed):
        edges |= {(a, b): None, (b, c): None, (a, c): None}
    on_air = [site.id for site in network.sites if site.on_air]
    every = list(combinations(on_air, 2))
    if not edges:
        edges = dict.fromkeys(every if len(every) <= MOST_PAIRS_N else pairwise(on_air))
    levels = [equal_level(sites[a], sites[b], network, placed=placed) for a, b in edges]
    wishes = tuple(
        wished_difference(
            sites[a],
            sites[b],
            at.point,
            placed=placed,
            refractivity_n=network.refractivity_n,
            rx_above_sea_m=at.rx_above_sea_m,
        )
        for (a, b), at in zip(edges, levels, strict=True)
    )
    return DifferenceMeasure(network, tuple(edges), wishes, service_of(network).tolerance_us)


def area_measure(network: Network, coverage: Coverage, *, changes_n: int) -> AreaMeasure:
    """Area served; it chooses the order where all states can be judged, else it only judges the order's own states."""
    launches = delay_table(network).launches()
    on_air_n = max(1, int(coverage.on_air(network).size))
    affordable_n = WORK_POINTS_N // (LEAST_POINTS_N * on_air_n) - MUTES_N
    states_n = 2**changes_n if 2**changes_n <= affordable_n else changes_n + 1
    scene = Scene.of(network, coverage, launches, yardstick(network), trials_n=states_n + MUTES_N)
    return AreaMeasure(
        network, scene, coverage, launches, 2**changes_n <= affordable_n, states_n <= affordable_n, states_n
    )
