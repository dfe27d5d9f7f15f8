"""What Recommendations allow reference clocks: greatest time interval error, and time error in holdover.

Knees of the masks as recalled, points as quoted in public tests of the edition named; each is marked.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import in_range

DAY_S = 86_400.0

# G.8271.1 reference point C, Amd.3 (05/2025), figures 7-2 and 7-3: (s, ns), straight between points on log axes.
NETWORK_POINTS = {
    "network": ((2.4, 280.0), (275.0, 580.0)),
    "enhanced network": ((2.4, 60.67), (20.2, 100.72), (211.11, 200.0)),
}


def prtc_mtie(interval_s: ArrayLike, *, grade: str) -> NDArray[np.float64]:
    """MTIE of a primary reference time clock, ITU-T G.8272 figure 1. [us], shape of `interval_s`.

    ``0.275e-3 t + 0.025`` up to 0.1 us (A, at 273 s) or 0.04 us (B, at 54.5 s).

    Raises
    ------
    ValueError
        If the grade is neither A nor B, or an interval is below 0.1 s.

    Examples
    --------
    >>> print(prtc_mtie([54.5, 1000], grade="B").round(4))
    [0.04 0.04]
    """
    ceiling_us = {"A": 0.1, "B": 0.04}.get(grade)
    if ceiling_us is None:
        raise ValueError(f"grade must be A or B, got {grade!r}")
    return np.minimum(0.275e-3 * _intervals(interval_s) + 0.025, ceiling_us)


def prtc_tdev(interval_s: ArrayLike, *, grade: str) -> NDArray[np.float64]:
    """TDEV of a primary reference time clock, G.8272 figure 2 (slopes from memory, end points as quoted). [us]

    Raises
    ------
    ValueError
        If the grade is neither A nor B, or an interval is below 0.1 s.
    """
    levels_ns = {"A": (3.0, 0.03, 30.0), "B": (1.0, 0.01, 5.0)}.get(grade)
    if levels_ns is None:
        raise ValueError(f"grade must be A or B, got {grade!r}")
    floor, slope, ceiling = levels_ns
    return np.clip(slope * _intervals(interval_s), floor, ceiling) / 1000


def prc_mtie(interval_s: ArrayLike) -> NDArray[np.float64]:
    """MTIE of a primary reference clock, ITU-T G.811 (from memory). [us]

    ``0.275e-3 t + 0.025`` to 1000 s, then ``1e-5 t + 0.29``: it holds frequency, not time.
    """
    t = _intervals(interval_s)
    return np.where(t <= 1000, 0.275e-3 * t + 0.025, 1e-5 * t + 0.29)


def network_mtie(interval_s: ArrayLike, *, kind: str) -> NDArray[np.float64]:
    """MTIE at reference point C of ITU-T G.8271.1, ``network`` or ``enhanced network``; NaN outside its points. [us]

    Raises
    ------
    ValueError
        If the kind is unknown, or an interval is below 0.1 s.
    """
    if kind not in NETWORK_POINTS:
        raise ValueError(f"kind must be one of {', '.join(NETWORK_POINTS)}, got {kind!r}")
    seconds, limits_ns = np.array(NETWORK_POINTS[kind]).T
    found = np.interp(np.log(_intervals(interval_s)), np.log(seconds), np.log(limits_ns), left=np.nan, right=np.nan)
    return np.asarray(np.exp(found) / 1000)


def equipment_clock_holdover(after_s: ArrayLike) -> NDArray[np.float64]:
    """Time error allowed in holdover to an equipment clock, ITU-T G.813 option 1 / G.8262 (from memory). [us]

    ``(50 + 2000) t + 1.16e-4 t^2 / 2 + 120`` ns: milliseconds within an hour. A clock that only carries frequency is
    no holdover for a single-frequency network.

    Examples
    --------
    >>> print(f"{float(equipment_clock_holdover(3600)) / 1000:.2f} ms")
    7.38 ms
    """
    t = np.asarray(after_s, dtype=np.float64)
    return np.asarray(((50 + 2000) * t + 0.5 * 1.16e-4 * t**2 + 120) / 1000)


@dataclass(frozen=True, slots=True)
class HoldoverClass:
    """How long an enhanced primary reference time clock holds, by how long it was locked before."""

    locked_days: float
    holds_s: float
    start_us: float
    end_us: float


def enhanced_clock_holdover(locked_days: float) -> HoldoverClass:
    """Holdover of an ePRTC-A, ITU-T G.8272.1 (2024) Amd.1 (07/2025), 8.2.1: 30 ns growing to 100 ns.

    Shorter than 6 days locked: 70 000 s; 6 days: 518 400 s; 40 days or more: 3 456 000 s. Between the two last the
    figure for 6 days is used. The 2016 edition's 14 days are superseded.

    Raises
    ------
    ValueError
        If `locked_days` is negative.

    Examples
    --------
    >>> enhanced_clock_holdover(6).holds_s
    518400.0
    """
    in_range("locked_days", locked_days, least=0, greatest=100_000, unit="days")
    holds_s = 70_000.0 if locked_days < 6 else 518_400.0 if locked_days < 40 else 3_456_000.0
    return HoldoverClass(locked_days, holds_s, 0.03, 0.1)


def _intervals(interval_s: ArrayLike) -> NDArray[np.float64]:
    """Observation intervals, refused below 0.1 s where the masks begin."""
    t = np.asarray(interval_s, dtype=np.float64)
    if t.size and not float(np.min(t)) >= 0.1:
        raise ValueError(f"interval_s must be 0.1 s or more, got {float(np.min(t))!r}")
    return t
