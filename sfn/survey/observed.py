"""Measurements as what was observed: differences of two sites, and arrivals that one instrument took against one clock.

Rows of one impulse response share their reference arrival: with its error all of them are off together. Their
covariance is ``shared^2`` beside the diagonal ``uncertainty^2``. The same adjustment, term by term, is that of single
arrivals against the clock of the instrument, an unknown of its own: the reference's with ``shared``, each other's with
``sqrt(uncertainty^2 - shared^2)``. So every observation stays the difference of two unknowns.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sfn.errors import PlanError, Problem, Touch
from sfn.survey.adjustment import GREATEST_RATIO, Floats, Integers
from sfn.survey.measurements import Measurement


@dataclass(frozen=True, slots=True)
class Observed:
    """Differences of numbered unknowns: the sites, then the clocks of responses.

    Parameters
    ----------
    site, reference : ndarray of int (E,)
    difference_us, uncertainty_us : ndarray (E,)
        Misclosures, and standard uncertainties without what is shared. [us]
    row : ndarray of int (E,)
        Number of the measurement; -1 for the reference arrival of a response.
    shared : ndarray of int (E,)
        Number of the observation of the reference arrival that a row shares with others; -1 where it shares none.
    clocks_n : int
    """

    site: Integers
    reference: Integers
    difference_us: Floats
    uncertainty_us: Floats
    row: Integers
    shared: Integers
    clocks_n: int


def observed(
    measurements: Sequence[Measurement], *, misclosure_us: Floats, numbers: Mapping[str, int], used: Integers
) -> Observed:
    """What was observed, of the measurements that are used.

    Parameters
    ----------
    measurements : sequence of Measurement (M,)
    misclosure_us : ndarray (M,)
        Measured minus predicted. [us]
    numbers : mapping of str to int
        Of the sites, by id.
    used : ndarray of int
        Numbers of the measurements to use.

    Raises
    ------
    PlanError
        If one uncertainty is more than 1e12 times another, or rows of one response do not share one arrival.
    """
    sharing: dict[str, list[int]] = {}
    for n in used.tolist():
        if measurements[n].response:
            sharing.setdefault(measurements[n].response, []).append(n)
    sharing = {name: rows for name, rows in sharing.items() if len(rows) > 1}
    firsts = [measurements[rows[0]] for rows in sharing.values()]
    for first, rows in zip(firsts, sharing.values(), strict=True):
        _of_one_arrival(first, [measurements[n] for n in rows[1:]])
    clock_of = {n: k for k, rows in enumerate(sharing.values()) for n in rows}
    sites_n = len(numbers)
    ends = [
        (numbers[m.reference_site], sites_n + k, 0.0, m.shared_uncertainty_us, -1, -1) for k, m in enumerate(firsts)
    ]
    for n in used.tolist():
        m, k = measurements[n], clock_of.get(n)
        if k is None:
            ends.append((numbers[m.site], numbers[m.reference_site], misclosure_us[n], m.uncertainty_us, n, -1))
        else:
            own_us = float(np.sqrt(m.uncertainty_us**2 - m.shared_uncertainty_us**2))
            ends.append((numbers[m.site], sites_n + k, misclosure_us[n], own_us, n, k))
    site, reference, difference, sigma, row, shared = (np.array(column) for column in zip(*ends, strict=True))
    _comparable(measurements, sigma, row)
    return Observed(site, reference, difference, sigma, row, shared, len(firsts))


def _of_one_arrival(first: Measurement, others: Sequence[Measurement]) -> None:
    """Refuse rows of one response that do not tell the same of the arrival they share."""
    for m in others:
        ours = (m.reference_site, m.shared_uncertainty_us)
        if ours == (first.reference_site, first.shared_uncertainty_us):
            continue
        what = f"is of the response {m.response!r}, against {ours[0]} with {ours[1]:g} us shared"
        expected = f"{first.reference_site} and {first.shared_uncertainty_us:g} us, as {first.where or 'the first row'}"
        touches = (Touch(m.site), Touch(m.reference_site), Touch(first.reference_site))
        code = "response-shares-differ"
        raise PlanError([Problem(m.where or f"at {m.point}", what, expected, code=code, touches=touches)])


def _comparable(measurements: Sequence[Measurement], sigma: Floats, row: Integers) -> None:
    """Refuse uncertainties of which one makes nothing of the other."""
    least, greatest = float(sigma.min()), float(sigma.max())
    if greatest <= GREATEST_RATIO * least:
        return
    m = measurements[int(row[int(np.argmin(sigma))])]
    what = f"claims {least:g} us, and another measurement {greatest:g} us: no adjustment weighs the two together"
    raise PlanError(
        [
            Problem(
                m.where or f"{m.site} against {m.reference_site} at {m.point}",
                what,
                f"uncertainties within a factor of {GREATEST_RATIO:g} of each other",
                code="uncertainties-too-far-apart",
                touches=(Touch(m.site), Touch(m.reference_site)),
                values={"least_us": least, "greatest_us": greatest},
            )
        ]
    )
