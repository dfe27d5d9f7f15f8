"""Drawn errors of levels that agree with what was measured: worlds that a drive test rules out are not drawn.

A measured place says what a site's level is off by there. Errors are the fields of `sfn.reception.level_doubt`,
``X_s(p) = sigma sum_k A_sk(p) Z_k(p)``; of such fields, given values ``y`` at places j,

    X(p) | y = X(p) + c(p)^T C^-1 (y - X - e)_j

is a draw of those that agree (conditioning by kriging of the difference [1]_), ``c(p)`` the covariance of X(p) with the
values, ``C`` theirs with one another and the doubt ``e`` of measuring. With no draw, X = e = 0, it is the mean of
simple kriging [2]_. Near a measured road errors come out small; far from it only the part that a site has alike
everywhere is known better.

References
----------
.. [1] A. G. Journel, C. J. Huijbregts, "Mining Geostatistics", 1978, chapter VII: conditional simulation; from memory.
.. [2] C. E. Rasmussen, C. K. I. Williams, "Gaussian Processes for Machine Learning", 2006, equations (2.25) and
   (2.26): mean and variance of the same; from memory. Held against scikit-learn in the tests.
.. [3] What a car's receiver is off by all along, 1.5 dB, and one stretch of road beside its pixel's middle, 3 dB:
   common practice, from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.grid import Grid
from sfn.plan import Network
from sfn.reception.level_doubt import FieldDraws, LevelDoubt

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]

METER_DB, STRETCH_DB = 1.5, 3.0
MOST_VALUES_N = 3000
"""Values that agree with each other by a matrix of 72 MB; of more of them every so many is taken, which is said."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What J measured values say: one for a site and a pixel.

    Parameters
    ----------
    site : ndarray of int, shape (J,)
        Row of the site that each speaks of.
    pixel : ndarray of int, shape (J,)
    off_db : ndarray, shape (J,)
        Measured minus predicted. [dB]
    stretches_n : ndarray of int, shape (J,)
        Stretches of road that each is the mean of.
    meter_db, stretch_db : float
        Doubt that all share, and that of each stretch. [dB]
    """

    site: Places
    pixel: Places
    off_db: Doubles
    stretches_n: NDArray[np.int64]
    meter_db: float = METER_DB
    stretch_db: float = STRETCH_DB

    @property
    def doubt_db2(self) -> Doubles:
        """Covariance of the doubt of measuring, shape (J, J). [dB^2]"""
        return np.diag(self.stretch_db**2 / self.stretches_n) + self.meter_db**2


def seen_of(
    grid: Grid, *, lat_deg: Doubles, lon_deg: Doubles, off_db: Doubles, site: Sequence[int],
    meter_db: float = METER_DB, stretch_db: float = STRETCH_DB,
) -> Seen:  # fmt: skip
    """Measured stretches of road gathered by site and pixel of a grid; those outside it are not among them.

    Parameters
    ----------
    grid : Grid
    lat_deg, lon_deg, off_db : ndarray, shape (M,)
        Places, and measured minus predicted; NaN where nothing is known. [degrees], [dB]
    site : sequence of int, length M
        Row of the site that each speaks of; below 0: none.
    meter_db, stretch_db : float
        As in `Seen`.
    """
    rows = np.asarray(site, dtype=np.intp)
    use = (rows >= 0) & np.isfinite(off_db)
    use[use] = grid.contains(lat_deg[use], lon_deg[use])
    row, column = grid.pixels_of(lat_deg[use], lon_deg[use])
    key = rows[use] * grid.pixels_n + row * grid.columns_n + column
    one, index, count = np.unique(key, return_inverse=True, return_counts=True)
    mean = np.bincount(index, weights=off_db[use], minlength=one.size) / np.maximum(count, 1)
    every = -(-one.size // MOST_VALUES_N) if one.size else 1
    taken = slice(None, None, every)
    return Seen(
        (one // grid.pixels_n).astype(np.intp)[taken], (one % grid.pixels_n).astype(np.intp)[taken], mean[taken],
        count.astype(np.int64)[taken], meter_db, stretch_db,
    )  # fmt: skip


class SeenDraws:
    """Draws of the errors of S sites' levels at P pixels that agree with what was measured.

    Arguments as of `sfn.reception.level_doubt.FieldDraws`, with `seen` and the bearings there, shape (S, J). [degrees]
    """

    def __init__(
        self, network: Network, grid: Grid, sites: Sequence[str], *, pixels: Places, bearing_deg: Singles,
        doubt: LevelDoubt, seen: Seen, seen_bearing_deg: Singles,
    ) -> None:  # fmt: skip
        from scipy import linalg

        self.seen, self.doubt, self._pixels_n = seen, doubt, pixels.size
        self.free = FieldDraws(
            network, grid, sites, pixels=np.concatenate([pixels, seen.pixel]),
            bearing_deg=np.concatenate([bearing_deg, seen_bearing_deg], axis=1), doubt=doubt,
        )  # fmt: skip
        j = np.arange(seen.site.size)
        self._mixes = self.free.mixing[self._pixels_n + j, seen.site, :].astype(np.float64)  # (J, S)
        self._row, self._column = np.divmod(seen.pixel, grid.columns_n)
        among = self.free.likeness_at(self._row[:, None] - self._row, self._column[:, None] - self._column)
        self._own = doubt.sigma_db**2 * (self._mixes @ self._mixes.T) * among
        self._factor = linalg.cho_factor(self._own + seen.doubt_db2, lower=True)

    def unit(self, k: int, *, seed: int, draw: int) -> Singles:
        """As of the free fields, at the P pixels and then at the J measured ones."""
        return self.free.unit(k, seed=seed, draw=draw)

    def errors_db(self, units: Sequence[Singles], *, doubts: Doubles) -> Singles:
        """What the levels of all sites are off by in a world that agrees, shape (S, P). [dB]

        Parameters
        ----------
        units : sequence of ndarray, shape (P + J,)
            Free fields, one a site.
        doubts : ndarray, shape (J + 1,)
            Spread 1: what each value, and all of them together, are measured wrong by.
        """
        free = self.free.errors_db(units)
        there = self._pixels_n + np.arange(self.seen.site.size)
        wrong = self.seen.stretch_db / np.sqrt(self.seen.stretches_n) * doubts[:-1] + self.seen.meter_db * doubts[-1]
        return free[:, : self._pixels_n] + self._agreeing(self.seen.off_db - free[self.seen.site, there] - wrong)

    def mean_db(self) -> Singles:
        """What levels are off by in the middle of all worlds that agree, shape (S, P): simple kriging. [dB]"""
        return self._agreeing(self.seen.off_db)

    def spread_db(self, places: Places) -> Doubles:
        """Spread of the errors that agree, at some of the P pixels, shape (S, len(places)). [dB]"""
        from scipy import linalg

        row, column = np.divmod(self.free.pixels[places], self.free.columns_n)
        among = self.free.likeness_at(row[:, None] - self._row, column[:, None] - self._column)
        sigma2 = self.doubt.sigma_db**2
        with_seen = sigma2 * np.einsum("psk,jk->spj", self.free.mixing[places], self._mixes) * among
        known = np.einsum("spj,jsp->sp", with_seen, linalg.cho_solve(self._factor, with_seen.transpose(2, 0, 1).reshape(
            self.seen.site.size, -1)).reshape(self.seen.site.size, *with_seen.shape[:2]))  # fmt: skip
        return np.asarray(np.sqrt(np.clip(sigma2 - known, 0.0, None)), dtype=np.float64)

    def _agreeing(self, apart_db: Doubles) -> Singles:
        """What has to be added everywhere for errors to agree with values that they are so far apart from. [dB]"""
        from scipy import linalg

        weights = self.doubt.sigma_db**2 * linalg.cho_solve(self._factor, apart_db)
        made = np.stack([
            self.free.spread_from(self._row, self._column, weights * self._mixes[:, k])[: self._pixels_n]
            for k in range(self._mixes.shape[1])
        ])  # fmt: skip
        return np.asarray(
            np.einsum("psk,kp->sp", self.free.mixing[: self._pixels_n], made, optimize=True), dtype=np.float32
        )
