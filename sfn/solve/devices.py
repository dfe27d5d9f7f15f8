"""The end of the search, on what devices can make: a descent over the launches that settings really give.

An offset is a wish; on air goes the nearest total that whole steps of all fields of a device reach, counted from
a common delay that follows the slowest chain. So the last stage moves offsets by whole steps of each site's own device
and looks at the launches that come out of the delay table, until no step of a site and no two of a pair that share a
place improve the result.
"""

import time
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.solve.limits import Limits
from sfn.solve.moves import moves
from sfn.solve.objective import Objective, along_totals, whole

Doubles = NDArray[np.float64]
Mask = NDArray[np.bool_]
Launched = Callable[[Doubles], Doubles | None]
"""Launches (S,) that offsets (S,) really come to, in us; None where a device cannot make them."""

STRIDES = (1, -1)  # device steps that the proof tries
LINE_STEPS_N = 256  # a longer line is looked at coarsely first, then finely about its best place
SHORT_STEPS_N = 64
CLOSE_STEPS = np.array([1, 2, 3, 5, 8, 13])  # steps, and us, that are looked at where a whole line costs too much
KICKS_PER_SITE_N = 60  # in vain, a site
KICKS_SHARE = 0.6  # of the time
SAME_US = 1e-6
PLACES = (6, 6, 5)  # decimals that a result is told apart by


@dataclass(frozen=True, slots=True)
class Settled:
    """Offsets that devices can make, and what comes of them.

    Parameters
    ----------
    offsets_us, launches_us : ndarray, shape (S,)
        [us]
    key : tuple of float
        The objective's three figures for these launches.
    proven : bool
        No single step of any site or pair improves it; else the time ran out before that was seen.
    tried : int
        Settings looked at.
    every : bool
        All settings within the limits were looked at (`sfn.solve.lattice`).
    """

    offsets_us: Doubles
    launches_us: Doubles
    key: tuple[float, ...]
    proven: bool
    tried: int
    every: bool = False


class _OutOfTimeError(Exception):
    """Stop where it stands."""


def settle(
    what: Objective,
    limits: Limits,
    offsets_us: Doubles,
    *,
    launched: Launched,
    steps_us: Doubles,
    until_s: float,
    seed: int = 1,
    executor: Executor | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Settled | None:
    """Descend from some offsets to ones at which no step of a device helps.

    Parameters
    ----------
    what : Objective
    limits : Limits
    offsets_us : ndarray, shape (S,)
        Where to begin. [us]
    launched : callable
    steps_us : ndarray, shape (S,)
        Finest step of each site's device; 0 where it has none. [us]
    until_s : float
        By `time.monotonic`; most of what is left until then goes to kicks, the end to the proof. [s]
    seed : int
        Of the kicks.
    executor : concurrent.futures.Executor, optional
    cancelled : callable, optional

    Returns
    -------
    settled : Settled or None
        None where the devices cannot make the beginning.
    """
    launches = launched(offsets_us)
    if launches is None:
        return None
    now = _Place(what, limits, offsets_us, launches, launched, executor)
    began_s, rng = time.monotonic(), np.random.default_rng(seed)
    whole(what, launches, executor=executor)
    look_s = time.monotonic() - began_s
    known = moves(what, limits)
    singles = [(int(np.flatnonzero(mask)[0]), mask) for mask in known.singles]
    pairs = [(i, j) for i in range(len(singles)) for j in range(i) if (known.near[i] & singles[j][1]).any()]

    kicks_until_s = began_s + KICKS_SHARE * (until_s - began_s)
    now.close = 2 * LINE_STEPS_N * len(singles) * look_s > kicks_until_s - began_s

    def on() -> None:
        """Stop when it is time."""
        if time.monotonic() > until_s or (cancelled is not None and cancelled()):
            raise _OutOfTimeError

    try:
        while _lines(now, singles, steps_us, on):
            pass
        vain = 0
        while vain < KICKS_PER_SITE_N * len(singles) and time.monotonic() < kicks_until_s:
            vain = 0 if _kick(now, singles, steps_us, rng, on) else vain + 1
        while True:
            if _one_better(now, singles, steps_us, on):
                continue
            if not _two_better(now, singles, pairs, steps_us, on):
                return now.settled(proven=True)
    except _OutOfTimeError:
        return now.settled(proven=False)


def rounded(key: tuple[float, ...]) -> tuple[float, ...]:
    """Figures as far as they tell results apart."""
    return tuple(round(value, places) for value, places in zip(key, PLACES, strict=True))


class _Place:
    """Where the descent stands; private to `settle`."""

    def __init__(
        self, what: Objective, limits: Limits, offsets: Doubles, launches: Doubles, launched: Launched,
        executor: Executor | None,
    ) -> None:  # fmt: skip
        self.what, self.limits, self.launched, self.executor = what, limits, launched, executor
        self.offsets, self.launches, self.close = offsets.copy(), launches, False
        self.total = whole(what, launches, executor=executor)
        self.key = self._key(self.total)
        self.tried = 1

    def _key(self, total: Doubles) -> tuple[float, ...]:
        """The three figures."""
        return tuple(self.what.scores(total[None].copy())[0].tolist())

    def go(self, shift: Doubles) -> bool:
        """Take other offsets if what comes out of them is better."""
        offsets = self.offsets + shift
        if not self.limits.kept(offsets):
            return False
        launches = self.launched(offsets)
        if launches is None or np.ptp(launches - self.launches) < SAME_US:
            return False
        self.tried += 1
        total = self._total(launches)
        key = self._key(total)
        if rounded(key) >= rounded(self.key):
            return False
        self.offsets, self.launches, self.total, self.key = offsets, launches, total, key
        return True

    def inside(self, moved: Mask, shift_us: float, *, after: Doubles | None = None) -> Doubles:
        """A shift of a group, after another one, cut to the limits: the last wish within may round to the step beyond.

        Returns
        -------
        shift : ndarray, shape (S,)
            Nothing where there is no room. [us]
        """
        after = np.zeros(moved.size) if after is None else after
        low, high = self.limits.room(self.offsets + after, moved)
        return after + np.where(moved, min(max(shift_us, low), high) if low <= high else 0.0, 0.0)

    @property
    def state(self) -> tuple[Doubles, Doubles, Doubles, tuple[float, ...]]:
        """Offsets, launches, totals, key: to come back to."""
        return self.offsets, self.launches, self.total, self.key

    @state.setter
    def state(self, held: tuple[Doubles, Doubles, Doubles, tuple[float, ...]]) -> None:
        """Come back."""
        self.offsets, self.launches, self.total, self.key = held

    def put(self, shift: Doubles) -> None:
        """Take other offsets, better or not, if they can be had."""
        offsets = self.offsets + shift
        launches = self.launched(offsets) if self.limits.kept(offsets) else None
        if launches is not None:
            total = self._total(launches)
            self.offsets, self.launches, self.total, self.key = offsets, launches, total, self._key(total)

    def best_shift(self, moved: Mask, shifts_us: Doubles) -> float:
        """The shift of a group that would do best, if its launches moved by just as much. [us]"""
        if shifts_us.size == 0 or moved.all():
            return 0.0
        found = along_totals(self.what, self.launches, moved, shifts_us, now=self.total, executor=self.executor)
        self.tried += shifts_us.size
        keys = self.what.scores(found)
        return float(shifts_us[int(np.lexsort((np.abs(shifts_us), keys[:, 2], keys[:, 1], keys[:, 0]))[0])])

    def _total(self, launches: Doubles) -> Doubles:
        """Totals for other launches: only differences count, and only places where they change are looked at."""
        moved = launches - self.launches
        values, counts = np.unique(np.round(moved, 7), return_counts=True)
        at, total = self.launches + values[counts.argmax()], self.total
        for value in values:
            mask = np.abs(np.round(moved, 7) - value) < SAME_US
            shift = float(value - values[counts.argmax()])
            if abs(shift) > SAME_US:
                total = along_totals(self.what, at, mask, np.array([shift]), now=total, executor=self.executor)[0]
                at = at + np.where(mask, shift, 0.0)
        return total

    def settled(self, *, proven: bool) -> Settled:
        """The end."""
        return Settled(self.offsets, self.launches, self.key, proven, self.tried)


def _lines(now: "_Place", singles: list[tuple[int, Mask]], steps_us: Doubles, on: Callable[[], None]) -> bool:
    """Move each site to the best of all its device's steps within the limits; whether anything improved."""
    better = False
    for site, mask in singles:
        on()
        low, high = now.limits.room(now.offsets, mask)
        if steps_us[site] <= 0 or high - low < SAME_US:
            continue
        whole_steps = np.arange(int(np.ceil(low / steps_us[site] - SAME_US)), int(high / steps_us[site] + SAME_US) + 1)
        if now.close:
            whole_steps = _close_steps(whole_steps, steps_us[site])
        stride = max(1, -(-whole_steps.size // LINE_STEPS_N))
        at = now.best_shift(mask, whole_steps[::stride] * steps_us[site])
        if stride > 1:
            fine = round(at / steps_us[site]) + np.arange(-stride, stride + 1)
            at = now.best_shift(mask, fine[(fine >= whole_steps[0]) & (fine <= whole_steps[-1])] * steps_us[site])
        if abs(at) > SAME_US:
            better |= now.go(np.where(mask, at, 0.0))
        if (
            whole_steps.size <= SHORT_STEPS_N
        ):  # beyond the last whole step a wish within the limit may round to one more
            better |= now.go(now.inside(mask, -np.inf)) or now.go(now.inside(mask, np.inf))
    return better


def _close_steps(whole_steps: NDArray[np.int64], step_us: float) -> NDArray[np.int64]:
    """Of a line's steps those near where the site stands, by steps and by microseconds."""
    about = np.concatenate([CLOSE_STEPS, np.round(CLOSE_STEPS / step_us)])
    return np.asarray(whole_steps[np.isin(whole_steps, np.concatenate([about, -about]))])


def _kick(
    now: "_Place", singles: list[tuple[int, Mask]], steps_us: Doubles, rng: np.random.Generator, on: Callable[[], None]
) -> bool:
    """Put one to three sites on steps at random, descend along lines, and keep it if that ended better."""
    held = now.state
    changed = np.flatnonzero([bool(now.limits.changed(now.offsets)[site]) for site, _ in singles])
    if now.limits.most_changed is not None and changed.size:  # another may be the one worth changing
        _, mask = singles[int(rng.choice(changed))]
        now.put(np.where(mask, now.limits.now_us - now.offsets, 0.0))
    for k in rng.permutation(len(singles))[: int(rng.integers(1, 4))]:
        site, mask = singles[int(k)]
        low, high = now.limits.room(now.offsets, mask)
        if steps_us[site] > 0 and high - low >= steps_us[site]:
            steps = int(rng.integers(int(np.ceil(low / steps_us[site])), int(high / steps_us[site]) + 1))
            now.put(np.where(mask, steps * steps_us[site], 0.0))
    try:
        while _lines(now, singles, steps_us, on):
            pass
    finally:
        better = rounded(now.key) < rounded(held[3])
        if not better:
            now.state = held
    return better


def _one_better(now: _Place, singles: list[tuple[int, Mask]], steps_us: Doubles, on: Callable[[], None]) -> bool:
    """Move each site along its device's steps, alone and with those that receive it; whether anything improved."""
    better = False
    for site, mask in singles:
        for moved in (mask, _alone(site, mask)) if mask.sum() > 1 else (mask,):
            for size in _sizes(steps_us[site]):
                for stride in STRIDES:
                    on()
                    while now.go(now.inside(moved, stride * size)):
                        better = True
                        on()
    return better


def _two_better(
    now: _Place,
    singles: list[tuple[int, Mask]],
    pairs: list[tuple[int, int]],
    steps_us: Doubles,
    on: Callable[[], None],
) -> bool:
    """Move two sites that share a place by a step each; whether one such move improved the result."""
    for i, j in pairs:
        (a, one), (b, other) = singles[i], singles[j]
        for first in _sizes(steps_us[a]):
            for second in _sizes(steps_us[b]):
                for x, y in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
                    on()
                    alone = other & ~one
                    shift = now.inside(alone, y * second, after=now.inside(one, x * first))
                    if now.go(shift):
                        return True
                    turned = now.inside(one, x * first, after=now.inside(alone, y * second))
                    if (np.abs(turned - shift) > SAME_US).any() and now.go(turned):
                        return True
    return False


def _alone(site: int, mask: Mask) -> Mask:
    """The site without those that receive it."""
    found = np.zeros_like(mask)
    found[site] = True
    return found


def _sizes(step_us: float) -> tuple[float, ...]:
    """A device's own step, and a microsecond where it is finer than that; nothing without a device."""
    if step_us <= 0:
        return ()
    return (step_us, 1.0) if step_us < 1 - SAME_US else (step_us,)
