"""Compiled loops of the FM simulation; `bs468.py`, `fm_simulation.py` and `fm.py` are their only users."""

import numpy as np
from numba import njit
from numpy.typing import NDArray

_BLOCK = 1024
_LEVELS = 91


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


@njit(cache=True, nogil=True, fastmath=True, error_model="numpy")
def _many_path_angle(
    cosines: NDArray[np.float32],
    sines: NDArray[np.float32],
    real_gain: NDArray[np.float32],
    imaginary_gain: NDArray[np.float32],
    angle_rad: NDArray[np.float32],
) -> None:
    """Write arg(1 + sum g exp(j delta)) to `angle_rad` (n,), from cos and sin of each delta (E, n)."""
    zero = np.float32(0.0)
    half_pi = np.float32(1.5707963267948966)
    full_pi = np.float32(3.141592653589793)
    tiny = np.float32(1e-30)
    real = np.empty(_BLOCK, dtype=np.float32)
    imaginary = np.empty(_BLOCK, dtype=np.float32)
    for start in range(0, angle_rad.size, _BLOCK):
        count = min(_BLOCK, angle_rad.size - start)
        real[:] = np.float32(1.0)
        imaginary[:] = zero
        for ray in range(cosines.shape[0]):
            g = real_gain[ray]
            h = imaginary_gain[ray]
            for i in range(count):
                real[i] += g * cosines[ray, start + i] - h * sines[ray, start + i]
                imaginary[i] += g * sines[ray, start + i] + h * cosines[ray, start + i]
        for i in range(count):
            x = real[i]
            y = imaginary[i]
            wide = abs(x)
            high = abs(y)
            steep = high > wide
            small = wide if steep else high
            large = high if steep else wide
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
            p = full_pi - p if x < zero else p
            angle_rad[start + i] = -p if y < zero else p


@njit(cache=True, nogil=True)
def many_path_phase(
    cosines: NDArray[np.float32],
    sines: NDArray[np.float32],
    real_gain: NDArray[np.float32],
    imaginary_gain: NDArray[np.float32],
    phase_rad: NDArray[np.float32],
) -> None:
    """Write the continuous phase of 1 + sum g exp(j delta) over one period to `phase_rad` (n,), less its mean slope.

    Turns gained over the period are a constant frequency, which a receiver's audio does not hear.
    """
    _many_path_angle(cosines, sines, real_gain, imaginary_gain, phase_rad)
    turn = 2.0 * np.pi
    count = phase_rad.size
    first = np.float64(phase_rad[0])
    last = first
    offset = 0.0
    for i in range(1, count):
        angle = np.float64(phase_rad[i])
        step = angle - last
        if step > np.pi:
            offset -= turn
        elif step < -np.pi:
            offset += turn
        last = angle
        phase_rad[i] = angle + offset
    step = first - last
    if step > np.pi:
        offset -= turn
    elif step < -np.pi:
        offset += turn
    if offset != 0.0:
        for i in range(count):
            phase_rad[i] -= offset * i / count


@njit(cache=True, nogil=True, inline="always")
def heard_together_db(total: float, worst: float, others_ratio: float, together: NDArray[np.float64]) -> float:
    """S/N of several echoes, from the sum of their noise voltages and that of the worst, both over the floor.

    `others_ratio` is the sum of r of the others, `together` (5,) as `sfn.systems.fm.TOGETHER`, the ratio from which
    it counts in full, and the factor of the logarithm; see `sfn.systems.fm.together_db`.
    """
    sum_db = -together[4] * np.log10(total)
    part = min(others_ratio / together[3], 1.0)
    if part > 1e-5:
        gap_db = together[4] * np.log10(total / worst)
        sum_db += min(part * (together[0] + together[1] * sum_db + together[2] * gap_db), gap_db)
    return float(sum_db)


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"contract", "reassoc", "arcp", "nsz"})
def fm_quality(
    level_dbuvm: NDArray[np.float64],
    arrival_us: NDArray[np.float64],
    noise: NDArray[np.float32],
    columns: int,
    row_of: NDArray[np.int64],
    least_us: float,
    floor: float,
    most_db: float,
    significant_db: float,
    together: NDArray[np.float64],
    begin: int,
    end: int,
    snr_db: NDArray[np.float64],
    strongest: NDArray[np.int16],
    limiting: NDArray[np.int16],
    amplitude_sum_ratio: NDArray[np.float64],
) -> None:
    """Write the local S/N of the places from `begin` to before `end`, with the signal that limits it.

    `level_dbuvm`, `arrival_us` (S, M): NaN level, no signal. `noise` (rows * columns,): noise voltage of one echo
    over `floor`, rows 1 dB apart from 0 to 90 and the last 0, columns from 0.25 us in eight equal parts of each octave;
    `row_of` (S, S) is where the table of two signals begins. Signals closer than `least_us` make no noise, nor do those
    more than `significant_db` below the strongest. The sum, with `floor`, less what `together` (5,) takes off where
    several echoes meet (`sfn.systems.fm.together_db`) and not above `most_db`, gives `snr_db` (M,), NaN without a
    signal or where one has a level but no arrival.
    `strongest` and `limiting` (M,) are rows of the input, -1: none; `amplitude_sum_ratio` (M,) is the sum of r.

    Places go in blocks that stay in the cache; inner loops have no branches, so that they run on whole vectors.
    The bits of a float32 are its octave and the part of it: over 2^20 they are eighths of octaves.
    """
    signals = level_dbuvm.shape[0]
    last_row = np.float32(_LEVELS - 1)
    several_tables = noise.size > _LEVELS * columns
    top_row = last_row - np.float32(1.0)
    last_column = np.float32(columns - 1)
    top_column = last_column - np.float32(1.0)
    zero, one = np.float32(0.0), np.float32(1.0)
    heard_db = np.float32(significant_db)
    width = np.int32(columns)
    step, unit = np.uint64(columns), np.uint64(1)
    nearest_us = np.float32(least_us)
    eighth = np.float32(2.0**-20)
    octaves = np.float32(-np.log2(10.0) / 20.0)
    best = np.empty(_BLOCK, dtype=np.float64)
    best_us = np.empty(_BLOCK, dtype=np.float64)
    best_at = np.empty(_BLOCK, dtype=np.int32)
    total = np.empty(_BLOCK, dtype=np.float32)
    worst = np.empty(_BLOCK, dtype=np.float32)
    worst_at = np.empty(_BLOCK, dtype=np.int32)
    worst_ray = np.empty(_BLOCK, dtype=np.float32)
    ray = np.empty(_BLOCK, dtype=np.float32)
    rays = np.empty(_BLOCK, dtype=np.float32)
    weaker = np.empty(_BLOCK, dtype=np.float32)
    delay = np.empty(_BLOCK, dtype=np.float32)
    delay_bits = delay.view(np.int32)
    along = np.empty(_BLOCK, dtype=np.float32)
    part = np.empty(_BLOCK, dtype=np.float32)
    node = np.empty(_BLOCK, dtype=np.int32)
    voltage = np.empty(_BLOCK, dtype=np.float32)
    power = np.empty(_BLOCK, dtype=np.float32)
    power_bits = power.view(np.int32)
    first_bits = np.int32(0x3E800000)  # of 0.25
    for start in range(begin, end, _BLOCK):
        count = min(_BLOCK, end - start)
        best[:] = -np.inf
        best_at[:] = -1
        best_us[:] = 0.0
        for s in range(signals):
            at = np.int32(s)
            for k in range(count):
                level = level_dbuvm[s, start + k]
                higher = level > best[k]
                best[k] = level if higher else best[k]
                best_us[k] = arrival_us[s, start + k] if higher else best_us[k]
                best_at[k] = at if higher else best_at[k]
        total[:] = zero
        worst[:] = zero
        worst_at[:] = -1
        rays[:] = -one  # the strongest counts itself
        worst_ray[:] = zero
        for s in range(signals):
            at = np.int32(s)
            for k in range(count):
                gap = np.float32(best[k] - level_dbuvm[s, start + k])
                weaker[k] = gap if gap <= heard_db and gap < last_row else last_row
                late = np.float32(abs(arrival_us[s, start + k] - best_us[k]))
                delay[k] = late
            for k in range(count):  # 2^x: whole part into the exponent, a polynomial for the rest
                x = weaker[k] * octaves + np.float32(40.0)
                whole = np.int32(x)
                f = x - np.float32(whole)
                p = np.float32(0.01341) * f + np.float32(0.052065)
                p = p * f + np.float32(0.24139)
                p = p * f + np.float32(0.693137)
                power_bits[k] = (whole + np.int32(87)) << np.int32(23)
                ray[k] = (p * f + one) * power[k] if weaker[k] < last_row else zero
                rays[k] += ray[k]
            for k in range(count):
                x = np.float32(delay_bits[k] - first_bits) * eighth
                x = x if x > zero else zero
                x = x if x < last_column else last_column
                y = weaker[k]
                column = np.int32(x if x < top_column else top_column)
                row = np.int32(y if y < top_row else top_row)
                along[k] = x - np.float32(column)
                part[k] = y - np.float32(row)
                node[k] = row * width + column
            if several_tables:
                for k in range(count):
                    node[k] += np.int32(row_of[s, max(best_at[k], 0)]) * width
            for k in range(count):
                i = np.uint64(node[k])
                j = i + step
                low = noise[i] + along[k] * (noise[i + unit] - noise[i])
                high = noise[j] + along[k] * (noise[j + unit] - noise[j])
                voltage[k] = low + part[k] * (high - low)
            for k in range(count):
                v = zero if delay[k] < nearest_us or best_at[k] == at else voltage[k]
                v += zero * delay[k] if weaker[k] < last_row else zero  # a level without an arrival: NaN
                total[k] += v
                worst_at[k] = at if v > worst[k] else worst_at[k]
                worst_ray[k] = ray[k] if v > worst[k] else worst_ray[k]
                worst[k] = v if v > worst[k] else worst[k]
        for k in range(count):
            found = best_at[k] >= 0
            heard = total[k] + floor
            several_db = heard_together_db(heard, worst[k] + floor, rays[k] - worst_ray[k], together)
            several_db = most_db if several_db > most_db else several_db
            snr_db[start + k] = several_db if found else np.nan
            strongest[start + k] = best_at[k]
            limiting[start + k] = worst_at[k]
            amplitude_sum_ratio[start + k] = max(rays[k], zero) if found else np.nan
