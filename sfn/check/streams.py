"""Problems of stages that say they are computed from a stream plan: do they still hold what the plan gives?

A stage keeps its plan (`stream_plan`), as a record or, in older documents, as text. Somebody may change the stage by
hand, or the plan, or a release of this program may compute the plan differently: then every delay that rests on the
stage is stale.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sfn.chain import stage_latency
from sfn.check.chains import named, touches_of, users_of
from sfn.errors import PlanError, Problem, Severity, Touch
from sfn.plan import Network, Stage
from sfn.stream.link import LinkPlan
from sfn.stream.plan_text import kept_plan
from sfn.stream.planned import plan_of
from sfn.units import grouped

AGREES_US = 0.001  # plans are exact, stages hold them in microseconds with every digit
MEND = (
    "open the plan on the page Link plan and put it into the chain again, or take stream_plan out of the stage if the "
    "figures typed by hand are right"
)


def stream_problems(network: Network) -> tuple[Problem, ...]:
    """Stages that differ from the stream plan that they name, and plans that cannot work, in the stages' order.

    Parameters
    ----------
    network : Network
    """
    users = users_of(network)
    return tuple(
        problem
        for i, stage in enumerate(network.stages)
        if stage.stream_plan is not None and users[stage.id]
        for problem in _stage(
            network, f"stages[{i}]", stage, _Whose(named(users[stage.id]), touches_of(users[stage.id]))
        )
    )


@dataclass(frozen=True, slots=True)
class _Whose:
    """Who passes a stage: in words, and as problems touch them."""

    words: str
    touches: tuple[Touch, ...]

    def __str__(self) -> str:
        """In words."""
        return self.words

    def problem(
        self, where: str, stage: Stage, what: str, expected: str, *, code: str, severity: Severity = "warning",
        values: Mapping[str, float | str | None] | None = None,
        said: Mapping[str, float | str | Problem | None] | None = None,
    ) -> Problem:  # fmt: skip
        """One problem of that stage."""
        return Problem(
            where,
            what,
            expected,
            severity,
            code=code,
            touches=self.touches,
            stages=(stage.id,),
            fields=("stream_plan",),
            values=values or {},
            said=said or {},
        )


def _stage(network: Network, where: str, stage: Stage, whose: _Whose) -> Iterator[Problem]:
    """What is wrong with one stage that has a plan."""
    try:
        plan = plan_of(kept_plan(stage.stream_plan or ""))
    except PlanError as refused:
        for problem in refused.problems:
            what = f"{whose}: the stream plan of {stage.id} cannot be read: {problem.where} {problem.what}"
            yield whose.problem(
                f"{where}.stream_plan",
                stage,
                what,
                problem.expected or MEND,
                code="stream-plan-unreadable",
                severity="error",
                said={"place": problem.where, "cause": problem, "cause_wanted": problem if problem.expected else None},
            )
        return
    for problem in plan.problems:
        if "adapting" in problem.fields and stage.adapts:
            continue  # said of the stage itself
        what = f"{whose}: stream plan of {stage.id}: {problem.what}"
        yield whose.problem(
            f"{where}.stream_plan", stage, what, problem.expected, severity=problem.severity,
            code=problem.code, values=problem.values, said={"plan": "yes", **problem.said},
        )  # fmt: skip
    yield from (
        _time_stamped(network, where, stage, plan, whose)
        if plan.link.time_stamped
        else _whole(where, stage, plan, whose)
    )


def _time_stamped(network: Network, where: str, stage: Stage, plan: LinkPlan, whose: _Whose) -> Iterator[Problem]:
    """A time-stamped section: too short for its plan is an error, other figures than the plan's a warning."""
    if stage.kind != "time-stamped section":
        what = f"{whose}: {stage.id} is of kind {stage.kind}, but its stream plan releases at time stamps"
        yield whose.problem(
            f"{where}.stream_plan", stage, what, MEND, code="stream-plan-other-kind", said={"stage_kind": stage.kind}
        )
        return
    release_us, least_us = stage.release_delay_us or 0.0, plan.latency_us
    if release_us < least_us - AGREES_US:
        what = (
            f"{whose} has a buffer underrun: the stream plan of {stage.id} needs {grouped(least_us, '.10g')} us, but "
            f"it releases after {grouped(release_us, '.10g')} us"
        )
        yield whose.problem(
            f"{where}.release_delay_us", stage, what, f"{grouped(least_us, '.10g')} us or more", code="buffer-underrun",
            severity="error", values={"needed_us": least_us, "release_delay_us": release_us},
        )  # fmt: skip
    stages = {s.id: s for s in network.stages}
    held_us = sum(
        float(stage_latency(stages[name], refractivity_n=network.refractivity_n)) + (stages[name].tolerance_us or 0.0)
        for name in stage.inside
    )
    held_us += (stage.jitter_margin_us or 0.0) + (stage.least_processing_us or 0.0)
    if abs(held_us - least_us) > AGREES_US:
        what = (
            f"{whose}: {stage.id} says it is computed from its stream plan, but has {grouped(held_us, '.10g')} us to "
            f"cover where the plan has {grouped(least_us, '.10g')} us: the plan is stale"
        )
        yield whose.problem(
            f"{where}.stream_plan", stage, what, MEND, code="stream-plan-cover-stale",
            values={"held_us": held_us, "planned_us": least_us},
            said={"held_full_us": held_us, "planned_full_us": least_us},
        )  # fmt: skip


def _whole(where: str, stage: Stage, plan: LinkPlan, whose: _Whose) -> Iterator[Problem]:
    """A stage without time stamps: its latency goes straight into the launch time, so a stale one is an error."""
    figures = (
        ("latency", stage.latency_us, plan.latency_us),
        ("tolerance", stage.tolerance_us or 0.0, plan.tolerance_us),
    )
    for name, held_us, planned_us in figures:
        if held_us is None or abs(held_us - planned_us) > AGREES_US:
            has = "none" if held_us is None else f"{grouped(held_us, '.10g')} us"
            what = (
                f"{whose}: {stage.id} says it is computed from its stream plan, but its {name} is {has} where the "
                f"plan gives {grouped(planned_us, '.10g')} us: every delay that rests on it is stale"
            )
            stale: tuple[str, Severity] = ("stream-plan-stale", "error")
            if name == "tolerance":
                stale = "stream-plan-tolerance-stale", "warning"
            yield whose.problem(
                f"{where}.{name}_us", stage, what, MEND, code=stale[0], severity=stale[1],
                values={"held_us": held_us, "planned_us": planned_us},
                said={
                    "lacking": name if held_us is None else None, "held_full_us": held_us,
                    "planned_full_us": planned_us,
                },
            )  # fmt: skip
    if plan.link.adapting and not stage.adapts:
        what = f"{whose}: the receive buffer of {stage.id}'s stream plan adapts by itself, the stage says it does not"
        yield whose.problem(f"{where}.adapts", stage, what, MEND, code="stream-plan-adapts")
