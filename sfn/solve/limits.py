"""What offsets may be chosen: boxes, and least or greatest differences between two sites.

| symbol | name | unit |
|---|---|---|
| o_i | offset of site i | us |
| d_ij | `most_us`, the greatest allowed ``o_i - o_j`` | us |
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Network
from sfn.timing import DelayTable, field_limits
from sfn.timing.table import awaited

Doubles = NDArray[np.float64]

# How the limits count for a site fed off air, wherever they are asked for or quoted.
RELAYS_MOST = (
    "a site fed off air cannot launch before it hears the site that feeds it: later, its greatest offset counts from "
    "the earliest offset that this leaves it as saved, where that lies after 0; earlier, from there, or from where it "
    "stands if that is earlier"
)
RELAYS_MOVE = "what a site fed off air moves along with the site that feeds it counts too"
RELAYS_CHANGED = "a site fed off air that only moves along is none of them"
USUAL_MOST_US = 50.0  # FM, VSB; an OFDM network may need its guard interval
WITHIN_US = 1e-6


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of S offsets.

    Parameters
    ----------
    sites : tuple of str
    now_us, low_us, high_us : ndarray, shape (S,)
        Present offsets, least and greatest. [us]
    most_us : ndarray, shape (S, S)
        Greatest ``o_i - o_j``; inf where there is none. [us]
    free : ndarray of bool, shape (S,)
        Not held, and on air.
    parent : ndarray of int, shape (S,)
        Row of the site that feeds it off air; -1.
    step_us : float
        Offsets chosen are whole multiples of it, where no limit lies closer. [us]
    most_changed : int or None
        How many sites may get another added delay.
    """

    sites: tuple[str, ...]
    now_us: Doubles
    low_us: Doubles
    high_us: Doubles
    most_us: Doubles
    free: NDArray[np.bool_]
    parent: NDArray[np.int64]
    step_us: float = 1.0
    most_changed: int | None = None

    def group(self, i: int) -> NDArray[np.bool_]:
        """A site with the free sites that receive it off air, directly or not: they move together."""
        moved = np.zeros(len(self.sites), bool)
        moved[i] = True
        for _ in range(len(self.sites)):
            grown = moved | (self.free & (self.parent >= 0) & moved[self.parent])
            if (grown == moved).all():
                break
            moved = grown
        return moved

    def room(self, offsets_us: Doubles, moved: NDArray[np.bool_]) -> tuple[float, float]:
        """Least and greatest shift of some sites together while the others stay. [us]"""
        low = float((self.low_us - offsets_us)[moved].max())
        high = float((self.high_us - offsets_us)[moved].min())
        if not moved.all():
            slack = self.most_us - (offsets_us[:, None] - offsets_us[None, :])
            high = min(high, float(slack[np.ix_(moved, ~moved)].min()))
            low = max(low, -float(slack[np.ix_(~moved, moved)].min()))
        return low, high

    def kept(self, offsets_us: Doubles) -> bool:
        """Whether offsets keep every limit."""
        inside = (offsets_us >= self.low_us - WITHIN_US) & (offsets_us <= self.high_us + WITHIN_US)
        apart = offsets_us[:, None] - offsets_us[None, :] <= self.most_us + WITHIN_US
        few = self.most_changed is None or int(self.changed(offsets_us).sum()) <= self.most_changed
        return bool(inside.all() and apart.all() and few)

    def changed(self, offsets_us: Doubles) -> NDArray[np.bool_]:
        """Sites whose added delay changes: a site fed off air keeps its own while its parent's launch moves."""
        moves = offsets_us - self.now_us
        from_parent = np.where(self.parent >= 0, moves[self.parent], 0.0)
        return np.asarray(np.abs(moves - from_parent) > WITHIN_US)


def plain_limits(
    now_us: Doubles, *, most_us: float, held: Iterable[int] = (), step_us: float = 1.0, most_changed: int | None = None
) -> Limits:
    """Limits of S sites that know of each other nothing: each offset within +-`most_us`, some held."""
    now = np.asarray(now_us, dtype=np.float64)
    free = np.ones(now.size, bool)
    free[list(held)] = False
    low, high = np.where(free, -most_us, now), np.where(free, most_us, now)
    apart = np.full((now.size, now.size), np.inf)
    names = tuple(str(i) for i in range(now.size))
    return Limits(names, now, low, high, apart, free, np.full(now.size, -1), step_us, most_changed)


def limits(
    network: Network,
    table: DelayTable,
    *,
    held: Iterable[str] = (),
    most_us: float,
    most_move_us: float | None = None,
    from_set: bool = False,
    most_changed: int | None = None,
    step_us: float = 1.0,
) -> Limits:
    """The limits of a network's offsets.

    Parameters
    ----------
    network : Network
    table : DelayTable
        Of the network as it is.
    held : iterable of str
        Sites to leave alone besides those that the network holds, and those not transmitting.
    most_us : float
        Greatest offset, later or earlier; a site fed off air: beyond the least that its parent allows. It holds for the
        offset as planned, in every mode of the search: any setting that such an offset rounds to is allowed, so a
        launch may lie beyond it by up to half a step of the device. [us]
    most_move_us : float, optional
        Greatest change against the present offset. [us]
    from_set : bool
        That change counts from what the devices are set to now instead.
    most_changed : int, optional
        How many sites may get another setting.
    step_us : float
        Of the search. [us]

    Raises
    ------
    PlanError
        If a held site does not exist, or the present offsets of held sites contradict a limit.

    Notes
    -----
    A site fed off air: ``o_child - o_parent >= least_offset - o_parent`` of the delay table. Fields: with a fixed
    common delay each offset has a range; with an automatic one, which follows the slowest chain,
    ``o_i - o_j <= (T_j + least_j ... )``: every field's greatest value must still be reached from the common delay
    that site j forces.
    """
    index = {site.id: i for i, site in enumerate(network.sites)}
    named = frozenset(held)
    unknown = sorted(named - index.keys())
    if unknown:
        raise PlanError(
            Problem(
                "--hold",
                f"there is no site {name!r}",
                f"one of {', '.join(index)}",
                code="unknown-site",
                values={"site": name},
            )
            for name in unknown
        )
    now = np.array([site.offset_us for site in network.sites], dtype=np.float64)
    parent = np.array([index[s.fed_off_air_from] if s.fed_off_air_from else -1 for s in network.sites])
    heard = network.transmitting
    free = np.array([s.id in heard and not s.offset_held and s.id not in named for s in network.sites])
    apart, box = _devices(network, table, index)
    floor = np.array([_floor(apart, i, int(parent[i]), now) if parent[i] >= 0 else -np.inf for i in range(now.size)])
    low = np.where(parent >= 0, np.minimum(floor, now) - most_us, -most_us)
    high = np.where(parent >= 0, np.maximum(floor, 0.0) + most_us, most_us)
    own_low = np.array([-np.inf if s.least_offset_us is None else s.least_offset_us for s in network.sites])
    own_high = np.array([np.inf if s.greatest_offset_us is None else s.greatest_offset_us for s in network.sites])
    low, high = np.maximum.reduce([low, own_low, box[0]]), np.minimum.reduce([high, own_high, box[1]])
    if most_move_us is not None:
        base = set_offsets(network, table) if from_set else now
        low, high = np.maximum(low, base - most_move_us), np.minimum(high, base + most_move_us)
    low, high = np.where(free, low, now), np.where(free, high, now)
    _refuse_empty(network, low, high)
    made = Limits(tuple(index), now, low, high, apart, free, parent, step_us, most_changed)
    return replace(made, most_us=np.where(np.isnan(apart), np.inf, apart))


def set_offsets(network: Network, table: DelayTable) -> Doubles:
    """Offsets that the devices are set to now, shape (S,). [us]

    Where the common delay is automatic, nobody on air can tell when all sites launch later by the same: what most of
    them share against the plan is left out.
    """
    launches = table.launches(as_set=True)
    offsets = np.array([launches[site.id] for site in network.sites]) - table.common_delay_us
    if network.common_delay.value_us is None:
        now = np.array([site.offset_us for site in network.sites], dtype=np.float64)
        offsets = offsets - np.median(offsets - now)
    return np.asarray(offsets)


def _floor(apart: Doubles, child: int, parent: int, now: Doubles) -> float:
    """Least offset of a site fed off air while its parent stays. [us]"""
    return float(now[parent] - apart[parent, child])


def _devices(network: Network, table: DelayTable, index: Mapping[str, int]) -> tuple[Doubles, tuple[Doubles, Doubles]]:
    """What fields and feeds allow: greatest differences (S, S), and boxes where the common delay is fixed."""
    count = len(index)
    apart = np.full((count, count), np.inf)
    low, high = np.full(count, -np.inf), np.full(count, np.inf)
    sites = {site.id: site for site in network.sites}
    awaited_us = awaited(network)
    studio_fed = [r for r in table.rows if sites[r.site_id].fed_off_air_from is None]
    for row in table.rows:
        site, i = sites[row.site_id], index[row.site_id]
        least, greatest = (float(limit) for limit in field_limits(site.delay_fields))
        if site.fed_off_air_from is not None:
            j = index[site.fed_off_air_from]
            gap = row.latency_us + least - table.common_delay_us - network.sites[j].offset_us
            apart[j, i] = min(apart[j, i], -gap)
            apart[i, j] = min(apart[i, j], gap + greatest - least)
        elif network.common_delay.value_us is not None:
            low[i] = max(low[i], row.latency_us + least - table.common_delay_us)
            high[i] = min(high[i], row.latency_us + greatest - table.common_delay_us)
        elif site.on_air and site.delay_fields:
            margin = network.common_delay.margin_us or 0.0
            if awaited_us is not None:
                high[i] = min(high[i], row.latency_us + greatest - awaited_us - margin)
            for other in studio_fed:
                if other.on_air:
                    j = index[other.site_id]
                    forced = other.latency_us + float(field_limits(sites[other.site_id].delay_fields)[0]) + margin
                    if j != i:
                        apart[i, j] = min(apart[i, j], row.latency_us + greatest - forced)
    return apart, (low, high)


def _refuse_empty(network: Network, low: Doubles, high: Doubles) -> None:
    """No site may be left without any offset."""
    wrong = [
        Problem(
            f"sites[{network.places[site.id]}]",
            f"site {site.name} may have no offset at all: at least {low[i]:g} us and at most {high[i]:g} us",
            "wider limits, or a common delay that its fields can meet",
            code="offset-impossible",
            touches=(Touch(site.id),),
            values={"least_us": float(low[i]), "greatest_us": float(high[i])},
        )
        for i, site in enumerate(network.sites)
        if low[i] > high[i] + WITHIN_US
    ]
    if wrong:
        raise PlanError(wrong)
