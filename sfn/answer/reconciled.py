"""The answer of ``reconcile``: launch errors from measurements, what explains them, and the plan corrected by them."""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

import numpy as np

from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Network
from sfn.report.vector import collection, point_feature
from sfn.survey.as_planned import datum, held_in_group
from sfn.survey.cause import Guess
from sfn.survey.explain import site_guesses
from sfn.survey.launch_errors import Reconciliation, Residual, SiteError
from sfn.survey.measurements import Measurement, planes
from sfn.survey.prediction import planned_differences
from sfn.survey.reconcile import reconcile, snoop
from sfn.survey.taken_up import fingerprint, in_force_us, made_before
from sfn.terrain.dem import Terrain
from sfn.timing import delay_table
from sfn.units import finite_or_none

TIME_EXPECTED = "date and time with a zone, as 2026-09-14 08:30+00:00"
RESIDUAL_SIGN = "left_over_us: measured minus adjusted; residual_us, w_ratio: adjusted minus measured"
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
    as_set: bool = False
    """Whether it was compared with what is set now."""


def reconciled(
    network: Network,
    measurements: Sequence[Measurement],
    *,
    held: Sequence[str] = (),
    way: Way = "all",
    as_set: bool = False,
    terrain: Terrain | None = None,
    doubts: Sequence[Problem] = (),
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
        Ground at points whose height was not told; sea level without it.
    doubts : sequence of Problem
        About the table that the measurements stood in; they become the first of the answer's problems.

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
    predicted = planned_differences(network, measurements, terrain=terrain, as_set=as_set)
    left_out: tuple[int, ...] = ()
    if way == "without suspects":
        found, left_out = snoop(measurements, predicted_us=predicted, sites=sites, held=held)
    else:
        found = reconcile(measurements, predicted_us=predicted, sites=sites, held=held, robust=way == "robust")
    older = _counted_before(network, measurements)
    problems = (*doubts, *planes(tuple(measurements)), *older, *found.problems)
    return Reconciled(network, found, site_guesses(network, found), tuple(held), left_out, problems, as_set)


def document(answer: Reconciled) -> dict[str, Any]:
    """The JSON document of ``reconcile --json``."""
    found = answer.found
    low, high = found.chi_square_limits
    return {
        "network": answer.network.name,
        "measurements_n": len(found.residuals),
        "held": list(answer.held),
        "sites": [_site(s, answer.guesses[s.site]) for s in found.sites],
        "groups": [list(group) for group in found.groups],
        "rank": found.rank,
        "freedom": found.freedom,
        "chi_square": found.chi_square_ratio,
        "chi_square_low": finite_or_none(low),
        "chi_square_high": finite_or_none(high),
        "scale_ratio": finite_or_none(found.scale_ratio),
        "growth_ratio": found.growth_ratio,
        "residuals": [_residual(row) for row in found.residuals],
        "suspects": [k for k, row in enumerate(found.residuals) if row.verdict == "suspect"],
        "uncheckable": [k for k, row in enumerate(found.residuals) if row.verdict == "uncheckable"],
        "left_out": list(answer.left_out),
        "problems": [p.as_json() for p in answer.problems],
    }


def residual_places(answer: Reconciled) -> dict[str, Any]:
    """Every measurement where it was taken, as GeoJSON on WGS84; properties as the residuals of the JSON document.

    Each says in `residual_sign` which of its two keys has which sign.
    """
    names = {site.id: site.name for site in answer.network.sites}
    features = []
    for number, row in enumerate(answer.found.residuals, start=1):
        m, told = row.measurement, _residual(row)
        label = f"{number}. {names[m.site]} - {names[m.reference_site]}: {row.verdict}"
        lat, lon = told.pop("lat"), told.pop("lon")
        told["residual_sign"] = RESIDUAL_SIGN
        # Nested values have no place in KML's extended data.
        told["alike"] = ", ".join(str(k + 1) for k in row.alike)
        features.append(point_feature(lon, lat, {"label": label, **told}))
    return collection(features)


def correctable_stages(network: Network, site_id: str) -> tuple[str, ...]:
    """Stages whose latency may take up a site's launch error: its own, given in us, nearest the antenna first."""
    site = next(s for s in network.sites if s.id == site_id)
    main = next((c.stages for c in site.chains if c.route == "main"), ())
    elsewhere = {i for s in network.sites if s.id != site_id for c in s.chains for i in c.stages}
    given = {s.id for s in network.stages if s.latency_us is not None}
    return tuple(i for i in reversed(main) if i in given and i not in elsewhere)


def corrected(
    tree: Mapping[str, Any], answer: Reconciled, *, stages: Mapping[str, str], taken_at: datetime
) -> dict[str, Any]:
    """The document with launch errors taken up by the latency of a stage of each chosen site.

    Whether the settings worked out from it then launch the sites as planned, `sfn.survey.as_planned` says. What a
    parent launches too late its child, fed off air, launches too late as well: only the rest is the child's own. The
    document keeps which measurements
    were taken up and which settings were in force then, so that none of them counts again.

    Parameters
    ----------
    tree : mapping
        The network document as it was typed.
    answer : Reconciled
    stages : mapping of site id to stage id
        One of `correctable_stages` each.
    taken_at : datetime
        Now, with its zone. The day becomes the latency's.

    Raises
    ------
    PlanError
        If a site has no launch error, a stage may not take it, its measurements were taken up already or cannot be
        told from those, nothing ties it to its parent, or a latency would become negative.
    """
    at = taken_at.astimezone(UTC)
    errors = {s.site: s for s in answer.found.sites}
    parents = {s.id: s.fed_off_air_from for s in answer.network.sites}
    changed: dict[str, Any] = copy.deepcopy(dict(tree))
    problems: list[Problem] = []
    amounts_us: dict[str, float] = {}
    for site_id, stage_id in stages.items():
        site = errors.get(site_id)
        if site is None or site.launch_error_us is None or site.uncertainty_us is None:
            problems.append(
                _no(site_id, "has no launch error to take up", "a site that was measured", "no-launch-error")
            )
            continue
        allowed = correctable_stages(answer.network, site_id)
        if stage_id not in allowed:
            what, expected = f"cannot correct {stage_id!r}", f"one of {', '.join(allowed)}"
            problems.append(_no(site_id, what, expected, "stage-not-correctable", stage_id))
            continue
        taken = _taken_already(answer, site_id, stage_id)
        if taken is not None:
            problems.append(taken)
            continue
        own = _own_error(answer, site_id, parents.get(site_id))
        if own is None:
            what = f"no measurement ties it to {parents[site_id]}, which feeds it: its own part cannot be told"
            expected = "a point where both are heard, or a held site in each group"
            problems.append(_no(site_id, what, expected, "parent-not-tied", stage_id))
            continue
        own_us, sigma_us = own
        row = next(s for s in changed["stages"] if s["id"] == stage_id)
        latency_us = round(row["latency_us"] + own_us, 4)
        if latency_us < 0:
            what, expected = (
                f"{stage_id!r} would take {latency_us:g} us",
                "another stage: this one is shorter than that",
            )
            problems.append(_no(site_id, what, expected, "latency-would-be-negative", stage_id))
            continue
        against = datum(answer.found, site_id)
        _take_up(row, latency_us=latency_us, own_us=own_us, sigma_us=sigma_us, against=against, day=f"{at:%Y-%m-%d}")
        amounts_us[site_id] = round(own_us, 4)
    if problems:
        raise PlanError(problems)
    used = [row.measurement for row in answer.found.residuals]
    _mark_older(changed, answer.network, used)
    record = {
        "taken_at": f"{at:%Y-%m-%dT%H:%M:%SZ}",
        "rows": sorted({fingerprint(m) for m in used}),
        "set_us": in_force_us(delay_table(answer.network), as_set=answer.as_set),
        "stages": dict(stages),
        "amounts_us": amounts_us,
    }
    changed["corrections"] = [*(changed.get("corrections") or ()), record]
    return changed


def _own_error(answer: Reconciled, site_id: str, parent_id: str | None) -> tuple[float, float] | None:
    """A site's launch error without its parent's, and its standard uncertainty; None when they are not tied. [us]"""
    errors = {s.site: s for s in answer.found.sites}
    site, parent = errors[site_id], errors.get(parent_id or "")
    if parent is None or parent.launch_error_us is None:
        return float(site.launch_error_us or 0.0), float(site.uncertainty_us or 0.0)
    tied = answer.found.difference(site_id, parent.site)
    if tied is not None or None in (held_in_group(answer.found, site_id), held_in_group(answer.found, parent.site)):
        return tied
    spread_us = float(np.hypot(site.uncertainty_us or 0.0, parent.uncertainty_us or 0.0))
    return float(site.launch_error_us or 0.0) - parent.launch_error_us, spread_us


def _take_up(row: dict[str, Any], *, latency_us: float, own_us: float, sigma_us: float, against: str, day: str) -> None:
    """One stage's latency, with where it comes from."""
    note = f"reconciled {day}: {own_us:+.3f} us against {against}, standard uncertainty {sigma_us:.3f} us"
    # What was measured on air is not surer than the measurement; what the stage scatters by itself stays.
    tolerance_us = max(row.get("tolerance_us") or 0.0, round(1.96 * sigma_us, 4))
    row |= {"latency_us": latency_us, "source": "measured", "date": day, "tolerance_us": tolerance_us}
    row["note"] = f"{row['note']}; {note}" if row.get("note") else note


def _mark_older(changed: dict[str, Any], network: Network, used: Sequence[Measurement]) -> None:
    """Put measurements that are older than a correction by their time to those that it rests on."""
    for m, found in zip(used, made_before(network, used), strict=True):
        if found is not None and found.sure == "by its time":
            at = (network.corrections or ()).index(found.correction)
            changed["corrections"][at]["rows"] = sorted({*changed["corrections"][at]["rows"], fingerprint(m)})


def _taken_already(answer: Reconciled, site_id: str, stage_id: str) -> Problem | None:
    """Why a launch error may not be taken up: its measurements were, or may have been, or nobody set it since."""
    corrections = answer.network.corrections or ()
    used = [row.measurement for row in answer.found.residuals]
    known = made_before(answer.network, used)
    unsure = [found.correction.taken_at for found in known if found is not None and found.sure == "not sure"]
    if unsure:
        what = f"some measurements may be older than the correction of {max(unsure)}, or newer"
        return _no(site_id, what, f"their {TIME_EXPECTED}", "time-not-sure", stage_id)
    earlier = [one for one in corrections if site_id in one.stages]
    if not earlier:
        return None
    last, marks = max(one.taken_at for one in earlier), {mark for one in earlier for mark in one.rows}
    if all(fingerprint(m) in marks for m in used if site_id in (m.site, m.reference_site)):
        what = f"took these measurements up already, at {last}: the correction would count twice"
        return _no(site_id, what, "measurements made since, with the new setting", "correction-taken-already", stage_id)
    row = delay_table(answer.network).row(site_id)
    if not answer.as_set and row.now_us != row.set_us and None in known:
        what = f"was corrected at {last}, and the plan does not say that its new setting was made since"
        expected = "what is set now entered first, or the comparison with what is set now"
        return _no(site_id, what, expected, "correction-not-set", stage_id)
    return None


def _no(site_id: str, what: str, expected: str, code: str, stage_id: str | None = None) -> Problem:
    """Why one site cannot take its launch error up."""
    stages = () if stage_id is None else (stage_id,)
    return Problem(f"site {site_id}", what, expected, code=code, touches=(Touch(site_id),), stages=stages)


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


def _site(site: SiteError, guess: Guess) -> dict[str, Any]:
    """One site."""
    return {
        "site": site.site,
        "launch_error_us": site.launch_error_us,
        "correction_us": site.correction_us,
        "uncertainty_us": site.uncertainty_us,
        "claimed_uncertainty_us": site.claimed_uncertainty_us,
        "group": site.group,
        "held": site.held,
        "observations_n": site.observations_n,
        "causes": [
            {"what": c.what, "expected_us": c.expected_us, "left_us": c.left_us, "chance_ratio": c.chance_ratio}
            for c in guess.causes
        ],
        "causes_by_chance_n": guess.by_chance_n,
    }


def _residual(row: Residual) -> dict[str, Any]:
    """One measurement and what became of it."""
    m = row.measurement
    return {
        "when": m.when,
        "point": m.point,
        "lat": m.lat_deg,
        "lon": m.lon_deg,
        "site": m.site,
        "reference_site": m.reference_site,
        "delay_difference_us": m.delay_difference_us,
        "uncertainty_us": m.uncertainty_us,
        "reference_plane": m.reference_plane,
        "by": m.by,
        "response": m.response,
        "shared_uncertainty_us": finite_or_none(m.shared_uncertainty_us),
        "predicted_us": row.predicted_us,
        "misclosure_us": row.misclosure_us,
        "residual_us": row.residual_us,
        "left_over_us": row.left_over_us,
        "redundancy_ratio": row.redundancy_ratio,
        "w_ratio": row.w_ratio,
        "least_detectable_us": row.least_detectable_us,
        "weight_factor": row.weight_factor,
        "verdict": row.verdict,
        "alike": list(row.alike),
    }
