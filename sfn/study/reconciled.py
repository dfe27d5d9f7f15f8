"""The answer of ``reconcile``: launch errors from measurements, and what explains them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.survey.as_planned import held_in_group
from sfn.survey.cause import Guess
from sfn.survey.explain import site_guesses
from sfn.survey.launch_errors import Reconciliation
from sfn.survey.measurements import Measurement, doubted, planes
from sfn.survey.prediction import planned_differences
from sfn.survey.reconcile import reconcile, snoop
from sfn.survey.taken_up import InHand, fingerprint, in_hand, made_before
from sfn.terrain.dem import Terrain
from sfn.timing import delay_table

TIME_EXPECTED = "date and time with a zone, as 2026-09-14 08:30+00:00"


Way = Literal["all", "robust", "without suspects"]


@dataclass(frozen=True, slots=True)
class Reconciled:
    """Everything that a page, a script or a terminal shows of one reconciliation."""

    network: Network
    found: Reconciliation
    guesses: dict[str, Guess]
    held: tuple[str, ...]
    left_out: tuple[int, ...]
    problems: tuple[Problem, ...]
    hand: InHand
    as_set: bool = False
    """Whether it was compared with what is set now."""
    excluded: frozenset[str] = frozenset()
    """Fingerprints of measurements that somebody excluded."""


def reconciled(
    network: Network,
    measurements: Sequence[Measurement],
    *,
    held: Sequence[str] = (),
    way: Way = "all",
    as_set: bool = False,
    terrain: Terrain | None = None,
    doubts: Sequence[Problem] = (),
    excluded: Sequence[Measurement] = (),
) -> Reconciled:
    """Launch errors of a network's sites from measured delay differences.

    Parameters
    ----------
    network : Network
    measurements : sequence of Measurement
        From `sfn.survey.measurements`.
    held : sequence of str
        Sites whose launch is taken to be as planned.
    way : {'all', 'robust', 'without suspects'}
        All measurements as they claim; those that stand out with less weight; or suspects left out, the worst first.
    as_set : bool
        Compare with what is set now instead of the computed settings.
    terrain : Terrain, optional
        Ground at points whose height was not told; the network's plain without it.
    doubts : sequence of Problem
        About the table that the measurements stood in; they become the first of the answer's problems.
    excluded : sequence of Measurement
        Those that somebody excluded by name: not used, though the document may keep them from a correction.

    Raises
    ------
    PlanError
        If a position cannot be read or a held site does not exist.
    """
    sites = tuple(site.id for site in network.sites)
    unknown = [s for s in held if s not in sites]
    if unknown:
        raise PlanError(
            [
                Problem(
                    "hold",
                    f"there is no site {', '.join(unknown)}",
                    f"one of {', '.join(sites)}",
                    code="unknown-site",
                    fields=("hold",),
                    values={"site": unknown[0]},
                )
            ]
        )
    gone = frozenset(map(fingerprint, excluded))
    hand = in_hand(network, delay_table(network), measurements, as_set=as_set, excluded=gone)
    rows = hand.measurements
    predicted = planned_differences(network, rows, terrain=terrain, as_set=as_set)
    left_out: tuple[int, ...] = ()
    if way == "without suspects":
        found, left_out = snoop(rows, predicted_us=predicted, sites=sites, held=held)
    else:
        found = reconcile(rows, predicted_us=predicted, sites=sites, held=held, robust=way == "robust")
    found = _from_before(found, hand.taken_us)
    older = (*_counted_before(network, rows), *_counted_together(hand))
    problems = (*doubts, *planes(rows), *doubted(rows), *older, *found.problems)
    return Reconciled(network, found, site_guesses(network, found), tuple(held), left_out, problems, hand, as_set, gone)


def _from_before(found: Reconciliation, taken_us: Mapping[str, float]) -> Reconciliation:
    """Launch errors of groups without a held site, counted from the plan as it was before they were taken up.

    With none held the mean of a group is set to zero. Set to zero anew after each correction, a site that takes up its
    share would take up half of what is left, and again half of that, with every table that is sent.
    """
    error_us = {s.site: s.launch_error_us for s in found.sites if s.launch_error_us is not None}
    moved: dict[str, float] = {}
    for group in found.groups:
        known = [site for site in group if site in error_us]
        if known and held_in_group(found, known[0]) is None and any(taken_us.get(site) for site in known):
            mean_us = float(np.mean([error_us[site] + taken_us.get(site, 0.0) for site in known]))
            moved |= {site: error_us[site] - mean_us for site in known}
    sites = (
        replace(s, launch_error_us=moved[s.site], correction_us=0.0 - moved[s.site]) if s.site in moved else s
        for s in found.sites
    )
    return replace(found, sites=tuple(sites))


def _counted_before(network: Network, measurements: Sequence[Measurement]) -> tuple[Problem, ...]:
    """What is said of measurements that are older than a correction."""
    known = [found for found in made_before(network, measurements) if found is not None]
    sure = [found for found in known if found.sure != "not sure"]
    told = []
    if sure:
        last = max(found.correction.taken_at for found in sure)
        what = f"{len(sure)} of these were made before the correction of {last}: held against the settings of then"
        told.append(Problem("when", what, "nothing", "warning", code="measured-before-correction"))
    if len(known) > len(sure):
        last = max(found.correction.taken_at for found in known)
        what = f"{len(known) - len(sure)} of these may be older than the correction of {last}: taken to be"
        told.append(Problem("when", what, TIME_EXPECTED, "warning", code="time-not-sure"))
    return tuple(told)


def _counted_together(hand: InHand) -> tuple[Problem, ...]:
    """What is said of measurements that were left out, and of those that the plan keeps."""
    told = []
    if hand.kept_n:
        what = f"{hand.kept_n} more that the plan keeps were made with the same settings: all are adjusted together"
        told.append(Problem("when", what, "nothing", "warning", code="measured-with-kept"))
    if hand.repeated:
        at = ", ".join(m.where or m.point for m in hand.repeated[:5]) + (", ..." if len(hand.repeated) > 5 else "")
        what = f"{len(hand.repeated)} stand there twice (sites, place, value and minute alike) and count once: {at}"
        told.append(Problem("rows", what, "each measurement once", "warning", code="measurement-repeated"))
    if hand.superseded:
        what = f"{len(hand.superseded)} were made before a site was set anew and measured again: left out"
        told.append(Problem("when", what, "nothing", "warning", code="measurement-superseded"))
    return tuple(told)
