"""Weighted least squares for values of which only differences were observed.

| symbol | name | unit |
|---|---|---|
| A | design matrix, +1 at the site, -1 at its reference | 1 |
| s | uncertainties of the observations | us |
| T | path of each site from its datum along the surest tree: +1 or -1 for each branch | 1 |
| u | what the branches of the tree are off their own observations, in their own uncertainties | 1 |
| B | whitened design matrix in u, ``A T s_tree / s``: 1 on the tree, never more than 1 off it | 1 |
| v | residual, adjusted minus observed | us |
| r | redundancy, share of an observation that the others check, 0 to 1 | 1 |
| w | ``v / (uncertainty sqrt(r))``, normal when only chance is at work | 1 |

The values of a group of connected sites are determined but for one constant: either one site of the group is held,
or the values are to sum to zero (inner constraint). Differences are the same either way.

Normal equations square the ratio of the uncertainties: with rows of 1 ns beside rows of 1 ms half of the digits are
gone, and with 1e-6 us beside 1e6 us all of them. Here the unknowns are the branches of the spanning tree of least
uncertainty, each in its own uncertainty. An observation off that tree is less sure than every branch of its way
(else it would be on it), so B holds a unit matrix and nothing above 1: QR of it loses no digits at any ratio.

Kruskal, "On the shortest spanning subtree of a graph", 1956; Bjorck, "Numerical methods for least squares problems",
1996, on stiff problems; Baarda, "A testing procedure for use in geodetic networks", 1968 (all from memory).
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.survey.surest_tree import paths, surest_tree

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

# Below this an error of the observation shows in nothing else.
UNCHECKABLE_RATIO = 1e-3
# Nobody measures over a wider range; a row beyond it is a slip of the pen.
GREATEST_RATIO = 1e12
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
    path : ndarray (N, K)
        T, from the datum of the group to each site along the K branches of the tree.
    factor_us : ndarray (K, K)
        A root of the branches' covariance: ``C = factor factor'``. [us]
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
    path: Floats
    factor_us: Floats
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

    def difference_uncertainty(self, site: int, reference: int) -> float:
        """Standard uncertainty of the difference of two values of one group. [us]

        From the branches between the two: their covariances in the datum may be larger by many digits.
        """
        return float(np.linalg.norm((self.path[site] - self.path[reference]) @ self.factor_us))


def adjust(
    site: ArrayLike,
    reference: ArrayLike,
    *,
    difference_us: ArrayLike,
    uncertainty_us: ArrayLike,
    sites_n: int,
    held_us: Mapping[int, float] | None = None,
    clocks_n: int = 0,
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
    clocks_n : int, default 0
        Further unknowns, numbered from `sites_n`: the clock of an instrument that several observations share. They
        have values too, but the inner constraint does not count them.

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
    nodes_n = sites_n + clocks_n
    _usable(i, j, observed, sigma, sites_n=nodes_n)
    group = groups(i, j, sites_n=nodes_n)
    known, datum, held = _known(held_us or {}, group)
    tree = surest_tree(i, j, sigma, root=datum)
    path = paths(i, j, tree, root=datum, held=held)
    apart = path[i] - path[j]
    # The branches as observed come first; what is solved for is small, so values of any size keep their digits.
    reduced = observed - (known[i] - known[j])
    open_us = reduced - apart @ reduced[tree]
    open_us[tree] = 0.0
    whitened = apart * (sigma[tree] / sigma[:, None])
    inverse = np.linalg.solve(np.linalg.qr(whitened, mode="r"), np.eye(len(tree)))
    q = whitened @ inverse
    u = inverse @ (q.T @ (open_us / sigma))
    branch_us, factor_us = sigma[tree] * u, sigma[tree][:, None] * inverse
    residual = apart @ branch_us - open_us
    r = np.clip(1.0 - np.sum(q**2, axis=1), 0.0, 1.0)
    checked = r > UNCHECKABLE_RATIO
    scale = np.sqrt(np.where(checked, r, 1.0))
    freedom = len(i) - len(tree)
    chi_square = float(np.sum((residual / sigma) ** 2))
    centred = _centred(path, group, held, sites_n=sites_n)
    covariance = _covariance(centred @ factor_us, group)
    value = known + centred @ (reduced[tree] + branch_us)
    return Adjustment(
        value_us=np.where(group >= 0, value, np.nan),
        covariance_us2=covariance,
        path=path,
        factor_us=factor_us,
        group=group,
        residual_us=residual,
        redundancy_ratio=r,
        w_ratio=np.where(checked, residual / (sigma * scale), np.nan),
        least_detectable_us=np.where(checked, _DETECTED_SIGMAS * sigma / scale, np.inf),
        freedom=freedom,
        rank=len(tree),
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
    apart = (adjustment.path[site] - adjustment.path[reference]) @ adjustment.factor_us / uncertainty_us[:, None]
    residuals = -(apart @ apart[at])
    residuals[at] += 1.0
    r = adjustment.redundancy_ratio
    scale = np.sqrt(r * r[at])
    checked = (r > UNCHECKABLE_RATIO) & (r[at] > UNCHECKABLE_RATIO)
    return np.asarray(np.divide(residuals, scale, out=np.zeros(len(r)), where=checked))


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


def _known(held_us: Mapping[int, float], group: Integers) -> tuple[Floats, Integers, NDArray[np.bool_]]:
    """Value that each node stands on, the number of the node that is its datum's, and which nodes are held.

    All held sites of one group are one point of the tree. Nodes of a group without one stand on 0.
    """
    known, datum = np.zeros(len(group)), np.arange(len(group))
    held = np.zeros(len(group), dtype=bool)
    for number, value_us in held_us.items():
        held[number] = True
        members = group == group[number]
        if group[number] < 0:
            continue
        first = next(k for k in held_us if group[k] == group[number])
        datum[number] = first
        # Differences to the first held one: large heights lose no digits.
        known[members & ~held] = held_us[first]
        known[number] = value_us
    return known, datum, held


def _centred(path: Floats, group: Integers, held: NDArray[np.bool_], *, sites_n: int) -> Floats:
    """The paths of groups without a held site, measured from the mean of their sites."""
    centred = path.copy()
    for number in range(int(group.max()) + 1):
        members = group == number
        if not np.any(held & members):
            centred[members] -= path[:sites_n][members[:sites_n]].mean(axis=0)
    return centred


def _covariance(root_us: Floats, group: Integers) -> Floats:
    """Covariances of the values; NaN between groups and for what was not observed. [us^2]"""
    together = (group[:, None] == group[None, :]) & (group[:, None] >= 0)
    return np.where(together, root_us @ root_us.T, np.nan)


def _limits(freedom: int) -> tuple[float, float]:
    """Two-sided 95 % limits of chi-square."""
    from scipy.stats import chi2

    if freedom <= 0:
        return (float("nan"), float("nan"))
    return (float(chi2.ppf(0.025, freedom)), float(chi2.ppf(0.975, freedom)))
