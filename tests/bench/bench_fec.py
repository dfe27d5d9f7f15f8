"""Monte Carlo of 2-D parity: the kernel beside the obvious numpy form, one core. Wanted: 10^7 packets/s."""

import time

import numpy as np

from sfn.stream.loss import LossModel, bursts, independent
from sfn.stream.protection import both_parities
from sfn.stream.residual import simulated

COLUMNS, ROWS = 5, 10
GUARD = both_parities(COLUMNS, ROWS)


def obvious(loss_ratio: float, blocks_n: int) -> float:
    """Independent loss of whole blocks with numpy, every recovery by sums over the blocks."""
    rng = np.random.default_rng(1)
    lost = rng.random((blocks_n, ROWS, COLUMNS)) < loss_ratio
    rows, columns = rng.random((blocks_n, ROWS)) < loss_ratio, rng.random((blocks_n, COLUMNS)) < loss_ratio
    while True:
        before = lost.sum()
        lost &= ~((lost.sum(2) == 1) & ~rows)[:, :, None]
        lost &= ~((lost.sum(1) == 1) & ~columns)[:, None, :]
        if lost.sum() == before:
            return float(lost.mean())


def kernel_rate(model: LossModel, blocks_n: int) -> float:
    """Media packets a second of the plain simulation."""
    simulated(GUARD, paths=(model,), seed=1, block_n=1000, way="plain")
    begun = time.process_time()
    simulated(GUARD, paths=(model,), seed=1, block_n=blocks_n, way="plain")
    return blocks_n * COLUMNS * ROWS / (time.process_time() - begun)


if __name__ == "__main__":
    blocks_n = 100_000
    begun = time.process_time()
    obvious(0.05, blocks_n)
    reference = blocks_n * COLUMNS * ROWS / (time.process_time() - begun)
    print(f"numpy, independent 5 %: {reference / 1e6:.1f} million packets/s")
    for name, model in (
        ("independent 5 %", independent(0.05)),
        ("independent 0.1 %", independent(1e-3)),
        ("1 % in bursts of 4", bursts(1e-2, mean_burst_packets=4)),
        ("0.1 % in bursts of 4", bursts(1e-3, mean_burst_packets=4)),
    ):
        ours = kernel_rate(model, 400_000)
        print(f"kernel, {name}: {ours / 1e6:.0f} million packets/s, {ours / reference:.0f} x numpy")
