"""OFDM reception of a map, compiled against vectorised numpy: ``python tests/bench/bench_ofdm_map.py [POINTS]``.

Both place the window by "quasi-optimal" (most energy in the guard interval, slack halved) and judge its margin. numpy
goes through the signals one by one and does all points of a block at once. Levels and arrivals are those of twenty sites strewn over 200 km, so delays beyond the guard
interval are common.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm_map import ofdm_map, with_risk
from sfn.systems.ofdm_window import Placing, parts
from sfn.systems.service import Service, service

FloatArray = NDArray[np.float64]
SITES = 20
NUMPY_POINTS = 100_000
NUMPY_BLOCK = 4096  # fits the cache; 1 024 to 65 536 measured, this is the fastest


def scene(points: int, *, seed: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Levels at 50 % and 1 % of time and arrivals of sites over 200 km of a rough country."""
    rng = np.random.default_rng(seed)
    sites_km = rng.uniform(0, 200, (SITES, 2))
    side = int(np.ceil(np.sqrt(points)))
    axis_km = np.linspace(0, 200, side)
    east_km, north_km = (a.ravel()[:points] for a in np.meshgrid(axis_km, axis_km))
    distance_km = np.hypot(east_km - sites_km[:, :1], north_km - sites_km[:, 1:]) + 0.3
    levels = 106.9 + 10 * np.log10(10) - 20 * np.log10(distance_km) - 0.25 * distance_km
    levels = levels + rng.normal(0, 8, levels.shape)
    return levels, levels + 0.06 * distance_km, distance_km / 0.299704 + rng.uniform(-20, 20, (SITES, 1))


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


def main() -> None:
    """Print both times, the ratio and the largest difference."""
    points = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    of = service("dvb-t-8k-1/4-8mhz")
    noise_dbuvm = noise_field_dbuvm(of)
    levels, levels_1pct, arrivals = scene(points, seed=1)
    few = min(NUMPY_POINTS, points)
    pick = np.linspace(0, points - 1, few).astype(int)

    def numpy_all() -> FloatArray:
        blocks = [pick[i : i + NUMPY_BLOCK] for i in range(0, few, NUMPY_BLOCK)]
        return np.concatenate(
            [numpy_margin(levels[:, b], levels_1pct[:, b], arrivals[:, b], of, noise_dbuvm) for b in blocks]
        )

    ofdm_map(levels[:, :10], arrivals[:, :10], of, level_1pct_dbuvm=levels_1pct[:, :10], placings=with_risk(Placing()))
    numpy_seconds, numpy_worked, theirs = fastest(numpy_all, 1)
    numpy_seconds, numpy_worked = numpy_seconds * points / few, numpy_worked * points / few
    print(f"{points} points of {SITES} sites; on a busy machine the processor's seconds tell more than the clock's")
    print(f"numpy, one thread      {numpy_seconds:8.2f} s, {numpy_worked:.2f} s of the processor (from {few} points)")
    for workers in (1, 2):
        with ThreadPoolExecutor(workers) as executor:
            for chosen in ((Placing(),), with_risk(Placing())):
                seconds, worked, ours = fastest(
                    lambda chosen=chosen, executor=executor: ofdm_map(
                        levels, arrivals, of, level_1pct_dbuvm=levels_1pct, placings=chosen, executor=executor
                    ),
                    3,
                )
                print(
                    f"compiled, {workers} thread(s)  {seconds:8.2f} s, {worked:.2f} s of the processor: "
                    f"{numpy_seconds / seconds:.1f} times as fast, {numpy_worked / worked:.1f} times less work "
                    f"({', '.join(one.strategy for one in chosen)})"
                )
    difference_db = np.abs(ours.margin_db[pick] - theirs).max()
    print(f"largest difference     {difference_db:8.5f} dB; {np.mean(ours.lost_to_self_interference):.1%} lost")
    if difference_db > 0.01:
        raise SystemExit("the two do not agree")


if __name__ == "__main__":
    main()
