"""Paths as they are answered: those that lie too close told as one, each with an interval that holds."""

from dataclasses import dataclass

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.survey.arrivals.fit import Fitted, Whitened, refined, solved
from sfn.survey.arrivals.order import edges, levels_db, misfit, resolution
from sfn.survey.spectra import Floats
from sfn.survey.verdict import NORMAL_95

# A path as strong that does not show lies within the resolution and moves the delay by half of that at most; most are
# weaker, and few stand at the worst phase of their carrier.
_HIDDEN_SHARE = 0.25
_BAND_US = 5.0
_STEADY_DB = 3.0
_PARTED_SIGMAS = 4.0


@dataclass(frozen=True, slots=True)
class Path:
    """One path, or several that cannot be parted.

    Parameters
    ----------
    delay_us, uncertainty_us : float
        At `Paths.at_s`, and its standard uncertainty: noise, misfit or scatter, and `hidden_us`. [us]
    hidden_us : float
        Part of it for one more path so close or so weak that it does not show. [us]
    level_db, level_uncertainty_db : float
        Beside the strongest. [dB]
    resolution_us : float
        A second path as strong as this one that is nearer than that would not be told apart. [us]
    parted : bool
        False: two or more that lie closer together than the band parts; `delay_us` lies in their middle.
    """

    delay_us: float
    uncertainty_us: float
    level_db: float
    level_uncertainty_db: float
    resolution_us: float
    hidden_us: float
    parted: bool = True


def _covariance(fitted: Fitted) -> Floats:
    """Of the delays: what noise and misfit explain, or the scatter between stretches where that is more. [samples^2]"""
    inverse = np.linalg.pinv(fitted.information)
    claimed = inverse * misfit(fitted)
    count = len(fitted.steps)
    scatter = inverse @ (fitted.steps.T @ fitted.steps) @ inverse * count / max(count - 2, 1)
    grown = np.sqrt(np.maximum(np.diag(scatter) / np.maximum(np.diag(claimed), 1e-300), 1.0))
    return np.asarray(claimed * np.outer(grown, grown))


def steady(found: Fitted, *, where: str) -> None:
    """Refuse paths that come and go: amplitudes are free in every stretch, so a slip looks like two of them."""
    power = np.abs(found.amplitude) ** 2
    share_db = 10 * np.log10(np.maximum(power / power.sum(axis=1, keepdims=True), 1e-3))
    moved_db = np.std(share_db, axis=0)[levels_db(found) > -15.0]
    if np.max(moved_db) > _STEADY_DB:
        what = f"the level of a path changes by {np.max(moved_db):.0f} dB (rms) within the recording"
        expected = "a recording without lost samples, without a changed setting and with the receiver at rest"
        values = {"level_change_db": float(np.max(moved_db))}
        raise PlanError([Problem(where, what, expected, code="levels-change", values=values)])


def parted(fitted: Fitted, all_of: Whitened, *, rate_hz: float) -> tuple[Fitted, Floats, list[Floats]]:
    """Paths in the order of delay, those too close fitted as one; covariance [us^2]; what each stands for."""
    order = np.argsort(fitted.at_samples)
    at, covariance = fitted.at_samples[order], _covariance(fitted)[np.ix_(order, order)]
    level = levels_db(fitted)[order]
    groups = [[0]]
    for k in range(1, len(at)):
        spacing = float(at[k] - at[k - 1])
        variance = covariance[k, k] + covariance[k - 1, k - 1] - 2 * covariance[k, k - 1]
        one, other = (k - 1, k) if level[k - 1] >= level[k] else (k, k - 1)
        least = resolution(all_of, fitted, path=int(order[one]), level_db=float(level[other]))
        near = spacing < max(least, _PARTED_SIGMAS * float(np.sqrt(max(variance, 0.0))))
        # What lies farther apart than the band's own width is never one path, however unsure both are.
        if near and spacing * 1e6 / rate_hz < _BAND_US:
            groups[-1].append(k)
        else:
            groups.append([k])
    members = [at[group] for group in groups]
    if len(groups) == len(at):
        return solved(all_of, at), covariance * (1e6 / rate_hz) ** 2, members
    low, high = edges(all_of)
    found = refined(all_of, np.array([float(np.mean(m)) for m in members]), low=low, high=high)
    whole = _covariance(found)
    # Paths that stand alone keep what the full fit says of them.
    alone = [n for n, group in enumerate(groups) if len(group) == 1]
    at_all = found.at_samples.copy()
    for n in alone:
        at_all[n] = members[n][0]
        whole[n, :] = whole[:, n] = 0.0
    for n in alone:
        for m in alone:
            whole[n, m] = covariance[groups[n][0], groups[m][0]]
    return solved(all_of, at_all), whole * (1e6 / rate_hz) ** 2, members


def records(
    found: Fitted, covariance: Floats, members: list[Floats], all_of: Whitened, *, base_us: float, rate_hz: float
) -> tuple[Path, ...]:
    """The records; `covariance` gains what does not show."""
    level = levels_db(found)
    power = np.abs(found.amplitude) ** 2
    each_db = 10 * np.log10(np.maximum(power / np.maximum(power[:, [int(np.argmax(level))]], 1e-300), 1e-12))
    level_sigma = np.std(each_db, axis=0, ddof=1) / np.sqrt(len(power))
    paths = []
    for n, those in enumerate(members):
        at = float(found.at_samples[n])
        apart_us = min(1e6 / rate_hz * resolution(all_of, found, path=n, level_db=float(level[n])), _BAND_US)
        hidden_us = _HIDDEN_SHARE * apart_us
        if len(those) > 1:
            far_us = float(np.max(np.abs(those - at))) * 1e6 / rate_hz
            hidden_us = (min(far_us, _BAND_US) + apart_us) / NORMAL_95
        covariance[n, n] += hidden_us**2
        paths.append(
            Path(
                delay_us=base_us + 1e6 * at / rate_hz,
                uncertainty_us=float(np.sqrt(covariance[n, n])),
                level_db=float(level[n]),
                level_uncertainty_db=float(level_sigma[n]),
                resolution_us=apart_us,
                hidden_us=hidden_us,
                parted=len(those) == 1,
            )
        )
    return tuple(paths)
