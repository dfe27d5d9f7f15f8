"""What is asked of a search for plans, and its answer as records."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from sfn.errors import Problem
from sfn.plan import Network
from sfn.plan.may_change import ChangeCosts, SiteChanges
from sfn.reception.class_says import ClassSays, class_says
from sfn.report.numbers import number
from sfn.solve.objective import Objective
from sfn.solve.together import Together
from sfn.study.how_sure import AskedSure, HowSure
from sfn.study.lever_says import CAUTION
from sfn.study.losers import AreaLost, PlaceChange
from sfn.study.optimised import Asked
from sfn.study.plan_levers import NotVaried, Value
from sfn.study.plan_relays import RelayLost
from sfn.study.plan_scene import Licence, Overstepped
from sfn.study.served import Doubles, State
from sfn.systems.fm_carried import heard_programme
from sfn.units import counted

Weight = float  # people or km2
Cost = float  # in the unit of the costs

MOST_PLANS_N = 10
ROBUST_WORLDS_N, ROBUST_PLACES_N = 20, 600
PLANS_CAUTION = (
    f"{CAUTION}; another direction, pattern or tilt is a rigging job: work on masts and near radiating antennas "
    "is for trained people alone, with power reduced or off as the local rules ask"
)
MEDIANS_SAY = "levels are predicted medians, 6 to 8 dB uncertain: what is gained on paper is looked for on the road"


def sampling(weight: Doubles, before: State, after: State) -> Weight:
    """What a map's places leave open of a difference: twice the root of the sum of squares of what changes. [weight]

    As if each place that changes stood for its pixel by chance: the variance of a sum of independent parts.
    """
    return 2.0 * float(np.sqrt((weight[before.served != after.served] ** 2).sum()))


@dataclass(frozen=True, slots=True)
class AskedPlans:
    """What plans are asked for.

    Parameters
    ----------
    counted : Asked
        People, weights, held sites, limits of offsets, seed and time; a limit on changed devices is not looked at:
        costs say that.
    vary : frozenset of str
        Of `sfn.study.plan_levers.KINDS`.
    general : SiteChanges
        Bounds for what the document has none for.
    costs : ChangeCosts, optional
        Instead of the document's.
    licences : tuple of Licence
        Besides the document's.
    sure : AskedSure, optional
        Worlds in which every plan of the answer is drawn; none: none are.
    robust : {'p20', 'mean'}, optional
        What is searched for: most served with 80 % of the chances, or on the average, in worlds drawn like those; not
        given: most served at predicted medians.
    """

    counted: Asked
    vary: frozenset[str]
    general: SiteChanges = field(default_factory=SiteChanges)
    costs: ChangeCosts | None = None
    licences: tuple[Licence, ...] = ()
    sure: AskedSure | None = None
    robust: Literal["p20", "mean"] | None = None


@dataclass(frozen=True, slots=True)
class SiteChange:
    """What a plan changes at one site.

    Parameters
    ----------
    site : str
    cost : float
        Of all of it. [unit of the costs]
    fields : mapping
        Fields that change, with their new values, as `sfn.study.lever_try.Lever` and the document call them.
    says : str
        The same in words, from what to what.
    settings : tuple of (field, before, after, unit)
        Delay fields of the main route that are set otherwise.
    """

    site: str
    cost: Cost
    fields: Mapping[str, Value]
    says: str
    settings: tuple[tuple[str, float, float, str], ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """One plan of the front.

    Parameters
    ----------
    cost : float
        [unit of the costs]
    planned : Network
        As a document would have it with the plan.
    changes : tuple of SiteChange
        Site by site; relays that only move along are none of them.
    common_held_us : float or None
        The common delay that the plan fixes, so that no other device is set otherwise; None: as the document has it.
    after : State
    gained, lost : float
        Of what is counted, as weighed: comes to adequate service, and loses it.
    sampling : float
        What the map's places leave open of the gain: twice the standard deviation of its sum, if each place that
        changes had been as likely to or not. [people or km2]
    places, areas
        Who gains and who loses, as in `sfn.study.optimised.Optimised`.
    cautions : tuple of Problem
        Sites that radiate more than planned in some direction.
    """

    cost: Cost
    planned: Network
    changes: tuple[SiteChange, ...]
    common_held_us: float | None
    after: State
    gained: Weight
    lost: Weight
    sampling: Weight
    places: tuple[PlaceChange, ...]
    areas: tuple[AreaLost, ...]
    cautions: tuple[Problem, ...]

    @property
    def gain(self) -> Weight:
        """How much more is served than today. [people or km2, as weighed]"""
        return self.gained - self.lost

    @property
    def within_sampling(self) -> bool:
        """Whether the gain is no larger than what the places leave open."""
        return self.gain <= self.sampling


@dataclass(frozen=True, slots=True)
class Plans:
    """The answer.

    Parameters
    ----------
    network : Network
    asked : AskedPlans
    what : Objective
    costs : ChangeCosts
    costs_assumed : bool
        Nobody said what changes cost.
    licences : tuple of Licence
    overstepped : tuple of Overstepped
    before : State
        As the network is planned.
    plans : tuple of Plan
        The cheapest first; each serves more than those before it.
    left_off : int
        Plans of the front that were left off this short list.
    not_varied : tuple of NotVaried
    found : Together
    places_n : int
        Places of the map that count.
    area_km2 : ndarray, shape (M,)
    """

    network: Network
    asked: AskedPlans
    what: Objective
    costs: ChangeCosts
    costs_assumed: bool
    licences: tuple[Licence, ...]
    overstepped: tuple[Overstepped, ...]
    before: State
    plans: tuple[Plan, ...]
    left_off: int
    not_varied: tuple[NotVaried, ...]
    found: Together
    places_n: int
    area_km2: Doubles
    beyond_limits: bool = False
    """Whether the offsets as planned break what devices, relays or the search allow."""
    silent_behind: tuple[str, ...] = ()
    """Relays on air in the document behind a parent that is not: they count as not transmitting."""
    relay_lost: tuple[RelayLost, ...] = ()
    """Plans that were left out, since a relay would lose its parent or its margin by them."""
    sure: HowSure | None = None
    """Today's network and every plan in drawn worlds; None where none were drawn."""

    @property
    def counted(self) -> Weight:
        """All that is counted. [people or km2, as weighed]"""
        return float(np.sum(self.what.weight))

    @property
    def all_served(self) -> bool:
        """Whether nobody is left without service, as planned or with a plan."""
        best = min(one.score.without_service for one in (self.before, *(plan.after for plan in self.plans)))
        return best <= 1e-9 * max(self.counted, 1.0)

    @property
    def beside(self) -> ClassSays:
        """By which rule served is judged: as planned, of every plan, and in drawn worlds."""
        return class_says(self.network, self.what.yard)

    @property
    def rests_on(self) -> tuple[str, ...]:
        """What makes a place served, for whom, and FM's programme."""
        heard = heard_programme(self.network)
        return (*self.beside.lines, *((f"FM quality of {heard}",) if heard else ()))

    def says(self, plan: Plan) -> tuple[str, ...]:
        """What leaves a plan's gain open, in words."""
        unit, said = self.what.unit, []
        if plan.within_sampling:
            said.append(
                f"its gain of {number(plan.gain, 1)} {unit} is no larger than what the sampling of places leaves open "
                f"({number(plan.sampling, 1)} {unit}): a finer pixel may take it away"
            )
        at = next(k for k, one in enumerate(self.plans) if one is plan)
        if at:
            before = self.plans[at - 1]
            apart = sampling(self.what.weight, before.after, plan.after)
            if plan.gain - before.gain <= apart:
                said.append("what it serves more than the plan before it lies within the sampling of places")
        return tuple(said)

    @property
    def doubts(self) -> tuple[str, ...]:
        """What leaves the whole answer open, in words."""
        said = [MEDIANS_SAY, *(self.sure.says if self.sure is not None else ())]
        if self.asked.robust is not None:
            what = "the 20th percentile" if self.asked.robust == "p20" else "the mean"
            said.append(
                f"searched at predicted medians, then for half as long for {what} of {ROBUST_WORLDS_N} drawn "
                "worlds on a sample of places, and listed by it in other worlds: at medians another plan may serve more"
            )
        if self.found.places_n < self.places_n:
            said.append(
                f"searched on {number(self.found.places_n, 0)} of {number(self.places_n, 0)} places, drawn by what "
                "they count for; every figure here is of all of them"
            )
        if self.found.ended != "settled":
            why = {"time": "the time ended", "cancelled": "it was stopped"}[self.found.ended]
            better = "cheaper" if self.all_served else "better"
            if not self.all_served or self.plans:
                said.append(f"{why} before the search settled: {better} plans may be there")
        if self.beyond_limits:
            said.append(
                "the offsets as planned break what devices, relays or these bounds allow: what is served as planned, "
                "and by every plan that keeps them, is not to be had like that (see check, and the sheets withheld)"
            )
        if self.costs_assumed:
            said.append("nobody said what changes cost: the costs are assumed")
        if self.left_off:
            said.append(f"{self.left_off} more plans of the front, between these, are left off")
        names = {site.id: site.name for site in self.network.whole.sites}
        if self.silent_behind:
            waiting = ", ".join(f"{names[one]}" for one in self.silent_behind)
            said.append(
                f"fed off air from a site that is not transmitting, and counted as not transmitting either: {waiting}"
            )
        if self.relay_lost:
            said.append(
                f"{counted(len(self.relay_lost), 'plan')} left out, for a relay would lose by it: "
                f"{self.relay_lost[0].problem.what}"
            )
        if any(site.fed_off_air_from and site.on_air for site in self.network.sites) and self.asked.vary - {"offset"}:
            said.append(
                "sites fed off air were held against each plan by predicted medians: their parent's level and their "
                "loop are measured again after any change of power or antennas"
            )
        return tuple(said)
