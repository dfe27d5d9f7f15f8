"""Descent on the real objective: along lines of one move at a time, and over planes of two, where the move matters."""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor

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
CLOSE_STEPS = np.array(
    [-34, -21, -13, -8, -5, -3, -2, -1, 1, 2, 3, 5, 8, 13, 21, 34]
)  # where a whole line costs too much
PAIR_EVALUATIONS = 2e9  # signals looked at, in all planes of two groups: about ten seconds

Told = Callable[[Doubles, Score, str, float], None]


class StoppedError(Exception):
    """The budget is used up, or someone cancelled."""


class Descent:
    """One search: the present place, the best place, the time left."""

    def __init__(
        self, what: Objective, limits: Limits, executor: Executor | None, budget_s: float,
        progress: Told | None, cancelled: Callable[[], bool] | None, *, close: bool = False,
    ) -> None:  # fmt: skip
        self.close = close
        self.what, self.limits, self.executor = what, limits, executor
        self.began, self.budget_s = time.monotonic(), budget_s
        self.progress, self.cancelled = progress, cancelled
        self.at = limits.now_us.copy()
        self.total = whole(what, self.at, executor=executor)
        self.best, self.best_key, self.best_total = self.at.copy(), self.key, self.total.copy()
        self.tried, self.phase, self.ended = 1, "start", "settled"
        self.coarse = coarse_steps(what)
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
            raise StoppedError
        if spent > self.budget_s:
            self.ended = "time"
            raise StoppedError

    def line(self, moved: Mask) -> bool:
        """Move a group to the best place along its line; whether that was better."""
        low, high = self.limits.room(self.at, moved)
        if high - low < 1e-9 or not self.may_change(moved):
            return False
        step = self.limits.step_us
        lead = float(self.at[int(np.flatnonzero(moved)[0])])
        shifts = steps_between(lead + low, lead + high, step) - lead
        if self.close:
            shifts = shifts[np.isin(np.round(shifts / step), CLOSE_STEPS)]
            if shifts.size == 0:
                return False
        stride = max(1, -(-shifts.size // self.coarse))
        found = self.look(moved, shifts[::stride])
        if stride > 1:
            keys = found[1]
            about = np.lexsort((keys[:, 2], keys[:, 1], keys[:, 0]))[:FINE_ABOUT_N] * stride
            fine = np.unique(np.clip(about[:, None] + np.arange(-stride, stride + 1), 0, shifts.size - 1))
            finer = self.look(moved, shifts[fine])
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

    def look(self, moved: Mask, shifts: Doubles) -> tuple[Doubles, Doubles, Doubles]:
        """Shifts, their keys (K, 3) and totals (K, 3)."""
        totals = along_totals(self.what, self.at, moved, shifts, now=self.total, executor=self.executor)
        self.tried += shifts.size
        return shifts, self.what.scores(totals.copy()), totals

    def may_change(self, moved: Mask) -> bool:
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
        totals = self.look(one, shifts[:: max(1, -(-shifts.size // self.coarse))])
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


def coarse_steps(what: Objective) -> int:
    """How many places of a line are looked at first."""
    return COARSE_OFDM_STEPS_N if what.yard.carried.kind == "ofdm" else COARSE_STEPS_N


def steps_between(low_us: float, high_us: float, step_us: float) -> Doubles:
    """Whole multiples of a step from low to high, and both ends. [us]"""
    first, last = np.ceil(low_us / step_us - 1e-9), np.floor(high_us / step_us + 1e-9)
    inside = np.arange(first, last + 1) * step_us
    return np.unique(np.concatenate([[low_us], inside, [high_us]]))
