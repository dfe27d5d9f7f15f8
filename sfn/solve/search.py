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

from sfn.solve.descent import Descent, StoppedError, Told, steps_between
from sfn.solve.limits import Limits
from sfn.solve.objective import Objective, Score, whole

Doubles = NDArray[np.float64]
Mask = NDArray[np.bool_]

KICKS_PER_SITE_N = 10  # this many kicks in vain, a site, end the search; where they cost little, up to
CHEAP_KICKS_PER_SITE_N = 150
FIRST_KICKS_PER_SITE_N = 1  # before two at a time are tried
CHEAP_EVALUATIONS = 1.5e8  # signals looked at in vain kicks: about a second
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


def search(
    what: Objective,
    limits: Limits,
    *,
    seed: int = 1,
    budget_s: float = 60.0,
    starts: Sequence[tuple[str, Doubles]] = (),
    exhaustive: bool = True,
    from_now: bool = True,
    close: bool = False,
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
    from_now : bool
        Descend from the present offsets too, not from the starts alone.
    close : bool
        Look only near where a site stands, a few steps to either side, instead of along its whole line.
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
    now = Descent(what, limits, executor, budget_s, progress, cancelled, close=close)
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
        places = [_inside(o, limits) for _, o in starts]
        places = [limits.now_us.copy(), *places] if from_now or not places else places
        _explore(now, places, np.random.default_rng(seed), exhaustive=exhaustive)
    except StoppedError:
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


def _explore(now: Descent, places: Sequence[Doubles], rng: np.random.Generator, *, exhaustive: bool) -> None:
    """From every place down, then everything or kicks."""
    limits, count = now.limits, len(now.moves.masks)
    if count == 0:
        return
    now.phase = "first descents"
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


def _enough(now: Descent) -> float:
    """Kicks in vain that end a search: more where they cost little."""
    count = len(now.groups)
    cost = 2.0 * now.coarse * max(float(now.moves.signals.sum()) / max(count, 1), 1.0)
    return min(max(KICKS_PER_SITE_N, CHEAP_EVALUATIONS / cost / count), CHEAP_KICKS_PER_SITE_N) * max(count, 3)


def _kicks(now: Descent, rng: np.random.Generator, enough: float) -> None:
    """Kicks and descents until so many in a row were in vain."""
    vain = 0
    while vain < enough:
        held = now.best_key
        now.back()
        moved = _kick(now, rng)
        now.descend(rng.permutation(len(now.moves.masks)).tolist(), now.moves.stirred(moved))
        vain = 0 if now.best_key < held else vain + 1


def _kick(now: Descent, rng: np.random.Generator) -> Mask:
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
        if high - low > 1e-9 and now.may_change(moved):
            lead = float(now.at[int(np.flatnonzero(moved)[0])])
            shift = float(rng.choice(steps_between(lead + low, lead + high, limits.step_us) - lead))
            _, _, totals = now.look(moved, np.array([shift]))
            now.at, now.total = now.at + np.where(moved, shift, 0.0), totals[0]
            changed |= moved
    return changed


def _every(now: Descent) -> bool:
    """Try every set of whole steps; False where there are too many."""
    limits = now.limits
    groups = now.groups if not limits.free.all() else now.groups[1:]  # only differences count
    if (
        not groups
        or len(groups) > EXHAUSTIVE_MOST
        or limits.most_changed is not None
        or (limits.parent[limits.free] >= 0).any()
    ):
        return False
    rows = [int(np.flatnonzero(g)[0]) for g in groups]
    low, high = limits.low_us, limits.high_us
    if limits.free.all():  # the first stands still, the others may be as far from it as both limits let them
        first = limits.now_us[0]
        low, high = low - limits.high_us[0] + first, high - limits.low_us[0] + first
    lines = [steps_between(low[i], high[i], limits.step_us) for i in rows]
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
        room = _whole_room(now.at, rows[-1], lines[-1], limits)
        if not np.isfinite(room).any():
            continue
        now.total = whole(now.what, now.at, executor=now.executor)
        shifts, keys, totals = now.look(groups[-1], lines[-1] - lines[-1][0])
        keys[~np.isfinite(room)] = np.inf
        i = int(np.lexsort((keys[:, 2], keys[:, 1], keys[:, 0]))[0])
        now.at, now.total = now.at + np.where(groups[-1], shifts[i], 0.0) + room[i], totals[i]
        now.note()
    now.ended = "exhaustive"
    return True


def _whole_room(at: Doubles, row: int, line: Doubles, limits: Limits) -> Doubles:
    """By how much all sites together must shift so that limits hold, for each place of one of them; NaN: none does."""
    if not limits.free.all():
        return np.zeros(line.size)
    low, high = limits.low_us - at, limits.high_us - at
    low[row], high[row] = -np.inf, np.inf
    least = np.maximum(low.max(), limits.low_us[row] - line)
    most = np.minimum(high.min(), limits.high_us[row] - line)
    return np.where(least <= most, np.clip(0.0, least, most), np.nan)


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
