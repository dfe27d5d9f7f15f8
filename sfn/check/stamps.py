"""What the network's time stamps mean: not known, or counted to a plane that a chain does not pass.

Only chains with a time-stamped section are concerned. Where the meaning is not known every stage adds, and
`sfn.check.stamp_meaning` says what that may be wrong by.
"""

from collections.abc import Iterator, Mapping

from sfn.chain import TIME_STAMPED, absorbed_stages, stage_latency
from sfn.check.stamp_meaning import Stamped, emission_unnamed, meaning_unknown, passed_stamps
from sfn.check.stamp_planes import planes_contradict
from sfn.errors import Problem, Touch
from sfn.plan import Network, Stage, TimeStamps
from sfn.systems.service import Service
from sfn.units import exact, grouped


def stamp_problems(network: Network, carried: Service | None) -> Iterator[Problem]:
    """Every chain whose latency hangs on what its time stamp means and does not say it.

    Parameters
    ----------
    network : Network
    carried : Service or None
        What the network carries; None where that is not known.
    """
    stamps = network.time_stamps
    stages = {stage.id: stage for stage in network.stages}
    stamped = passed_stamps(network)
    if stamps is None or stamps.meaning == "unknown":
        yield from meaning_unknown(network, stamped, carried)
        return
    if stamps.plane is not None and stamps.meaning == "origin":
        what = "time_stamps names a plane, but with the meaning origin every stage adds: the plane changes nothing"
        touches = tuple(one.touch for one in stamped)
        expected = "the meaning emission, or no plane"
        yield Problem(
            "time_stamps.plane",
            what,
            expected,
            "warning",
            code="stamp-plane-unused",
            touches=touches,
            stages=stamps.plane,
        )
        return
    if stamps.meaning == "emission":
        yield from _no_such_stage(stamps, stages)
        if stamps.plane is None:
            yield from emission_unnamed(network, stamped)
            return
        for one in stamped:
            yield from _emission(network, stamps, one)
            yield from planes_contradict(network, stamps, one)


def _no_such_stage(stamps: TimeStamps, stages: Mapping[str, Stage]) -> Iterator[Problem]:
    """Planes that no stage bears."""
    strangers = tuple(name for name in stamps.plane or () if name not in stages)
    if strangers:
        what = f"time_stamps.plane names {', '.join(strangers)}, which does not exist"
        yield Problem(
            "time_stamps.plane",
            what,
            "the id of a stage",
            "error",
            code="stamp-plane-no-stage",
            touches=(),
            stages=strangers,
        )


def _emission(network: Network, stamps: TimeStamps, one: Stamped) -> Iterator[Problem]:
    """One chain whose stamp is the instant of emission at a plane that is named."""
    own, where, who, touches = one.own, one.where, one.who, (one.touch,)
    passed = set(stamps.plane or ()) & {stage.id for stage in own}
    first = next(i for i, stage in enumerate(own) if stage.kind == TIME_STAMPED)
    if not passed & {stage.id for stage in own[first:]}:
        what = f"{who} passes no stage behind its time-stamped section that time_stamps.plane names: every stage adds"
        expected = f"one of {', '.join(stage.id for stage in own[first:])} in time_stamps.plane"
        yield Problem(
            where,
            what,
            expected,
            "error",
            code="stamp-plane-not-in-chain",
            touches=touches,
            stages=one.chain.stages,
            said={"planes": ", ".join(stage.id for stage in own[first:])},
        )
        return
    yield from _not_covered(network, where, who, touches, own)


def _not_covered(
    network: Network, where: str, who: str, touches: tuple[Touch, ...], own: tuple[Stage, ...]
) -> Iterator[Problem]:
    """A section that must let go earlier than its release delay, for what stands behind it takes its time all the same.

    Emission at the stamp's instant needs the programme in time at the first stage behind the section.
    """
    absorbed = absorbed_stages(own, network.time_stamps)
    if not absorbed:
        return
    at = next(i for i, stage in enumerate(own) if stage.id == absorbed[0])
    section, known = own[at - 1], {stage.id: stage for stage in network.stages}

    def longest(names: tuple[str, ...]) -> float:
        """The longest that some stages may take. [us]"""
        latencies = (stage_latency(known[name], refractivity_n=network.refractivity_n) for name in names)
        return float(sum(latencies)) + float(sum(exact(known[name].tolerance_us or 0.0) for name in names))

    behind_us = longest(absorbed)
    needed_us = longest(section.inside) + behind_us + (section.jitter_margin_us or 0.0)
    needed_us += section.least_processing_us or 0.0
    release_us = section.release_delay_us or 0.0
    if needed_us > release_us:
        what = (
            f"{who}: {', '.join(absorbed)} add nothing, for the stamp holds behind them, yet take "
            f"{grouped(behind_us, '.10g')} us: "
            f"section {section.id} needs {grouped(needed_us, '.10g')} us with them and releases after "
            f"{grouped(release_us, '.10g')} us"
        )
        expected = f"{grouped(needed_us, '.10g')} us, unless least_processing_us already holds them"
        values = {"needed_us": needed_us, "release_us": release_us, "behind_us": behind_us}
        yield Problem(
            where,
            what,
            expected,
            "warning",
            code="stamp-plane-not-covered",
            touches=touches,
            stages=(section.id, *absorbed),
            fields=(),
            values=values,
            said={
                "stage": section.id,
                "behind": ", ".join(absorbed),
                "behind_full_us": behind_us,
                "needed_full_us": needed_us,
                "release_full_us": release_us,
            },
        )
