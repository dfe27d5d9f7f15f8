"""200 sites, 5,000 observations: time of the whole answer, and ours beside a dense least-squares solver."""

import time

import numpy as np

from sfn.survey.adjustment import adjust
from sfn.survey.measurements import Measurement
from sfn.survey.reconcile import reconcile

SITES, OBSERVATIONS = 200, 5000


def main() -> None:
    """Print times and the largest difference."""
    rng = np.random.default_rng(1)
    i = rng.integers(0, SITES, OBSERVATIONS)
    j = (i + rng.integers(1, 12, OBSERVATIONS)) % SITES
    true = rng.normal(0, 3, SITES)
    sigma = rng.uniform(0.05, 0.3, OBSERVATIONS)
    observed = true[i] - true[j] + sigma * rng.normal(size=OBSERVATIONS)

    adjust([0], [1], difference_us=[0.0], uncertainty_us=[1.0], sites_n=2)  # imports scipy
    start = time.perf_counter()
    found = adjust(i, j, difference_us=observed, uncertainty_us=sigma, sites_n=SITES)
    ours_s = time.perf_counter() - start
    start = time.perf_counter()
    a = np.zeros((OBSERVATIONS, SITES))
    a[np.arange(OBSERVATIONS), i] += 1 / sigma
    a[np.arange(OBSERVATIONS), j] -= 1 / sigma
    dense, *_ = np.linalg.lstsq(a, observed / sigma, rcond=None)
    dense_s = time.perf_counter() - start
    print(f"ours  {ours_s:.3f} s   numpy.linalg.lstsq {dense_s:.3f} s   ratio {ours_s / dense_s:.3f}")
    print(f"largest difference {np.max(np.abs(found.value_us - dense)):.1e} us")
    measurements = [
        Measurement("t", f"P{k}", 36.0, -84.0, f"s{a}", f"s{b}", float(v), float(s), "antenna", "ab")
        for k, (a, b, v, s) in enumerate(zip(i, j, observed, sigma, strict=True))
    ]
    names = [f"s{k}" for k in range(SITES)]
    for robust in (False, True):
        start = time.perf_counter()
        answer = reconcile(measurements, predicted_us=np.zeros(OBSERVATIONS), sites=names, robust=robust)
        suspects = sum(r.verdict == "suspect" for r in answer.residuals)
        spent = time.perf_counter() - start
        print(f"whole answer{' re-weighted' if robust else ''} {spent:.2f} s, {suspects} suspects")


if __name__ == "__main__":
    main()
