"""The search for offsets: against every set of steps, on a large network, against differential evolution.

``python -m tests.bench.bench_optimise small|large|long|evolution|slider|sites24 [SECONDS]`` from the project's root, or
``... demo [NAME [people|area [SECONDS]]]``. Reference in
each case in the same run: every set of 1 us steps; a longer run; `scipy.optimize.differential_evolution` on the same
objective and time. ``sites24 [SECONDS [PLACES [SEEDS]]]``: 24 DVB-T2 sites beside a plain coordinate search, processor
time of one core; fewer places in as much less time are the same case.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from scipy.optimize import differential_evolution

from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.reception.coverage import coverage, usual_bounds, usual_pixel_m
from sfn.reception.listeners import listeners
from sfn.solve import descent, devices, large as large_search, search as search_module
from sfn.solve.limits import Limits, plain_limits
from sfn.solve.objective import Objective, along_totals, score, whole
from sfn.solve.search import search
from sfn.study import optimise_devices
from sfn.study.optimise import convex_starts, network_limits, network_objective
from sfn.study.optimised import Asked
from sfn.terrain.ground import open_ground
from sfn.timing import delay_table
from tests.sfn.solve.problems import FREQUENCIES, drawn

DEMOS = Path(__file__).parents[2] / "demo_sites"
MOST_US = 40.0


def small(seconds: float = 10.0, networks: int = 50) -> None:
    """Up to four sites, +-40 us, 1 us steps: within 1 % or one person of every set tried."""
    within, slowest, gaps, ours_s, all_s = 0, 0.0, [], 0.0, 0.0
    for k in range(networks):
        sites, points = ((2, 400), (3, 400), (4, 60))[k % 3]
        what = drawn(np.random.default_rng(k), sites=sites, points=points)
        allowed = plain_limits(np.zeros(sites), most_us=MOST_US, held=[0])
        ours = search(what, allowed, starts=convex_starts(what, allowed), exhaustive=False, budget_s=seconds)
        reference = search(what, allowed, exhaustive=True, budget_s=600)
        assert reference.ended == "exhaustive", (k, reference.ended)
        best, found = reference.score.without_service, ours.score.without_service
        gaps.append((found - best) / max(best, 1e-9))
        within += found - best <= max(1.0, 0.01 * best)
        ours_s, all_s, slowest = ours_s + ours.seconds_s, all_s + reference.seconds_s, max(slowest, ours.seconds_s)
    print(f"{within} of {networks} within 1 % or one person of every set of steps; equal: {sum(g <= 0 for g in gaps)}")
    print(
        f"greatest gap {100 * max(gaps):.2f} %; ours {ours_s:.1f} s (slowest {slowest:.2f} s), all sets {all_s:.1f} s"
    )


def thirty() -> tuple[Objective, Limits]:
    """30 sites x 200,000 weighted points."""
    what = drawn(np.random.default_rng(30), sites=30, points=200_000, side_km=220.0)
    return what, plain_limits(np.zeros(30), most_us=MOST_US, held=[0])


def long(seconds: float = 2400.0) -> None:
    """30 sites x 200,000 points, one core: the best of search after search, each with a seed of its own.

    Every other one begins at random offsets as well, so that the searches do not all go down the same valley.
    """
    what, allowed = thirty()
    starts, began, best, seed = convex_starts(what, allowed), time.monotonic(), np.inf, 100
    while (left := seconds - (time.monotonic() - began)) > 1:
        seed += 1
        elsewhere = np.random.default_rng(seed).uniform(-MOST_US, MOST_US, 30)
        more = (("random", elsewhere),) if seed % 2 else ()
        found = search(what, allowed, seed=seed, starts=(*starts, *more), budget_s=left)
        best = min(best, found.score.without_service)
        spent = time.monotonic() - began
        print(
            f"after {spent:.0f} s, seed {seed} {'random start too' if more else ''}: "
            f"{found.score.without_service:,.0f} ({found.ended}); best {best:,.0f}",
            flush=True,
        )


def large(seconds: float = 60.0) -> None:
    """30 sites x 200,000 points: what is found when, beside a run of three times the time with another seed."""
    what, allowed = thirty()
    print(f"{what.places.weight.size} places that offsets can change, {what.places.site.size} echoes")
    with ThreadPoolExecutor(2) as threads:
        starts = convex_starts(what, allowed)
        began: list[tuple[float, float]] = []

        def tell(_offsets: object, best: object, _phase: str, part: float) -> None:
            began.append((part * seconds, best.without_service))  # type: ignore[attr-defined]

        ours = search(what, allowed, starts=starts, budget_s=seconds, executor=threads, progress=tell)
        longer = search(what, allowed, starts=starts, budget_s=3 * seconds, seed=2, executor=threads)
    before, best = ours.before.without_service, min(ours.score, longer.score).without_service
    for name, start in ours.starts:
        print(f"  start {name}: {start.without_service:,.0f}")
    for at in (1, 2, 5, 10, 20, 40, 60):
        held = [value for t, value in began if t <= at]
        if held and at <= seconds:
            print(f"  after {at} s: {held[-1]:,.0f}")
    print(
        f"before {before:,.0f}; {seconds:.0f} s: {ours.score.without_service:,.0f} ({ours.ended}); {best:,.0f} best known"
    )
    print(f"above the best known: {100 * (ours.score.without_service / best - 1):.2f} %")


def evolution(seconds: float = 20.0) -> None:
    """12 made-up FM sites x 20,000 points: ours beside differential evolution on the same objective and time."""
    what = drawn(np.random.default_rng(12), sites=12, points=20_000, side_km=130.0)
    _beside_evolution(what, plain_limits(np.zeros(12), most_us=MOST_US, held=[0]), seconds)


def demo(name: str = "dvbt2_chain", count: str = "people", seconds: float = 30.0) -> None:
    """A demo, by people or area: ours beside differential evolution. dvbt2_chain has twelve sites."""
    network = read_file(DEMOS / f"{name}.json")
    placed, ground = place(network), open_ground(network, folder=DEMOS)
    bounds = usual_bounds(placed, ground=ground)
    grid = grid_for(bounds, pixel_m=usual_pixel_m(bounds))
    heard = listeners(network, grid, folder=DEMOS)
    with ThreadPoolExecutor(2) as threads:
        computed = coverage(network, grid, placed=placed, ground=ground, executor=threads)
        asked = Asked(people=heard.people, by_area=count == "area")
        what = network_objective(network, computed, asked, executor=threads)
    allowed = network_limits(network, delay_table(network, placed=placed), asked)
    print(f"{name}, {what.unit}: {len(what.sites)} sites, {what.places.weight.size} places that offsets can change")
    _beside_evolution(what, allowed, float(seconds))


def _beside_evolution(what: Objective, allowed: Limits, seconds: float) -> None:
    """Both with the same time, on one core; sites fed off air move with their parent in both."""
    reached: list[tuple[float, float]] = []
    began = time.monotonic()

    def tell(_offsets: object, best: object, _phase: str, _part: float) -> None:
        reached.append((time.monotonic() - began, best.without_service))  # type: ignore[attr-defined]

    ours = search(what, allowed, starts=convex_starts(what, allowed), budget_s=seconds, progress=tell)
    stop = time.monotonic() + seconds
    best = [np.inf]

    rows = np.flatnonzero(allowed.free & (allowed.parent < 0))
    tried = [0]

    def cost(free: np.ndarray) -> float:
        if time.monotonic() > stop:
            return float(best[0])
        at = allowed.now_us.copy()
        for row, offset in zip(rows, np.round(free / allowed.step_us) * allowed.step_us, strict=True):
            at = at + np.where(allowed.group(int(row)), offset - at[row], 0.0)
        value = score(what, at).without_service if allowed.kept(at) else np.inf
        best[0], tried[0] = min(best[0], value), tried[0] + 1
        return value

    differential_evolution(
        cost, list(zip(allowed.low_us[rows], allowed.high_us[rows], strict=True)), seed=1, maxiter=10**6, polish=False,
        callback=lambda *_a, **_k: time.monotonic() > stop,
    )  # fmt: skip
    first = next((t for t, value in reached if value <= best[0]), None)
    print(
        f"before {ours.before.without_service:,.0f}; in {seconds:.0f} s ours {ours.score.without_service:,.0f} "
        f"({ours.ended}, {ours.tried} sets), differential evolution {best[0]:,.0f} ({tried[0]} sets)"
    )
    if first is not None:
        print(f"ours is at its value after {first:.2f} s: {seconds / first:.0f} times sooner")


def sites24(seconds: float = 40.0, points: float = 160_000, seeds: float = 20) -> None:
    """24 T2 sites: searches and descent on devices of 0.1 us, beside whole lines site by site with random restarts."""
    mode = "dvb-t2-32k-1/32-pp4-8mhz"
    FREQUENCIES[mode] = 578.0
    what = drawn(
        np.random.default_rng(24), sites=24, points=int(points), side_km=260.0, service=mode, near_dbuvm=156.0,
        decade_db=58.0,
    )  # fmt: skip
    guard_us = float(what.yard.carried.guard_us or 0.0)
    allowed = plain_limits(np.zeros(24), most_us=guard_us, held=[0])
    before = score(what, allowed.now_us).without_service
    starts, clock = convex_starts(what, allowed), SimpleNamespace(monotonic=time.process_time)
    for module in (large_search, descent, search_module, devices, optimise_devices):
        vars(module)["time"] = clock  # others at work on the machine count for neither
    ours, plain, spread = [], [], []
    for seed in range(1, int(seeds) + 1):
        began = time.process_time()
        found, apart = optimise_devices.searched(
            what, allowed, seed=seed, budget_s=seconds, starts=starts, executor=None, progress=None, cancelled=None
        )
        end = devices.settle(
            what, allowed, found.offsets_us, launched=lambda offsets: np.round(offsets * 10) / 10,
            steps_us=np.full(24, 0.1), until_s=time.process_time() + seconds / 4, seed=seed,
        )  # fmt: skip
        assert end is not None
        ours.append(before - end.key[0])
        spread.append(apart.width)
        plain.append(before - _site_by_site(what, allowed, seconds=time.process_time() - began, seed=seed))
        print(f"seed {seed}: ours gains {ours[-1]:,.0f}, site by site {plain[-1]:,.0f}", flush=True)
    print(
        f"{what.places.weight.size} places, {before:,.0f} of {what.weight.sum():,.0f} not served; gain, median: ours "
        f"{np.median(ours):,.0f}, site by site {np.median(plain):,.0f}; served, greatest over least of the seeds: "
        f"{100 * np.ptp(ours) / (what.weight.sum() - before + np.median(ours)):.2f} %"
    )


def _site_by_site(what: Objective, allowed: Limits, *, seconds: float, seed: int) -> float:
    """Each site in turn to the best of its line (every eighth step, then every one about it), restarted at random."""
    rng, stop, most, best = np.random.default_rng(seed), time.process_time() + seconds, allowed.high_us.max(), np.inf
    line, at = np.arange(-most, most + 0.5), allowed.now_us.copy()
    while time.process_time() < stop:
        total = whole(what, at)
        key, better = tuple(what.scores(total[None].copy())[0].tolist()), True
        while better and time.process_time() < stop:
            better = False
            for site in rng.permutation(np.flatnonzero(allowed.free)):
                moved = np.arange(at.size) == site
                for near in (None, np.arange(-8.0, 9.0)):
                    tried = line[::8] if near is None else np.clip(at[site] + near, -most, most)
                    found = along_totals(what, at, moved, tried - at[site], now=total)
                    keys = what.scores(found.copy())
                    k = int(np.lexsort((keys[:, 2], keys[:, 1], keys[:, 0]))[0])
                    if tuple(keys[k].tolist()) < key:
                        key, total, better = tuple(keys[k].tolist()), found[k], True
                        at = np.where(moved, tried[k], at)
                if time.process_time() > stop:
                    break
        best = min(best, key[0])
        at = np.where(allowed.free, rng.choice(line, at.size), allowed.now_us)
    return float(best)


def slider() -> None:
    """20 sites x 200,000 points: one offset moved, the numbers anew."""
    what = drawn(np.random.default_rng(20), sites=20, points=200_000, side_km=180.0)
    with ThreadPoolExecutor(2) as threads:
        score(what, np.zeros(20), executor=threads)
        taken = []
        for k in range(20):
            began = time.monotonic()
            score(what, np.eye(20)[k] * 7, executor=threads)
            taken.append(1000 * (time.monotonic() - began))
    print(f"numbers anew in {np.median(taken):.0f} ms (median of 20), {max(taken):.0f} ms at most")


if __name__ == "__main__":
    if sys.argv[1] == "demo":
        demo(*sys.argv[2:])
        sys.exit()
    chosen = {
        "sites24": sites24,
        "small": small,
        "large": large,
        "long": long,
        "evolution": evolution,
        "slider": slider,
    }[sys.argv[1]]
    chosen(*(float(text) for text in sys.argv[2:]))
