"""Compiled loops of the FM simulation; `bs468.py`, `fm_simulation.py` and `fm.py` are their only users."""

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def quasi_peak_level(
    signals: NDArray[np.float64], steps: NDArray[np.float64], settling_periods: int
) -> NDArray[np.float64]:
    """Greatest output of two followers in series for each column of `signals` (samples, columns).

    `steps` are the fractions of the difference that each follower closes in one sample: rise, fall, rise, fall.
    Columns stand innermost so that the loop over them runs on whole vectors.
    """
    count, columns = signals.shape
    first = np.zeros(columns)
    if settling_periods > 0:  # start near the final reading: the second follower needs half a second otherwise
        for i in range(count):
            for k in range(columns):
                first[k] += signals[i, k] * signals[i, k]
        first = 2.0 * np.sqrt(first / count)
    second = first.copy()
    greatest = np.zeros(columns)
    rise_1, fall_1, rise_2, fall_2 = steps[0], steps[1], steps[2], steps[3]
    for period in range(settling_periods + 1):
        if period == settling_periods:
            greatest[:] = second if settling_periods > 0 else 0.0 * second
        for i in range(count):
            for k in range(columns):
                gap = abs(signals[i, k]) - first[k]
                one = first[k] + (rise_1 * max(gap, 0.0) + fall_1 * min(gap, 0.0))
                gap = one - second[k]
                two = second[k] + (rise_2 * max(gap, 0.0) + fall_2 * min(gap, 0.0))
                first[k] = one
                second[k] = two
                greatest[k] = max(greatest[k], two)
        if period < settling_periods:
            greatest[:] = 0.0
    return greatest


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def two_path_phase(
    cosine: NDArray[np.float32],
    sine: NDArray[np.float32],
    turn_cosine: np.float32,
    turn_sine: np.float32,
    ratio: np.float32,
    phase_rad: NDArray[np.float32],
) -> None:
    """Write arg(1 + r exp(j(delta + psi))) to `phase_rad` (n,), from cos and sin of delta (n,) and of psi, r <= 1.

    The arctangent is a polynomial (error 2e-8 rad) and division is unchecked, so that the loop runs on whole vectors.
    """
    one = np.float32(1.0)
    zero = np.float32(0.0)
    half_pi = np.float32(1.5707963267948966)
    tiny = np.float32(1e-30)
    for i in range(cosine.size):
        x = one + ratio * (cosine[i] * turn_cosine - sine[i] * turn_sine)
        y = ratio * (sine[i] * turn_cosine + cosine[i] * turn_sine)
        high = abs(y)
        steep = high > x
        small = x if steep else high
        large = high if steep else x
        a = small / (large + tiny)
        u = a * a
        p = np.float32(2.834064299e-3)
        p = p * u - np.float32(1.60050305e-2)
        p = p * u + np.float32(4.258760747e-2)
        p = p * u - np.float32(7.495445443e-2)
        p = p * u + np.float32(1.06367541e-1)
        p = p * u - np.float32(1.420257051e-1)
        p = p * u + np.float32(1.999248358e-1)
        p = p * u - np.float32(3.333306678e-1)
        p = (p * u + np.float32(9.999999842e-1)) * a
        p = half_pi - p if steep else p
        phase_rad[i] = -p if y < zero else p


@njit(cache=True, nogil=True)
def winding_phase(phasor: NDArray[np.complex64], phase_rad: NDArray[np.float32]) -> None:
    """Write the continuous phase of one period of a phasor (n,) to `phase_rad` (n,), without its mean slope.

    Turns gained over the period are a constant frequency, which a receiver's audio does not hear.
    """
    turn = 2.0 * np.pi
    count = phasor.size
    first = np.arctan2(np.float64(phasor[0].imag), np.float64(phasor[0].real))
    last = first
    turns = 0
    for i in range(1, count + 1):
        angle = first
        if i < count:
            angle = np.arctan2(np.float64(phasor[i].imag), np.float64(phasor[i].real))
        if angle - last > np.pi:
            turns -= 1
        elif angle - last < -np.pi:
            turns += 1
        last = angle
    slope = turn * turns / count
    last = first
    turns = 0
    phase_rad[0] = first
    for i in range(1, count):
        angle = np.arctan2(np.float64(phasor[i].imag), np.float64(phasor[i].real))
        if angle - last > np.pi:
            turns -= 1
        elif angle - last < -np.pi:
            turns += 1
        last = angle
        phase_rad[i] = angle + turn * turns - slope * i
