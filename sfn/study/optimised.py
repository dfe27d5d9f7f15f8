"""What is asked of ``optimise``, and its answer as a record."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from sfn.errors import Problem
from sfn.plan import Network, Place
from sfn.reception.class_says import ClassSays, class_says
from sfn.reception.weights import Weighed
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective, Score
from sfn.solve.search import Found
from sfn.study.at_limit import AtLimit
from sfn.study.levers import Lever
from sfn.study.losers import AreaLost, PlaceChange
from sfn.study.optimise_devices import DeviceChange, SeedSpread
from sfn.study.served import State
from sfn.systems.fm_carried import heard_programme
from sfn.timing import DelayTable

Doubles = NDArray[np.float64]
Part = Literal["of its own", "on the way", "last night"]
SAME_US, SAME_RATIO = 1e-6, 1e-9
Weight = float  # people or km2
# What is wrong with how a site hears its parent: its signal ends, or follows another.
OF_RELAYS = frozenset(
    {
        "relay-oscillates", "relay-low-margin", "relay-echo-beyond-window", "relay-wrong-parent", "relay-parent-weak",
        "relay-parent-not-heard", "relay-figures-missing", "relay-isolation-estimated", "relay-figure-impossible",
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be optimised, and within which limits.

    Parameters
    ----------
    people : ndarray, shape (M,), or None
        Inhabitants of each pixel; None: not known.
    by_area : bool
        Count area even where people are known.
    weights : Weighed or None
        This town first, that ridge does not matter.
    places : tuple of Place
        Those that people live in, to name who loses.
    held : frozenset of str
    most_us, most_move_us : float or None
        Greatest offset and greatest change of one. [us]
    from_set : bool
        Changes count from what the devices are set to now, not from the saved plan.
    most_changed : int or None
        How many sites may get another setting than the saved plan gives them.
    after_night : bool
        The plan before is what the night before set.
    seed : int
    budget_s : float
    """

    people: Doubles | None = None
    by_area: bool = False
    weights: Weighed | None = None
    places: tuple[Place, ...] = ()
    held: frozenset[str] = frozenset()
    most_us: float | None = None
    most_move_us: float | None = None
    from_set: bool = False
    most_changed: int | None = None
    after_night: bool = False
    seed: int = 1
    budget_s: float = 60.0

    @property
    def counts_people(self) -> bool:
        """Whether people are counted; else area."""
        return self.people is not None and not self.by_area


@dataclass(frozen=True, slots=True)
class Optimised:
    """The answer."""

    network: Network
    planned: Network
    asked: Asked
    what: Objective
    limits: Limits
    found: Found
    spread: SeedSpread
    settled: bool
    """No step of a device, of one site or of two that share a place, improves it, within all limits; else that was not
    seen: the time ran out, or this is a night on the way to a plan."""
    on_devices: bool
    """Whether any step of a device fits the limits; true where no site may move."""
    part: Part
    """A search of its own; or a night of a plan for all nights together: one on the way, or its last."""
    before: State
    after: State
    table: DelayTable
    sensitivity: Mapping[str, tuple[Score, Score]]
    drawn: Doubles
    levers: tuple[Lever, ...]
    places: tuple[PlaceChange, ...]
    areas: tuple[AreaLost, ...]
    bound: Weight
    area_km2: Doubles
    delays: Any
    left_out_km2: float
    """Area that counts for nothing, because the terrain does not cover it or the way to it from some site."""
    left_out_people: float | None
    """People who live there."""
    changed: tuple[str, ...]
    """Sites of which the new plan sets a device otherwise than the saved one."""
    devices: tuple[DeviceChange, ...]
    """Of every site with a device: whether it gets another setting, against what is set now where that is told."""
    relays: tuple[Problem, ...]
    """What may end the signal of a site fed off air, or lead it astray: the figures count on that signal."""
    uncovered_says: str = ""
    """What the terrain does not cover, and on the way from which sites; empty where all is."""
    at_limits: tuple[AtLimit, ...] = ()
    """Sites that the offsets put at a limit: further on there may be more to gain."""

    @property
    def beside(self) -> ClassSays:
        """By which rule served is judged, before and after."""
        return class_says(self.planned, self.what.yard)

    @property
    def rests_on(self) -> tuple[str, ...]:
        """What makes a place served, for whom, and FM's programme: beside every figure of served."""
        heard = heard_programme(self.planned)
        return (*self.beside.lines, *((f"FM quality of {heard}",) if heard else ()))

    @property
    def nothing_to_find(self) -> str | None:
        """Why no offsets could bring anything, in words; None where they might."""
        heard = self.network.transmitting
        on_air = [site for site in self.network.sites if site.id in heard]
        if len(on_air) < 2 and self.network.unjudged:
            return f"{len(on_air)} site on air can be read: with whom it is to be within tolerance is not known"
        if len(on_air) < 2:
            return f"{len(on_air)} site on air: there is no second signal of this network to be in step with"
        if not self.limits.free.any():
            return "every site on air is held: there is no offset to choose"
        if self.uncovered_says and not self.area_km2.any():
            return f"no place is judged: {self.uncovered_says}"
        if self.what.places.site.size == 0:
            return "no place that is counted changes with any offset: the sites' signals do not overlap there"
        return None

    @property
    def settled_says(self) -> str:
        """What of the steps of the devices was looked at, and what that covers, in words."""
        few = self.asked.most_changed
        limits = "the limits"
        if few is not None:
            nights = " in all nights together" if self.part == "last night" else ""
            limits += f", with at most {few} device{'s' if few != 1 else ''} set otherwise{nights},"
        if self.part == "on the way":
            return (
                "this is a night on the way: its devices are those of the whole plan that serve most by themselves, "
                "and other settings tonight might serve more; the steps of the devices were looked at for the last "
                "night's result"
            )
        if not self.on_devices:
            return (
                "no step of the devices fits the limits: the finest of every site that may move is longer than it may "
                "move; a finer field, or wider limits"
            )
        if not self.settled:
            return "the time ended before every step of the devices was looked at: a step of one may improve it"
        if self.found.ended == "exhaustive":
            return f"within {limits} every setting of the devices was looked at, and none improves it"
        sites = int(self.limits.free.sum())
        looked = f"the {sites} sites that may move" if sites != 1 else "the one site that may move"
        return (
            f"within {limits} no step of a device, of one site or of two that share a place, improves it. Looked at, "
            f"for {looked}: one step each way, and 1 us where the step is finer; several steps at once, or three sites "
            "together, only as far as the search came in its time"
        )

    @property
    def common_held_us(self) -> float | None:
        """The common delay that the plan holds as it is now, so that fewer settings change; None: as before. [us]"""
        held = self.planned.common_delay.value_us
        return held if held is not None and self.network.common_delay.value_us is None else None

    @property
    def no_worse_ratio(self) -> float | None:
        """Share of the draws that serve no less than before, equal ones among them; None where no launch changes."""
        before = self.before.score.without_service
        if np.allclose(self.after.score.without_service, before) and not self.moves:
            return None
        return float(np.mean(self.drawn <= before * (1 + SAME_RATIO) + SAME_RATIO))

    @property
    def moves(self) -> bool:
        """Whether any site launches otherwise against another than in the saved plan."""
        now = {site.id: site.offset_us for site in self.network.sites}
        apart = [offset_us - now[site] for site, offset_us in self.offsets_us.items()]
        return max(apart) - min(apart) > SAME_US

    @property
    def offsets_us(self) -> dict[str, float]:
        """The offsets found, by site. [us]"""
        return dict(zip(self.what.sites, self.found.offsets_us.tolist(), strict=True))

    def moved(self, weight: Doubles | None, *, gained: bool) -> Weight | None:
        """How much of a weight, shape (M,), comes to adequate service, or loses it."""
        if weight is None:
            return None
        was, now = self.before.served, self.after.served
        return float(weight[(now & ~was) if gained else (was & ~now)].sum())
