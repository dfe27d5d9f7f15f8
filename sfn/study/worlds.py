"""Drawn worlds: a network served with levels and launches off by as much as nobody can rule out.

One world is a field of level errors for every site and a place between its bounds for every tolerance. All plans are
looked at in the same worlds, so that what one serves more than another is no luck of the draw.
"""

from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.reception.aimed import bearings_to
from sfn.reception.classes import is_served
from sfn.reception.coverage import Coverage
from sfn.reception.level_doubt import FieldDraws, LevelDoubt
from sfn.reception.level_seen import Seen, SeenDraws
from sfn.reception.quality import service_quality
from sfn.reception.radiated import as_radiated
from sfn.solve.objective import Objective
from sfn.solve.scene import Heard
from sfn.study.plan_relays import silent_behind, without_silent
from sfn.study.plan_scene import heard_by
from sfn.timing import delay_table
from sfn.timing.launch_draws import LaunchDoubt, drawn_part, launch_doubts, launch_errors_us

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]
Weight = float  # people or km2, as weighed


MEASURING = (0x6D656173, 0x75726564)
"""Tells the generator of what is measured wrong from those of the sites' fields."""


@dataclass(frozen=True, slots=True)
class Planned:
    """One network at the places that count, ready to be looked at in many worlds.

    Parameters
    ----------
    network : Network
        Relays behind a parent that is not transmitting do not either.
    level_dbuvm, level_1pct_dbuvm : ndarray of float32, shape (S, P)
        Predicted medians before the receiver's antenna; NaN: not transmitting. [dBuV/m]
    arrival_us : ndarray, shape (S, P)
        With its settings in force. [us]
    heard : Heard or None
        What the receiver's antenna makes of levels.
    doubts : tuple of LaunchDoubt
    untold : tuple of str
        Stages that are assumed without a tolerance.
    """

    network: Network
    level_dbuvm: Singles
    level_1pct_dbuvm: Singles
    arrival_us: Doubles
    heard: Heard | None
    doubts: tuple[LaunchDoubt, ...]
    untold: tuple[str, ...]

    @property
    def radiating(self) -> NDArray[np.intp]:
        """Sites with a signal, by row."""
        return np.flatnonzero(np.isfinite(self.level_dbuvm).any(axis=1))


@dataclass(slots=True)
class World:
    """One draw: the fields of the sites, and by key the place of each tolerance between its bounds."""

    units: list[Singles]
    errors_db: Singles
    doubts: Doubles = field(default_factory=lambda: np.empty(0))
    """What measured values are off by, as `sfn.reception.level_seen.SeenDraws` takes it; empty where none is known."""
    parts: dict[tuple[str, ...], float] = field(default_factory=dict)


class Worlds:
    """Worlds over the places of a map that count.

    Parameters
    ----------
    network : Network
        Whose levels `computed` are.
    computed : Coverage
    what : Objective
        What is counted, at every pixel, and the yardstick.
    doubt : LevelDoubt
    seed : int
    places : ndarray of int, optional
        Pixels to look at instead of all that count, with `weight` for each.
    seen : Seen, optional
        What was measured: only worlds that agree with it are drawn.
    """

    def __init__(
        self, network: Network, computed: Coverage, what: Objective, doubt: LevelDoubt, *, seed: int,
        places: Places | None = None, weight: Doubles | None = None, executor: Executor | None = None,
        seen: Seen | None = None,
    ) -> None:  # fmt: skip
        self.computed, self.what, self.seed, self.executor = computed, what, seed, executor
        every = np.flatnonzero((what.weight > 0) & computed.covered).astype(np.intp)
        self.places = every if places is None else places
        self.weight = what.weight[self.places] if weight is None else weight
        rows = np.arange(len(computed.sites), dtype=np.intp)
        bearing_deg, here = bearings_to(network, computed, rows), self.places
        self.draws = FieldDraws(
            network, computed.grid, computed.sites, pixels=here, bearing_deg=bearing_deg[:, here], doubt=doubt
        )
        self.seen = None
        if seen is not None and seen.site.size:
            self.seen = SeenDraws(
                network, computed.grid, computed.sites, pixels=here, bearing_deg=bearing_deg[:, here], doubt=doubt,
                seen=seen, seen_bearing_deg=bearing_deg[:, seen.pixel],
            )  # fmt: skip

    def planned(self, network: Network, *, placed: Mapping[str, Located]) -> Planned:
        """A network as it is looked at.

        Raises
        ------
        PlanError
            If a site stands or hangs elsewhere than where the levels are of.
        """
        network = without_silent(network, silent_behind(network))
        moved, at = as_radiated(network, self.computed), self.places
        on_air = set(self.computed.on_air(network).tolist())
        silent = [i for i in range(len(self.computed.sites)) if i not in on_air]
        level, rare = moved.level_dbuvm[:, at].copy(), moved.level_1pct_dbuvm[:, at].copy()
        level[silent], rare[silent] = np.nan, np.nan
        launches = delay_table(network, placed=placed).launches()
        launch_us = np.array([launches.get(name, 0.0) for name in self.computed.sites])
        doubts, untold = launch_doubts(network, self.computed.sites)
        arrivals = self.computed.travel_us[:, at] + launch_us[:, None]
        return Planned(network, level, rare, arrivals, heard_by(network, self.computed), doubts, untold)

    def world(self, draw: int, plans: Sequence[Planned]) -> World:
        """One world, for some plans."""
        keyed = {one.key: one for plan in plans for one in plan.doubts}
        parts = {key: drawn_part(one, seed=self.seed, draw=draw) for key, one in keyed.items()}
        made = self.fields(draw)
        made.parts.update(parts)
        return made

    def fields(self, draw: int) -> World:
        """One world's errors of levels; of launches nothing."""
        units = [(self.seen or self.draws).unit(k, seed=self.seed, draw=draw) for k in range(len(self.computed.sites))]
        if self.seen is None:
            return World(units, self.draws.errors_db(units))
        doubts = np.random.default_rng([self.seed, draw, *MEASURING]).standard_normal(self.seen.seen.site.size + 1)
        return World(units, self.seen.errors_db(units, doubts=doubts), doubts)

    def none(self) -> World:
        """The world in which every figure is as predicted."""
        return World([], np.zeros((len(self.computed.sites), self.places.size), np.float32))

    def levels(self, plan: Planned, errors_db: Singles, arrival_us: Doubles) -> Weight:
        """What a plan serves with given errors of levels and given arrivals. [people or km2, as weighed]"""
        level, rare, other = plan.level_dbuvm + errors_db, plan.level_1pct_dbuvm + errors_db, None
        if plan.heard is not None:
            level, rare, other = plan.heard(level, rare, self.places)
        quality = service_quality(
            level, arrival_us, self.what.yard, frequency_mhz=plan.network.frequency_mhz, level_1pct_dbuvm=rare,
            sites=self.computed.sites, other=other, executor=self.executor,
        )  # fmt: skip
        return float(self.weight[is_served(quality.quality_class)].sum())

    def served(
        self, plan: Planned, world: World, *, other: World | None = None, site: int | None = None,
        key: tuple[str, ...] | None = None,
    ) -> Weight:  # fmt: skip
        """What a plan serves in a world; with one site's field, or one tolerance, out of another world."""
        errors_db = world.errors_db
        if other is not None and site is not None:
            if self.seen is None:
                errors_db = errors_db + self.draws.moved_db(site, world.units[site], other.units[site])
            else:
                units = [other.units[k] if k == site else one for k, one in enumerate(world.units)]
                errors_db = self.seen.errors_db(units, doubts=world.doubts)
        parts = [
            (other if other is not None and doubt.key == key else world).parts.get(doubt.key, 0.0)
            for doubt in plan.doubts
        ]
        off_us = launch_errors_us(plan.doubts, parts, len(self.computed.sites))
        return self.levels(plan, errors_db, plan.arrival_us + off_us[:, None])
