"""As JSON: how old and how sure every site's number is, and what a change of firmware or mode makes uncertain."""

import copy
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from sfn.errors import PlanError, Problem
from sfn.study.ages import Ages


def changed_document(
    document: Mapping[str, Any], stage_ids: Sequence[str], *, firmware: str, day: str, today: str
) -> dict[str, Any]:
    """A document with a change of firmware or mode entered on some stages; their figures and dates stay.

    Raises
    ------
    PlanError
        If no stage is chosen or there is none of that name, or the day is none or to come.
    """
    known = [stage["id"] for stage in document["stages"]]
    problems = [
        Problem(
            "stage",
            f"there is no stage {name!r}",
            "one of the plan",
            code="unknown-stage",
            fields=("stage",),
            values={"stage": name},
        )
        for name in stage_ids
        if name not in known
    ]
    if not stage_ids:
        problems.append(
            Problem("stage", "no stage was chosen", "at least one", code="no-stage-chosen", fields=("stage",))
        )
    if not firmware.strip():
        problems.append(
            Problem(
                "firmware",
                "is empty",
                "what it runs now, or in which mode",
                code="firmware-missing",
                fields=("firmware",),
            )
        )
    try:
        if (date.fromisoformat(day) - date.fromisoformat(today)).days > 1:
            problems.append(
                Problem(
                    "day",
                    f"{day} is to come",
                    f"the day it changed; it is {today}",
                    code="date-in-the-future",
                    fields=("day",),
                )
            )
    except ValueError:
        problems.append(Problem("day", f"{day!r} is no day", "as 2026-09-14", code="not-a-date", fields=("day",)))
    if problems:
        raise PlanError(problems)
    made = copy.deepcopy(dict(document))
    for stage in made["stages"]:
        if stage["id"] in stage_ids:
            stage |= {"firmware": firmware.strip(), "changed": day}
    return made


def document(found: Ages) -> dict[str, Any]:
    """The JSON document of ``ages --json``."""
    return {
        "network": found.network.name,
        "today": found.today,
        "sites": [
            {
                "site": one.site_id,
                "latency_us": one.latency_us,
                "tolerance_us": one.tolerance_us,
                "rss_us": one.rss_us,
                "assumed_us": one.assumed_us,
                "assumed_latency_us": one.assumed_latency_us,
                "undated_us": one.undated_us,
                "oldest_stage": None if one.oldest is None else one.oldest.stage.id,
                "oldest_days": None if one.oldest is None else one.oldest.age_days,
                "without_tolerance": list(one.unstated),
                "measure_again": list(one.again),
                "launch_measured": None if one.seen is None else one.seen.day,
                "launch_off_us": None if one.seen is None else one.seen.off_us,
                "launch_again": one.launch_again or None,
            }
            for one in found.sites
        ],
        "stages": [
            {
                "stage": one.stage.id,
                "sites": list(one.sites),
                "latency_us": one.latency_us,
                "tolerance_us": one.stage.tolerance_us,
                "source": one.stage.source,
                "date": one.stage.date,
                "age_days": one.age_days,
                "firmware": one.stage.firmware,
                "changed": one.stage.changed,
                "measure_again": one.again or None,
            }
            for one in found.stages
        ],
    }
