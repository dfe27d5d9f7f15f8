"""OFDM reception of a map, compiled against vectorised numpy: ``python tests/bench/bench_ofdm_map.py [POINTS]``.

Both place the window by "quasi-optimal" (most energy in the guard interval, slack halved) and judge its margin. numpy
goes through the signals one by one and does all points of a block at once; the second line of ours does all that a map
does when a delay is tried. Levels and arrivals are those of twenty, then of four sites strewn over 200 km, so that
delays beyond the guard interval are common.
"""

import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from sfn.reception.drawn import Spread
from sfn.reception.quality import ServiceQuality, Yardstick, service_quality
from sfn.reception.significance import Criteria
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm_map import ofdm_map
from sfn.systems.ofdm_window import Placing, filled, parts
from sfn.systems.service import Service, service

FloatArray = NDArray[np.float64]
NUMPY_POINTS = 100_000
NUMPY_BLOCK = 4096  # fits the cache; 1 024 to 65 536 measured, this is the fastest


def scene(points: int, sites: int = 20, *, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Levels at 50 % and 1 % of time and arrivals of sites over 200 km of a rough country."""
    rng = np.random.default_rng(seed)
    sites_km = rng.uniform(0, 200, (sites, 2))
    side = int(np.ceil(np.sqrt(points)))
    axis_km = np.linspace(0, 200, side)
    east_km, north_km = (a.ravel()[:points] for a in np.meshgrid(axis_km, axis_km))
    distance_km = np.hypot(east_km - sites_km[:, :1], north_km - sites_km[:, 1:]) + 0.3
    levels = 106.9 + 10 * np.log10(10) - 20 * np.log10(distance_km) - 0.25 * distance_km
    levels = levels + rng.normal(0, 8, levels.shape)
    return levels, levels + 0.06 * distance_km, distance_km / 0.299704 + rng.uniform(-20, 20, (sites, 1))


def numpy_margin(
    levels: FloatArray, levels_1pct: FloatArray, arrivals: FloatArray, of: Service, noise_dbuvm: float
) -> FloatArray:
    """Margin of the window with most energy, as one would write it with numpy."""
    guard_us = float(of.guard_us or 0.0)
    powers = 10.0 ** (levels / 10.0)
    most, first_us, last_us = np.zeros(levels.shape[1]), arrivals[0].copy(), arrivals[0].copy()
    for start_us in arrivals:
        away_us = arrivals - start_us
        within = (away_us >= 0.0) & (away_us <= guard_us)
        energy = np.einsum("sm,sm->m", within, powers)
        better = energy > most * (1.0 + 1e-9)
        most = np.where(better, energy, most)
        first_us = np.where(better, start_us, first_us)
        last_us = np.where(better, np.where(within, arrivals, -np.inf).max(axis=0), last_us)
    useful, against = parts(arrivals - (first_us - (guard_us - (last_us - first_us)) / 2), service=of)
    kept = useful * powers
    ordered = np.sort(kept, axis=0)
    total, top, second = kept.sum(axis=0), ordered[-1], ordered[-2]
    interference = np.einsum("sm,sm->m", against, 10.0 ** (levels_1pct / 10.0)) + 10.0 ** (noise_dbuvm / 10.0)
    rice, rayleigh, echo = (
        float(v or 0.0) for v in (of.required_cn_rice_db, of.required_cn_rayleigh_db, of.required_cn_echo_db)
    )
    two = rice + (echo - rice) * np.log2(1.0 + second / top)
    needed = two + (rayleigh - two) * (1.0 - ((top + second) / total) ** 2.5)
    return np.asarray(10.0 * np.log10(total / interference) - needed)


def fastest(run, times: int):
    """Seconds by the clock and of the processor of the fastest of several runs, and what it gave."""
    seconds = []
    for _ in range(times):
        begun, worked = time.perf_counter(), time.process_time()
        result = run()
        seconds.append((time.perf_counter() - begun, time.process_time() - worked))
    return *map(min, zip(*seconds, strict=True)), result


def compared(points: int, sites: int) -> None:
    """Print times, ratios and the largest difference for a number of sites."""
    of = service("dvb-t-8k-1/4-8mhz")
    noise_dbuvm = noise_field_dbuvm(of)
    levels, levels_1pct, arrivals = scene(points, sites, seed=1)
    singles, singles_1pct = levels.astype(np.float32), levels_1pct.astype(np.float32)  # as maps keep them
    levels, levels_1pct = singles.astype(np.float64), singles_1pct.astype(np.float64)
    few = min(NUMPY_POINTS, points)
    pick = np.linspace(0, points - 1, few).astype(int)
    yard = Yardstick(
        of, Criteria(0.0, "", 30.0, of.guard_us or 0.0, 6.0), 30.0, 40.0, 0.0, filled(Placing(), of), Spread(5.5)
    )

    def numpy_all() -> FloatArray:
        blocks = [pick[i : i + NUMPY_BLOCK] for i in range(0, few, NUMPY_BLOCK)]
        return np.concatenate(
            [numpy_margin(levels[:, b], levels_1pct[:, b], arrivals[:, b], of, noise_dbuvm) for b in blocks]
        )

    def ours(executor: ThreadPoolExecutor | None, last: int | None = None) -> NDArray[np.float32]:
        part = slice(0, last)
        return ofdm_map(
            singles[:, part], arrivals[:, part], of, level_1pct_dbuvm=singles_1pct[:, part], executor=executor
        ).margin_db

    def followed(executor: ThreadPoolExecutor | None, last: int | None = None) -> ServiceQuality:
        part = slice(0, last)
        return service_quality(
            singles[:, part], arrivals[:, part], yard, frequency_mhz=600.0,
            level_1pct_dbuvm=singles_1pct[:, part], executor=executor,
        )  # fmt: skip

    ours(None, 10), followed(None, 10)  # compiles
    numpy_seconds, numpy_worked, theirs = fastest(numpy_all, 2)
    numpy_seconds, numpy_worked = numpy_seconds * points / few, numpy_worked * points / few
    print(f"{points} points of {sites} sites, load {os.getloadavg()[0]:.1f}: see the processor's seconds if it is high")
    print(f"numpy, one thread      {numpy_seconds:8.2f} s, {numpy_worked:.2f} s of the processor (from {few} points)")
    for workers in (1, 2):
        with ThreadPoolExecutor(workers) as executor:
            for name, run in (("margins", ours), ("margins, shares and classes, two strategies", followed)):
                seconds, worked, _ = fastest(lambda run=run, executor=executor: run(executor), 5)
                print(
                    f"compiled, {workers} thread(s)  {seconds:8.2f} s, {worked:.2f} s of the processor: "
                    f"{numpy_seconds / seconds:.1f} times as fast, {numpy_worked / worked:.1f} times less work ({name})"
                )
    difference_db = np.abs(ours(None)[pick] - theirs).max()
    print(f"largest difference     {difference_db:8.5f} dB")
    if difference_db > 0.01:
        raise SystemExit("the two do not agree")


def main() -> None:
    """Twenty sites and four."""
    points = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    for sites in (20, 4):
        compared(points, sites)


if __name__ == "__main__":
    main()
