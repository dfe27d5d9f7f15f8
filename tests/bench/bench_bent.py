"""What `sfn.survey.arrivals` makes of recordings of `bench_arrivals` whose amplitude a recorder bent, in 20 ways.

    python -m tests.bench.bench_bent FIRST LAST

Refused is right; an answer must hold as it must of a straight recording. Limits are in units of the median envelope.
"""

import sys
from collections.abc import Callable

import numpy as np
import scipy.signal

from sfn.errors import PlanError
from sfn.survey.arrivals.paths import paths
from tests.bench.bench_arrivals import DEVIATION_HZ, RATE_HZ, drawn, judged, recorded


def envelope(z: np.ndarray, most: float, rate_hz: int) -> np.ndarray:
    """Held below a limit at once; 0: held even."""
    size, middle = np.abs(z), np.median(np.abs(z))
    if most == 0:
        return z / np.maximum(size, 1e-12 * middle) * middle
    return z * np.minimum(1.0, most * middle / np.maximum(size, 1e-12 * middle))


def rails(z: np.ndarray, most: float, rate_hz: int) -> np.ndarray:
    """I and Q clipped each for itself."""
    limit = most * np.median(np.abs(z))
    return np.clip(z.real, -limit, limit) + 1j * np.clip(z.imag, -limit, limit)


def soft(z: np.ndarray, most: float, rate_hz: int) -> np.ndarray:
    """Hyperbolic tangent of the envelope."""
    size = np.abs(z)
    limit = most * np.median(size)
    return limit * np.tanh(size / limit) * z / np.maximum(size, 1e-12 * limit)


def wide(z: np.ndarray, most: float, rate_hz: int) -> np.ndarray:
    """Limited at four times the rate, then brought down: the envelope moves again."""
    return np.asarray(scipy.signal.resample(envelope(scipy.signal.resample(z, 4 * len(z)), most, 4 * rate_hz), len(z)))


def levelled(z: np.ndarray, time_s: float, rate_hz: int) -> np.ndarray:
    """Divided by its own envelope, smoothed."""
    size, keep = np.abs(z), np.exp(-1 / (time_s * rate_hz))
    middle = float(np.median(size))
    smooth = scipy.signal.lfilter([1 - keep], [1, -keep], size, zi=[middle * keep])[0]
    return z / np.maximum(smooth, 1e-6 * middle) * middle


WAYS: tuple[tuple[Callable[[np.ndarray, float, int], np.ndarray], float], ...] = (
    (envelope, 0.0), (envelope, 0.5), (envelope, 0.8), (envelope, 1.0), (envelope, 1.2), (envelope, 1.5), (rails, 0.4),
    (rails, 0.7), (rails, 1.0), (rails, 1.3), (soft, 0.7), (soft, 1.5), (soft, 3.0), (wide, 0.0), (wide, 0.7),
    (wide, 1.1), (levelled, 1e-5), (levelled, 1e-4), (levelled, 1e-3), (levelled, 1e-2),
)  # fmt: skip


def bent(seed: int) -> tuple[str, list[tuple[float, float, float, float]], dict[str, float], np.ndarray, np.ndarray]:
    """How it was bent, what is true of it, and reference and recording."""
    kind, arrivals, options, rng = drawn(seed)
    reference, z = recorded(kind, arrivals, rng, **options)
    how, much = WAYS[seed % len(WAYS)]
    z = how(z, much, options["rate_hz"])
    return f"{how.__name__} {much:g} {kind}", arrivals, options, reference, z * 0.5 / np.abs(z).max()


def main(first: int, last: int) -> None:
    """Print one line a recording and the summary."""
    total, refused = np.zeros(2), 0
    for seed in range(first, last):
        how, arrivals, options, reference, z = bent(seed)
        told = f"{seed} {how} {options['snr_db']:.0f} dB " + ", ".join(
            f"{us:.2f} us {db:.1f} dB" for us, db, *_ in arrivals
        )
        rate_hz, deviation_hz = options["rate_hz"], DEVIATION_HZ / 0.7
        try:
            found = paths(reference, z, reference_rate_hz=RATE_HZ, rate_hz=rate_hz, deviation_hz=deviation_hz)
        except PlanError as error:
            refused += 1
            print(told, "| refused:", error.problems[0].code, dict(error.problems[0].values), flush=True)
            continue
        base_us = options["start_us"] + found.at_s * options["ppm"]
        held, counted, *_ = judged(found, [a[0] + base_us for a in arrivals], [a[1] for a in arrivals])
        total += (held, counted)
        listed = ", ".join(
            f"{p.delay_us - base_us:+.3f}+-{1.96 * p.uncertainty_us:.3f} us {p.level_db:.1f} dB{'' if p.parted else ' not parted'}"
            for p in found.paths
        )
        print(told, "|", listed, "|", f"{held} of {counted}, misfit {found.misfit_ratio:.2f}", flush=True)
    print(f"{last - first} recordings, {refused} refused; of {total[1]:.0f} answers {total[0]:.0f} hold")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]) if len(sys.argv) > 2 else (0, 20))
