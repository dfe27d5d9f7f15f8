"""Launch errors of sites from delay differences measured on air, and what the measurements are worth.

Observed: arrival of a site minus arrival of a reference site at a point. Predicted: the same from the plan, launch
time plus travel time. What is left, ``observed - predicted``, is the difference of two launch errors; least
squares over all of them gives each site's, up to one constant in each group of sites that points tie together.
A positive launch error means later than planned; the correction is its negative.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from sfn.errors import Problem, Touch
from sfn.survey.adjustment import UNCHECKABLE_RATIO, Adjustment, Floats, Integers, adjust, huber_factor, likeness
from sfn.survey.launch_errors import Reconciliation, Residual, SharedArrival, SiteError, Verdict
from sfn.survey.measurements import Measurement
from sfn.survey.observed import Observed, observed

# Two-sided 5 % and 0.1 % of the normal distribution.
DOUBTFUL_RATIO = 1.960
SUSPECT_RATIO = 3.291
_ALIKE_RATIO = 0.99
_ROBUST_STEPS = 50


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
    PlanError
        If uncertainties are too far apart to be weighed together.
    """
    numbers = {site: k for k, site in enumerate(sites)}
    unknown = sorted({s for m in measurements for s in (m.site, m.reference_site)} | set(held) - set(numbers))
    unknown = [s for s in unknown if s not in numbers]
    if unknown:
        raise ValueError(f"sites must hold every site measured, got none named {', '.join(unknown)}")
    used = np.array([k for k in range(len(measurements)) if k not in set(leave_out)], dtype=np.int64)
    misclosure_us = np.array([m.delay_difference_us for m in measurements]) - predicted_us
    seen = observed(measurements, misclosure_us=misclosure_us, numbers=numbers, used=used)
    datum = {numbers[site]: 0.0 for site in held}
    found, factor = _adjusted(seen, sites_n=len(sites), held=datum, robust=robust)
    residuals = _residuals(measurements, predicted_us, found, seen=seen, factor=factor)
    errors = _site_errors(found, measurements, used, sites=sites, held=set(held))
    groups = tuple(
        tuple(site for site, number in zip(sites, found.group, strict=False) if number == g)
        for g in range(int(found.group.max()) + 1)
    )
    answer = Reconciliation(
        sites=errors,
        residuals=residuals,
        shared=_shared(found, seen, measurements),
        groups=groups,
        rank=found.rank - seen.clocks_n,
        freedom=found.freedom,
        chi_square_ratio=found.chi_square_ratio,
        chi_square_limits=found.chi_square_limits,
        scale_ratio=found.scale_ratio,
        adjustment=found,
        problems=(),
    )
    grown = tuple(_grown(site, answer.growth_ratio) for site in errors)
    problems = _problems(answer, held=held) + _shared_doubted(answer)
    return replace(answer, sites=grown, problems=tuple(problems))


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
        arrival = max(answer.shared, key=lambda one: abs(one.w_ratio or 0.0), default=None)
        least = SUSPECT_RATIO if worst is None else abs(answer.residuals[worst].w_ratio or 0.0)
        if arrival is not None and abs(arrival.w_ratio or 0.0) > least and len(out) + len(arrival.rows) <= most:
            # What its rows share is worse than any of them: they go together.
            out.extend(arrival.rows)
            continue
        if worst is None or answer.residuals[worst].alike or len(out) >= most:
            return answer, tuple(out)
        out.append(worst)


def _adjusted(seen: Observed, *, sites_n: int, held: Mapping[int, float], robust: bool) -> tuple[Adjustment, Floats]:
    """The adjustment and the factors on the weights, 1 unless `robust`."""

    def weighed(factor: Floats) -> Adjustment:
        return adjust(
            seen.site,
            seen.reference,
            difference_us=seen.difference_us,
            uncertainty_us=seen.uncertainty_us / np.sqrt(factor),
            sites_n=sites_n,
            held_us=held,
            clocks_n=seen.clocks_n,
        )

    factor = np.ones(len(seen.site))
    found = weighed(factor)
    scale = seen.uncertainty_us * np.sqrt(np.maximum(found.redundancy_ratio, UNCHECKABLE_RATIO))
    checked = found.redundancy_ratio > UNCHECKABLE_RATIO
    for _ in range(_ROBUST_STEPS if robust else 0):
        new = huber_factor(np.where(checked, found.residual_us / scale, np.nan))
        if np.max(np.abs(new - factor)) < 1e-4:
            break
        factor = new
        found = weighed(factor)
    if robust:
        # What stands out is judged by the uncertainty it claims, not by the one it was left with.
        found = replace(found, w_ratio=np.where(checked, found.residual_us / scale, np.nan))
    return found, factor


def _alike(found: Adjustment, seen: Observed, factor: Floats, *, at: int) -> tuple[int, ...]:
    """Measurements whose w moves with that of one; for the reference of a response all its rows stand."""
    sigma = seen.uncertainty_us / np.sqrt(factor)
    close = np.abs(likeness(found, seen.site, seen.reference, uncertainty_us=sigma, at=at)) > _ALIKE_RATIO
    close[at] = False
    for reference in np.flatnonzero(close & (seen.row < 0)):
        close |= (seen.shared == reference) & (np.arange(len(close)) != at)
    return tuple(int(n) for n in seen.row[close] if n >= 0)


def _verdict(w: float) -> Verdict:
    """A word for w."""
    if np.isnan(w):
        return "uncheckable"
    return "suspect" if abs(w) > SUSPECT_RATIO else "doubtful" if abs(w) > DOUBTFUL_RATIO else "fits"


def _residuals(
    measurements: Sequence[Measurement], predicted_us: Floats, found: Adjustment, *, seen: Observed, factor: Floats
) -> tuple[Residual, ...]:
    """One record a measurement, also for those left out."""
    # What is left of a row of a response is against its reference arrival, with what is left of that.
    shared = np.where(seen.shared >= 0, found.residual_us[seen.shared], 0.0)
    left_us = found.residual_us - shared
    place = {int(n): k for k, n in enumerate(seen.row) if n >= 0}
    rows = []
    for n, m in enumerate(measurements):
        k = place.get(n)
        w = float("nan") if k is None else float(found.w_ratio[k])
        least = float("inf") if k is None else float(found.least_detectable_us[k])
        suspect = k is not None and abs(w) > SUSPECT_RATIO
        rows.append(
            Residual(
                measurement=m,
                predicted_us=float(predicted_us[n]),
                misclosure_us=float(m.delay_difference_us - predicted_us[n]),
                residual_us=None if k is None else float(left_us[k]),
                redundancy_ratio=None if k is None else float(found.redundancy_ratio[k]),
                w_ratio=None if np.isnan(w) else w,
                least_detectable_us=least if np.isfinite(least) else None,
                weight_factor=0.0 if k is None else float(factor[k]),
                verdict="left out" if k is None else _verdict(w),
                alike=_alike(found, seen, factor, at=k) if suspect and k is not None else (),
            )
        )
    return tuple(rows)


def _site_errors(
    found: Adjustment, measurements: Sequence[Measurement], used: Integers, *, sites: Sequence[str], held: set[str]
) -> tuple[SiteError, ...]:
    """One record a site, its uncertainty as claimed."""
    counts = Counter(site for n in used for site in (measurements[n].site, measurements[n].reference_site))
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
                claimed_uncertainty_us=float(found.uncertainty_us[k]) if known else None,
                group=int(found.group[k]) if known else None,
                held=site in held,
                observations_n=counts[site],
            )
        )
    return tuple(rows)


def _grown(site: SiteError, ratio: float) -> SiteError:
    """The site with an uncertainty as the measurements scatter."""
    claimed_us = site.claimed_uncertainty_us
    return replace(site, uncertainty_us=None if claimed_us is None else claimed_us * ratio)


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
        what += f"; every uncertainty below is {answer.scale_ratio:.1f} times what they claim"
        expected = "uncertainties that are true, or the suspects left out"
        problems.append(
            _warning(
                "chi_square",
                what,
                expected,
                code="measurements-contradict",
                values={
                    "chi_square_ratio": answer.chi_square_ratio,
                    "greatest_ratio": high,
                    "growth_ratio": answer.growth_ratio,
                },
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
            values = {"residual_us": row.residual_us, "left_over_us": row.left_over_us, "w_ratio": row.w_ratio}
            problems.append(
                _warning(m.where, what, "measured again", code="measurement-suspect", sites=both, values=values)
            )
        if row.verdict == "uncheckable":
            what = f"{name}: no other measurement checks it"
            problems.append(
                _warning(m.where, what, "a second way to the same sites", code="measurement-unchecked", sites=both)
            )
    return problems


def _shared(found: Adjustment, seen: Observed, measurements: Sequence[Measurement]) -> tuple[SharedArrival, ...]:
    """What the adjustment says of the reference arrivals of responses."""
    arrivals = []
    for k in np.flatnonzero(seen.row < 0):
        rows = tuple(int(n) for n in seen.row[seen.shared == k])
        m, w = measurements[rows[0]], float(found.w_ratio[k])
        left_us = 0.0 - float(found.residual_us[k])
        arrivals.append(
            SharedArrival(m.response, m.reference_site, m.where, left_us, None if np.isnan(w) else 0.0 - w, rows)
        )
    return tuple(arrivals)


def _shared_doubted(answer: Reconciliation) -> list[Problem]:
    """Reference arrivals that stand out: with one all rows of its response are off together."""
    problems = []
    for one in answer.shared:
        if one.w_ratio is None or abs(one.w_ratio) <= SUSPECT_RATIO:
            continue
        what = f"{one.response}: its reference arrival, of {one.site}, is {abs(one.left_over_us):.3f} us off"
        what += f", {abs(one.w_ratio):.1f} times the standard deviation of what is left: all its rows are in doubt"
        values = {"left_over_us": one.left_over_us, "w_ratio": one.w_ratio}
        code = "response-reference-suspect"
        problems.append(_warning(one.where, what, "measured again", code=code, sites=(one.site,), values=values))
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
