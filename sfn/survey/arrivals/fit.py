"""Delays of several paths out of whitened stretches: least squares with each stretch's amplitudes eliminated.

The amplitudes of the paths are free in every stretch: carriers that turn against each other, a phase that wanders or
a level that moves cost nothing but their own degrees of freedom, and the delays, common to all stretches, stay exact.

| symbol | name | unit |
|---|---|---|
| W, d | `root`, `data`: whitened columns and data of a stretch | 1 |
| q(tau) | interpolation of the columns to a delay between them | 1 |
| K | number of paths | 1 |

Variable projection: Golub and Pereyra, SIAM J. Numer. Anal. 10, 1973, with Kaufman's Jacobian (1975), from memory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.survey.spectra import Floats

Complex = NDArray[np.complex128]

TAPS = 32
"""Columns to either side that a delay between columns is made of."""
_BETA = 11.0
_ROUNDS = 40


@dataclass(frozen=True, slots=True)
class Whitened:
    """All stretches, each padded with empty rows to the longest.

    `root` has the shape (stretches, rows, columns), `data` (stretches, rows); `variance_ratio` (stretches,) is the
    variance of a real or imaginary part of the data's noise, `rows_n` (stretches,) what is not padding.
    """

    root: Complex
    data: Complex
    variance_ratio: Floats
    rows_n: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Fitted:
    """Paths with their delays in samples after the first column, and what is left over.

    `amplitude` has the shape (stretches, paths); `information` is the inverse of the delays' covariance for the noise
    claimed; `scatter` holds each stretch's own step beside the common answer in units of that.
    """

    at_samples: Floats
    amplitude: Complex
    chi2_ratio: float
    freedom_n: int
    information: Floats
    steps: Floats
    """Gradient of each stretch, shape (stretches, paths)."""
    parts: Floats
    """Information of each stretch, shape (stretches, paths, paths)."""


def between(at_samples: Floats, *, columns: int) -> Floats:
    """Weights of the columns that make up delays between them, shape (columns, K)."""
    x = np.arange(columns)[:, None] - np.asarray(at_samples)[None, :]
    inside = np.abs(x) < TAPS
    window = np.i0(_BETA * np.sqrt(np.clip(1.0 - (x / TAPS) ** 2, 0.0, None))) / np.i0(_BETA)
    return np.where(inside, np.sinc(x) * window, 0.0)


def slopes(at_samples: Floats, *, columns: int) -> Floats:
    """Derivative of `between` by delay."""
    step = 1e-3
    return np.asarray(
        (between(at_samples + step, columns=columns) - between(at_samples - step, columns=columns)) / (2 * step)
    )


def solved(all_of: Whitened, at_samples: Floats) -> Fitted:
    """Amplitudes, what is left over, and gradient and information of the delays."""
    at = np.asarray(at_samples, dtype=np.float64)
    columns, k = all_of.root.shape[2], len(at)
    basis, triangle = np.linalg.qr(all_of.root @ between(at, columns=columns))
    adjoint = basis.conj().transpose(0, 2, 1)
    told = adjoint @ all_of.data[:, :, None]
    rest = all_of.data - (basis @ told)[:, :, 0]
    # Two paths at one place leave nothing to divide by: a hair keeps the step finite, and the search rejects it.
    hair = 1e-12 * np.abs(triangle).max(axis=(1, 2))[:, None, None] * np.eye(k)
    gain = np.linalg.solve(triangle + hair, told)[:, :, 0]
    tangent = all_of.root @ slopes(at, columns=columns)
    d = (tangent - basis @ (adjoint @ tangent)) * gain[:, None, :]
    variance = all_of.variance_ratio
    turned = d.conj().transpose(0, 2, 1)
    steps = (turned @ rest[:, :, None])[:, :, 0].real / variance[:, None]
    parts = (turned @ d).real / variance[:, None, None]
    chi2 = float(np.sum(np.sum(np.abs(rest) ** 2, axis=1) / variance))
    freedom = int(2 * np.sum(all_of.rows_n - k)) - k
    return Fitted(at, gain.astype(np.complex128), chi2, freedom, parts.sum(axis=0), steps, parts)


def refined(all_of: Whitened, at_samples: Floats, *, low: float, high: float, rounds: int = _ROUNDS) -> Fitted:
    """Delays at the least squares near a start, by damped Gauss-Newton steps kept from `low` to `high`."""
    now = solved(all_of, np.clip(np.asarray(at_samples, dtype=np.float64), low, high))
    damping = 1e-3
    for _ in range(rounds):
        stiff = now.information + damping * np.diag(np.diag(now.information)) + 1e-300 * np.eye(len(now.at_samples))
        try:
            step = np.linalg.solve(stiff, now.steps.sum(axis=0))
        except np.linalg.LinAlgError:
            break
        step = np.clip(step, -0.5, 0.5)
        new = solved(all_of, np.clip(now.at_samples + step, low, high))
        if new.chi2_ratio < now.chi2_ratio:
            gained = now.chi2_ratio - new.chi2_ratio
            now, damping = new, max(damping / 5, 1e-9)
            if gained < 1e-3 and np.max(np.abs(step)) < 1e-5:
                break
        else:
            damping *= 8
            if damping > 1e8:
                break
    return now


@dataclass(frozen=True, slots=True)
class Places:
    """Whitened columns at each place of a grid, made once for a search."""

    grid_samples: Floats
    columns: Complex
    power: Floats


def places(all_of: Whitened, grid_samples: Floats) -> Places:
    """The columns of a path at each place of a grid."""
    columns = all_of.root @ between(grid_samples, columns=all_of.root.shape[2])
    return Places(grid_samples, columns, np.sum(np.abs(columns) ** 2, axis=1))


def gains(all_of: Whitened, now: Fitted | None, at: Places) -> Floats:
    """By how much the least squares fall when a path is added at each place."""
    rest, power = all_of.data, at.power
    if now is not None:
        basis, _ = np.linalg.qr(all_of.root @ between(now.at_samples, columns=all_of.root.shape[2]))
        adjoint = basis.conj().transpose(0, 2, 1)
        rest = rest - (basis @ (adjoint @ rest[:, :, None]))[:, :, 0]
        power = power - np.sum(np.abs(adjoint @ at.columns) ** 2, axis=1)
    told = np.abs((rest.conj()[:, None, :] @ at.columns)[:, 0, :]) ** 2
    sure = power > 1e-9 * at.power
    each = np.where(sure, told / np.where(sure, power, 1.0), 0.0) / all_of.variance_ratio[:, None]
    return np.asarray(each.sum(axis=0))
