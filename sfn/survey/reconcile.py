"""Launch errors of sites from delay differences measured on air, and what the measurements are worth.

Observed: arrival of a site minus arrival of a reference site at a point. Predicted: the same from the plan, launch
time plus travel time. What is left, ``observed - predicted``, is the difference of two launch errors; least
squares over all of them gives each site's, up to one constant in each group of sites that points tie together.
A positive launch error means later than planned; the correction is its negative.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sfn.errors import Problem, Touch
from sfn.survey.adjustment import UNCHECKABLE_RATIO, Adjustment, Floats, Integers, adjust, huber_factor, likeness
from sfn.survey.measurements import Measurement

Verdict = Literal["fits", "doubtful", "suspect", "uncheckable", "left out"]

# Two-sided 5 % and 0.1 % of the normal distribution.
DOUBTFUL_RATIO = 1.960
SUSPECT_RATIO = 3.291
_ALIKE_RATIO = 0.99
_ROBUST_STEPS = 50


@dataclass(frozen=True, slots=True)
class SiteError:
    """What the measurements say of one site.

    Parameters
    ----------
    launch_error_us, correction_us : float or None
        Launch later than planned, and its negative: what to add to the site's delay. None without measurements. [us]
    uncertainty_us : float or None
        Standard uncertainty against the datum: the held site, or the mean of the group. [us]
    group : int or None
        Sites of one group are tied together; between groups nothing is known.
    """

    site: str
    launch_error_us: float | None
    correction_us: float | None
    uncertainty_us: float | None
    group: int | None
    held: bool
    observations_n: int


@dataclass(frozen=True, slots=True)
class Residual:
    """What the adjustment says of one measurement.

    Parameters
    ----------
    predicted_us, misclosure_us : float
        From the plan, and observed minus that. [us]
    residual_us : float
        Adjusted minus observed. [us]
    redundancy_ratio : float
        Share of its error that the others would show, 0 to 1.
    w_ratio : float or None
        Residual in its own standard uncertainties. None when nothing checks it.
    least_detectable_us : float or None
        Least error that would be found, with a chance of 80 % at the 0.1 % level. [us]
    weight_factor : float
        Below 1 where robust re-weighting took trust away.
    alike : tuple of int
        Numbers of measurements in which the same error may lie just as well.
    """

    measurement: Measurement
    predicted_us: float
    misclosure_us: float
    residual_us: float | None
    redundancy_ratio: float | None
    w_ratio: float | None
    least_detectable_us: float | None
    weight_factor: float
    verdict: Verdict
    alike: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """Launch errors, residuals, tests, and everything that must be said with them."""

    sites: tuple[SiteError, ...]
    residuals: tuple[Residual, ...]
    groups: tuple[tuple[str, ...], ...]
    rank: int
    freedom: int
    chi_square_ratio: float
    chi_square_limits: tuple[float, float]
    scale_ratio: float
    adjustment: Adjustment
    problems: tuple[Problem, ...]

    def difference(self, site: str, reference: str) -> tuple[float, float] | None:
        """Launch error of `site` minus that of `reference` and its standard uncertainty; None when not tied. [us]"""
        numbers = {s.site: k for k, s in enumerate(self.sites)}
        i, j = numbers[site], numbers[reference]
        if self.sites[i].group is None or self.sites[i].group != self.sites[j].group:
            return None
        q, value = self.adjustment.covariance_us2, self.adjustment.value_us
        variance = q[i, i] + q[j, j] - 2 * q[i, j]
        return float(value[i] - value[j]), float(np.sqrt(max(variance, 0.0)))


def reconcile(
    measurements: Sequence[Measurement],
    *,
    predicted_us: Floats,
    sites: Sequence[str],
    held: Sequence[str] = (),
    robust: bool = False,
    leave_out: Sequence[int] = (),
) -> Reconciliation:
    """Launch errors by weighted least squares.

    Parameters
    ----------
    measurements : sequence of Measurement (M,)
    predicted_us : ndarray (M,)
        Delay difference that the plan gives for each. [us]
    sites : sequence of str
        Ids of all sites; those without measurements are named in the answer.
    held : sequence of str
        Sites whose launch is taken to be as planned. A group without one has mean launch error 0.
    robust : bool
        Take weight away from measurements that stand out (Huber), instead of trusting all as they claim.
    leave_out : sequence of int
        Numbers of measurements not to use.

    Raises
    ------
    ValueError
        If a site is unknown or nothing is left to adjust.
    """
    numbers = {site: k for k, site in enumerate(sites)}
    unknown = sorted({s for m in measurements for s in (m.site, m.reference_site)} | set(held) - set(numbers))
    unknown = [s for s in unknown if s not in numbers]
    if unknown:
        raise ValueError(f"sites must hold every site measured, got none named {', '.join(unknown)}")
    used = np.array([k for k in range(len(measurements)) if k not in set(leave_out)], dtype=np.int64)
    i = np.array([numbers[measurements[k].site] for k in used], dtype=np.int64)
    j = np.array([numbers[measurements[k].reference_site] for k in used], dtype=np.int64)
    observed = np.array([m.delay_difference_us for m in measurements]) - predicted_us
    sigma = np.array([m.uncertainty_us for m in measurements])
    datum = {numbers[site]: 0.0 for site in held}
    found, factor = _adjusted(i, j, observed[used], sigma[used], sites_n=len(sites), held=datum, robust=robust)
    alike = _alike(found, i, j, sigma[used] / np.sqrt(factor), numbers=used)
    residuals = _residuals(measurements, predicted_us, found, used=used, factor=factor, alike=alike)
    errors = _site_errors(found, i, j, sites=sites, held=set(held))
    groups = tuple(
        tuple(site for site, number in zip(sites, found.group, strict=True) if number == g)
        for g in range(int(found.group.max()) + 1)
    )
    answer = Reconciliation(
        sites=errors,
        residuals=residuals,
        groups=groups,
        rank=found.rank,
        freedom=found.freedom,
        chi_square_ratio=found.chi_square_ratio,
        chi_square_limits=found.chi_square_limits,
        scale_ratio=found.scale_ratio,
        adjustment=found,
        problems=(),
    )
    return replace(answer, problems=tuple(_problems(answer, held=held)))


def snoop(
    measurements: Sequence[Measurement],
    *,
    predicted_us: Floats,
    sites: Sequence[str],
    held: Sequence[str] = (),
    most: int = 10,
) -> tuple[Reconciliation, tuple[int, ...]]:
    """The same with suspects left out one at a time, the worst first, until none is left or two cannot be told apart.

    Returns
    -------
    answer : Reconciliation
    left_out : tuple of int
        Numbers of the measurements left out, in the order in which they fell.
    """
    out: list[int] = []
    while True:
        answer = reconcile(measurements, predicted_us=predicted_us, sites=sites, held=held, leave_out=out)
        suspects = [k for k, r in enumerate(answer.residuals) if r.verdict == "suspect"]
        worst = max(suspects, key=lambda k: abs(answer.residuals[k].w_ratio or 0.0), default=None)
        if worst is None or answer.residuals[worst].alike or len(out) >= most:
            return answer, tuple(out)
        out.append(worst)


def _adjusted(
    i: Integers, j: Integers, observed: Floats, sigma: Floats, *, sites_n: int, held: Mapping[int, float], robust: bool
) -> tuple[Adjustment, Floats]:
    """The adjustment and the factors on the weights, 1 unless `robust`."""
    factor = np.ones(len(i))
    found = adjust(i, j, difference_us=observed, uncertainty_us=sigma, sites_n=sites_n, held_us=held)
    scale = sigma * np.sqrt(np.maximum(found.redundancy_ratio, UNCHECKABLE_RATIO))
    checked = found.redundancy_ratio > UNCHECKABLE_RATIO
    for _ in range(_ROBUST_STEPS if robust else 0):
        new = huber_factor(np.where(checked, found.residual_us / scale, np.nan))
        if np.max(np.abs(new - factor)) < 1e-4:
            break
        factor = new
        found = adjust(
            i, j, difference_us=observed, uncertainty_us=sigma / np.sqrt(factor), sites_n=sites_n, held_us=held
        )
    if robust:
        # What stands out is judged by the uncertainty it claims, not by the one it was left with.
        found = replace(found, w_ratio=np.where(checked, found.residual_us / scale, np.nan))
    return found, factor


def _alike(found: Adjustment, i: Integers, j: Integers, sigma: Floats, *, numbers: Integers) -> dict[int, list[int]]:
    """For every suspect the measurements whose w moves with its own."""
    alike = {}
    for k in np.flatnonzero(np.nan_to_num(np.abs(found.w_ratio)) > SUSPECT_RATIO):
        close = np.abs(likeness(found, i, j, uncertainty_us=sigma, at=int(k))) > _ALIKE_RATIO
        close[k] = False
        alike[int(numbers[k])] = [int(n) for n in numbers[close]]
    return alike


def _verdict(w: float) -> Verdict:
    """A word for w."""
    if np.isnan(w):
        return "uncheckable"
    return "suspect" if abs(w) > SUSPECT_RATIO else "doubtful" if abs(w) > DOUBTFUL_RATIO else "fits"


def _residuals(
    measurements: Sequence[Measurement],
    predicted_us: Floats,
    found: Adjustment,
    *,
    used: Integers,
    factor: Floats,
    alike: Mapping[int, list[int]],
) -> tuple[Residual, ...]:
    """One record a measurement, also for those left out."""
    place = {int(n): k for k, n in enumerate(used)}
    rows = []
    for n, m in enumerate(measurements):
        k = place.get(n)
        w = float("nan") if k is None else float(found.w_ratio[k])
        least = float("inf") if k is None else float(found.least_detectable_us[k])
        rows.append(
            Residual(
                measurement=m,
                predicted_us=float(predicted_us[n]),
                misclosure_us=float(m.delay_difference_us - predicted_us[n]),
                residual_us=None if k is None else float(found.residual_us[k]),
                redundancy_ratio=None if k is None else float(found.redundancy_ratio[k]),
                w_ratio=None if np.isnan(w) else w,
                least_detectable_us=least if np.isfinite(least) else None,
                weight_factor=0.0 if k is None else float(factor[k]),
                verdict="left out" if k is None else _verdict(w),
                alike=tuple(alike.get(n, ())),
            )
        )
    return tuple(rows)


def _site_errors(
    found: Adjustment, i: Integers, j: Integers, *, sites: Sequence[str], held: set[str]
) -> tuple[SiteError, ...]:
    """One record a site."""
    counts = np.bincount(np.concatenate((i, j)), minlength=len(sites))
    rows = []
    for k, site in enumerate(sites):
        known = found.group[k] >= 0
        error = float(found.value_us[k])
        rows.append(
            SiteError(
                site=site,
                launch_error_us=error if known else None,
                correction_us=0.0 - error if known else None,
                uncertainty_us=float(found.uncertainty_us[k]) if known else None,
                group=int(found.group[k]) if known else None,
                held=site in held,
                observations_n=int(counts[k]),
            )
        )
    return tuple(rows)


def _problems(answer: Reconciliation, *, held: Sequence[str]) -> list[Problem]:
    """What must be said with the numbers, worst first."""
    problems = []
    if len(answer.groups) > 1:
        listed = "; ".join(", ".join(group) for group in answer.groups)
        what = f"the measurements fall into {len(answer.groups)} groups that nothing ties together: {listed}"
        problems.append(
            _warning(
                "groups",
                what,
                "a point where a site of each group is heard",
                code="groups-apart",
                sites=[s for group in answer.groups for s in group],
            )
        )
    for group in answer.groups:
        if not set(group) & set(held):
            what = f"no site of {', '.join(group)} is held: only their differences are known, their mean is set to zero"
            problems.append(_warning("held", what, "the site whose launch is sure", code="no-site-held", sites=group))
    silent = [s.site for s in answer.sites if s.group is None]
    if silent:
        what = f"nothing was measured of {', '.join(silent)}"
        problems.append(
            _warning(
                "sites", what, "a point where it and another site are heard", code="site-not-measured", sites=silent
            )
        )
    low, high = answer.chi_square_limits
    if answer.freedom == 0:
        what = "as many measurements as unknowns: nothing checks them"
        problems.append(_warning("freedom", what, "more points or more pairs", code="nothing-to-spare"))
    elif answer.chi_square_ratio > high:
        found = f"{answer.chi_square_ratio:.1f} over {high:.1f}"
        what = f"the measurements contradict each other more than they claim: {found}"
        expected = f"uncertainties {answer.scale_ratio:.1f} times as large, or the suspects left out"
        problems.append(
            _warning(
                "chi_square",
                what,
                expected,
                code="measurements-contradict",
                values={"chi_square_ratio": answer.chi_square_ratio, "greatest_ratio": high},
            )
        )
    elif answer.chi_square_ratio < low:
        what = f"the measurements agree better than they claim: {answer.chi_square_ratio:.2f} under {low:.2f}"
        problems.append(
            _warning(
                "chi_square",
                what,
                "smaller uncertainties, or independent measurements",
                code="uncertainties-too-large",
                values={"chi_square_ratio": answer.chi_square_ratio, "least_ratio": low},
            )
        )
    return problems + _doubted(answer)


def _doubted(answer: Reconciliation) -> list[Problem]:
    """Suspects and measurements that nothing checks, by name."""
    problems = []
    for row in answer.residuals:
        m = row.measurement
        name, both = f"{m.site} against {m.reference_site} at {m.point}, {m.when}", (m.site, m.reference_site)
        if row.verdict == "suspect":
            off_us, w = abs(row.residual_us or 0.0), abs(row.w_ratio or 0.0)
            what = f"{name}: {off_us:.3f} us off, {w:.1f} times the standard deviation of what is left"
            others = [answer.residuals[k].measurement for k in row.alike]
            if others:
                listed = ", ".join(f"{o.site} against {o.reference_site} at {o.point}" for o in others)
                what += f"; the error may as well be in {listed}"
            values = {"residual_us": row.residual_us, "w_ratio": row.w_ratio}
            problems.append(
                _warning(m.where, what, "measured again", code="measurement-suspect", sites=both, values=values)
            )
        if row.verdict == "uncheckable":
            what = f"{name}: no other measurement checks it"
            problems.append(
                _warning(m.where, what, "a second way to the same sites", code="measurement-unchecked", sites=both)
            )
    return problems


def _warning(
    where: str,
    what: str,
    expected: str,
    *,
    code: str,
    sites: Sequence[str] = (),
    values: Mapping[str, float | None] | None = None,
) -> Problem:
    """Something that makes the answer doubtful, with the sites it touches."""
    touches = tuple(Touch(site) for site in sites)
    return Problem(where, what, expected, "warning", code=code, touches=touches, values=values or {})
