"""A stream plan put into a site's chain, and the delays that it makes stale."""

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Network
from sfn.report.numbers import us
from sfn.stream.link import LinkPlan
from sfn.stream.section import stages
from sfn.timing import delay_table

Document = Mapping[str, Any]


def with_stream(
    document: Document,
    plan: LinkPlan,
    *,
    site_id: str,
    route: str,
    in_place_of: str,
    stream_plan: Mapping[str, object],
    revision: int,
    release_us: float | None,
) -> dict[str, Any]:
    """The document with a planned stream as one stage of a site's chain.

    Parameters
    ----------
    document : mapping
        As it was typed.
    plan : LinkPlan
    site_id, route : str
        Whose chain.
    in_place_of : str
        The stage that it replaces in that chain; removed with what is inside it when no other chain uses it.
    stream_plan : mapping
        The plan's record, kept in the stage.
    revision : int
        That will hold it, named in the notes.
    release_us : float or None
        Release delay in force; the least in whole milliseconds when None. [us]

    Returns
    -------
    document : dict

    Raises
    ------
    PlanError
        If there is no such site, route or stage, or the release delay does not cover the plan.
    """
    made: dict[str, Any] = deepcopy(dict(document))
    chain = _chain(made, site_id, route)
    if in_place_of not in chain["stages"]:
        listed = ", ".join(chain["stages"])
        raise PlanError(
            [
                Problem(
                    "in_place_of",
                    f"{in_place_of!r} is not in the {route} chain",
                    f"one of {listed}",
                    code="stage-not-in-route",
                    touches=(Touch(site_id, route),),
                    fields=("in_place_of",),
                )
            ]
        )
    prefix = f"{site_id}-stream" if route == "main" else f"{site_id}-{route}-stream"
    try:
        new = stages(plan, prefix=prefix, revision=revision, release_us=release_us, stream_plan=stream_plan)
    except ValueError as error:
        raise PlanError(
            [
                Problem(
                    "release_ms",
                    str(error),
                    "",
                    code="release-too-early",
                    touches=(Touch(site_id, route),),
                    fields=("release_ms",),
                )
            ]
        ) from None
    chain["stages"] = [prefix if stage == in_place_of else stage for stage in chain["stages"]]
    replaced = {stage["id"] for stage in new}
    used = {stage for site in made["sites"] for one in site["chains"] for stage in one["stages"]}
    gone = set() if in_place_of in used else {in_place_of}
    kept = [s for s in made["stages"] if s["id"] not in replaced | gone]
    inside = {name for s in kept for name in s.get("inside", ())}
    was_inside = {name for s in made["stages"] if s["id"] in gone | {prefix} for name in s.get("inside", ())}
    kept = [s for s in kept if s["id"] not in was_inside or s["id"] in inside | used]
    made["stages"] = [*kept, *new]
    return made


@dataclass(frozen=True, slots=True)
class Stale:
    """A setting that another revision changes."""

    site_name: str
    route: str
    before_us: float
    after_us: float

    @property
    def in_words(self) -> str:
        """For a sentence."""
        return f"{self.site_name} ({self.route}) {us(self.after_us - self.before_us, signed=True)}"


def stale_settings(old: Network, new: Network) -> tuple[Stale, ...]:
    """Settings that differ between two revisions: each device still holds the old one."""
    before = {(row.site_id, row.route): row for row in delay_table(old).rows}
    return tuple(
        Stale(row.site_name, row.route, before[row.site_id, row.route].set_us, row.set_us)
        for row in delay_table(new).rows
        if (row.site_id, row.route) in before and row.set_us != before[row.site_id, row.route].set_us
    )


def _chain(document: dict[str, Any], site_id: str, route: str) -> dict[str, Any]:
    """One chain of the document."""
    for site in document["sites"]:
        for chain in site["chains"] if site["id"] == site_id else ():
            if chain["route"] == route:
                found: dict[str, Any] = chain
                return found
    raise PlanError(
        [
            Problem(
                "chain",
                f"there is no {route} chain at {site_id!r}",
                "a chain of this network",
                code="unknown-route",
                values={"site": site_id, "route": route},
            )
        ]
    )
