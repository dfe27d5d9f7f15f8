"""The document with measured launch errors taken up by the latencies of stages, each of them once."""

import copy
from collections.abc import Collection, Mapping
from datetime import UTC, datetime
from typing import Any

import numpy as np

from sfn.chain import MAIN
from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Network
from sfn.plan.correction import Measured
from sfn.study.reconciled import TIME_EXPECTED, Reconciled
from sfn.survey.as_planned import datum, held_in_group
from sfn.survey.taken_up import fingerprint, kept_row, made_before, marks_of, measurement_of
from sfn.timing import delay_table
from sfn.timing.tolerated import tolerated_error

# A latency is kept to 0.1 ns: what that leaves is no error.
_NOTHING_US = 1e-4


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
        own = _own_error(answer, site_id, parents.get(site_id))
        if own is None:
            what = f"no measurement ties it to {parents[site_id]}, which feeds it: its own part cannot be told"
            expected = "a point where both are heard, or a held site in each group"
            problems.append(_no(site_id, what, expected, "parent-not-tied", stage_id))
            continue
        own_us, sigma_us = own
        taken = _taken_already(answer, site_id, stage_id, own_us)
        if taken is not None:
            problems.append(taken)
            continue
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
    _keep(changed, answer, stages=stages, amounts_us=amounts_us, taken_at=f"{at:%Y-%m-%dT%H:%M:%SZ}")
    return changed


def missed(network: Network, taken: Collection[str]) -> dict[str, float]:
    """Sites whose fields cannot launch them within the tolerated error, each with how late it launches.

    Parameters
    ----------
    network : Network
        With the corrections.
    taken : collection of str
        The corrected sites.

    Returns
    -------
    dict of str to float
        By site id, positive = late; empty where every one is reached. [us]
    """
    most_us = tolerated_error(network)
    rows = {row.site_id: row for row in delay_table(network).rows if row.route == MAIN}
    return {i: rows[i].rounding_us for i in taken if i in rows and abs(rows[i].rounding_us) > most_us}


def _keep(
    changed: dict[str, Any],
    answer: Reconciled,
    *,
    stages: Mapping[str, str],
    amounts_us: Mapping[str, float],
    taken_at: str,
) -> None:
    """Put what was taken up to the correction that rests on the same settings, or to a new one."""
    hand, used = answer.hand, answer.hand.measurements
    record: dict[str, Any] = {"rows": [], "set_us": dict(hand.settings_us), "stages": {}, "amounts_us": {}}
    corrections = changed["corrections"] = list(changed.get("corrections") or ())
    if hand.refines is None:
        corrections.append(record)
    else:
        number = (answer.network.corrections or ()).index(hand.refines)
        record = corrections[number] = copy.deepcopy(dict(corrections[number]))
    if hand.refines is None or not hand.refines_older:
        record["taken_at"] = taken_at
    kept = {fingerprint(m): kept_row(m) for m in used}
    record["rows"] = sorted({*record["rows"], *kept})
    record["measured"] = [kept[mark] for mark in sorted(kept)]
    _forget(corrections, answer.excluded)
    record["stages"] = {**record["stages"], **stages}
    before = record["amounts_us"]
    record["amounts_us"] = before | {i: round(before.get(i, 0.0) + us, 4) for i, us in amounts_us.items()}


def _forget(corrections: list[dict[str, Any]], excluded: frozenset[str]) -> None:
    """Take measurements that somebody excluded out of what the document keeps: they stand in the record with why."""
    for n, one in enumerate(corrections):
        if one.get("measured") and excluded:
            stays = [row for row in one["measured"] if fingerprint(measurement_of(Measured(**row))) not in excluded]
            corrections[n] = {**one, "measured": stays}


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


def _taken_already(answer: Reconciled, site_id: str, stage_id: str, own_us: float) -> Problem | None:
    """Why a launch error may not be taken up: its measurements were, or may have been, or nobody set it since."""
    corrections = answer.network.corrections or ()
    used = answer.hand.measurements
    # One that says itself with which settings it was made needs no correction to tell.
    asked = [m for m in used if m.settings_us is None]
    known = made_before(answer.network, asked)
    unsure = [found.correction.taken_at for found in known if found is not None and found.sure == "not sure"]
    if unsure:
        what = f"some measurements may be older than the correction of {max(unsure)}, or newer"
        return _no(site_id, what, f"their {TIME_EXPECTED}", "time-not-sure", stage_id)
    earlier = [one for one in corrections if site_id in one.stages]
    if not earlier:
        return None
    last, marks = max(one.taken_at for one in earlier), {mark for one in earlier for mark in one.rows}
    bare = any(one.measured is None for one in earlier)
    same = all(marks & {*marks_of(m)} for m in used if site_id in (m.site, m.reference_site))
    if same and (bare or abs(own_us) <= _NOTHING_US):
        what = f"took these measurements up already, at {last}: the correction would count twice"
        return _no(site_id, what, "measurements made since, with the new setting", "correction-taken-already", stage_id)
    refines = answer.hand.refines
    if (
        refines in earlier
        and refines.measured is None
        and not {*refines.rows} <= {i for m in used for i in marks_of(m)}
    ):
        what = f"took up measurements at {last} with the same settings, and the plan does not keep them"
        expected = "those measurements in the same table: all count together"
        return _no(site_id, what, expected, "earlier-measurements-missing", stage_id)
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
