"""Beside transmitters of other programmes: how surely ours reach what they ask for, over the places around.

OFDM alone: their levels spread over the places as ours do, each by as much, correlated by bearing and mast as ours are.
A transmitter's fields at 50 % and at 1 % of time vary together, so the worse of both stays the worse. This is the
quick form, which follows a slider; `sfn.reception.drawn` draws both at once.

| symbol | name | unit |
|---|---|---|
| S, O, M | own sites on air, other transmitters on air, places | |

References
----------
.. [1] C. E. Clark, "The greatest of a finite set of random variables", Operations Research 9(2), 1961: moments of the
   greatest of two normal variables; from memory, held to draws in tests/sfn/reception/test_beside.py.
.. [2] D. G. Clayton, "A model for association in bivariate life tables", Biometrika 65(1), 1978: the form of the joint
   share; from memory. Its exponent, 1.4, is fitted to draws: 0.012 rms, 0.05 at worst over 300 random sets.
"""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from numpy.typing import NDArray

from sfn.reception.beside_kernels import EVEN, beside_points
from sfn.reception.drawn import Spread, Strangers

Doubles = NDArray[np.float64]
Places = NDArray[np.intp] | slice

POINTS_AT_A_TIME = 16_384


@dataclass(frozen=True, slots=True)
class Beside:
    """What our strongest signal must reach by the medians, shape (M,), NaN where nothing is asked. [dB(uV/m)]

    `share` is the part of the places around in which it does, shape (M,); None but for OFDM. [1]
    """

    level_dbuvm: Doubles
    share: Doubles | None


@dataclass(frozen=True, slots=True)
class Around:
    """Where places, own sites and other transmitters lie, and how levels vary together.

    Parameters
    ----------
    lat_deg, lon_deg : ndarray, shape (M,)
    ours_deg, theirs_deg : ndarray, shapes (S, 2) and (O, 2)
        Latitude and longitude.
    masts : ndarray, shape (S + O,)
        Transmitters of one number share a mast.
    spread : Spread
    """

    lat_deg: Doubles
    lon_deg: Doubles
    ours_deg: Doubles
    theirs_deg: Doubles
    masts: NDArray[np.int64]
    spread: Spread

    def at(self, places: Places) -> Self:
        """The same of some places."""
        return replace(self, lat_deg=self.lat_deg[places], lon_deg=self.lon_deg[places])

    def of(self, rows: Sequence[int]) -> Self:
        """The same of some of our sites."""
        kept, sites = np.asarray(rows, dtype=np.intp), len(self.ours_deg)
        masts = np.concatenate([self.masts[kept], self.masts[sites:]])
        return replace(self, ours_deg=self.ours_deg[kept], masts=masts)

    def share(
        self, level_dbuvm: NDArray[np.floating], needed_dbuvm: Doubles, *, executor: Executor | None = None
    ) -> Doubles:
        """Share of the places around in which the strongest of ours reaches what every other asks for, shape (M,).

        Parameters
        ----------
        level_dbuvm : ndarray, shape (S, M)
            Ours, as receivers get them. [dB(uV/m)]
        needed_dbuvm : ndarray, shape (O, M)
            What each other asks for by its medians; not finite: nothing. [dB(uV/m)]
        executor : concurrent.futures.Executor, optional
            Threads to share the places among.
        """
        points = level_dbuvm.shape[1]
        made = np.empty(points)

        def some(start: int) -> None:
            """One chunk of the places."""
            beside_points(
                level_dbuvm, needed_dbuvm, self.lat_deg, self.lon_deg, self.ours_deg, self.theirs_deg, self.masts,
                self.spread.sigma_db, self.spread.site_correlation_ratio, self.spread.cosited_correlation_ratio,
                start, min(start + POINTS_AT_A_TIME, points), made,
            )  # fmt: skip

        starts = range(0, points, POINTS_AT_A_TIME)
        for _ in map(some, starts) if executor is None else executor.map(some, starts):
            pass
        return made

    def strangers(self, needed_dbuvm: Doubles) -> Strangers:
        """The same for `sfn.reception.drawn`."""
        return Strangers(needed_dbuvm, self.lat_deg, self.lon_deg, self.theirs_deg, self.masts)


def joint_share(own: NDArray[np.floating], beside: NDArray[np.floating]) -> Doubles:
    """Share of places that our own sites serve and in which the strongest reaches what others ask for. [1]

    Both hang on the same levels, so that it is more than the product of the shares: ``(u^-q + v^-q - 1)^(-1/q)`` [2]_.

    Examples
    --------
    >>> [round(float(joint_share(np.array(u), np.array(v))), 3) for u, v in ((0.9, 1.0), (0.8, 0.8), (0.5, 0.0))]
    [0.9, 0.675, 0.0]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        both = (own.astype(np.float64) ** -EVEN + beside**-EVEN - 1.0) ** (-1.0 / EVEN)
    least = np.where(np.isnan(own), np.nan, np.minimum(own, beside))
    return np.asarray(np.where(least <= 1e-6, 0.0, np.where(np.maximum(own, beside) >= 1.0, least, both)))
