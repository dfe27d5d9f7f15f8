"""Three and more FM signals: the rule of maps and the shares of listeners beside the direct simulation.

Run from the root: ``python -m tests.bench.bench_together [SETS] [SEED]`` (200 sets take some ten minutes of one core).
Sets are drawn anew from the seed: three to six signals within 15 dB, 0.3 to 40 us apart; levels spread by 8 dB between
two, phases are uniform. The local value wants a mean within 0.5 dB and no set 3 dB too good beyond its own chance.
"""

import sys

import numpy as np

from sfn.systems.fm import local_table, together_db
from sfn.systems.fm_causes import Nodes
from sfn.systems.fm_listeners import Blend, listener_shares
from sfn.systems.fm_programme import noise_programme
from sfn.systems.fm_simulation import Ray, many_path_error, noise_ratio, phase_difference

SPREAD_DB = 8.0
LEVEL_SETS, PHASES = 16, 12
GRID_PART = 2
TARGETS_DB = (24.0, 32.0)


def main(sets_n: int, seed: int) -> None:
    """Draw sets, simulate them, hold the rules against them."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    local = {mode: local_table(mode, spread_db=SPREAD_DB) for mode in ("stereo", "mono-of-stereo")}
    errors: dict[str, list[tuple[float, float]]] = {mode: [] for mode in local}
    shares: list[tuple[float, float]] = []
    for number in range(sets_n):
        rng = np.random.default_rng((seed, number))
        echoes = int(rng.integers(2, 6))
        weaker = np.sort(rng.uniform(0, 15, echoes))
        late = np.exp(rng.uniform(np.log(0.3), np.log(40), echoes)) * rng.choice([-1, 1], echoes)
        programme = noise_programme(1 + number % 4, stereo=True)
        deltas = np.stack([phase_difference(programme, Ray(0.0, each))[::GRID_PART] for each in late])
        even = qmc.Sobol(echoes + 1, scramble=True, rng=rng).random(LEVEL_SETS)
        own = ndtri(np.clip(even, 1e-9, 1 - 1e-9)) * SPREAD_DB / np.sqrt(2)
        levels = np.repeat(weaker + own[:, :1] - own[:, 1:], PHASES, 0)
        psi = np.concatenate([qmc.LatinHypercube(echoes, rng=rng).random(PHASES) for _ in range(LEVEL_SETS)])
        error = many_path_error(
            deltas, level_difference_db=levels, phase_rad=2 * np.pi * psi, lines_n=programme.multiplex.size
        )
        found = {
            "stereo": noise_ratio(programme, error, mode="stereo"),
            "mono-of-stereo": noise_ratio(programme, error[:, : programme.audio.shape[-1]], mode="mono-of-stereo"),
        }
        for mode, snr_db in found.items():
            deciles = np.minimum(np.quantile(snr_db.reshape(-1, PHASES), 0.1, axis=1, method="hazen"), 70.0)
            rule = min(together_db(weaker, late, local=local[mode]), 70.0)
            errors[mode].append((rule - deciles.mean(), deciles.std(ddof=1) / np.sqrt(LEVEL_SETS)))
        for target in TARGETS_DB:
            ours = listener_shares(
                np.r_[60.0, 60.0 - weaker][:, None], np.r_[0.0, late][:, None], programme=Nodes(),
                blend=Blend("hi-fi"), target_db=target, better_db=40.0, margin_db=(0.0, 0.0), significant_db=60.0,
                level_sets_n=64, workers=1,
            )  # fmt: skip
            shares.append((float(ours.stereo[0]), float((found["stereo"] >= target).mean())))
    for mode, pairs in errors.items():
        off, chance = np.array(pairs).T
        print(
            f"{mode}: local value {off.mean():+.2f} dB in the mean, scatter {off.std():.2f}, greatest {off.max():+.2f}; "
            f"less twice its chance {(off - 2 * chance).max():+.2f} dB (chance {np.median(chance):.1f} dB, median)"
        )
    apart = np.array(shares) @ np.array([1.0, -1.0])
    print(
        f"stereo shares: {apart.mean():+.3f} in the mean, scatter {apart.std():.3f}, greatest {np.abs(apart).max():.2f}"
    )


if __name__ == "__main__":
    main(*(int(each) for each in [*sys.argv[1:3], *("200", "9")[len(sys.argv[1:3]) :]]))
