"""Recordings of I and Q made at RF: a composite modulates carriers, which add with delay, level and phase."""

import numpy as np
import scipy.signal

REFERENCE_HZ, UP, RATE_HZ, DEVIATION_HZ = 192_000, 4, 256_000, 75_000.0


def recorded(
    arrivals: list[tuple[float, float, float]], *, seed: int = 1, seconds: float = 0.4, snr_db: float = 35.0,
    carrier_hz: float = 700.0, factor: float = 1.01, speech: bool = False,
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Composite (sum, difference, pilot) and I + jQ of arrivals (us, dB, radians); speech is low and rises and falls."""
    rng, n = np.random.default_rng(seed), round(seconds * REFERENCE_HZ)
    f, t = np.fft.rfftfreq(n, 1 / REFERENCE_HZ), np.arange(n) / REFERENCE_HZ
    sound, side = (np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * (f < 15e3) / (1 + f / 3e3), n) for _ in range(2))
    if speech:
        shape = (f < 15e3) * (f > 30) * np.abs(1 + 2j * np.pi * f * 50e-6) / np.sqrt(1 + (f / 600) ** 4)
        sound = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * shape, n)
        loud = np.interp(
            t, np.arange(0, seconds + 0.1, 0.1), rng.uniform(0.05, 1.0, len(np.arange(0, seconds + 0.1, 0.1)))
        )
        sound, side = sound * loud, 0.1 * side
    mpx = (0.1 if speech else 0.15) * sound / sound.std() + (0.02 if speech else 0.08) * side / side.std() * np.sin(
        2 * np.pi * 38e3 * t
    )
    mpx += 0.1 * np.sin(2 * np.pi * 19e3 * t)
    mpx -= mpx.mean()
    fine_hz, many = REFERENCE_HZ * UP, n * UP
    wide = np.zeros(many // 2 + 1, complex)
    wide[: len(f)] = np.fft.rfft(mpx) * UP
    up_hz = np.fft.rfftfreq(many, 1 / fine_hz)
    wide[1:] /= 2j * np.pi * up_hz[1:]
    wide[0] = 0
    spectrum = np.fft.fft(np.exp(2j * np.pi * DEVIATION_HZ * factor * np.fft.irfft(wide, many)))
    f = np.fft.fftfreq(many, 1 / fine_hz)
    path = sum(10 ** (db / 20) * np.exp(1j * turn - 2j * np.pi * f * us * 1e-6) for us, db, turn in arrivals)
    z = np.fft.ifft(spectrum * path) * np.exp(2j * np.pi * carrier_hz * np.arange(many) / fine_hz)
    noise = rng.standard_normal(many) + 1j * rng.standard_normal(many)
    z += 10 ** (-snr_db / 20) * np.sqrt(fine_hz / 200e3 / 2) * noise
    return 0.7 * mpx, 0.3 * scipy.signal.resample(z, many * RATE_HZ // fine_hz)
