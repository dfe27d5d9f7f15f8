"""What stands right before a receiver: cover ends at a stated distance from it, whatever the profile's step. numba.

A profile with cover on each of its points ends in a wall half a step to one and a half steps before the receiver:
rings in the map, and another level with every step. So cover counts up to the clutter distance before the receiver,
and there stands one more point, as high as what covers the ground at the receiver itself, on ground that is straight
between the profile's points. Nearer points are bare. ITU-R P.1812 leaves open how near its representative clutter
comes; the distance is the street width of its earlier terminal correction and of P.2108, 3.1: 27 m unless local
information is at hand (from memory). P.2108's own loss is not added: it would count the same roof twice.

`sfn.field.path` lays the same for one path. Symbols are those of `kernels`; S and hulls hold the cover of points
1 .. mc only, those of mc + 1 .. m are looked at one by one.
"""

from typing import Any

import numpy as np
from numba import njit

from sfn.propagation.hulls import FLOOR, decisive
from sfn.propagation.running import G, H, steepest
from sfn.propagation.sweep_formulas import Model, bullington_point, clearance_nu

CLUTTER_DISTANCE_M = 27.0


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def obstacle(Y: Any, m: int, D: float, ground: float, cover: float, clear: float, M: Model) -> tuple[float, float]:
    """Distance [km], and top above sea level [m], of what stands before a receiver at D."""
    d = D - clear
    i = min(int(d / M.step), m)
    left, right, span = Y[H, i], ground, D - i * M.step
    if i < m:
        right, span = Y[H, i + 1], M.step
    return d, left + (right - left) * (d - i * M.step) / span + cover


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def obstruction_covered(
    Y: Any, row: int, hulls: Any, hull: int, count: int, blocks: Any, slope: float, mc: int, m: int, D: float,
    hts: float, hrs: float, q: float, clear: float, dt: float, top_t: float, M: Model,
) -> float:  # fmt: skip
    """Nu of a profile with cover for one Earth radius, eq. (13) to (20); at `dt` km the obstacle of height `top_t`."""
    Stim = -np.inf
    if mc > 0:
        Stim = slope
    for i in range(mc + 1, m + 1):
        d = i * M.step
        g = Y[G, i] if d <= D - clear else Y[H, i]
        Stim = max(Stim, (g - q * d * d - hts) / d)
    if top_t > -np.inf:
        Stim = max(Stim, (top_t - q * dt * dt - hts) / dt)
    Stim += q * D
    if Stim < (hrs - hts) / D:
        nu = FLOOR
        if mc > 0:
            nu, _ = decisive(Y, G, row, blocks, mc, D, hts, hrs, q, FLOOR, M.step, M.lam)
        for i in range(mc + 1, m + 1):
            d = i * M.step
            g = Y[G, i] if d <= D - clear else Y[H, i]
            nu = max(nu, clearance_nu(g, d, D, hts, hrs, q, M.lam))
        if top_t > -np.inf:
            nu = max(nu, clearance_nu(top_t, dt, D, hts, hrs, q, M.lam))
        return nu
    top, seen = hrs - q * D * D, -np.inf
    if mc > 0:
        d, y = steepest(Y, row, hulls, hull, count, mc, mc * M.step, D, top)
        seen = (y - top) / (D - d)
    for i in range(mc + 1, m + 1):
        d = i * M.step
        g = Y[G, i] if d <= D - clear else Y[H, i]
        seen = max(seen, (g - q * d * d - top) / (D - d))
    if top_t > -np.inf:
        seen = max(seen, (top_t - q * dt * dt - top) / clear)
    return bullington_point(Stim, seen - q * D, hts, hrs, D, M.lam)
