"""One plan as it stands while levers and offsets are searched together: what it serves, what it costs, its next step.

Looks at a lever are made where the site's old or new signal can matter, by the rule of the map; offsets move along
lines of the packed objective of the levels as they stand (`sfn.solve.descent`).
"""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.solve.descent import Descent, StoppedError
from sfn.solve.limits import Limits
from sfn.solve.options import SAME_COST, Choice, Cost, Front, Key, Options, Seen
from sfn.solve.scene import Scene

Doubles = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Standing:
    """Choices and offsets of all sites, with their totals, place by place."""

    def __init__(
        self, scene: Scene, options: Options, limits: Limits, *, front: Front, until_s: float,
        executor: Executor | None = None, cancelled: Callable[[], bool] | None = None,
        told: Callable[[], None] | None = None,
    ) -> None:  # fmt: skip
        self.scene, self.options, self.limits, self.front = scene, options, limits, front
        self.until_s, self.executor = np.inf, executor
        self.cancelled: Callable[[], bool] | None = None
        self.told: Callable[[], None] | None = None
        self.looked, self.ended = 0, "settled"
        self.go(options.planned(), limits.now_us)  # whatever happens, the plan as it is stands in the front
        self.until_s, self.cancelled, self.told = until_s, cancelled, told

    @property
    def key(self) -> Key:
        """How well it serves."""
        return self.scene.key(self.totals)

    @property
    def cost(self) -> Cost:
        """What it costs against the plan."""
        return self.options.total(self.chosen, self.limits.changed(self.offsets))

    @property
    def changed(self) -> Flags:
        """Sites where anything is otherwise than planned, shape (S,)."""
        return np.asarray(self.limits.changed(self.offsets) | np.array([any(one) for one in self.chosen]))

    @property
    def seen(self) -> Seen:
        """To come back to."""
        return Seen(self.cost, self.key, tuple(self.chosen), self.offsets.copy())

    def go(self, chosen: Sequence[Choice], offsets_us: Doubles) -> None:
        """Stand somewhere else; everything is worked out anew."""
        self.chosen, self.offsets = list(chosen), offsets_us.copy()
        rows = [self.scene.rows(i, choice) for i, choice in enumerate(self.chosen)]
        self.level, self.rare = (np.stack([pair[k] for pair in rows]) for k in (0, 1))
        self._anew()

    def back(self, seen: Seen) -> None:
        """Stand as before."""
        self.go(seen.chosen, seen.offsets_us)

    def _anew(self) -> None:
        """Totals of all places."""
        self.parts = self.scene.parts(self.level, self.rare, self.offsets, slice(None))
        self.totals = self.scene.summed(self.parts, slice(None))
        self.looked += 1
        self._note()

    def _note(self) -> None:
        """Offer what stands, tell, and stop when asked."""
        if self.limits.kept(self.offsets):
            self.front.offer(self.cost, self.key, self.chosen, self.offsets)
        if self.told is not None:
            self.told()
        self.pause()

    def pause(self) -> None:
        """Stop when asked, or when the time is up."""
        if self.cancelled is not None and self.cancelled():
            self.ended = "cancelled"
            raise StoppedError
        if time.monotonic() > self.until_s:
            self.ended = "time"
            raise StoppedError

    def lever(self, i: int, *, most_cost: Cost = np.inf, levers_n: int = 1) -> bool:
        """Look at every choice of a site that differs in so many levers, and take the best; whether that was better.

        Of plans that serve alike the cheaper one counts as better.
        """
        moved = self.limits.changed(self.offsets)
        fixed = self.options.total(self.chosen, moved) - self.options.cost(i, self.chosen[i], bool(moved[i]))
        best: tuple[Key, Cost] = (self.key, self.cost)
        taken = None
        for choice in self.options.near(i, self.chosen[i], levers_n):
            cost = fixed + self.options.cost(i, choice, bool(moved[i]))
            if cost > most_cost + SAME_COST:
                continue
            rows = self.scene.rows(i, choice)
            at = self.scene.matters(i, self.level, (self.level[i], self.rare[i]), rows)
            made = self._looked(i, rows, at)
            totals = self.totals + self.scene.summed(made - self.parts[:, at], at)
            key = self.scene.key(totals)
            chosen = (*self.chosen[:i], choice, *self.chosen[i + 1 :])
            self.front.offer(cost, key, chosen, self.offsets)
            if (key, cost) < best:
                best, taken = (key, cost), (choice, rows, at, made)
            self.pause()
        if taken is None:
            return False
        choice, (self.level[i], self.rare[i]), at, made = taken
        self.chosen[i] = choice
        self.parts[:, at] = made
        self.totals = self.scene.summed(self.parts, slice(None))
        self._note()
        return True

    def _looked(self, i: int, rows: tuple[NDArray[np.float32], NDArray[np.float32]], at: NDArray[np.intp]) -> Doubles:
        """Parts of some places with other levels of one site."""
        self.looked += 1
        if at.size == 0:
            return np.zeros((3, 0))
        level, rare = self.level[:, at], self.rare[:, at]
        level[i], rare[i] = rows[0][at], rows[1][at]
        return self.scene.parts(level, rare, self.offsets, at)

    def shift(self, most_cost: Cost = np.inf, *, only: Flags | None = None) -> bool:
        """Offsets down to where no line helps, of sites that cost no more by it; whether that was better.

        Parameters
        ----------
        most_cost : float
            Infinite: every free site may move; else those that move already, or whose move costs nothing more.
        only : ndarray of bool, shape (S,), optional
            Sites that may move, whatever it costs.
        """
        free = self._may_move(most_cost) if only is None else only & self.limits.free
        if not free.any():
            return False
        before = self.key, self.cost
        limits = self._with_free(free)
        left_s = max(self.until_s - time.monotonic(), 0.0)
        what = self.scene.objective(self.level, self.rare)
        if what.places.site.size == 0:
            return False
        now = Descent(what, limits, self.executor, left_s, None, self.cancelled)
        try:
            now.descend(range(len(now.moves.masks)))
        except StoppedError:
            self.ended = now.ended
        self.looked += now.tried
        held = self.seen
        self.offsets = now.best
        if (self.scene.key(self._totals_of()), self.cost) < before and self.cost <= most_cost + SAME_COST:
            self._anew()
            return True
        self.back(held)
        return False

    def _totals_of(self) -> Doubles:
        """Totals of what stands now."""
        every = slice(None)
        return self.scene.summed(self.scene.parts(self.level, self.rare, self.offsets, every), every)

    def _may_move(self, most_cost: Cost) -> Flags:
        """Free sites that may move within a cost."""
        if np.isinf(most_cost):
            return self.limits.free
        return np.asarray(self.limits.free & (self._more_by_moving() <= SAME_COST))

    def _more_by_moving(self) -> Doubles:
        """What each site costs more where its offset moves too, shape (S,)."""
        moved, cost = self.limits.changed(self.offsets), self.options.cost
        return np.array([cost(i, one, True) - cost(i, one, bool(moved[i])) for i, one in enumerate(self.chosen)])

    def _with_free(self, free: Flags) -> Limits:
        """Limits from where it stands, with only these sites free, and those that they feed."""
        along = np.logical_or.reduce([self.limits.group(int(i)) for i in np.flatnonzero(free)])
        return replace(
            self.limits,
            now_us=self.offsets.copy(),
            low_us=np.where(along, self.limits.low_us, self.offsets),
            high_us=np.where(along, self.limits.high_us, self.offsets),
            free=self.limits.free & along,
        )

    def settle(self, *, most_cost: Cost = np.inf, sites: Sequence[int] | None = None, levers_n: int = 1) -> None:
        """Levers site by site and offsets in turn, until neither helps."""
        order = list(range(len(self.chosen))) if sites is None else list(sites)
        wait = set(order)
        while wait:
            for i in order:
                if i in wait:
                    wait.discard(i)
                    if self.lever(i, most_cost=most_cost, levers_n=levers_n):
                        wait.update(order)
            if self.shift(most_cost) or self._shift_one_more(most_cost):
                wait.update(order)

    def _shift_one_more(self, most_cost: Cost) -> bool:
        """The offset of one site more, where what is left of the cost pays for it; whether that was better."""
        if np.isinf(most_cost):
            return False
        left = most_cost - self.cost
        dear = self.limits.free & ~self._may_move(most_cost) & (self._more_by_moving() <= left + SAME_COST)
        return any(self.shift(most_cost, only=np.arange(dear.size) == i) for i in np.flatnonzero(dear).tolist())
