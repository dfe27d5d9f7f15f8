"""What the network's time stamps mean: not known, or counted to a plane that a chain does not pass.

Only chains with a time-stamped section are concerned. Without `time_stamps` in the document every stage adds.
"""

from collections.abc import Iterator, Mapping

from sfn.chain import TIME_STAMPED, absorbed_stages, stage_latency
from sfn.errors import Problem, Touch
from sfn.plan import Chain, Network, Site, Stage, TimeStamps
from sfn.units import exact


def stamp_problems(network: Network) -> Iterator[Problem]:
    """Every chain whose latency hangs on what its time stamp means and does not say it.

    Parameters
    ----------
    network : Network
    """
    stamps = network.time_stamps
    if stamps is None:
        return
    stages = {stage.id: stage for stage in network.stages}
    stamped = [
        (f"sites[{i}].chains[{j}].stages", site, chain)
        for i, site in enumerate(network.sites)
        for j, chain in enumerate(site.chains)
        if any(stages[name].kind == TIME_STAMPED for name in chain.stages)
    ]
    if stamps.meaning == "unknown":
        if stamped:
            yield _unknown(stamped)
        return
    if stamps.plane is not None and stamps.meaning == "origin":
        what = "time_stamps names a plane, but with the meaning origin every stage adds: the plane changes nothing"
        touches = tuple(Touch(site.id, chain.route) for _, site, chain in stamped)
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
        for where, site, chain in stamped:
            yield from _emission(network, stamps, where, site, chain)


def _unknown(stamped: list[tuple[str, Site, Chain]]) -> Problem:
    """Nobody knows what the stamps mean."""
    names = ", ".join(dict.fromkeys(site.name for _, site, _ in stamped))
    return Problem(
        "time_stamps.meaning",
        f"site {names}: what the time stamps mean is not known; every stage was counted, which may be too much",
        "origin (every stage adds to the stamp), or emission with the plane at which the stamp is the instant",
        "error",
        code="stamp-meaning-unknown",
        touches=tuple(Touch(site.id, chain.route) for _, site, chain in stamped),
        fields=("meaning",),
    )


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


def _emission(network: Network, stamps: TimeStamps, where: str, site: Site, chain: Chain) -> Iterator[Problem]:
    """One chain whose stamp is the instant of emission."""
    known = {stage.id: stage for stage in network.stages}
    own = [known[name] for name in chain.stages]
    last = next(i for i in reversed(range(len(own))) if own[i].kind == TIME_STAMPED)
    behind = tuple(stage.id for stage in own[last + 1 :])
    who, touches = f"site {site.name} ({chain.route})", (Touch(site.id, chain.route),)
    if stamps.plane is None:
        if behind and own[last].reference_plane is None:
            what = (
                f"{who}: the stamp is the instant of emission, but neither time_stamps.plane nor section "
                f"{own[last].id} says where; {', '.join(behind)} were counted, which may be too much"
            )
            expected = "the stage behind which the stamp holds, as time_stamps.plane"
            yield Problem(
                "time_stamps.plane", what, expected, "error", code="stamp-plane-unnamed", touches=touches, stages=behind
            )
        return
    passed = set(stamps.plane) & {stage.id for stage in own}
    first = next(i for i, stage in enumerate(own) if stage.kind == TIME_STAMPED)
    if not passed & {stage.id for stage in own[first:]}:
        what = f"{who} passes no stage behind its time-stamped section that time_stamps.plane names: every stage adds"
        expected = f"one of {', '.join(stage.id for stage in own[first:])} in time_stamps.plane"
        yield Problem(
            where, what, expected, "error", code="stamp-plane-not-in-chain", touches=touches, stages=chain.stages
        )
        return
    yield from _not_covered(network, where, who, touches, own)


def _not_covered(
    network: Network, where: str, who: str, touches: tuple[Touch, ...], own: list[Stage]
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
            f"{who}: {', '.join(absorbed)} add nothing, for the stamp holds behind them, yet take {behind_us:.10g} us: "
            f"section {section.id} needs {needed_us:.10g} us with them and releases after {release_us:.10g} us"
        )
        expected = f"{needed_us:.10g} us, unless least_processing_us already holds them"
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
        )
