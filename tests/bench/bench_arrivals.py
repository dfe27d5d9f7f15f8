"""Coverage and parting of `sfn.survey.arrivals` on recordings of I and Q made at RF.

Two or three arrivals, 0.3 to 100 us apart, 0 to -20 dB, speech, music, noise; 20 to 45 dB over noise in 200 kHz; clocks
up to 5 ppm apart, carriers up to 0.2 Hz, deviation up to 3 % off what is stated, the recorder up to 3 kHz off tune.

    python tests/bench/bench_arrivals.py FIRST LAST

An arrival counts where it was answered as one path; "not parted" counts as neither, and so do arrivals closer together
than the resolution stated for the weaker one's level. Any other merging, and a path where nothing arrives, counts as
an interval that misses. Levels count where path and strongest both were answered as one path each.
"""

import sys

import numpy as np
import scipy.signal
from scipy.ndimage import map_coordinates

from sfn.errors import PlanError
from sfn.survey.arrivals.paths import RESOLUTION_LEVELS_DB, paths
from tests.bench.bench_two_arrivals import RATE_HZ, UP, composite

FINE_HZ, DEVIATION_HZ, SECONDS = RATE_HZ * UP, 75_000.0, 1.5


def recorded(kind, arrivals, rng, *, snr_db, carrier_hz, factor, ppm, start_us, reference_db, rate_hz):
    """Reference and I/Q of arrivals (us, dB, radians, Hz)."""
    n = round(SECONDS * RATE_HZ)
    mpx = composite(kind, n, rng)
    wide = np.zeros(n * UP // 2 + 1, complex)
    spectrum = np.fft.rfft(mpx)
    wide[: len(spectrum)] = spectrum * UP
    f = np.fft.rfftfreq(n * UP, 1 / FINE_HZ)
    wide[1:] /= 2j * np.pi * f[1:]
    wide[0] = 0
    sent = np.fft.fft(np.exp(2j * np.pi * DEVIATION_HZ * factor * np.fft.irfft(wide, n * UP)))
    f, t = np.fft.fftfreq(n * UP, 1 / FINE_HZ), np.arange(n * UP) / FINE_HZ
    z = (
        10 ** (-snr_db / 20)
        * np.sqrt(FINE_HZ / 2 / 200e3)
        * (rng.standard_normal(n * UP) + 1j * rng.standard_normal(n * UP))
    )
    for us, db, turn, hz in arrivals:
        path = np.fft.ifft(sent * np.exp(-2j * np.pi * f * (us + start_us) * 1e-6))
        z += 10 ** (db / 20) * path * np.exp(1j * turn + 2j * np.pi * hz * t)
    z *= np.exp(2j * np.pi * carrier_hz * t)
    count = round(n * UP * rate_hz / FINE_HZ)
    twice = scipy.signal.resample(z, 2 * count)
    at = [2 * np.arange(count) / (1 + ppm * 1e-6)]
    z = map_coordinates(twice.real, at, order=5, mode="wrap") + 1j * map_coordinates(
        twice.imag, at, order=5, mode="wrap"
    )
    return 0.7 * (mpx + 10 ** (-reference_db / 20) * mpx.std() * rng.standard_normal(n)), 0.3 * z


def drawn(seed):
    """One recording and what is true of it: arrivals in the order of delay, and what moves them."""
    rng = np.random.default_rng(50_000 + seed)
    kind, n = ("noise", "music", "speech")[seed % 3], 2 + seed % 2
    us = [0.0]
    for _ in range(n - 1):
        us.append(us[-1] + rng.choice([-1, 1]) * 10 ** rng.uniform(np.log10(0.3), 2))
    db = [0.0, *(-rng.uniform(0, 20, n - 1))]
    arrivals = sorted(zip(us, db, rng.uniform(0, 2 * np.pi, n), rng.uniform(-0.1, 0.1, n), strict=True))
    options = {
        "snr_db": rng.uniform(20, 45), "carrier_hz": rng.uniform(-3e3, 3e3), "factor": rng.uniform(0.97, 1.03),
        "ppm": rng.uniform(-5, 5), "start_us": rng.uniform(-2e4, 5e4), "reference_db": rng.uniform(60, 80),
        "rate_hz": int(rng.choice([256_000, 384_000])),
    }  # fmt: skip
    return kind, arrivals, options, rng


def judged(found, truth_us, truth_db):
    """Paths that hold and that count; pairs above the stated resolution, and those of them that were parted."""
    near = [min(range(len(found.paths)), key=lambda k: abs(found.paths[k].delay_us - us)) for us in truth_us]
    least = [
        float(np.interp(db - max(truth_db), RESOLUTION_LEVELS_DB[::-1], found.resolution_us[::-1])) for db in truth_db
    ]
    held, counted, errors_us, levels = 0, 0, [], []
    top = found.strongest
    alone = [sum(of == k for of in near) == 1 and path.parted for k, path in enumerate(found.paths)]
    for k, path in enumerate(found.paths):
        mine = [i for i, of in enumerate(near) if of == k]
        close = [abs(truth_us[i] - truth_us[j]) < max(least[i], least[j]) for i in mine for j in mine if i < j]
        if not path.parted or (close and all(close)):
            continue
        counted += 1
        if len(mine) == 1:
            off = path.delay_us - truth_us[mine[0]]
            held += abs(off) < 1.96 * path.uncertainty_us
            errors_us.append((off, path.uncertainty_us, path.hidden_us))
            if alone[top] and k != top:
                off_db = path.level_db - truth_db[mine[0]] + truth_db[near.index(top)]
                levels.append((off_db, path.level_uncertainty_db, path.level_hidden_db))
    above = [
        near[i] != near[j] and found.paths[near[i]].parted + found.paths[near[j]].parted >= 1
        for i in range(len(near))
        for j in range(i)
        if abs(truth_us[i] - truth_us[j]) > max(least[i], least[j])
    ]
    return held, counted, errors_us, sum(above), len(above), levels


def main(first, last):
    """Print one line a recording and the summary."""
    total, errors_us, levels_db, refused = np.zeros(4), [], [], 0
    for seed in range(first, last):
        kind, arrivals, options, rng = drawn(seed)
        reference, z = recorded(kind, arrivals, rng, **options)
        told = f"{seed} {kind} {options['snr_db']:.0f} dB " + ", ".join(
            f"{us:.2f} us {db:.1f} dB" for us, db, *_ in arrivals
        )
        try:
            found = paths(
                reference, z, reference_rate_hz=RATE_HZ, rate_hz=options["rate_hz"], deviation_hz=DEVIATION_HZ / 0.7
            )
        except PlanError as error:
            refused += 1
            print(told, "|", error, flush=True)
            continue
        base_us = options["start_us"] + found.at_s * options["ppm"]
        held, counted, off, parted, pairs, levels = judged(
            found, [a[0] + base_us for a in arrivals], [a[1] for a in arrivals]
        )
        total += (held, counted, parted, pairs)
        errors_us += off
        levels_db += levels
        listed = ", ".join(
            f"{p.delay_us - base_us:+.3f}+-{1.96 * p.uncertainty_us:.3f} us {p.level_db:.2f}+-{1.96 * p.level_uncertainty_db:.2f} dB{'' if p.parted else ' not parted'}"
            for p in found.paths
        )
        print(
            told,
            "|",
            listed,
            "|",
            f"{held} of {counted}, {parted} of {pairs}, misfit {found.misfit_ratio:.2f}",
            flush=True,
        )
    off = np.array(errors_us)
    print(f"{last - first} recordings, {refused} refused; of {total[1]:.0f} answers {total[0]:.0f} hold", end=" ")
    print(f"({100 * total[0] / total[1]:.1f} %); of {total[3]:.0f} pairs above the resolution {total[2]:.0f} parted")
    level = np.array(levels_db).reshape(-1, 3)
    sure = 1.96 * np.sqrt(level[:, 1] ** 2 - level[:, 2] ** 2)
    holds, bare = np.sum(np.abs(level[:, 0]) < 1.96 * level[:, 1]), np.sum(np.abs(level[:, 0]) < sure)
    print(f"of {len(level)} levels beside the strongest {holds} hold, {bare} without what does not show;", end=" ")
    print(
        f"median error {np.median(np.abs(level[:, 0])):.3f} dB, half interval {1.96 * np.median(level[:, 1]):.2f} dB,",
        end=" ",
    )
    print(f"{np.median(sure):.3f} dB without what does not show")
    print(f"median error {np.median(np.abs(off[:, 0])):.4f} us, median interval +-{1.96 * np.median(off[:, 1]):.3f} us")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]) if len(sys.argv) > 2 else (0, 12))
