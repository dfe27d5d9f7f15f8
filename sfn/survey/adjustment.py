"""Weighted least squares for values of which only differences were observed.

| symbol | name | unit |
|---|---|---|
| A | design matrix, +1 at the site, -1 at its reference | 1 |
| P | weights, ``1 / uncertainty^2`` | us^-2 |
| N | normal matrix ``A' P A``, a graph's Laplacian | us^-2 |
| Q | covariance of the values, (generalised) inverse of N | us^2 |
| v | residual, adjusted minus observed | us |
| r | redundancy, share of an observation that the others check, 0 to 1 | 1 |
| w | ``v / (uncertainty sqrt(r))``, normal when only chance is at work | 1 |

The values of a group of connected sites are determined but for one constant, so N has rank n - 1 there: either one
site of the group is held, or the values are to sum to zero (inner constraint). Differences are the same either way.

Baarda, "A testing procedure for use in geodetic networks", 1968 (from memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

# Below this an error of the observation shows in nothing else.
UNCHECKABLE_RATIO = 1e-3
# 99.9 % and 80 % quantiles of the normal distribution: an error found with a chance of 80 % at the 0.1 % level.
_DETECTED_SIGMAS = 3.2905 + 0.8416


@dataclass(frozen=True, slots=True)
class Adjustment:
    """Adjusted values and what can be said about them and about every observation.

    Parameters
    ----------
    value_us : ndarray (N,)
        Adjusted values; NaN for sites in no observation. [us]
    covariance_us2 : ndarray (N, N)
        Covariance of the values in the chosen datum; zero rows for held sites, NaN between groups. [us^2]
    group : ndarray (N,)
        Number of the group of connected sites; -1 for sites in no observation.
    residual_us, redundancy_ratio, w_ratio : ndarray (M,)
        v, r and w; w is NaN where nothing checks the observation.
    least_detectable_us : ndarray (M,)
        Least error that would be found with a chance of 80 % at the 0.1 % level; inf where nothing checks. [us]
    freedom : int
        Observations minus rank.
    rank : int
    chi_square_ratio : float
        ``v' P v``, to be compared with the chi-square distribution of `freedom`.
    chi_square_limits : (float, float)
        Its two-sided 95 % limits; NaN without freedom.
    scale_ratio : float
        ``sqrt(v' P v / freedom)``: what the uncertainties would have to be multiplied by; NaN without freedom.
    """

    value_us: Floats
    covariance_us2: Floats
    group: Integers
    residual_us: Floats
    redundancy_ratio: Floats
    w_ratio: Floats
    least_detectable_us: Floats
    freedom: int
    rank: int
    chi_square_ratio: float
    chi_square_limits: tuple[float, float]
    scale_ratio: float

    @property
    def uncertainty_us(self) -> Floats:
        """Standard uncertainties of the values, from the given uncertainties of the observations."""
        return np.asarray(np.sqrt(np.maximum(np.diagonal(self.covariance_us2), 0.0)))


def adjust(
    site: ArrayLike,
    reference: ArrayLike,
    *,
    difference_us: ArrayLike,
    uncertainty_us: ArrayLike,
    sites_n: int,
    held_us: Mapping[int, float] | None = None,
) -> Adjustment:
    """Values of sites from observed differences, value of `site` minus value of `reference`.

    Parameters
    ----------
    site, reference : array_like of int (M,)
        Numbers of the sites, 0 to `sites_n` - 1.
    difference_us, uncertainty_us : array_like (M,)
        Observations and their standard uncertainties. [us]
    sites_n : int
        Number of sites.
    held_us : mapping of int to float, optional
        Sites whose value is given. [us]  A group without one gets the inner constraint.

    Raises
    ------
    ValueError
        If there is no observation, a site is compared with itself, or an uncertainty is not positive.

    Examples
    --------
    A published levelling network (see tests/published/test_levelling_network.py) in metres:

    >>> found = adjust(
    ...     [3, 2, 1, 0, 1, 2, 3, 0],
    ...     [0, 3, 2, 1, 0, 1, 2, 3],
    ...     difference_us=[-1.225, -0.848, 1.342, 0.720, -0.724, -1.335, 0.842, 1.231],
    ...     uncertainty_us=[0.005] * 8,
    ...     sites_n=4,
    ...     held_us={0: 1000.0},
    ... )
    >>> print([round(float(z), 6) for z in found.value_us])
    [1000.0, 999.274875, 997.93325, 998.775125]
    """
    i, j = np.asarray(site, dtype=np.int64), np.asarray(reference, dtype=np.int64)
    observed, sigma = np.asarray(difference_us, dtype=np.float64), np.asarray(uncertainty_us, dtype=np.float64)
    _usable(i, j, observed, sigma, sites_n=sites_n)
    held = dict(held_us or {})
    group = groups(i, j, sites_n=sites_n)
    value, covariance = np.full(sites_n, np.nan), np.full((sites_n, sites_n), np.nan)
    weight = sigma**-2
    rank = 0
    for number in range(int(group.max()) + 1):
        members = np.flatnonzero(group == number)
        inside = group[i] == number
        rank += _solve(members, i[inside], j[inside], observed[inside], weight[inside], held, value, covariance)
    residual = value[i] - value[j] - observed
    variance = covariance[i, i] + covariance[j, j] - 2 * covariance[i, j]
    r = np.clip(1.0 - weight * variance, 0.0, 1.0)
    checked = r > UNCHECKABLE_RATIO
    root = np.sqrt(np.where(checked, r, 1.0))
    freedom = len(i) - rank
    chi_square = float(np.sum(weight * residual**2))
    return Adjustment(
        value_us=value,
        covariance_us2=covariance,
        group=group,
        residual_us=residual,
        redundancy_ratio=r,
        w_ratio=np.where(checked, residual / (sigma * root), np.nan),
        least_detectable_us=np.where(checked, _DETECTED_SIGMAS * sigma / root, np.inf),
        freedom=freedom,
        rank=rank,
        chi_square_ratio=chi_square,
        chi_square_limits=_limits(freedom),
        scale_ratio=float(np.sqrt(chi_square / freedom)) if freedom > 0 else float("nan"),
    )


def groups(site: Integers, reference: Integers, *, sites_n: int) -> Integers:
    """Number of the group of connected sites that each site belongs to, -1 for those in no observation."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    edges = coo_array((np.ones(len(site)), (site, reference)), shape=(sites_n, sites_n))
    _, label = connected_components(edges, directed=False)
    observed = np.zeros(sites_n, dtype=bool)
    observed[site] = observed[reference] = True
    found = np.full(sites_n, -1, dtype=np.int64)
    _, found[observed] = np.unique(label[observed], return_inverse=True)
    return found


def likeness(adjustment: Adjustment, site: Integers, reference: Integers, *, uncertainty_us: Floats, at: int) -> Floats:
    """Correlation of one observation's w with all others': 1 or -1 means that an error may be in either.

    Parameters
    ----------
    adjustment : Adjustment
    site, reference : ndarray of int (M,)
    uncertainty_us : ndarray (M,)
    at : int
        The observation in question.

    Returns
    -------
    ndarray (M,)
        0 where either observation is not checked.
    """
    q, i, j = adjustment.covariance_us2, site, reference
    a, b = int(i[at]), int(j[at])
    cross = np.nan_to_num(q[a, i] - q[a, j] - q[b, i] + q[b, j])
    residuals = -cross
    residuals[at] += uncertainty_us[at] ** 2
    r = adjustment.redundancy_ratio
    scale = uncertainty_us * np.sqrt(r) * uncertainty_us[at] * np.sqrt(r[at])
    checked = (r > UNCHECKABLE_RATIO) & (r[at] > UNCHECKABLE_RATIO)
    return np.asarray(np.divide(residuals, scale, out=np.zeros(len(i)), where=checked))


def huber_factor(w_ratio: Floats, *, limit: float = 1.5) -> Floats:
    """Factor on the weight of an observation for robust re-weighting: 1 up to `limit`, then ``limit / |w|``.

    Huber, "Robust estimation of a location parameter", 1964 (from memory); NaN, not checked, counts as 1.
    """
    size = np.nan_to_num(np.abs(w_ratio))
    return np.asarray(np.where(size <= limit, 1.0, limit / np.maximum(size, limit)))


def _usable(i: Integers, j: Integers, observed: Floats, sigma: Floats, *, sites_n: int) -> None:
    """Refuse what cannot be adjusted."""
    if not len(i):
        raise ValueError("difference_us must hold at least one observation, got none")
    if not (len(i) == len(j) == len(observed) == len(sigma)):
        lengths = f"{len(i)}, {len(j)}, {len(observed)}, {len(sigma)}"
        raise ValueError(f"site, reference, difference_us, uncertainty_us must be of one length, got {lengths}")
    if np.any(i == j):
        raise ValueError(f"reference must be another site than site, got {int(i[i == j][0])} twice")
    least, greatest = int(min(i.min(), j.min())), int(max(i.max(), j.max()))
    if least < 0 or greatest >= sites_n:
        raise ValueError(f"site must be from 0 to {sites_n - 1}, got {least} to {greatest}")
    if not np.all(np.isfinite(observed)):
        raise ValueError("difference_us must be finite us, got NaN or infinity")
    wrong = ~((sigma > 0) & np.isfinite(sigma))
    if np.any(wrong):
        raise ValueError(f"uncertainty_us must be positive us, got {float(sigma[wrong][0])}")


def _solve(
    members: Integers,
    i: Integers,
    j: Integers,
    observed: Floats,
    weight: Floats,
    held: Mapping[int, float],
    value: Floats,
    covariance: Floats,
) -> int:
    """Solve one group, write its values and covariances, and return its rank."""
    n = len(members)
    a, b = np.searchsorted(members, i), np.searchsorted(members, j)
    normal, right = np.zeros((n, n)), np.zeros(n)
    for first, second, sign in ((a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)):
        np.add.at(normal, (first, second), sign * weight)
    fixed = np.array([k for k, m in enumerate(members) if int(m) in held], dtype=np.int64)
    # The value of one member is taken out first: differences of large heights would lose digits.
    datum = held[int(members[fixed[0]])] if len(fixed) else 0.0
    known = np.zeros(n)
    known[fixed] = [held[int(members[k])] - datum for k in fixed]
    reduced = observed - (known[a] - known[b])
    np.add.at(right, a, weight * reduced)
    np.add.at(right, b, -weight * reduced)
    q = np.zeros((n, n))
    free = np.setdiff1d(np.arange(n), fixed)
    if len(fixed):
        q[np.ix_(free, free)] = np.linalg.inv(normal[np.ix_(free, free)]) if len(free) else 0.0
    else:
        scale = float(np.trace(normal)) / n
        q[:] = np.linalg.inv(normal + scale / n) - 1.0 / (scale * n)
    value[members] = known + q @ right + datum
    covariance[np.ix_(members, members)] = q
    return len(free) if len(fixed) else n - 1


def _limits(freedom: int) -> tuple[float, float]:
    """Two-sided 95 % limits of chi-square."""
    from scipy.stats import chi2

    if freedom <= 0:
        return (float("nan"), float("nan"))
    return (float(chi2.ppf(0.025, freedom)), float(chi2.ppf(0.975, freedom)))
