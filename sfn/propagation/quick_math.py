"""Logarithm, exponential and arc tangent without calls or branches, so that loops over receivers run on vectors. numba.

A call into the C library is made for one number at a time and ends every vector. These are polynomials of our own,
series or fitted to the definition, held to the C library's values by `tests/sfn/propagation/test_quick_math.py`: off by
less than 4e-15 of the value, or of 1 where the value is smaller. Arguments outside the stated range are not asked for.
"""

import math

import numpy as np
from numba import njit

# Multiplied out and rounded once where the machine can; never rearranged: the rounding below rests on the order.
looped = njit(cache=True, nogil=True, error_model="numpy", _nrt=False, fastmath={"contract"})  # type: ignore[call-overload] # not in its stubs
# And these always inside the loop that asks: left to itself, the compiler calls what it finds too long.
inlined = njit(cache=True, nogil=True, error_model="numpy", _nrt=False, forceinline=True, fastmath={"contract"})  # type: ignore[call-overload] # not in its stubs

LN_2 = math.log(2.0)
LN_2_HIGH, LN_2_LOW = 0.693147180369123816490, 1.90821492927058770002e-10  # high: 32 bits, so that k times it is exact
# Added and taken away again, this leaves the nearest whole number.
ROUNDER = 1.5 * 2.0**52
ROUNDER_BITS, ONE_BITS = 0x4338000000000000, 1023 << 52
EXPONENT_BITS, EXPONENT_MASK, EXPONENT_UP = 52, -(1 << 52), 1024
# So that what is split off lies between sqrt(1/2) and sqrt(2).
ROOT_HALF_BITS = 0x3FE6A09E667F3BCD
LEAST_EXP, GREATEST_EXP = -700.0, 700.0
TAN_22_5 = math.sqrt(2.0) - 1.0
# Of arctan(u) / u in powers of u^2, from degree 4 on, up to 22.5 degrees: fitted at Chebyshev's nodes, off by 1.4e-15.
A4, A5, A6, A7, A8, A9, A10 = (
    0.1111110243070255, -0.09090687090232555, 0.07688752755512804, -0.06629868318992246, 0.05634379823344086,
    -0.041928261185402015, 0.019242075967089666,
)  # fmt: skip
A0, A1, A2, A3 = 0.9999999999999994, -0.333333333333226, 0.19999999997654166, -0.14285714086844584


@inlined
def ln(x: float) -> float:
    """Natural logarithm of a normal number from 1e-300 to 1e300: 2 artanh((m - 1) / (m + 1)) + k ln 2 for x = m 2^k."""
    bits = np.float64(x).view(np.int64)
    above = bits - ROOT_HALF_BITS
    # k by way of a float's low bits: processors turn whole numbers into floats one at a time.
    exponent = np.uint64(above + (EXPONENT_UP << EXPONENT_BITS)) >> np.uint64(EXPONENT_BITS)
    k = np.int64(np.int64(exponent) + ROUNDER_BITS).view(np.float64) - (ROUNDER + EXPONENT_UP)
    m = np.int64(bits - (above & EXPONENT_MASK)).view(np.float64)
    s = (m - 1.0) / (m + 1.0)
    z = s * s
    tail = 2 / 11 + z * (2 / 13 + z * (2 / 15 + z * (2 / 17)))
    return k * LN_2 + (2.0 * s + s * z * (2 / 3 + z * (2 / 5 + z * (2 / 7 + z * (2 / 9 + z * tail)))))


@inlined
def exp(x: float) -> float:
    """Exponential; what lies beyond -700 and 700 counts as these: 2^k times a series within half of ln 2."""
    x = min(max(x, LEAST_EXP), GREATEST_EXP)
    shifted = x * (1.0 / LN_2) + ROUNDER
    k = shifted - ROUNDER
    r = (x - k * LN_2_HIGH) - k * LN_2_LOW
    tail = 1 / 40320 + r * (1 / 362880 + r * (1 / 3628800 + r * (1 / 39916800 + r / 479001600)))
    series = 1 / 2 + r * (1 / 6 + r * (1 / 24 + r * (1 / 120 + r * (1 / 720 + r * (1 / 5040 + r * tail)))))
    power = np.int64((np.float64(shifted).view(np.int64) << EXPONENT_BITS) + ONE_BITS).view(np.float64)
    return (1.0 + (r + r * r * series)) * power


@inlined
def arctan(x: float) -> float:
    """Arc tangent: by tan(a - 45 degrees) above 22.5 degrees, by the reciprocal above 67.5. [rad]"""
    t = abs(x)
    top, low, start = t, 1.0, 0.0
    if t > TAN_22_5:
        top, low, start = t - 1.0, t + 1.0, 0.25 * math.pi
    if t > 1.0 / TAN_22_5:
        top, low, start = -1.0, t, 0.5 * math.pi
    u = top / low
    z = u * u
    tail = A4 + z * (A5 + z * (A6 + z * (A7 + z * (A8 + z * (A9 + z * A10)))))
    angle = start + u * (A0 + z * (A1 + z * (A2 + z * (A3 + z * tail))))
    return angle if x >= 0.0 else -angle


@inlined
def cosine(turn: float) -> float:
    """Cosine of an angle from 0 to 2 pi: 1 - 2 cos(w)^2 with w within 90 degrees of nought. [rad]"""
    w = 0.5 * turn - 0.5 * math.pi
    z = w * w
    far = 1 / 132 * (1 - z / 182 * (1 - z / 240 * (1 - z / 306 * (1 - z / 380 * (1 - z / 462)))))
    c = 1 - z / 2 * (1 - z / 12 * (1 - z / 30 * (1 - z / 56 * (1 - z / 90 * (1 - z * far)))))
    return 1.0 - 2.0 * c * c
