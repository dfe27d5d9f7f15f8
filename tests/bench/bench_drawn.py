"""Coverage probability with levels drawn, of a usual map: ``python tests/bench/bench_drawn.py [POINTS]``.

Twenty sites, signals within 25 dB of the strongest, as many points as a usual map has; target 2 s on two cores.
"""

import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from sfn.reception.drawn import Spread, drawn_coverage
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.ofdm_window import Placing
from sfn.systems.service import service

SITES = 20


def main() -> None:
    """Print the seconds of the clock and of the processor for each strategy."""
    points = int(sys.argv[1]) if len(sys.argv) > 1 else 130_000
    of, rng = service("dvb-t2-32k-19/128-pp2-8mhz"), np.random.default_rng(1)
    sites_km, places_km = rng.uniform(0, 200, (SITES, 2)), rng.uniform(0, 200, (points, 2))
    away = places_km[None, :, :] - sites_km[:, None, :]
    distance_km = np.hypot(away[..., 0], away[..., 1]) + 0.3
    levels = 92.0 - 20 * np.log10(distance_km) - 0.25 * distance_km + rng.normal(0, 6, distance_km.shape)
    levels = np.where(levels >= levels.max(axis=0) - 25, levels, np.nan)
    bearings = np.degrees(np.arctan2(-away[..., 0], -away[..., 1])) % 360
    arrivals = distance_km / 0.299704
    print(f"{points} points, {np.isfinite(levels).sum(axis=0).mean():.1f} signals a point in the mean")
    with ThreadPoolExecutor(2) as executor:
        for strategy in ("quasi-optimal", "strongest"):
            placing = Placing(strategy)
            for turn in range(2):
                begun, worked = time.perf_counter(), time.process_time()
                share = drawn_coverage(
                    levels, arrivals, of, placing=placing, spread=Spread(5.5), bearing_deg=bearings, executor=executor
                )
                if turn:
                    seconds, work = time.perf_counter() - begun, time.process_time() - worked
                    served = np.mean(share >= 0.7)
                    print(f"{strategy:18} {seconds:6.2f} s, {work:.2f} s of the processor; {served:.1%} served")
    print(f"noise {noise_field_dbuvm(of):.1f} dBuV/m")


if __name__ == "__main__":
    main()
