"""Paths as they are answered: those that lie too close told as one, each with an interval that holds."""

from dataclasses import dataclass

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.survey.arrivals.fit import Fitted, Whitened, between, refined, solved
from sfn.survey.arrivals.order import edges, levels_db, misfit, resolution
from sfn.survey.spectra import Floats
from sfn.survey.verdict import NORMAL_95

# A path as strong that does not show lies within the resolution and moves the delay by half of that at most; most are
# weaker, and few stand at the worst phase of their carrier.
_HIDDEN_SHARE = 0.25
_BAND_US = 5.0
_STEADY_DB = 3.0
# What a path adds to another's level at the worst phase of its carrier: 20 dB weaker, and as strong.
_HIDDEN_LEVEL_DB, _HIDDEN_GROUP_DB = 20 * float(np.log10(1.1)), 20 * float(np.log10(2.0))
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
        Beside the strongest, and its standard uncertainty: noise and misfit or scatter between stretches, what the
        delays' own errors do to it, and `level_hidden_db`. [dB]
    level_hidden_db : float
        Part of it for one more path, 20 dB weaker, so close to this one or to the strongest that it does not show;
        where several are told as one, for a path as strong. [dB]
    resolution_us : float
        A second path as strong as this one that is nearer than that would not be told apart. [us]
    parted : bool
        True: parted from all that is listed; a path within the resolution of another is not seen. False: signs of two
        or more that lie closer together than the band parts, listed as one; `delay_us` lies in their middle.
    """

    delay_us: float
    uncertainty_us: float
    level_db: float
    level_uncertainty_db: float
    resolution_us: float
    hidden_us: float
    level_hidden_db: float
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


def _level_sigma(found: Fitted, all_of: Whitened, *, covariance: Floats, top: int) -> Floats:
    """Standard uncertainty of each level beside that of path `top`, without what does not show. [dB]

    Two parts: with the delays held, noise and misfit, or the scatter of the stretches where that is more; and the
    delays' covariance [samples^2], which all stretches share, carried to the levels. The second is the greater one
    where another path is near.
    """
    from scipy.stats import t

    power = np.abs(found.amplitude) ** 2
    each_db = 10 * np.log10(np.maximum(power / np.maximum(power[:, [top]], 1e-300), 1e-12))
    count = len(power)
    scatter = np.std(each_db, axis=0, ddof=1) / np.sqrt(count) * float(t.ppf(0.975, count - 1)) / NORMAL_95
    columns = all_of.root @ between(found.at_samples, columns=all_of.root.shape[2])
    inverse = np.linalg.pinv(columns.conj().transpose(0, 2, 1) @ columns, hermitian=True)
    ratio = np.eye(power.shape[1])[None, :, :] / np.maximum(np.abs(found.amplitude), 1e-150)[:, :, None]
    ratio = ratio * np.exp(-1j * np.angle(found.amplitude))[:, :, None]
    ratio = ratio - ratio[:, [top], :]
    noise = np.einsum("snk,skl,snl->sn", ratio, inverse, ratio.conj()).real * all_of.variance_ratio[:, None]
    claimed = 20 / np.log(10) * np.sqrt(noise.sum(axis=0) * misfit(found)) / count
    step = 0.01
    slope = np.empty((power.shape[1], power.shape[1]))
    for k, unit in enumerate(np.eye(power.shape[1])):
        more, less = (_beside(solved(all_of, found.at_samples + d * unit), top) for d in (step, -step))
        slope[:, k] = (more - less) / (2 * step)
    carried = np.einsum("nk,kl,nl->n", slope, covariance, slope)
    sigma = np.sqrt(np.maximum(scatter, claimed) ** 2 + np.maximum(carried, 0.0))
    sigma[top] = 0.0
    return np.asarray(sigma)


def _beside(found: Fitted, top: int) -> Floats:
    """Levels beside path `top`. [dB]"""
    power = np.mean(np.abs(found.amplitude) ** 2, axis=0)
    return np.asarray(10 * np.log10(power / power[top]))


def records(
    found: Fitted, covariance: Floats, members: list[Floats], all_of: Whitened, *, base_us: float, rate_hz: float
) -> tuple[Path, ...]:
    """The records; `covariance` gains what does not show."""
    level = levels_db(found)
    top = int(np.argmax(level))
    seen_db = _level_sigma(found, all_of, covariance=covariance * (rate_hz * 1e-6) ** 2, top=top)
    hidden_db = np.array([_HIDDEN_LEVEL_DB if len(m) == 1 else _HIDDEN_GROUP_DB for m in members]) / NORMAL_95
    hidden_db = np.hypot(hidden_db, hidden_db[top])
    hidden_db[top] = 0.0
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
                level_uncertainty_db=float(np.hypot(seen_db[n], hidden_db[n])),
                resolution_us=apart_us,
                hidden_us=hidden_us,
                level_hidden_db=float(hidden_db[n]),
                parted=len(those) == 1,
            )
        )
    return tuple(paths)
