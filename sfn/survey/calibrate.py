"""Predicted levels beside those measured on the road: difference and spread per site and sector, and the shifts.

Difference = prediction minus measurement; the shift to apply to the prediction is its negative. A stretch of road
counts for a site when that site alone was on air, or when it dominates all others by a margin.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import Problem
from sfn.units import power_sum_db

Floats = NDArray[np.float64]

# Fewer independent stretches say little about a mean with a spread of some 6 dB.
LEAST_STRETCHES = 8
DOMINANCE_DB = 10.0


@dataclass(frozen=True, slots=True)
class Sector:
    """Prediction minus measurement in one sector of a site, or all round.

    Parameters
    ----------
    site : str
    from_deg, to_deg : float
        Bearings seen from the site; 0 and 360 for all round. [degrees]
    stretches_n : int
    difference_db : float
        Mean of prediction minus measurement; NaN without stretches. [dB]
    spread_db : float
        Standard deviation of single stretches: what is left of the prediction's error after the shift. [dB]
    uncertainty_db : float
        Of the mean, with neighbours on the road counted for what they are worth. [dB]
    significant : bool
        Mean beyond two uncertainties, from enough stretches: worth a shift.
    """

    site: str
    from_deg: float
    to_deg: float
    stretches_n: int
    difference_db: float
    spread_db: float
    uncertainty_db: float
    significant: bool

    @property
    def shift_db(self) -> float:
        """What to add to the prediction: the negative of the difference. [dB]"""
        return -self.difference_db


@dataclass(frozen=True, slots=True)
class Calibration:
    """All sites: `whole` all round, `sectors` in order of site and bearing.

    Parameters
    ----------
    difference_db : ndarray (M,)
        Prediction minus measurement of each stretch; NaN where no site could be told or the site is not covered.
    site : tuple of (str or None)
        The site that each stretch speaks of.
    together_db : (mean, spread, stretches)
        Stretches with all on air, power sum minus measurement. NaN without any.
    """

    whole: tuple[Sector, ...]
    sectors: tuple[Sector, ...]
    difference_db: Floats
    site: tuple[str | None, ...]
    together_db: tuple[float, float, int]
    problems: tuple[Problem, ...]


def calibrate(
    measured_dbuvm: ArrayLike,
    *,
    predicted_dbuvm: ArrayLike,
    bearing_deg: ArrayLike,
    sites: Sequence[str],
    alone: Sequence[str],
    sectors_n: int = 8,
    dominance_db: float = DOMINANCE_DB,
) -> Calibration:
    """Difference between prediction and measurement per site and sector.

    Parameters
    ----------
    measured_dbuvm : array_like (M,)
        In the order of the road. [dBuV/m]
    predicted_dbuvm, bearing_deg : array_like (S, M)
        Level of each site at each stretch, and the bearing of the stretch seen from the site. NaN = not covered.
    sites : sequence of str (S,)
    alone : sequence of str (M,)
        The site that was on air alone, or empty when all were.
    sectors_n : int
        Sectors all round, the first centred on north.
    dominance_db : float
        With all on air: how far a site must stand above the power sum of the others to be told. [dB]

    Raises
    ------
    ValueError
        If shapes don't fit or `sectors_n` is not 1 to 72.
    """
    measured = np.asarray(measured_dbuvm, dtype=np.float64)
    predicted, bearing = np.asarray(predicted_dbuvm, dtype=np.float64), np.asarray(bearing_deg, dtype=np.float64)
    shape = (len(sites), len(measured))
    if predicted.shape != shape or bearing.shape != shape or len(alone) != len(measured):
        raise ValueError(f"predicted_dbuvm must have the shape {shape}, got {predicted.shape}")
    if not 1 <= sectors_n <= 72:
        raise ValueError(f"sectors_n must be from 1 to 72, got {sectors_n}")
    number = _told(predicted, sites=sites, alone=alone, dominance_db=dominance_db)
    columns = np.arange(len(measured))
    told = number >= 0
    difference = np.full(len(measured), np.nan)
    difference[told] = predicted[number[told], columns[told]] - measured[told]
    width = 360.0 / sectors_n
    whole, sectors = [], []
    for s, site in enumerate(sites):
        mine = (number == s) & np.isfinite(difference)
        whole.append(_sector(site, 0.0, 360.0, difference[mine]))
        index = np.floor((bearing[s] + width / 2) % 360.0 / width)
        for k in range(sectors_n):
            low = (k * width - width / 2) % 360.0
            sectors.append(_sector(site, low, (low + width) % 360.0, difference[mine & (index == k)]))
    together = [k for k, site in enumerate(alone) if site == ""]
    return Calibration(
        whole=tuple(whole),
        sectors=tuple(sectors),
        difference_db=difference,
        site=tuple(sites[k] if k >= 0 else None for k in number),
        together_db=_together(predicted[:, together], measured[together]),
        problems=tuple(_problems(whole, told=told)),
    )


def independent_n(difference_db: ArrayLike) -> float:
    """Independent values that values along a road are worth.

    ``n (1 - r) / (1 + r)`` with r the correlation of neighbours, at least 0 (first-order autoregression).
    """
    values = np.asarray(difference_db, dtype=np.float64)
    n = len(values)
    off = values - values.mean() if n else values
    power = float(off @ off)
    if n < 3 or power == 0.0:
        return float(n)
    r = max(float(off[1:] @ off[:-1]) / power, 0.0)
    return max(n * (1 - r) / (1 + r), 1.0)


def _told(predicted: Floats, *, sites: Sequence[str], alone: Sequence[str], dominance_db: float) -> NDArray[np.int64]:
    """Number of the site that each stretch speaks of, -1 for none."""
    numbers = {site: k for k, site in enumerate(sites)}
    found = np.array([numbers.get(site, -1) for site in alone], dtype=np.int64)
    together = np.array([site == "" for site in alone], dtype=bool)
    level = np.where(np.isfinite(predicted), predicted, -np.inf)
    top = np.argmax(level, axis=0)
    others = level.copy()
    others[top, np.arange(level.shape[1])] = -np.inf
    with np.errstate(invalid="ignore"):
        sole = level.max(axis=0) - power_sum_db(others) >= dominance_db
    return np.where(together & sole & np.isfinite(level.max(axis=0)), top, found)


def _sector(site: str, from_deg: float, to_deg: float, difference: Floats) -> Sector:
    """Mean, spread and uncertainty of one set of stretches."""
    n = len(difference)
    if n == 0:
        nan = float("nan")
        return Sector(site, from_deg, to_deg, 0, nan, nan, nan, False)
    mean = float(difference.mean())
    spread = float(difference.std(ddof=1)) if n > 1 else float("nan")
    uncertainty = spread / float(np.sqrt(independent_n(difference)))
    enough = n >= LEAST_STRETCHES and abs(mean) > 2 * uncertainty
    return Sector(site, from_deg, to_deg, n, mean, spread, uncertainty, bool(enough))


def _together(predicted: Floats, measured: Floats) -> tuple[float, float, int]:
    """Power sum of all minus measurement where all were on air: mean, spread, number."""
    total = power_sum_db(predicted)
    off = (total - measured)[np.isfinite(total)]
    n = len(off)
    return (
        float(off.mean()) if n else float("nan"),
        float(off.std(ddof=1)) if n > 1 else float("nan"),
        n,
    )


def _problems(whole: list[Sector], *, told: NDArray[np.bool_]) -> list[Problem]:
    """What must be said with the numbers."""
    problems = []
    lost = int(np.count_nonzero(~told))
    if lost:
        what = f"{lost} of {len(told)} stretches were not used: no site dominates, or none is covered there"
        problems.append(
            Problem("log", what, "a drive with one site alone on air", "warning", code="other-sites-on-air")
        )
    for row in whole:
        if row.stretches_n < LEAST_STRETCHES:
            what = f"{row.site}: {row.stretches_n} stretches are too few for a shift"
            problems.append(Problem("log", what, f"{LEAST_STRETCHES} or more", "warning", code="few-stretches"))
    return problems
