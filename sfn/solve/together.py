"""Offsets and levers searched together: the front of people served against cost, from several sides.

The offsets alone first; then everything at once, with kicks; then back from the best plan, giving up the change that
brings least for its cost; then forward from the plan as it is, taking the one that brings most; last, kicks from every
plan of the front within its cost. Large networks are searched on a sample of their places: whoever uses the front
judges it on all of them (`sfn.study.together` does).
"""

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.solve.descent import StoppedError
from sfn.solve.limits import Limits
from sfn.solve.objective import Score
from sfn.solve.options import SAME_COST, Choice, Cost, Front, Key, Options, Seen
from sfn.solve.scene import Scene
from sfn.solve.search import search, tidy
from sfn.solve.standing import Standing

Doubles = NDArray[np.float64]
Told = Callable[[Doubles, Score, str, float], None]

SAMPLE_PLACES_N = 12_000
# Parts of the time by which each phase has ended; what a phase leaves goes to those after it.
OFFSETS_UNTIL, ALL_UNTIL, BACK_UNTIL, FORWARD_UNTIL = 0.15, 0.6, 0.72, 0.86
KICKS_PER_SITE_N = 6  # in vain, a site, end a phase of kicks
LEVER_KICK_PROBABILITY, OFFSET_KICK_PROBABILITY = 0.7, 0.6
PROMISING_RATIO = 0.1  # of the gain so far: a kick that ends no further behind is followed at all sites
KICKS_A_PLAN_N = 4  # of each plan of the front, in each round of the last phase


@dataclass(frozen=True, slots=True)
class Together:
    """What was found.

    Parameters
    ----------
    plans : tuple of Seen
        The front, the cheapest first: the plan as it is, unless it breaks a limit, and what serves more for its cost.
    ended : str
        "settled": every phase ended by itself, and the same seed gives the same again; "time" or "cancelled".
    looked : int
        Plans looked at.
    seconds_s : float
    places_n : int
        Places that it was searched on.
    """

    plans: tuple[Seen, ...]
    ended: str
    looked: int
    seconds_s: float
    places_n: int


class _Search:
    """One search, phase by phase."""

    def __init__(self, standing: Standing, rng: np.random.Generator, *, began_s: float, budget_s: float) -> None:
        self.at, self.rng, self.began_s, self.budget_s = standing, rng, began_s, budget_s
        self.asis, self.ended = standing.seen, list[str]()

    def phase(self, run: Callable[[], None], *, until: float) -> bool:
        """Run a phase until a part of the time; False where it was cancelled."""
        self.at.until_s, self.at.ended = self.began_s + until * self.budget_s, "settled"
        try:
            run()
        except StoppedError:
            self.ended.append(self.at.ended)
        return "cancelled" not in self.ended

    def best(self) -> Seen:
        """The plan that serves most; where even the plan as it is breaks a limit, that one, until another is found."""
        found = self.at.front.plans()
        return found[-1] if found else self.asis

    def everything(self) -> None:
        """No limit of cost: down from the best so far, then kicks."""
        at, count = self.at, len(self.at.chosen)
        at.back(self.best())
        at.settle()
        self.pairs()
        vain = 0
        while vain < KICKS_PER_SITE_N * count:
            held = self.best()
            at.back(held)
            self.kick(np.inf)
            vain = 0 if self.best().key < held.key else vain + 1

    def pairs(self) -> None:
        """Two levers of one site at a time: a pattern and where it points."""
        at = self.at
        again = True
        while again:
            again = False
            for i in self.rng.permutation(len(at.chosen)).tolist():
                if at.lever(i, levers_n=2):
                    again = True
                    at.settle()

    def kick(self, most_cost: Cost) -> None:
        """Put levers or offsets of one to three sites somewhere at random, and go down from there."""
        at, rng = self.at, self.rng
        some = [i for i in range(len(at.chosen)) if at.options.counts[i] or at.limits.free[i]]
        if not some:
            return
        held, chosen, offsets = at.seen, list(at.chosen), at.offsets.copy()
        kicked = rng.choice(some, size=min(len(some), int(rng.integers(1, 4))), replace=False).tolist()
        for i in kicked:
            if at.options.counts[i] and rng.random() < LEVER_KICK_PROBABILITY:
                chosen[i] = at.options.any_of(i, rng)
            if at.limits.free[i] and rng.random() < OFFSET_KICK_PROBABILITY:
                low, high = at.limits.room(offsets, at.limits.group(i))
                if high > low:
                    step = at.limits.step_us
                    to = np.clip(round((offsets[i] + rng.uniform(low, high)) / step) * step - offsets[i], low, high)
                    offsets = offsets + np.where(at.limits.group(i), to, 0.0)
        if at.options.total(chosen, at.limits.changed(offsets)) > most_cost + SAME_COST:
            return
        at.go(chosen, offsets)
        at.settle(most_cost=most_cost, sites=kicked)
        if at.key[0] - held.key[0] <= PROMISING_RATIO * max(self.asis.key[0] - held.key[0], 0.0):
            at.settle(most_cost=most_cost, sites=rng.permutation(len(chosen)).tolist())

    def back(self) -> None:
        """From the best plan to the plan as it is, giving up a site's changes, or its levers alone, one at a time."""
        at = self.at
        at.back(self.best())
        while at.changed.any():
            here, ends = at.seen, []
            for chosen, offsets_us, cost in self.less(here):
                at.go(chosen, offsets_us)
                lost = max(at.key[0] - here.key[0], 0.0) / (here.cost - cost)
                ends.append((lost, at.key, at.seen))
            if not ends:
                return
            at.back(min(ends, key=lambda end: end[:2])[2])
            at.settle(most_cost=at.cost)

    def less(self, here: Seen) -> Iterator[tuple[tuple[Choice, ...], Doubles, Cost]]:
        """A plan without one site's changes, or without its levers or its offset alone: choices, offsets and cost."""
        limits, options = self.at.limits, self.at.options
        moved = limits.changed(here.offsets_us)
        for i, chosen_i in enumerate(here.chosen):
            if not any(chosen_i) and not moved[i]:
                continue
            plain = (0,) * len(chosen_i)
            offsets = np.where(np.arange(moved.size) == i, limits.now_us, here.offsets_us)
            for one, offsets_us in ((plain, offsets), (plain, here.offsets_us), (chosen_i, offsets)):
                chosen = (*here.chosen[:i], one, *here.chosen[i + 1 :])
                cost = options.total(chosen, limits.changed(offsets_us))
                if cost < here.cost - SAME_COST and limits.kept(offsets_us):
                    yield chosen, offsets_us, cost

    def swaps(self, here: Seen) -> None:
        """Give up one site's changes and take another's, within the cost of the plan."""
        at = self.at
        for chosen, offsets_us, _ in list(self.less(here)):
            for i in range(len(chosen)):
                at.go(chosen, offsets_us)
                took = at.lever(i, most_cost=here.cost)
                if at.limits.free[i]:
                    took |= at.shift(here.cost, only=np.arange(offsets_us.size) == i)
                if took:
                    at.settle(most_cost=here.cost)

    def forward(self) -> None:
        """From the plan as it is, one more site changed at a time: the one that brings most for its cost."""
        at = self.at
        at.go(at.options.planned(), at.limits.now_us)
        while not at.changed.all():
            here, ends = at.seen, []
            for i in np.flatnonzero(~at.changed).tolist():
                at.back(here)
                alone = np.arange(at.offsets.size) == i
                if at.limits.free[i]:
                    at.shift(only=alone)
                    ends.append(self._brings(here))
                    at.back(here)
                if at.lever(i):
                    ends.append(self._brings(here))
                    if at.limits.free[i] and at.shift(only=alone):
                        ends.append(self._brings(here))
            ends = [end for end in ends if end[0] > 0.0]
            if not ends:
                return
            at.back(max(ends, key=lambda end: (end[0], [-part for part in end[1].key]))[1])
            at.settle(most_cost=at.cost)

    def _brings(self, before: Seen) -> tuple[float, Seen]:
        """How much more the present plan serves for each unit of cost, and the plan."""
        gain, more = before.key[0] - self.at.key[0], self.at.cost - before.cost
        return (gain / max(more, 1e-6) if gain > 0 else 0.0), self.at.seen

    def polish(self) -> None:
        """Swaps and kicks from every plan of the front, within its cost, until a whole round was in vain."""
        better, swapped = True, set[tuple[float, Key]]()
        while better:
            better = False
            for one in self.at.front.plans()[1:]:
                if (one.cost, one.key) not in swapped:
                    swapped.add((one.cost, one.key))
                    self.swaps(one)
                for _ in range(KICKS_A_PLAN_N):
                    self.at.back(one)
                    self.kick(one.cost)
                held = self.at.front.best[round(one.cost, 6)]
                better |= held.key < one.key


def together(
    scene: Scene,
    options: Options,
    limits: Limits,
    *,
    seed: int = 1,
    budget_s: float = 60.0,
    starts: Sequence[tuple[str, Doubles]] = (),
    begin: Sequence[Seen] = (),
    executor: Executor | None = None,
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Together:
    """The front of people (or area) served against cost, over offsets and levers.

    Parameters
    ----------
    scene : Scene
    options : Options
        Levers of each site; none at any: offsets alone.
    limits : Limits
        Of the offsets; no free site: levers alone.
    seed : int
        Of the sample and of the kicks.
    budget_s : float
        It ends earlier where nothing better turns up in many tries. [s]
    starts : sequence of (name, offsets)
        Where the search for offsets alone begins besides the present ones. [us]
    begin : sequence of Seen
        Plans of another search, looked at first: the search goes on from the best.
    executor : concurrent.futures.Executor, optional
        Threads for lines of offsets.
    progress : callable, optional
        As in `sfn.solve.search.search`: offsets of the plan that serves most so far, its score, the phase, the part.
    cancelled : callable, optional
        Says whether to stop; the front so far is the answer.
    """
    thin, front = scene.sample(SAMPLE_PLACES_N, seed=seed), Front()
    phase = ["offsets alone"]

    def told() -> None:
        """What is known so far."""
        if progress is not None and front.best:
            one = front.plans()[-1]
            progress(one.offsets_us, Score(*one.key), phase[0], min((time.monotonic() - began_s) / budget_s, 1.0))

    began_s = time.monotonic()
    standing = Standing(
        thin, options, limits, front=front, until_s=np.inf, executor=executor, cancelled=cancelled, told=told
    )
    began_s = time.monotonic()  # code that is compiled at its first use is no part of the search
    with suppress(StoppedError):  # the first phase ends by it
        for one in begin:
            standing.go(one.chosen, one.offsets_us)
        standing.go(options.planned(), limits.now_us)
    run = _Search(standing, np.random.default_rng(seed), began_s=began_s, budget_s=budget_s)
    if limits.free.any() and not begin:
        what = thin.objective(standing.level, standing.rare)
        found = search(
            what, limits, seed=seed, budget_s=OFFSETS_UNTIL * budget_s, starts=starts, executor=executor,
            progress=None if progress is None else lambda _at, _score, _phase, _part: told(), cancelled=cancelled,
        )  # fmt: skip
        run.ended.append("settled" if found.ended == "exhaustive" else found.ended)
        run.phase(lambda: standing.go(options.planned(), tidy(found.offsets_us, limits)), until=1.0)
    steps = [("forward from the plan as it is", run.forward, FORWARD_UNTIL), ("each plan again", run.polish, 1.0)]
    if any(options.counts):
        steps.insert(0, ("offsets and levers together", run.everything, ALL_UNTIL))
    steps.insert(-2, ("back from the best", run.back, BACK_UNTIL))

    def follow(some: Sequence[tuple[str, Callable[[], None], float]]) -> None:
        """Phase after phase."""
        for name, one, until in some:
            phase[0] = name
            if "cancelled" in run.ended or not run.phase(one, until=until):
                break

    follow(steps)
    again = [(name, one, 1.0) for name, one, _ in (steps[-1:] if len(steps) < 4 else (steps[0], steps[-1]))]
    while "time" in run.ended and time.monotonic() < began_s + budget_s:  # one was cut short, and there is time left
        run.ended.clear()
        follow(again)
    ended = next((one for one in ("cancelled", "time") if one in run.ended), "settled")
    return Together(front.plans(), ended, standing.looked, time.monotonic() - began_s, thin.places_n)
