"""Ducting and layer reflection for the receivers of a radial at once, and the sea's share in it. numba.

Written again beside `anomalous`, on purpose: the two forms check each other. Symbols and equation numbers are
P.1812's; batches and their rows are those of `batch`.
"""

import math
from typing import Any

from numba import njit

from sfn.propagation.batch import (
    COUPLED,
    DCR,
    DCT,
    DISTANCE,
    DLR,
    DLT,
    GAMMA,
    INNER,
    LN_B0,
    LN_BETA,
    LN_D,
    NEEDED,
    OMEGA,
    POINT_R,
    POINT_T,
    ROUGH,
    RX_HEIGHT,
    SEEN,
    SMOOTH_R,
    SMOOTH_T,
    TAU,
    THETA_R,
    THETA_T,
    WHOLE,
    A,
)  # fmt: skip
from sfn.propagation.hulls import decisive, roughness
from sfn.propagation.quick_math import exp, ln, looped
from sfn.propagation.sweep_formulas import DB, LOG10, Model, entry


@njit(cache=True, nogil=True, error_model="numpy", _nrt=False)  # type: ignore[call-overload] # not in its stubs
def coupling(dc: float, dl: float, hs: float, omega: float) -> float:
    """Gain of one antenna near the coast into a duct over sea, eq. (49)."""
    if dc > 5.0 or dc > dl or omega < 0.75:
        return 0.0
    return -3.0 * math.exp(-0.25 * dc * dc) * (1.0 + math.tanh(0.07 * (50.0 - hs)))


@looped
def before_duct(B: Any, n: int, M: Model) -> None:
    """A: Lba less its dependence on time, eq. (47) to (50); while SEEN, without what the horizons add: the least."""
    for a in range(n):
        D, theta_t, theta_r, dlt, dlr = B[DISTANCE + a], B[THETA_T + a], B[THETA_R + a], B[DLT + a], B[DLR + a]
        above_t, above_r = max(theta_t - 0.1 * dlt, 0.0), max(theta_r - 0.1 * dlr, 0.0)
        least_t, least_r = min(theta_t, 0.1 * dlt), min(theta_r, 0.1 * dlr)
        if B[SEEN + a] > 0.0:
            above_t = above_r = 0.0
            least_t, least_r = min(theta_t, 0.0), min(theta_r, 0.0)
        shield = (1.0 + 0.361 * above_t * math.sqrt(M.f * dlt)) * (1.0 + 0.361 * above_r * math.sqrt(M.f * dlr))
        loss = DB * ln((dlt + dlr) * shield) + 0.264 * (above_t + above_r) * M.f_root
        B[A + a] = M.A0 + loss + M.gamma_d * (1000.0 * D / M.ae + least_t + least_r) + B[COUPLED + a]


@entry
def horizon_in_sight(Y: Any, height: int, row: int, blocks: Any, B: Any, a: int, hts: float, M: Model) -> None:
    """In line of sight the point of least clearance stands for both horizons."""
    D, m, hrs = B[DISTANCE + a], int(B[INNER + a]), B[RX_HEIGHT + a]
    _, at = decisive(Y, height, row, blocks, m, D, hts, hrs, M.q50, -math.inf, M.step, M.lam)
    B[POINT_T + a] = B[POINT_R + a] = at
    B[DLT + a], B[DLR + a] = at * M.step, D - at * M.step
    B[SEEN + a] = 0.0


@entry
def roughnesses(Y: Any, height: int, row: int, blocks: Any, B: Any, n: int, hts: float, M: Model) -> bool:
    """Terrain roughness, (95), of those for whom a duct may matter and that have none yet; whether there are any."""
    found = False
    for a in range(n):
        if B[NEEDED + a] >= 0.0 and B[WHOLE + a] == 0.0:
            found = True
            B[WHOLE + a] = 1.0
            if B[SEEN + a] > 0.0:
                horizon_in_sight(Y, height, row, blocks, B, a, hts, M)
                omega, hrs = B[OMEGA + a], B[RX_HEIGHT + a]
                B[COUPLED + a] = coupling(B[DCT + a], B[DLT + a], hts, omega)
                B[COUPLED + a] += coupling(B[DCR + a], B[DLR + a], hrs, omega)
            lt, lr = int(B[POINT_T + a]), int(B[POINT_R + a])
            lean = (B[SMOOTH_R + a] - B[SMOOTH_T + a]) / B[DISTANCE + a]
            B[ROUGH + a] = roughness(Y, height, blocks, lt, lr, B[SMOOTH_T + a], lean, M.step)
    return found


@looped
def duct_times(B: Any, n: int, hts: float, M: Model) -> None:
    """Ln beta and Gamma of the duct's distribution over time, eq. (53) to (56)."""
    for a in range(n):
        D, lnD = B[DISTANCE + a], B[LN_D + a]
        farther = 43.0 + 6.0 * min(D - B[DLT + a] - B[DLR + a], 40.0)
        ln_beta = B[LN_B0 + a] - 4.6e-5 * max(B[ROUGH + a] - 10.0, 0.0) * farther
        roots = math.sqrt(hts - B[SMOOTH_T + a]) + math.sqrt(B[RX_HEIGHT + a] - B[SMOOTH_R + a])
        alpha = max(-0.6 - 3.5e-9 * exp(3.1 * lnD) * B[TAU + a], -3.4)
        ln_beta += min(alpha * ln(M.q50 * D * D / (roots * roots)), 0.0)
        log_beta = ln_beta / LOG10
        decay = (9.51 - 4.8 * log_beta + 0.198 * log_beta * log_beta) * 1e-6 * exp(1.13 * lnD)
        B[LN_BETA + a], B[GAMMA + a] = ln_beta, 1.076 * exp(-1.012 * ln(2.0058 - log_beta) - decay)
