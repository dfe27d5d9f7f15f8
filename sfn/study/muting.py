"""Which site to mute after how long without its reference: when it takes more service than it gives.

For each site alone: the area served as its launch drifts either way, against the area served with the site muted. The
error at which muting serves more, held against the site's clock, gives the time. Sites fed off air drift, and stop
transmitting, with their parent. A site that takes more than it gives while everything is in step is no matter of
clocks: it stands apart, because its offset or its power is wrong, and an order that ranked it first would hide that.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isinf

import numpy as np
from numpy.typing import NDArray

from sfn.clock.holdover import Clock, time_to_limit
from sfn.plan import Network
from sfn.reception.aimed import received
from sfn.reception.area import class_summary
from sfn.reception.coverage import Coverage
from sfn.reception.others import Needed, needed_on
from sfn.reception.quality import Yardstick, service_quality, yardstick
from sfn.study.clocks import timed_by_clock
from sfn.study.served import counted_km2, served_summary

MOST_POINTS_N = 8000
LEAST_POINTS_N = 1500
WORK_POINTS_N = 1_500_000  # points times sites times trials that a page may take
TRIED_PARTS = (0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0)  # of the service's tolerance


@dataclass(frozen=True, slots=True)
class Muting:
    """One site's turn.

    Parameters
    ----------
    site_id, site_name : str
    after_h : float
        Hours without reference after which muting serves more; infinite for never. [h]
    error_us : float
        How far it may be off by then; infinite where no error tried is worse than muting. [us]
    in_step_km2, silent_km2 : float
        Area served with the whole network in step, and with this site muted. [km2]
    """

    site_id: str
    site_name: str
    after_h: float
    error_us: float
    in_step_km2: float
    silent_km2: float

    @property
    def never(self) -> bool:
        """No error tried is worse than muting."""
        return isinf(self.error_us)


@dataclass(frozen=True, slots=True)
class MutingOrder:
    """Which site is muted when, and which should not be on air as planned at all.

    Parameters
    ----------
    order : tuple of Muting
        First to be muted first; never last.
    harmful : tuple of Muting
        Sites without which more is served even with all in step, most first; they have no turn.
    """

    order: tuple[Muting, ...]
    harmful: tuple[Muting, ...]


def muting_order(
    network: Network, coverage: Coverage, launches: Mapping[str, float], *, clocks: Mapping[str, Clock]
) -> MutingOrder:
    """Sites in the order in which they should be muted.

    Parameters
    ----------
    network : Network
    coverage : Coverage
        Levels that were computed before. Areas in step and with a site muted count all pixels, as the map does; errors
        are tried at some thousand, held against these.
    launches : mapping of site id to launch time
        In step. [us]
    clocks : mapping of site id to Clock
        Of the sites that may lose their reference; sites fed off air have none of their own. One whose launch no clock
        times has no turn, for it does not drift; it may be harmful still.

    Returns
    -------
    MutingOrder
    """
    yard = yardstick(network)
    children = {site.id: fed_by(network, site.id) for site in network.sites}
    heads = [s for s in network.sites if s.on_air and s.fed_off_air_from is None and s.id in clocks]
    scene = Scene.of(network, coverage, launches, yard, trials_n=len(heads) * (2 * len(TRIED_PARTS) + 1))
    timed = timed_by_clock(network)
    whole, thinned = served_summary(network, coverage, launches).served_km2, scene.served_km2({})
    order, harmful = [], []
    for site in heads:
        group = {site.id, *children[site.id]}
        silent = served_summary(network, coverage, launches, off=group).served_km2
        if whole < silent:
            harmful.append(Muting(site.id, site.name, 0.0, 0.0, whole, silent))
            continue
        if site.id not in timed:
            continue
        loses_km2 = whole - silent
        error_us = _worse_than(scene, group, thinned - loses_km2, thinned, tolerance_us=yard.carried.tolerance_us)
        after_h = inf if isinf(error_us) else 0.0
        if 0 < error_us < inf:
            after_h = time_to_limit(clocks[site.id], limit_us=error_us)
        order.append(Muting(site.id, site.name, after_h, error_us, whole, silent))
    return MutingOrder(
        tuple(sorted(order, key=lambda one: (one.after_h, one.error_us))),
        tuple(sorted(harmful, key=lambda one: -one.silent_km2)),
    )


@dataclass(frozen=True, slots=True)
class Scene:
    """Thinned signals, ready to be judged with some sites late or off, `trials_n` times.

    Enough to compare many states; a figure that is shown comes from `sfn.study.served.served_summary`, as the map's.
    """

    names: tuple[str, ...]
    level_dbuvm: NDArray[np.float32]
    level_1pct_dbuvm: NDArray[np.float32]
    arrival_us: NDArray[np.float64]
    area_km2: NDArray[np.float64]
    yard: Yardstick
    frequency_mhz: float
    beside: Needed | None = None

    @classmethod
    def of(
        cls,
        network: Network,
        coverage: Coverage,
        launches: Mapping[str, float],
        yard: Yardstick,
        *,
        trials_n: int,
    ) -> "Scene":
        """Every n-th pixel of the sites on air, its area n times its own."""
        on_air = coverage.on_air(network)
        wanted = int(np.clip(WORK_POINTS_N / max(trials_n * on_air.size, 1), LEAST_POINTS_N, MOST_POINTS_N))
        pixels_n = coverage.level_dbuvm.shape[1]
        kept = np.unique(np.linspace(0, pixels_n - 1, min(wanted, pixels_n)).astype(int))
        level, rare = received(network, coverage, on_air)
        beside = needed_on(network, coverage, on_air, yard.carried)
        return cls(
            tuple(coverage.sites[i] for i in on_air),
            level[:, kept],
            rare[:, kept],
            coverage.arrivals(launches)[np.ix_(on_air, kept)],
            counted_km2(coverage)[kept] * (pixels_n / kept.size),
            yard,
            network.frequency_mhz,
            None if beside is None else beside.at(kept),
        )

    def served_km2(self, late_us: Mapping[str, float], *, off: set[str] | None = None) -> float:
        """Area served with some sites late and some off. [km2]"""
        rows = [i for i, name in enumerate(self.names) if name not in (off or set())]
        late = np.array([late_us.get(self.names[i], 0.0) for i in rows])[:, None]
        level = self.level_dbuvm[rows]
        found = service_quality(
            level,
            self.arrival_us[rows] + late,
            self.yard,
            frequency_mhz=self.frequency_mhz,
            level_1pct_dbuvm=self.level_1pct_dbuvm[rows],
            sites=[self.names[i] for i in rows],
            other=None if self.beside is None else self.beside.of(rows, level),
        )
        return class_summary(found.quality_class, self.area_km2).served_km2


def _worse_than(scene: Scene, group: set[str], silent: float, whole: float, *, tolerance_us: float) -> float:
    """Least error of the group, either way, at which less is served than with it muted; infinite for none. [us]"""
    before_us, before_km2 = 0.0, whole
    for part in TRIED_PARTS:
        error_us = part * tolerance_us
        served = min(scene.served_km2(dict.fromkeys(group, sign * error_us)) for sign in (1.0, -1.0))
        if served < silent:
            return before_us + (error_us - before_us) * (before_km2 - silent) / (before_km2 - served)
        before_us, before_km2 = error_us, served
    return inf


def fed_by(network: Network, site_id: str) -> set[str]:
    """All sites that hear a site, or one that hears it."""
    found: set[str] = set()
    for site in network.sites:
        if site.fed_off_air_from == site_id:
            found |= {site.id} | fed_by(network, site.id)
    return found
