"""What is asked of a search for the place of a new transmitter, and its answer as records."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sfn.plan import Network
from sfn.reception.area import ClassSummary
from sfn.reception.class_says import ClassSays, class_says
from sfn.report.numbers import number
from sfn.solve.objective import Objective
from sfn.study.how_sure import AskedSure, HowSure
from sfn.study.lever_says import CAUTION
from sfn.study.losers import AreaLost, PlaceChange
from sfn.study.mast import Mast
from sfn.study.optimised import Asked
from sfn.study.plans_found import MEDIANS_SAY, sampling
from sfn.study.served import State
from sfn.systems.fm_carried import heard_programme
from sfn.timing.row import DelayRow

Weight = float  # people or km2, as weighed
Share = float  # of 1

PLACING_CAUTION = (
    "a new transmitter needs a licence of its own, the owner's leave for the mast, and work that local codes rule: "
    f"this is advice on where to ask, and nothing may be switched on because of it; {CAUTION}"
)
USUAL_AZIMUTH_STEP_DEG = 10.0
"""Bearings at which licences and notices state what is radiated: 36 round the compass; common practice, from memory."""


@dataclass(frozen=True, slots=True)
class AskedPlacing:
    """What is asked for.

    Parameters
    ----------
    counted : Asked
        People, weights and greatest offset; sites on air stay as they are planned.
    patterns : tuple of str, optional
        Ids of sites whose patterns are tried beside none; not given: all that the network has.
    azimuth_step_deg : float
        From one direction that is tried to the next. [degrees]
    like : str
        Id of the site whose chain and device a new one would have; empty: the nearest to each.
    sure : AskedSure, optional
        Worlds in which the best are drawn; none: none are.
    sure_n : int
        How many of the best are drawn.
    """

    counted: Asked
    patterns: tuple[str, ...] | None = None
    azimuth_step_deg: float = USUAL_AZIMUTH_STEP_DEG
    like: str = ""
    sure: AskedSure | None = None
    sure_n: int = 4


@dataclass(frozen=True, slots=True)
class Way:
    """One way to radiate from a mast, at its best offset.

    Parameters
    ----------
    pattern : str
        Id of the site whose pattern it is, or `sfn.study.lever_try.ALL_ROUND`.
    azimuth_deg : float or None
        Where it points, from true north; None where it is alike all round. [degrees]
    offset_us, launch_us : float
        Best of those that were looked at; with its device's steps. [us]
    without_service : float
        What is left without service. [people or km2, as weighed]
    """

    pattern: str
    azimuth_deg: float | None
    offset_us: float
    launch_us: float
    without_service: Weight


@dataclass(frozen=True, slots=True)
class Placed:
    """What a transmitter at one mast would do.

    Parameters
    ----------
    mast : Mast
    site : str
        The id that it has in `planned`.
    like : str
        Id of the site whose device it has.
    planned : Network
        With it on air in its best way, the common delay held.
    ways : tuple of Way
        Those that were looked at with every offset, the best first.
    directions_n : int
        Patterns and directions that were compared at one offset before.
    row : DelayRow
        Its delays on the main route; of a stand-in where its feed is not known.
    after : State
    gained, lost : float
        Comes to adequate service, and loses it to the new signal. [people or km2, as weighed]
    gained_people, lost_people : float or None
        The same in people as they live there; None where they are not known.
    gained_km2, lost_km2 : float
        [km2]
    lost_to : ClassSummary
        What those who lose have instead, by class.
    unjudged : float
        Served before, and not judged with it: the terrain has a gap on the way from the mast. [people or km2]
    places, areas
        Who gains and who loses, as in `sfn.study.optimised.Optimised`.
    beyond : tuple of (str, float)
        Licence contours of the document that it would reach out of, and by how many km2.
    doubts : tuple of str
        About this place.
    """

    mast: Mast
    site: str
    like: str
    planned: Network
    ways: tuple[Way, ...]
    directions_n: int
    row: DelayRow
    after: State
    gained: Weight
    lost: Weight
    gained_people: float | None
    lost_people: float | None
    gained_km2: float
    lost_km2: float
    lost_to: ClassSummary
    unjudged: Weight
    places: tuple[PlaceChange, ...]
    areas: tuple[AreaLost, ...]
    beyond: tuple[tuple[str, float], ...]
    doubts: tuple[str, ...]

    @property
    def best(self) -> Way:
        """The way in which it serves most."""
        return self.ways[0]

    @property
    def gain(self) -> Weight:
        """How much more is served than today. [people or km2, as weighed]"""
        return self.gained - self.lost

    @property
    def added_us(self) -> float | None:
        """What its device must add, in all; None where its feed is not known. [us]"""
        return None if self.mast.feed_us is None else self.row.set_us


@dataclass(frozen=True, slots=True)
class NotPlaced:
    """A mast that was not looked at, and why."""

    name: str
    code: str
    why: str


@dataclass(frozen=True, slots=True)
class Placing:
    """The answer.

    Parameters
    ----------
    network : Network
    asked : AskedPlacing
    what : Objective
    common_us : float
        The common delay that all figures rest on. [us]
    before : State
        As the network is planned.
    masts : tuple of Placed
        The one that serves most first.
    left : tuple of NotPlaced
    compared_n, places_n : int
        Places on which directions were compared, of those that count.
    ended : {'all', 'cancelled'}
    sure : HowSure or None
        Today's network and the first `asked.sure_n` in the same drawn worlds.
    said : tuple of str
        How the masts were found.
    """

    network: Network
    asked: AskedPlacing
    what: Objective
    common_us: float
    before: State
    masts: tuple[Placed, ...]
    left: tuple[NotPlaced, ...]
    compared_n: int
    places_n: int
    ended: str
    sure: HowSure | None = None
    said: tuple[str, ...] = ()

    @property
    def counted(self) -> Weight:
        """All that is counted. [people or km2, as weighed]"""
        return float(np.sum(self.what.weight))

    @property
    def beside(self) -> ClassSays:
        """By which rule served is judged, before and after."""
        return class_says(self.network, self.what.yard)

    @property
    def rests_on(self) -> tuple[str, ...]:
        """What makes a place served, for whom, and FM's programme."""
        heard = heard_programme(self.network)
        return (*self.beside.lines, *((f"FM quality of {heard}",) if heard else ()))

    def apart(self, k: int) -> tuple[Weight, Weight] | None:
        """How much more number `k` serves than the next, and what the map's places leave open of that; None: the last.

        [people or km2, as weighed]
        """
        if k + 1 >= len(self.masts):
            return None
        one, other = self.masts[k], self.masts[k + 1]
        return one.gain - other.gain, sampling(self.what.weight, one.after, other.after)

    def better(self, k: int) -> Share | None:
        """Share of the drawn worlds in which number `k` serves more than the next; None where both were not drawn."""
        if self.sure is None or k + 2 >= len(self.sure.plans):
            return None
        one, other = (self.sure.plans[k + n].served for n in (1, 2))
        return float((one > other).mean())

    def says(self, k: int) -> tuple[str, ...]:
        """What leaves one place in the list open, in words."""
        one, unit = self.masts[k], self.what.unit
        said = list(one.doubts)
        open_by = sampling(self.what.weight, self.before, one.after)
        if one.gain <= open_by:
            said.append(
                f"what it gains, {number(one.gain, 1)} {unit}, is no more than what the map's places leave open "
                f"({number(open_by, 1)} {unit}): a finer pixel may take it away"
            )
        apart, better = self.apart(k), self.better(k)
        if apart is not None and apart[0] <= apart[1]:
            said.append(
                f"it serves {number(apart[0], 1)} {unit} more than the next, and the map's places leave "
                f"{number(apart[1], 1)} {unit} of that open: the two are as good as each other"
            )
        drawn = self.sure.plans[k + 1] if self.sure is not None and k + 1 < len(self.sure.plans) else None
        if drawn is not None and drawn.better is not None and drawn.better < 0.95:
            said.append(
                f"it serves more than today's network in {100 * drawn.better:.0f} % of the drawn worlds only, whatever "
                "the predicted medians say"
            )
        if better is not None and better < 0.95:
            said.append(f"it serves more than the next in {100 * better:.0f} % of the drawn worlds only")
        return tuple(said)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What leaves the whole answer open, in words."""
        said = [MEDIANS_SAY]
        if self.sure is None:
            said.append("no worlds were drawn: how far levels that are off would change the order is not known")
        else:
            said += list(self.sure.says)
        if self.compared_n < self.places_n:
            said.append(
                f"directions were compared on {number(self.compared_n, 0)} of {number(self.places_n, 0)} places; every "
                "figure here is of all of them"
            )
        said.append(
            "sites on air keep their offsets, powers and antennas; with the new one on air others may serve "
            "more (Plans of change, once it stands in the network)"
        )
        if any(site.on_air and site.fed_off_air_from for site in self.network.sites):
            said.append(
                "whether relays still hear their parents beside the new signal is not worked out here: Off-air relays "
                "(command repeaters) does, once it stands in the network"
            )
        if self.network.unjudged:
            said.append(self.network.unjudged)
        if self.ended == "cancelled":
            said.append(f"stopped: {len(self.left)} of {len(self.masts) + len(self.left)} places were not looked at")
        return tuple(said)


def settings_of(row: DelayRow) -> Mapping[str, tuple[float, str]]:
    """Delay fields with what they are set to, and its unit."""
    return {field.name: (float(field.value), field.unit) for field in row.fields}
