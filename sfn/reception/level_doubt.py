"""How far predicted levels may be off, as random fields: a part alike over a site's whole area, a part that varies.

| symbol | name | meaning |
|---|---|---|
| sigma | `sigma_db` | spread of a predicted level about the true one, all of it |
| | `whole_db` | the part of it that a site has alike everywhere: power, antenna, what the model makes of its terrain |
| D | `distance_m` | over this the rest loses its likeness: correlation ``exp(-d/D)`` |
| rho | | of two sites at one place, as drawn shares have it (`sfn.reception.drawn`) |

A site's error is ``X = sigma A Z``: every ``Z_k`` a field of its own with ``corr = (w/s)^2 + (1 - (w/s)^2) exp(-d/D)``,
A the symmetric root of the sites' correlation at the place, its rows of length 1. So the variance is sigma^2 everywhere
and two sites vary together as `correlation_of` says, as far as that is the correlation of anything; over distance a
site's own correlation falls a little faster where the bearings of others turn.

References
----------
.. [1] M. Gudmundson, "Correlation model for shadow fading in mobile radio systems", Electronics Letters 27(23), 1991:
   ``exp(-d/D)``; suburban, 900 MHz, 0.82 at 100 m, so D = 504 m. From memory; the same law stands in 3GPP TR 38.901,
   equation (7.4-5).
.. [2] Spread of 6 to 8 dB over terrain, of which some 3 dB are a site's own: common practice, from memory; over a
   smooth earth, which knows no hill, 10 dB, from memory. Indoors the building's own: 3 dB at VHF and 5.5 dB at UHF,
   what makes 5.5 dB into the 6.3 and 7.8 dB of GE06, Annex 2, chapter 3 (read in a typed copy).
.. [3] C. R. Dietrich, G. N. Newsam, "Fast and exact simulation of stationary Gaussian processes through circulant
   embedding of the covariance matrix", SIAM J. Sci. Comput. 18(4), 1997, from memory.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.grid import Grid
from sfn.plan import Network
from sfn.reception.aimed import masts_of
from sfn.reception.drawn import COSITED_CORRELATION, USUAL_CORRELATION

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]

TERRAIN_DB, SMOOTH_DB, WHOLE_DB = 7.0, 10.0, 3.0
BUILDING_VHF_DB, BUILDING_UHF_DB, UHF_FROM_MHZ = 3.0, 5.5, 300.0
USUAL_DISTANCE_M = 500.0
FADED = 8.0
"""So many D beyond the map the torus of the draws goes on, that its two ends know nothing of each other."""
MOST_TIMES = 3
"""The torus is at most so many times as long as the map."""


@dataclass(frozen=True, slots=True)
class LevelDoubt:
    """Spread of predicted levels, and how it hangs together.

    Parameters
    ----------
    sigma_db, whole_db : float
        All of it, and the part alike over a site's area; at most all. [dB]
    distance_m : float
        Decorrelation distance of the rest. [m]
    site_correlation_ratio, cosited_correlation_ratio : float
        Of two sites up to 30 degrees apart, falling to 0 at 90; of two on one mast. [1]

    Raises
    ------
    ValueError
        If a figure is none of these.
    """

    sigma_db: float
    whole_db: float = WHOLE_DB
    distance_m: float = USUAL_DISTANCE_M
    site_correlation_ratio: float = USUAL_CORRELATION
    cosited_correlation_ratio: float = COSITED_CORRELATION

    def __post_init__(self) -> None:
        """Refuse what is no spread."""
        if not 0.0 <= self.whole_db <= self.sigma_db:
            raise ValueError(f"whole_db must be 0 to sigma_db ({self.sigma_db:g} dB), got {self.whole_db:g}")
        if not self.distance_m > 0.0:
            raise ValueError(f"distance_m must be above 0 m, got {self.distance_m:g}")
        for name in ("site_correlation_ratio", "cosited_correlation_ratio"):
            if not 0.0 <= getattr(self, name) < 1.0:
                raise ValueError(f"{name} must be 0 to below 1, got {getattr(self, name):g}")

    @property
    def whole_ratio(self) -> float:
        """Part of the variance that a site has alike everywhere. [1]"""
        return (self.whole_db / self.sigma_db) ** 2 if self.sigma_db else 0.0


def usual_sigma_db(network: Network, *, smooth: bool) -> tuple[float, str]:
    """The usual spread by model and class of receiver, and where it is from.

    Parameters
    ----------
    network : Network
    smooth : bool
        Levels are those over a smooth earth.
    """
    model_db = SMOOTH_DB if smooth else TERRAIN_DB
    said = "over a smooth earth, from memory" if smooth else "P.1812 over terrain, common practice, from memory"
    if network.receiver.indoors is None:
        return model_db, f"{model_db:g} dB: {said}"
    own_db = BUILDING_UHF_DB if network.frequency_mhz >= UHF_FROM_MHZ else BUILDING_VHF_DB
    return float(np.hypot(model_db, own_db)), f"{model_db:g} dB: {said}; indoors {own_db:g} dB of the building (GE06)"


class FieldDraws:
    """Draws of the errors of S sites' levels at P pixels of a grid.

    Parameters
    ----------
    network : Network
    grid : Grid
    sites : sequence of str
        Ids, in the order of the rows.
    pixels : ndarray of int, shape (P,)
    bearing_deg : ndarray, shape (S, P)
        From the pixels to the sites. [degrees]
    doubt : LevelDoubt
    """

    def __init__(
        self, network: Network, grid: Grid, sites: Sequence[str], *, pixels: Places, bearing_deg: Singles,
        doubt: LevelDoubt,
    ) -> None:  # fmt: skip
        self.sites, self.pixels, self.doubt = tuple(sites), pixels, doubt
        self._shape, self._root_spectrum = _spectrum(grid, doubt.distance_m)
        self.columns_n = grid.columns_n
        self.mixing = site_mixing(bearing_deg, masts_of(network, sites), doubt)

    def unit(self, k: int, *, seed: int, draw: int) -> Singles:
        """The independent field of one site in one draw, spread 1, shape (P,).

        It hangs on the seed, the draw and the site's id alone: every plan is drawn in the same worlds.
        """
        rng = np.random.default_rng([seed, draw, *_name_words(self.sites[k])])
        whole = self.doubt.whole_ratio
        alike = rng.standard_normal()
        if whole >= 1.0:
            return np.full(self.pixels.size, alike, np.float32)
        from scipy import fft

        white = rng.standard_normal(self._shape, dtype=np.float32)
        field = fft.irfft2(fft.rfft2(white) * self._root_spectrum, s=self._shape)
        row, column = np.divmod(self.pixels, self.columns_n)
        return np.asarray(np.sqrt(whole) * alike + np.sqrt(1.0 - whole) * field[row, column], dtype=np.float32)

    def likeness_at(self, rows: Places, columns: Places) -> Doubles:
        """Correlation of a site's own field between pixels that lie some rows and columns apart. [1]"""
        whole = self.doubt.whole_ratio
        among = self._on_torus[np.abs(rows) % self._shape[0], np.abs(columns) % self._shape[1]]
        return np.asarray(whole + (1.0 - whole) * among, dtype=np.float64)

    def spread_from(self, row: Places, column: Places, weights: Doubles) -> Doubles:
        """Sum over some pixels of a weight each, times the likeness of every pixel with it, shape (P,)."""
        from scipy import fft

        white = np.zeros(self._shape)
        np.add.at(white, (row, column), weights)
        whole, there = self.doubt.whole_ratio, np.divmod(self.pixels, self.columns_n)
        field = fft.irfft2(fft.rfft2(white) * self._root_spectrum.astype(np.float64) ** 2, s=self._shape)
        return np.asarray(whole * weights.sum() + (1.0 - whole) * field[there], dtype=np.float64)

    @cached_property
    def _on_torus(self) -> Doubles:
        """Correlation by rows and columns apart, of the very fields that are drawn."""
        from scipy import fft

        return np.asarray(fft.irfft2(self._root_spectrum.astype(np.float64) ** 2, s=self._shape), dtype=np.float64)

    def errors_db(self, units: Sequence[Singles]) -> Singles:
        """What the levels of all sites are off by, shape (S, P). [dB]"""
        made = np.einsum("psk,kp->sp", self.mixing, np.stack(units), optimize=True)
        return np.asarray(self.doubt.sigma_db * made, dtype=np.float32)

    def moved_db(self, k: int, before: Singles, after: Singles) -> Singles:
        """By how much all errors change where the field of one site is another, shape (S, P). [dB]"""
        return np.asarray(self.doubt.sigma_db * self.mixing[:, :, k].T * (after - before), dtype=np.float32)


def site_mixing(bearing_deg: Singles, masts: NDArray[np.int64], doubt: LevelDoubt) -> Singles:
    """Symmetric roots of the correlation of S sites at P places, shape (P, S, S), rows of length 1.

    A correlation that falls with the angle is not always that of any field: negative parts count as nothing.
    """
    bearings = np.asarray(bearing_deg, dtype=np.float64).T
    apart = np.abs(bearings[:, :, None] - bearings[:, None, :]) % 360.0
    apart = np.minimum(apart, 360.0 - apart)
    likeness = doubt.site_correlation_ratio * np.clip((90.0 - apart) / 60.0, 0.0, 1.0)
    one_mast = masts[:, None] == masts[None, :]
    likeness[:, one_mast] = doubt.cosited_correlation_ratio
    likeness[:, np.eye(len(masts), dtype=bool)] = 1.0
    values, vectors = np.linalg.eigh(likeness)
    root = np.einsum("pik,pk,pjk->pij", vectors, np.sqrt(np.clip(values, 0.0, None)), vectors, optimize=True)
    return np.asarray(root / np.linalg.norm(root, axis=2, keepdims=True), dtype=np.float32)


def _spectrum(grid: Grid, distance_m: float) -> tuple[tuple[int, int], Singles]:
    """Shape of the torus, and the root of the spectrum of ``exp(-d/D)`` on it, of variance 1 [3]_."""
    from scipy import fft

    shape = []
    for size in grid.shape:
        beyond = int(np.ceil(FADED * distance_m / grid.pixel_m))
        shape.append(fft.next_fast_len(min(size + beyond, MOST_TIMES * size + 1), real=True))
    rows, columns = shape
    down, along = (np.minimum(np.arange(n), n - np.arange(n)) * grid.pixel_m for n in shape)
    power = fft.rfft2(np.exp(-np.hypot(down[:, None], along[None, :]) / distance_m)).real.clip(min=0.0)
    # Of the half spectrum all columns but the first, and the middle one of an even length, stand for two.
    twice = np.full(power.shape[1], 2.0)
    twice[0] = 1.0
    if columns % 2 == 0:
        twice[-1] = 1.0
    power *= rows * columns / float((power * twice).sum())
    return (rows, columns), np.sqrt(power).astype(np.float32)


def _name_words(name: str) -> tuple[int, ...]:
    """A site's id as numbers for a generator's seed."""
    return tuple(int.from_bytes(sha256(name.encode()).digest()[4 * k : 4 * k + 4], "big") for k in range(4))
