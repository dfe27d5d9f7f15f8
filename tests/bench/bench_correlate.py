"""Two 10-second channels at 192 kHz and 20 dB: error and time, beside scipy.signal.correlate; memory of an hour.

``bench_correlate.py [RUNS]``; the hour is made and read only with ``bench_correlate.py RUNS hour``.
"""

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from sfn.survey.correlate import delay
from sfn.survey.recording import ArraySource, channels
from sfn.survey.spectra import flat_bound_us

RATE_HZ, DURATION_S, HIGH_HZ = 192_000, 10, 15_000.0


def simulated(delay_us: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Programme to 15 kHz, white noise 20 dB below it in its band."""
    rng = np.random.default_rng(seed)
    n = RATE_HZ * DURATION_S
    f = np.fft.rfftfreq(n, 1.0 / RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(n)) * (f <= HIGH_HZ)
    later = spectrum * np.exp(-2j * np.pi * f * delay_us * 1e-6)
    noise = 0.1
    x, y = (np.fft.irfft(s, n) + noise * rng.standard_normal(n) for s in (spectrum, later))
    return 0.1 * x, 0.1 * y


def errors(runs: int) -> None:
    """Median error and time of ours and of the plain correlation's highest sample."""
    from scipy.signal import correlate

    ours_us, ours_s, plain_us, plain_s = [], [], [], []
    for seed in range(runs):
        true_us = float(np.random.default_rng(seed).uniform(-1000.0, 1000.0))
        x, y = simulated(true_us, seed)
        start = time.perf_counter()
        found = delay(ArraySource(x, RATE_HZ), ArraySource(y, RATE_HZ))
        ours_s.append(time.perf_counter() - start)
        assert found.delay_us is not None
        ours_us.append(abs(found.delay_us - true_us))
        if seed < 10:
            start = time.perf_counter()
            lag = int(np.argmax(correlate(y, x, method="fft"))) - (len(x) - 1)
            plain_s.append(time.perf_counter() - start)
            plain_us.append(abs(1e6 * lag / RATE_HZ - true_us))
    bound = 1e3 * flat_bound_us(20.0, low_hz=0.0, high_hz=HIGH_HZ, duration_s=DURATION_S)
    print(f"ours   median {1e3 * np.median(ours_us):8.2f} ns   rms {1e3 * np.sqrt(np.mean(np.square(ours_us))):.2f} ns")
    print(f"bound                        rms {bound:.2f} ns (Cramer-Rao, 20 dB in the band)")
    print(f"scipy.signal.correlate  median {1e3 * np.median(plain_us):8.1f} ns")
    ratio = np.median(ours_s) / np.median(plain_s)
    print(f"time   ours {np.median(ours_s):.2f} s, scipy {np.median(plain_s):.2f} s, ratio {ratio:.2f}")


def hour() -> None:
    """Time and greatest memory for an hour of 192 kHz stereo."""
    import soundfile

    x, y = simulated(37.8782, 1)
    block = np.column_stack((x, y)).astype(np.float32)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hour.w64"
        with soundfile.SoundFile(path, "w", RATE_HZ, 2, "PCM_16", format="W64") as file:
            for _ in range(360):
                file.write(block)
        del x, y, block
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        start = time.perf_counter()
        found = delay(*channels(path))
        spent = time.perf_counter() - start
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"hour   {found.delay_us} us in {spent:.0f} s, at most {after:.0f} MB (before: {before:.0f} MB)")


if __name__ == "__main__":
    errors(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
    if "hour" in sys.argv[2:]:
        hour()
