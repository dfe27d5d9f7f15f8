"""A tried lever over 20 sites x 1 million places, against plain numpy: ``python tests/bench/bench_levers.py [SIDE]``.

Turned, tilted and weakened at one site, then at every site: levels at 50 % and 1 % of time follow, then FM classes by
them, as a map is redrawn. numpy does what one would write from `level = field + e.r.p. - attenuation`: bearings by the
sphere (ours are the ellipsoid's), both tables by `numpy.interp`, both planes, the plan's attenuation taken off and the
try's put on. Both leave out the walk over the ground, which is what is spared; elevations are random, as that costs
neither anything. Seconds are of the processor, and by the clock.
"""

import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.antenna import Pattern, Table
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import Grid, grid_for
from sfn.geodesy.position import Located
from sfn.geodesy.sites import place
from sfn.plan import Antenna, Network, read_file
from sfn.plan.demos import demo_files
from sfn.plan.position import Power
from sfn.reception.coverage import Coverage, transmitters
from sfn.reception.quality import service_quality, yardstick
from sfn.reception.radiated import as_radiated
from sfn.study.zones import zones

SITES_N = 20
ROUND: Table = tuple((float(a), round(15 * float(np.sin(np.radians(a / 2)) ** 2), 2)) for a in range(0, 360, 5))
NULLS: Table = tuple((0.5 * e, round(min(30.0, abs(0.5 * e - 0.3) * 3.5), 2)) for e in range(-60, 61))


def network(count: int) -> Network:
    """The ridge demo with its sites again and again, every one with an antenna of tables, strewn over 100 km."""
    demo = read_file(next(path for path in demo_files() if path.stem == "fm_ridge"))
    rng = np.random.default_rng(5)
    antenna = Antenna(horizontal=ROUND, vertical=NULLS)
    sites = []
    for n in range(count):
        site = demo.sites[0]
        at = f"{36.0 + rng.uniform(0, 0.9):.5f}, {-84.6 + rng.uniform(0, 1.1):.5f}"
        sites.append(
            site.model_copy(
                update={
                    "id": f"s{n}", "name": f"S{n}", "position": site.position.model_copy(update={"text": at}),
                    "antenna": antenna.model_copy(update={"azimuth_deg": float(rng.integers(0, 360))}),
                    "erp_kw": Power(h=2.0, v=1.0),
                }
            )
        )  # fmt: skip
    return demo.model_copy(update={"sites": tuple(sites)})


def levels_of(of: Network, grid: Grid) -> Coverage:
    """Levels as they would be kept; what the ground makes of them is random."""
    placed, rng = place(of), np.random.default_rng(6)
    shape = len(of.sites), grid.pixels_n
    level = rng.normal(55, 15, shape).astype(np.float32)
    travel = rng.uniform(1, 300, shape)
    return Coverage(
        grid, tuple(s.id for s in of.sites), level, level + np.float32(3), travel, np.zeros(grid.pixels_n, np.float32),
        np.ones(grid.pixels_n, bool), False, rng.normal(-0.3, 0.5, shape).astype(np.float32), transmitters(of, placed),
    )  # fmt: skip


def tried(of: Network, count: int) -> Network:
    """The first sites weaker by 3 dB, turned by 40 degrees and tilted by 1.5."""
    made = []
    for n, site in enumerate(of.sites):
        if n < count:
            assert site.antenna is not None
            antenna = site.antenna.model_copy(
                update={"azimuth_deg": (site.antenna.azimuth_deg + 40.0) % 360.0, "electrical_tilt_deg": 1.5}
            )
            site = site.model_copy(update={"antenna": antenna, "erp_kw": Power(h=1.0, v=0.5)})
        made.append(site)
    return of.model_copy(update={"sites": tuple(made)})


def numpy_radiated(
    of: Transmitter, bearing: NDArray[np.float64], elevation: NDArray[np.float64]
) -> NDArray[np.float64]:
    """E.r.p. over 1 kW less attenuation, of the stronger plane, as one would write it."""
    turned: Pattern = of.pattern  # type: ignore[assignment]
    angle, loss = (np.array(v) for v in zip(*(turned.horizontal_h or ()), strict=True))
    up, down = (np.array(v) for v in zip(*(turned.vertical_h or ()), strict=True))
    off = (bearing - turned.azimuth_deg) % 360.0
    tilt = turned.electrical_tilt_deg + turned.mechanical_tilt_deg * np.cos(np.radians(off))
    away = np.interp(off, angle, loss, period=360.0) + np.interp(elevation + tilt, up, down)
    return np.maximum(10 * np.log10(of.erp_h_kw) - away, 10 * np.log10(of.erp_v_kw) - away)


def numpy_levels(
    computed: Coverage, before: tuple[Transmitter, ...], after: tuple[Transmitter, ...]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Levels of the try by plain numpy."""
    level, rare = computed.level_dbuvm.copy(), computed.level_1pct_dbuvm.copy()
    lat, lon = (np.radians(v) for v in computed.grid.points_deg)
    for i, (one, other) in enumerate(zip(before, after, strict=True)):
        if one == other:
            continue
        a, b = np.radians(one.lat_deg), lon - np.radians(one.lon_deg)
        east = np.sin(b) * np.cos(lat)
        north = np.cos(a) * np.sin(lat) - np.sin(a) * np.cos(lat) * np.cos(b)
        bearing = np.degrees(np.arctan2(east, north)).ravel() % 360.0
        elevation = computed.tx_elevation_deg[i].astype(np.float64)
        change = numpy_radiated(other, bearing, elevation) - numpy_radiated(one, bearing, elevation)
        level[i] += change
        rare[i] += change
    return level, rare


def timed(of: Callable[[], object], rounds: int = 3) -> tuple[float, float]:
    """Least processor time and time by the clock of some rounds. [s]"""
    found = []
    for _ in range(rounds):
        cpu, clock = time.process_time(), time.perf_counter()
        of()
        found.append((time.process_time() - cpu, time.perf_counter() - clock))
    return min(f[0] for f in found), min(f[1] for f in found)


def main(side: int) -> None:
    """Print seconds and ratios."""
    of = network(SITES_N)
    span_m = 100_000.0
    grid = grid_for((36.0, -84.6, 36.9, -83.5), pixel_m=span_m / side, most_pixels_n=2_000_000)
    computed = levels_of(of, grid)
    plan: dict[str, Located] = place(of)
    launches = {site.id: 0.0 for site in of.sites}
    megabytes = computed.tx_elevation_deg.nbytes / 1e6, (computed.kept_bytes - computed.tx_elevation_deg.nbytes) / 1e6
    print(f"{SITES_N} sites x {grid.pixels_n} places; elevations {megabytes[0]:.0f} MB beside {megabytes[1]:.0f} MB")
    before = transmitters(of, plan)
    with ThreadPoolExecutor(2) as executor:
        yard, arrivals = yardstick(of), computed.arrivals(launches)

        def classes(now: Network) -> object:
            """Levels as radiated, and the class of each place by them."""
            found = as_radiated(now, computed)
            return service_quality(
                found.level_dbuvm, arrivals, yard, frequency_mhz=of.frequency_mhz,
                level_1pct_dbuvm=found.level_1pct_dbuvm, sites=found.sites, executor=executor,
            )  # fmt: skip

        drawn = timed(lambda: zones(of, computed, launches, executor=executor))
        plain = timed(lambda: classes(of))
        print(
            f"plan: classes {plain[0]:.2f} s of the processor, {plain[1]:.2f} by the clock; with all layers and sums "
            f"{drawn[0]:.2f} ({drawn[1]:.2f})",
            flush=True,
        )
        for count in (1, SITES_N):
            now = tried(of, count)
            after = transmitters(now, plan)
            first = timed(lambda: as_radiated(now, computed), rounds=1)  # noqa: B023  called at once
            ours = timed(lambda: as_radiated(now, computed))  # noqa: B023
            theirs = timed(lambda: numpy_levels(computed, before, after), rounds=1)  # noqa: B023
            both = timed(lambda: classes(now))  # noqa: B023
            whole = timed(lambda: zones(now, computed, launches, executor=executor))  # noqa: B023
            apart = np.abs(as_radiated(now, computed).level_dbuvm - numpy_levels(computed, before, after)[0])
            print(
                f"levers at {count:2d}: levels {ours[0]:.2f} s ({ours[1]:.2f} by the clock; {first[1]:.2f} the first "
                f"time, with bearings), numpy {theirs[0]:.2f} s, {theirs[0] / ours[0]:.1f} times; levels and classes "
                f"{both[0]:.2f} ({both[1]:.2f}), with all layers and sums {whole[0]:.2f} ({whole[1]:.2f}); apart "
                f"{float(np.median(apart)):.4f} dB in the middle, {float(apart.max()):.2f} at most (sphere)",
                flush=True,
            )
            computed = replace(computed, bearings={})


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
