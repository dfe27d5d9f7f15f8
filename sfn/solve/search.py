"""Descent on the real objective from several starts: anytime, repeatable for a seed, never worse than what is set.

A site (with those that receive it off air) or one side of a link of the overlap tree moves at a time, along a line of
offsets of which every one is evaluated, where the move matters; after a move only those that it stirs are looked at
again. When no move helps, two at a time are tried, then kicks at random and random groups.
"""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.solve.limits import Limits
from sfn.solve.moves import moves
from sfn.solve.objective import Objective, Score, along_totals, whole

Doubles = NDArray[np.float64]
Mask = NDArray[np.bool_]

COARSE_STEPS_N = 128  # a longer line is looked at coarsely first, then finely about its best places
COARSE_OFDM_STEPS_N = 48  # nothing changes within a small part of the guard interval
FINE_ABOUT_N = 3
KICKS_PER_SITE_N = 10  # this many kicks in vain, a site, end the search; where they cost little, up to
CHEAP_KICKS_PER_SITE_N = 150
FIRST_KICKS_PER_SITE_N = 1  # before two at a time are tried
CHEAP_EVALUATIONS = 1.5e8  # signals looked at in vain kicks: about a second
PAIR_EVALUATIONS = 2e9  # signals looked at, in all planes of two groups: about ten seconds
CLOSE_KICK_PROBABILITY = 0.7  # that a kick's second and third move lie near its first
EXHAUSTIVE_MOST = 3  # movable groups, and as many evaluations as follow
EXHAUSTIVE_EVALUATIONS = 4e8


@dataclass(frozen=True, slots=True)
class Found:
    """The best offsets found.

    Parameters
    ----------
    offsets_us : ndarray, shape (S,)
        [us]
    score, before : Score
        Of these offsets, and of the present ones.
    ended : str
        "exhaustive": every set of whole steps was tried; "settled": nothing better was found in many tries; "time" or
        "cancelled": it was still trying. Only the first two can be repeated exactly with the same seed.
    tried : int
        Sets of offsets evaluated.
    seconds_s : float
    starts : tuple of (str, Score)
        Where the search began and how good each start was by itself.
    """

    offsets_us: Doubles
    score: Score
    before: Score
    ended: str
    tried: int
    seconds_s: float
    starts: tuple[tuple[str, Score], ...]


Told = Callable[[Doubles, Score, str, float], None]


class _StoppedError(Exception):
    """The budget is used up, or someone cancelled."""


class _Searching:
    """One search: the present place, the best place, the time left."""

    def __init__(
        self, what: Objective, limits: Limits, executor: Executor | None, budget_s: float,
        progress: Told | None, cancelled: Callable[[], bool] | None,
    ) -> None:  # fmt: skip
        self.what, self.limits, self.executor = what, limits, executor
        self.began, self.budget_s = time.monotonic(), budget_s
        self.progress, self.cancelled = progress, cancelled
        self.at = limits.now_us.copy()
        self.total = whole(what, self.at, executor=executor)
        self.best, self.best_key, self.best_total = self.at.copy(), self.key, self.total.copy()
        self.tried, self.phase, self.ended = 1, "start", "settled"
        self.coarse = COARSE_OFDM_STEPS_N if what.yard.carried.kind == "ofdm" else COARSE_STEPS_N
        self.moves = moves(what, limits)
        self.groups = self.moves.singles
        self.pairs = [
            (i, j) for i in range(len(self.groups)) for j in range(i)
            if (self.moves.near[i] & self.groups[j]).any()
        ]  # fmt: skip

    @property
    def key(self) -> tuple[float, ...]:
        """Score of the present place, for comparison."""
        return tuple(self.what.scores(self.total[None].copy())[0].tolist())

    def go(self, offsets_us: Doubles) -> None:
        """Stand somewhere else."""
        self.at = offsets_us.copy()
        self.total = whole(self.what, self.at, executor=self.executor)
        self.tried += 1
        self.note()

    def note(self) -> None:
        """Keep the best, tell, and stop when asked."""
        if self.key < self.best_key and self.limits.kept(self.at):
            self.best, self.best_key, self.best_total = self.at.copy(), self.key, self.total.copy()
        spent = time.monotonic() - self.began
        if self.progress is not None:
            self.progress(self.best, Score(*self.best_key), self.phase, min(spent / max(self.budget_s, 1e-9), 1.0))
        if self.cancelled is not None and self.cancelled():
            self.ended = "cancelled"
            raise _StoppedError
        if spent > self.budget_s:
            self.ended = "time"
            raise _StoppedError

    def line(self, moved: Mask) -> bool:
        """Move a group to the best place along its line; whether that was better."""
        low, high = self.limits.room(self.at, moved)
        if high - low < 1e-9 or not self._may_change(moved):
            return False
        step = self.limits.step_us
        lead = float(self.at[int(np.flatnonzero(moved)[0])])
        shifts = steps_between(lead + low, lead + high, step) - lead
        stride = max(1, -(-shifts.size // self.coarse))
        found = self._look(moved, shifts[::stride])
        if stride > 1:
            keys = found[1]
            about = np.lexsort((keys[:, 2], keys[:, 1], keys[:, 0]))[:FINE_ABOUT_N] * stride
            fine = np.unique(np.clip(about[:, None] + np.arange(-stride, stride + 1), 0, shifts.size - 1))
            finer = self._look(moved, shifts[fine])
            found = tuple(np.concatenate(pair) for pair in zip(found, finer, strict=True))  # type: ignore[assignment]
        shifts, keys, totals = found
        i = int(np.lexsort((np.abs(shifts), keys[:, 2], keys[:, 1], keys[:, 0]))[0])
        if tuple(keys[i].tolist()) < self.key:
            self.at = self.at + np.where(moved, shifts[i], 0.0)
            self.total = totals[i]
            self.note()
            return True
        self.note()
        return False

    def _look(self, moved: Mask, shifts: Doubles) -> tuple[Doubles, Doubles, Doubles]:
        """Shifts, their keys (K, 3) and totals (K, 3)."""
        totals = along_totals(self.what, self.at, moved, shifts, now=self.total, executor=self.executor)
        self.tried += shifts.size
        return shifts, self.what.scores(totals.copy()), totals

    def _may_change(self, moved: Mask) -> bool:
        """Whether moving this group keeps the number of changed sites within its limit."""
        if self.limits.most_changed is None:
            return True
        changed = self.limits.changed(self.at) | self.limits.changed(self.at + np.where(moved, 0.123456, 0.0))
        return int(changed.sum()) <= self.limits.most_changed

    def descend(self, order: Sequence[int], waiting: Mask | None = None) -> None:
        """Lines along every move that waits for a look, again and again, until none helps."""
        wait = np.ones(len(self.moves.masks), bool) if waiting is None else waiting.copy()
        while wait.any():
            for i in order:
                if wait[i]:
                    if self.line(self.moves.masks[i]):
                        wait |= self.moves.stirred(self.moves.masks[i])
                    wait[i] = False

    def back(self) -> None:
        """Stand at the best place."""
        self.at, self.total = self.best.copy(), self.best_total.copy()

    def planes(self) -> None:
        """Two groups that meet, over all their steps: out of corners that no single line leaves."""
        looks = sum(self.coarse**2 * int(self.moves.signals[j]) for _, j in self.pairs)
        if looks > PAIR_EVALUATIONS:
            return
        better = True
        while better:
            better = False
            for i, j in self.pairs:  # all of them, not only until one helps
                better |= self._plane(i, j)
            if better:
                self.descend(range(len(self.moves.masks)))

    def _plane(self, i: int, j: int) -> bool:
        """The best of two groups' steps together; whether it was better."""
        one, other = self.groups[i] & ~self.groups[j], self.groups[j]
        low, high = self.limits.room(self.at, one) if one.any() else (0.0, 0.0)
        here, total, held = self.at.copy(), self.total.copy(), self.key
        best = held, here, total
        if high - low < 1e-9 or self.limits.most_changed is not None:
            return False
        lead = float(here[int(np.flatnonzero(one)[0])])
        shifts = steps_between(lead + low, lead + high, self.limits.step_us) - lead
        totals = self._look(one, shifts[:: max(1, -(-shifts.size // self.coarse))])
        for shift, after in zip(totals[0], totals[2], strict=True):
            self.at, self.total = here + np.where(one, shift, 0.0), after
            self.line(other)
            if self.key < best[0]:
                best = self.key, self.at, self.total
        _, self.at, self.total = best
        return best[0] < held

    def greedy(self) -> None:
        """With a limit on changes: the group that helps most first."""
        for _ in range(len(self.groups)):
            here, total = self.at.copy(), self.total.copy()
            ends = []
            for moved in self.groups:
                self.at, self.total = here.copy(), total.copy()
                if self.line(moved):
                    ends.append((self.key, self.at.copy()))
            self.at, self.total = here, total
            if not ends:
                return
            self.go(min(ends, key=lambda e: e[0])[1])


def steps_between(low_us: float, high_us: float, step_us: float) -> Doubles:
    """Whole multiples of a step from low to high, and both ends. [us]"""
    first, last = np.ceil(low_us / step_us - 1e-9), np.floor(high_us / step_us + 1e-9)
    inside = np.arange(first, last + 1) * step_us
    return np.unique(np.concatenate([[low_us], inside, [high_us]]))


def search(
    what: Objective,
    limits: Limits,
    *,
    seed: int = 1,
    budget_s: float = 60.0,
    starts: Sequence[tuple[str, Doubles]] = (),
    exhaustive: bool = True,
    executor: Executor | None = None,
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Found:
    """The best offsets found within a time.

    Parameters
    ----------
    what : Objective
    limits : Limits
    seed : int
        Of the random kicks.
    budget_s : float
        It ends earlier where nothing better turns up in many tries. [s]
    starts : sequence of (name, offsets)
        Where to begin besides the present offsets, as `sfn.solve.start` finds them. Those beyond a limit are moved
        inside, or left out where that cannot be done. [us]
    exhaustive : bool
        Try every set of whole steps where that is feasible.
    executor : concurrent.futures.Executor, optional
        Threads.
    progress : callable, optional
        Called with the best offsets so far, their score, the phase in words and the part of the budget used.
    cancelled : callable, optional
        Says whether to stop; the best so far is the answer.

    Returns
    -------
    found : Found
        Never worse than the present offsets, if those keep the limits.
    """
    now = _Searching(what, limits, executor, budget_s, progress, cancelled)
    before = Score(*now.key)
    if not limits.kept(now.at):
        now.best_key = (np.inf,) * 3
    began: list[tuple[str, Score]] = [("as it is", before)]
    try:
        for name, offsets in starts:
            inside = _inside(offsets, limits)
            if limits.kept(inside):
                now.go(inside)
                began.append((name, Score(*now.key)))
        _explore(now, [o for _, o in starts], np.random.default_rng(seed), exhaustive=exhaustive)
    except _StoppedError:
        pass
    best = now.best if np.isfinite(now.best_key[0]) else limits.now_us
    best = tidy(best, limits)
    key = now.best_key if np.isfinite(now.best_key[0]) else tuple(vars_of(before))
    spent = time.monotonic() - now.began
    return Found(best, Score(*key), before, now.ended, now.tried, spent, tuple(began))


def _inside(offsets_us: Doubles, limits: Limits) -> Doubles:
    """Offsets in whole steps, held sites as they are, the others inside their boxes."""
    snapped = np.where(limits.free, np.round(offsets_us / limits.step_us) * limits.step_us, limits.now_us)
    return np.clip(snapped, limits.low_us, limits.high_us)


def vars_of(score: Score) -> tuple[float, float, float]:
    """A score's three figures in order."""
    return score.without_service, score.below_target, score.minus_mean_margin_db


def _explore(now: _Searching, starts: Sequence[Doubles], rng: np.random.Generator, *, exhaustive: bool) -> None:
    """From every start down, then everything or kicks."""
    limits, count = now.limits, len(now.moves.masks)
    if count == 0:
        return
    now.phase = "first descents"
    places = [limits.now_us.copy()]
    places += [
        np.clip(np.where(limits.free, np.round(o), limits.now_us), limits.low_us, limits.high_us) for o in starts
    ]
    for place in places:
        if limits.kept(place):
            now.go(place)
            if limits.most_changed is not None:
                now.greedy()
            now.descend(range(count))
    if exhaustive and _every(now):
        return
    now.phase = "kicks"
    _kicks(now, rng, FIRST_KICKS_PER_SITE_N * count)
    while True:
        now.back()
        now.phase = "two sites at a time"
        now.planes()
        now.phase, held = "kicks", now.best_key
        _kicks(now, rng, _enough(now))
        if now.best_key == held:
            return


def _enough(now: _Searching) -> float:
    """Kicks in vain that end a search: more where they cost little."""
    count = len(now.groups)
    cost = 2.0 * now.coarse * max(float(now.moves.signals.sum()) / max(count, 1), 1.0)
    return min(max(KICKS_PER_SITE_N, CHEAP_EVALUATIONS / cost / count), CHEAP_KICKS_PER_SITE_N) * max(count, 3)


def _kicks(now: _Searching, rng: np.random.Generator, enough: float) -> None:
    """Kicks and descents until so many in a row were in vain."""
    vain = 0
    while vain < enough:
        held = now.best_key
        now.back()
        moved = _kick(now, rng)
        now.descend(rng.permutation(len(now.moves.masks)).tolist(), now.moves.stirred(moved))
        vain = 0 if now.best_key < held else vain + 1


def _kick(now: _Searching, rng: np.random.Generator) -> Mask:
    """Put one to three groups somewhere at random, or let a random half of them find its best place together.

    Returns
    -------
    moved : ndarray of bool, shape (S,)
        Sites that moved.
    """
    masks, count, limits = now.moves.masks, len(now.groups), now.limits
    changed = np.zeros(len(limits.sites), bool)
    if count > 2 and rng.random() < 0.3 and limits.most_changed is None:
        moved = np.logical_or.reduce([g for g in now.groups if rng.random() < 0.5] or [now.groups[0]])
        if now.line(moved):
            changed |= moved
    some = count if rng.random() < 0.3 and count < EXHAUSTIVE_MOST * 4 else min(count, int(rng.integers(1, 4)))
    chosen: list[int] = []
    for _ in range(some):
        left = np.array([i for i in range(len(masks)) if i not in chosen])
        if chosen and rng.random() < CLOSE_KICK_PROBABILITY:
            close = now.moves.stirred(masks[chosen[0]])[left]
            left = left[close] if close.any() else left
        chosen.append(int(rng.choice(left)))
    for i in chosen:
        moved = masks[i]
        low, high = limits.room(now.at, moved)
        if high - low > 1e-9 and now._may_change(moved):
            lead = float(now.at[int(np.flatnonzero(moved)[0])])
            shift = float(rng.choice(steps_between(lead + low, lead + high, limits.step_us) - lead))
            _, _, totals = now._look(moved, np.array([shift]))
            now.at, now.total = now.at + np.where(moved, shift, 0.0), totals[0]
            changed |= moved
    return changed


def _every(now: _Searching) -> bool:
    """Try every set of whole steps; False where there are too many."""
    limits = now.limits
    groups = now.groups if not limits.free.all() else now.groups[1:]  # only differences count
    if len(groups) > EXHAUSTIVE_MOST or limits.most_changed is not None or (limits.parent[limits.free] >= 0).any():
        return False
    rows = [int(np.flatnonzero(g)[0]) for g in groups]
    lines = [steps_between(limits.low_us[i], limits.high_us[i], limits.step_us) for i in rows]
    sets = float(np.prod([float(line.size) for line in lines]))
    if sets * max(now.what.places.site.size, 1) > EXHAUSTIVE_EVALUATIONS:
        return False
    now.phase = "every set of steps"
    base = limits.now_us.copy()
    for outer in np.ndindex(*(line.size for line in lines[:-1])):
        for i, line, k in zip(rows[:-1], lines[:-1], outer, strict=True):
            base[i] = line[k]
        now.at = base.copy()
        now.at[rows[-1]] = lines[-1][0]
        now.total = whole(now.what, now.at, executor=now.executor)
        shifts, keys, totals = now._look(groups[-1], lines[-1] - lines[-1][0])
        i = int(np.lexsort((keys[:, 2], keys[:, 1], keys[:, 0]))[0])
        now.at, now.total = now.at + np.where(groups[-1], shifts[i], 0.0), totals[i]
        now.note()
    now.ended = "exhaustive"
    return True


def tidy(offsets_us: Doubles, limits: Limits) -> Doubles:
    """The same differences, shifted so that as many sites as possible keep the offset they have; held sites: as is."""
    if not limits.free.all():
        return offsets_us
    moves = np.round(offsets_us - limits.now_us, 6)
    values, counts = np.unique(moves[limits.parent < 0], return_counts=True)
    for i in np.argsort(-counts, kind="stable"):
        if limits.kept(offsets_us - values[i]):
            return np.asarray(offsets_us - values[i])
    return offsets_us
