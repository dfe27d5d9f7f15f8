"""Large networks: searches on a sample of the places first, the best of them on more and more places, last on all.

A look at every place of a large network costs so much that a search on all of them ends before it has been once round
all sites. A look at a few thousand places costs little and tells nearly as well which way is better, so several
searches, each on its own sample, go far; what they find is judged on all places, and the best goes on there.
"""

import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.solve.descent import Told, coarse_steps
from sfn.solve.limits import Limits
from sfn.solve.moves import moves
from sfn.solve.objective import Objective, Score, along_totals, score, whole
from sfn.solve.search import Found, search, tidy
from sfn.solve.thinned import thinned

Doubles = NDArray[np.float64]
Start = tuple[str, Doubles]

LARGE_RATIO = 0.05  # of the time for once round all sites on all places: beyond it a network is large
FIRST_RATIO = 0.004  # of the time for once round all sites on the first sample
LEAST_PLACES_N = 1000
SMALL_PLACES_N = 5000  # no network of so few places is large, however little time there is
TIMED_US = np.array([-3.0, -2.0, -1.0, 1.0, 2.0, 3.0])
GROWTH = 6  # from one sample to the next
SEED_SHARES = ((0.13, 0.09), (0.13, 0.09), (0.13, 0.09))  # of the time: each seed's first and second sample
THIRD_SHARE = 0.16  # the best of them on a third sample; what is left on all places


def round_s(what: Objective, limits: Limits, *, executor: Executor | None = None) -> float:
    """Seconds for a look along the line of every move on all places, as far as one short line tells. [s]"""
    if what.places.site.size == 0:
        return 0.0
    known = moves(what, limits)
    if not known.masks:
        return 0.0
    widest = int(known.signals.argmax())
    now = whole(what, limits.now_us, executor=executor)  # compiles
    began = time.monotonic()
    along_totals(what, limits.now_us, known.masks[widest], TIMED_US, now=now, executor=executor)
    a_look_s = (time.monotonic() - began) / (TIMED_US.size + 1) / float(known.signals[widest])
    return a_look_s * coarse_steps(what) * float(known.signals.sum())


def search_large(
    what: Objective,
    limits: Limits,
    *,
    round_s: float,
    seed: int,
    budget_s: float,
    starts: Sequence[Start],
    executor: Executor | None = None,
    progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> tuple[Found, tuple[Found, ...]]:
    """The best offsets found for a network that is too large to be looked at as a whole again and again.

    Parameters
    ----------
    what : Objective
    limits : Limits
    round_s : float
        From the function of that name. [s]
    seed : int
        Of the first search; the others follow it.
    budget_s : float
        [s]
    starts : sequence of (name, offsets)
    executor, progress, cancelled
        As in `sfn.solve.search.search`.

    Returns
    -------
    found : Found
        Judged on all places, never worse than the present offsets.
    seeds : tuple of Found
        What each seed had come to, judged on all places, before the best went on.
    """
    began, told = time.monotonic(), progress
    before = score(what, limits.now_us, executor=executor)
    best = Found(limits.now_us.copy(), before, before, "time", 1, 0.0, (("as it is", before),))
    first_n = int(FIRST_RATIO * budget_s / round_s * what.places.weight.size)
    first_n = min(max(first_n, LEAST_PLACES_N), what.places.weight.size)
    began_at = (("as it is", before), *((name, score(what, offsets, executor=executor)) for name, offsets in starts))

    def step(from_: Sequence[Start], *, places_n: int, seed: int, share: float, phase: str, from_now: bool) -> Found:
        """One search on a sample, judged on all places."""
        thin = thinned(what, places_n=places_n, seed=seed)
        budget = min(share * budget_s, budget_s - (time.monotonic() - began))

        def tell(_offsets: Doubles, _score: Score, _phase: str, _part: float) -> None:
            if told is not None:
                told(best.offsets_us, best.score, phase, min((time.monotonic() - began) / budget_s, 1.0))

        one = search(
            thin, limits, seed=seed, budget_s=max(budget, 0.0), starts=from_, exhaustive=False, from_now=from_now,
            close=places_n * round_s > 0.2 * budget * what.places.weight.size, executor=executor, progress=tell,
            cancelled=cancelled,
        )  # fmt: skip
        return replace(one, score=score(what, one.offsets_us, executor=executor), before=before, starts=began_at)

    seeds, tried = [], 1
    for k, (first, second) in enumerate(SEED_SHARES):
        phase = f"on a sample of the places, search {k + 1} of {len(SEED_SHARES)}"
        one = step(starts, places_n=first_n, seed=seed + k, share=first, phase=phase, from_now=True)
        more = [("the sample's best", one.offsets_us)]
        two = step(more, places_n=GROWTH * first_n, seed=seed + k, share=second, phase=phase, from_now=False)
        tried += one.tried + two.tried
        seeds.append(min(one, two, key=lambda found: found.score))
        best = min(best, seeds[-1], key=lambda found: found.score)
        if two.ended == "cancelled":
            best = replace(best, ended="cancelled")
            break
    if best.ended != "cancelled":
        phase = "the best on more of the places"
        more = [("the seeds' best", best.offsets_us)]
        one = step(more, places_n=GROWTH**2 * first_n, seed=seed, share=THIRD_SHARE, phase=phase, from_now=False)
        best = min(best, one, key=lambda found: found.score)
        more = [("the samples' best", best.offsets_us)]
        two = step(
            more, places_n=what.places.weight.size, seed=seed, share=1.0, phase="the best on all places", from_now=False
        )
        tried += one.tried + two.tried
        best = replace(min(best, two, key=lambda found: found.score), ended=two.ended)
    offsets = tidy(best.offsets_us, limits)
    whole = replace(
        best, offsets_us=offsets, tried=tried, seconds_s=time.monotonic() - began, before=before, starts=began_at
    )
    return whole, tuple(seeds)
