"""How many paths there are, and how close two of them may lie and still be told apart."""

import numpy as np
from numpy.typing import NDArray

from sfn.survey.arrivals.fit import TAPS, Fitted, Whitened, between, gains, places, refined, slopes
from sfn.survey.spectra import Floats

MOST_PATHS = 8
RANGE_DB = 30.0
"""Weaker than the strongest by more: filters and reflections near the antenna make such paths too."""
_STEP = 0.125
_SPLITS = (0.1, 0.4, 1.5)
# A path that noise makes, once in a million searches of one place; the search looks at some hundred places.
_FALSE_ALARM_PROBABILITY, _FOUND_PROBABILITY = 1e-7, 0.98


def edges(all_of: Whitened) -> tuple[float, float]:
    """Columns between which delays are made of enough others."""
    margin = 0.75 * TAPS
    return margin, all_of.root.shape[2] - 1 - margin


def levels_db(now: Fitted) -> Floats:
    """Mean power of each path beside the strongest. [dB]"""
    power = np.mean(np.abs(now.amplitude) ** 2, axis=0)
    return np.asarray(10 * np.log10(np.maximum(power / power.max(), 1e-30)))


def misfit(now: Fitted) -> float:
    """What is left over in units of the noise claimed, 1 at least."""
    return max(1.0, now.chi2_ratio / max(now.freedom_n, 1))


def needed_gain(all_of: Whitened) -> float:
    """By how much the least squares must fall for one path more: its amplitude in each stretch and its delay."""
    from scipy.stats import chi2

    return float(chi2.isf(_FALSE_ALARM_PROBABILITY, 2 * len(all_of.data) + 1))


def ordered(all_of: Whitened, *, starts: Floats | None = None, split: bool = True) -> Fitted:
    """Paths added one by one, each where it explains most, until the next explains no more than noise would.

    Parameters
    ----------
    all_of : Whitened
    starts : ndarray, optional
        Delays at which paths are expected: tried beside the places that the search finds. [samples]
    split : bool
        False: no two paths closer than a sample. Before the clocks are known to a hair, two paths side by side would
        imitate a delay that moves.
    """
    low, high = edges(all_of)
    grid = places(all_of, np.arange(low, high, _STEP))
    first = float(grid.grid_samples[np.argmax(gains(all_of, None, grid))])
    now = refined(all_of, np.array([first]), low=low, high=high)
    need = needed_gain(all_of)
    while len(now.at_samples) < MOST_PATHS:
        gained = gains(all_of, now, grid)
        if not split:
            near = np.min(np.abs(grid.grid_samples[:, None] - now.at_samples[None, :]), axis=1) < 1.0
            gained = np.where(near, 0.0, gained)
        place = float(grid.grid_samples[np.argmax(gained)])
        tried = _tries(now, place, expected=starts) if split else [np.append(now.at_samples, place)]
        rough = sorted((refined(all_of, t, low=low, high=high, rounds=5) for t in tried), key=lambda f: f.chi2_ratio)
        new = min((refined(all_of, f.at_samples, low=low, high=high) for f in rough[:2]), key=lambda f: f.chi2_ratio)
        if (now.chi2_ratio - new.chi2_ratio) / misfit(new) < need or levels_db(new).min() < -RANGE_DB:
            break
        if not split and np.min(np.diff(np.sort(new.at_samples))) < 0.5:
            break
        now = new
    return now


def _tries(now: Fitted, place_samples: float, *, expected: Floats | None) -> list[Floats]:
    """Sets of delays with one path more: at the place found, beside each path, and where one is expected."""
    found = [np.append(now.at_samples, place_samples)]
    for k in range(len(now.at_samples)):
        for away in _SPLITS:
            one = now.at_samples.copy()
            one[k] -= away
            found.append(np.append(one, one[k] + 2 * away))
    if expected is not None:
        far = [e for e in expected.tolist() if np.min(np.abs(now.at_samples - e)) > _SPLITS[0]]
        found += [np.append(now.at_samples, e) for e in far]
    return found


def resolution(all_of: Whitened, now: Fitted, *, path: int, level_db: float) -> float:
    """Least spacing at which a second path beside one found would be told apart, whatever its carrier's phase.

    Of a second path only what neither the first nor a small shift of it can imitate counts. It is told apart where
    that raises the least squares, in 98 of 100 cases, above what noise may do.

    Parameters
    ----------
    path : int
        Which of the paths found.
    level_db : float
        Level of the second beside the strongest. [dB]

    Returns
    -------
    float
        [samples], infinite where no spacing within the columns is enough.
    """
    from scipy.stats import ncx2

    freedom, need = 2 * len(all_of.data) + 1, needed_gain(all_of)
    wanted = need
    while ncx2.sf(need, freedom, wanted) < _FOUND_PROBABILITY:
        wanted *= 1.02
    at = now.at_samples[[path]]
    columns = all_of.root.shape[2]
    known = np.concatenate((between(at, columns=columns), slopes(at, columns=columns)), axis=1)
    basis, _ = np.linalg.qr(all_of.root @ known)
    spacing = np.geomspace(0.005, 4.0, 120)
    away = all_of.root @ between(at[0] + spacing, columns=columns)
    left = np.sum(np.abs(away) ** 2, axis=1) - np.sum(np.abs(basis.conj().transpose(0, 2, 1) @ away) ** 2, axis=1)
    strongest = np.mean(np.abs(now.amplitude) ** 2, axis=0).max()
    told = 10 ** (level_db / 10) * strongest * np.sum(left / all_of.variance_ratio[:, None], axis=0) / misfit(now)
    enough: NDArray[np.bool_] = told >= wanted
    short = np.flatnonzero(~enough)
    if len(short) == len(spacing):
        return float("inf")
    return float(spacing[0] if len(short) == 0 else spacing[min(short[-1] + 1, len(spacing) - 1)])


def sure(all_of: Whitened, fitted: Fitted) -> tuple[Whitened, list[int]]:
    """The stretches whose misfit is like that of the others, and the numbers of those that are left out.

    One whose phase was lost, or from which samples are missing, is left out.
    """
    from dataclasses import replace

    basis, _ = np.linalg.qr(all_of.root @ between(fitted.at_samples, columns=all_of.root.shape[2]))
    rest = all_of.data - (basis @ (basis.conj().transpose(0, 2, 1) @ all_of.data[:, :, None]))[:, :, 0]
    each = np.sum(np.abs(rest) ** 2, axis=1) / (2 * all_of.variance_ratio * all_of.rows_n)
    noise = all_of.variance_ratio
    kept = (each < 3 * np.median(each)) & (noise < 30 * np.median(noise))
    if kept.all() or np.count_nonzero(kept) < max(4, len(kept) // 2):
        return all_of, []
    taken = replace(
        all_of, root=all_of.root[kept], data=all_of.data[kept], variance_ratio=noise[kept], rows_n=all_of.rows_n[kept]
    )
    return taken, np.flatnonzero(~kept).tolist()
