"""Problems of chains: dry buffers, delays that wander, waveforms that differ, devices counted twice."""

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from itertools import combinations
from typing import Any

from sfn.chain import MAIN, absorbed_stages, outdated, stage_latency
from sfn.errors import Problem, Touch
from sfn.plan import Chain, Network, Site, Stage
from sfn.units import exact, grouped

_PLANES_BEHIND_THE_MODULATOR = ("exciter output", "coupler", "antenna")


def chain_problems(network: Network) -> tuple[Problem, ...]:
    """Every problem of the stages and the distribution tree.

    Parameters
    ----------
    network : Network

    Returns
    -------
    problems : tuple of Problem
        In the order of the stages, then of the sites.
    """
    users, covered = users_of(network), {name for stage in network.stages for name in stage.inside}
    found = [
        problem
        for i, stage in enumerate(network.stages)
        for problem in _stage(network, i, stage, users[stage.id], covered=stage.id in covered)
    ]
    for i, site in enumerate(network.sites):
        for j, chain in enumerate(site.chains):
            found += _chain(network, f"sites[{i}].chains[{j}]", site, chain)
    return (*found, *_models(network, users), *_tree(network))


def _models(network: Network, users: Mapping[str, list[tuple[Site, Chain]]]) -> Iterator[Problem]:
    """Stages of one model and firmware that state different tolerances common to it."""
    first: dict[tuple[str, str | None], Stage] = {}
    for i, stage in enumerate(network.stages):
        if stage.tolerance_kind != "model" or stage.model is None or stage.tolerance_us is None:
            continue
        other = first.setdefault((stage.model, stage.firmware), stage)
        if other.tolerance_us == stage.tolerance_us:
            continue
        stated = " and ".join(f"{s.tolerance_us:g} us as stage {s.id}" for s in (other, stage))
        yield Problem(
            f"stages[{i}].tolerance_us",
            f"{stage.model} is said to be off by one tolerance for all of them, and states two: {stated}",
            "one tolerance for one model and firmware; between two sites it cancels, whichever of them is right",
            "warning",
            code="model-tolerance-differs",
            touches=tuple(dict.fromkeys(touches_of([*users[other.id], *users[stage.id]]))),
            stages=(other.id, stage.id),
            fields=("tolerance_us",),
            values={"tolerance_us": stage.tolerance_us, "other_tolerance_us": other.tolerance_us},
            said={"model": stage.model, "stage": stage.id, "other_stage": other.id},
        )


def users_of(network: Network) -> dict[str, list[tuple[Site, Chain]]]:
    """Sites and chains that pass each stage, or a time-stamped section that covers it, in the order of the sites."""
    stages = {stage.id: stage for stage in network.stages}
    users: dict[str, list[tuple[Site, Chain]]] = {name: [] for name in stages}
    for site in network.sites:
        for chain in site.chains:
            passed = dict.fromkeys(chain.stages)
            for name in dict.fromkeys([*passed, *(inner for outer in passed for inner in stages[outer].inside)]):
                users[name].append((site, chain))
    return users


def named(users: list[tuple[Site, Chain]]) -> str:
    """The users of a stage in words."""
    return ", ".join(f"site {site.name} ({chain.route})" for site, chain in users)


def touches_of(users: Iterable[tuple[Site, Chain]]) -> tuple[Touch, ...]:
    """The users of a stage as a problem touches them, each once."""
    return tuple(dict.fromkeys(Touch(site.id, chain.route) for site, chain in users))


def _stage(
    network: Network, index: int, stage: Stage, users: list[tuple[Site, Chain]], *, covered: bool
) -> Iterator[Problem]:
    """Problems of one stage, named with the sites they reach; `covered` by a time-stamped section or not."""
    where = f"stages[{index}]"
    of: dict[str, Any] = {"touches": touches_of(users), "stages": (stage.id,)}
    if not users:
        what = f"stage {stage.id} belongs to no chain"
        yield Problem(where, what, "a chain that names it, or remove it", "warning", code="stage-unused", **of)
        return
    if stage.kind == "time-stamped section":
        yield from _section(network, where, stage, users)
    if stage.adapts and any(stage.id in chain.stages for _, chain in users):
        what = f"{named(users)}: stage {stage.id} adapts its delay, so the launch time wanders with the network"
        expected = "a fixed delay, or put it inside a time-stamped section, which absorbs the variation"
        yield Problem(f"{where}.adapts", what, expected, code="delay-adapts", fields=("adapts",), **of)
    if stage.shapes_waveform and not stage.identical:
        yield from _waveform(network, where, stage, users)
    if stage.tolerance_us is None and not covered:
        what, expected = (
            f"stage {stage.id} states no tolerance and counts as exact",
            "the uncertainty of its latency, in us",
        )
        yield Problem(
            f"{where}.tolerance_us", what, expected, "warning", code="tolerance-missing", fields=("tolerance_us",), **of
        )
    yield from _figure(where, stage, users)


def _figure(where: str, stage: Stage, users: list[tuple[Site, Chain]]) -> Iterator[Problem]:
    """How the latency of a stage is known: from before a change, not said, or only assumed."""
    touches, stages = touches_of(users), (stage.id,)
    if outdated(stage):
        known = f"from {stage.date}" if stage.date else "without a date"
        yield Problem(
            f"{where}.date",
            f"{named(users)}: firmware or mode of stage {stage.id} changed on {stage.changed}, its figure is {known}",
            "a measurement after the change",
            "warning",
            code="figure-outdated",
            touches=touches,
            stages=stages,
            fields=("date",),
            values={"changed": stage.changed, "date": stage.date},
        )
    if stage.source is None:
        yield Problem(
            f"{where}.source",
            f"stage {stage.id} does not say how its latency is known and counts as assumed",
            "measured, data sheet, assumed or computed",
            "warning",
            code="source-missing",
            touches=touches,
            stages=stages,
            fields=("source",),
        )
    elif stage.source == "assumed":
        yield Problem(
            f"{where}.source",
            f"{named(users)}: the latency of stage {stage.id} is only assumed",
            "a measured figure, or one from the data sheet",
            "warning",
            code="latency-assumed",
            touches=touches,
            stages=stages,
            fields=("source",),
        )


def _section(network: Network, where: str, stage: Stage, users: list[tuple[Site, Chain]]) -> Iterator[Problem]:
    """A time-stamped section whose release delay does not cover its worst path, or outlasts the stamps."""
    of: dict[str, Any] = {
        "touches": touches_of(users),
        "stages": (stage.id, *stage.inside),
        "fields": ("release_delay_us",),
    }
    stages = {s.id: s for s in network.stages}
    release_us = stage.release_delay_us or 0.0
    needed = exact(stage.jitter_margin_us or 0.0) + exact(stage.least_processing_us or 0.0)
    for name in stage.inside:
        latency = stage_latency(stages[name], refractivity_n=network.refractivity_n)
        needed += Fraction(latency) + exact(stages[name].tolerance_us or 0.0)
    needed_us = float(needed)
    if needed > exact(release_us):
        what = (
            f"{named(users)} has a buffer underrun: section {stage.id} needs {grouped(needed_us, '.10g')} us for its "
            f"worst path, margin and processing, but releases after {grouped(release_us, '.10g')} us, "
            f"{grouped(needed_us - release_us, '.10g')} us too soon"
        )
        yield Problem(
            f"{where}.release_delay_us", what, f"{grouped(needed_us, '.10g')} us or more", code="buffer-underrun", **of,
            values={"needed_us": needed_us, "release_delay_us": release_us},
            said={"stage": stage.id, "short_full_us": needed_us - release_us, "needed_full_us": needed_us,
                  "release_full_us": release_us},
        )  # fmt: skip
    yield from _unproven(where, stage, stages, users)
    wrap_s = network.time_stamps.wrap_s if network.time_stamps else None
    if wrap_s is not None and release_us >= wrap_s * 1e6:
        what = (
            f"{named(users)}: section {stage.id} releases {grouped(release_us, '.10g')} us after its stamp, "
            f"but stamps repeat after {wrap_s:g} s"
        )
        yield Problem(
            f"{where}.release_delay_us", what, f"less than {grouped(wrap_s * 1e6, '.10g')} us, or absolute time stamps",
            code="stamp-wrap", **of, values={"wrap_s": wrap_s, "release_delay_us": release_us},
            said={"stage": stage.id, "wrap_us": wrap_s * 1e6, "release_full_us": release_us},
        )  # fmt: skip


def _waveform(network: Network, where: str, stage: Stage, users: list[tuple[Site, Chain]]) -> Iterator[Problem]:
    """Waveform-changing processing that not all main routes share, or not every standby with the main routes.

    A standby is on air beside the main routes of the others: where it alone differs, the doubt is its own. A site
    fed off air radiates what its parent does, so its chain needs no such stage. A site that does not transmit meets
    nobody: where it alone differs, the doubt is its own too.
    """
    of: dict[str, Any] = {"code": "waveform-differs", "stages": (stage.id,), "fields": ("shapes_waveform",)}
    expected = "one for all sites, upstream of the fork, or bit-identical and sample-locked devices (identical: true)"
    using = {(site.id, chain.route) for site, chain in users}
    every = [(site, chain) for site in network.sites for chain in site.chains]
    everywhere = not any(site.on_air for site in network.sites)  # a network that is being planned is judged as a whole

    def radiates(one: tuple[Site, Chain]) -> bool:
        """Whether a site's signal meets those of the others now."""
        return one[0].on_air or everywhere

    mains = [one for one in users if one[1].route == MAIN]
    lacking = [
        (site, chain)
        for site, chain in every
        if chain.route == MAIN and site.fed_off_air_from is None and (site.id, MAIN) not in using
    ]
    meeting, without = list(filter(radiates, mains)), list(filter(radiates, lacking))
    if meeting and without:
        what = (
            f"{named(meeting)}: stage {stage.id} changes the waveform, but not for {_names(without)}: "
            "where the signals differ, no delay brings them together"
        )
        yield Problem(
            f"{where}.shapes_waveform", what, expected, touches=touches_of([*meeting, *without]), **of
        )  # fmt: skip
    for these, others, how in (
        (mains, without, "changes its waveform, but not for"),
        (lacking, meeting, "does not change its waveform, but does for"),
    ):
        for site, chain in these if others else ():
            if not radiates((site, chain)):
                what = (
                    f"site {site.name} ({chain.route}), which does not transmit: stage {stage.id} {how} "
                    f"{_names(others)}: once on air its signal differs, and no delay brings them together"
                )
                yield Problem(
                    f"{where}.shapes_waveform", what, expected, touches=(Touch(site.id, chain.route),), **of
                )  # fmt: skip
    for site, chain in every:
        passes, of_main = (site.id, chain.route) in using, (site.id, MAIN) in using
        if chain.route == MAIN or passes == of_main:
            continue
        how = "changes the waveform, but not on its main route" if passes else (
            "changes the waveform on its main route, and this one passes by it"
        )  # fmt: skip
        what = (
            f"site {site.name} ({chain.route}): stage {stage.id} {how}: "
            "after a change-over its signal differs from that of the others, and no delay brings them together"
        )
        yield Problem(
            f"{where}.shapes_waveform", what, expected, touches=(Touch(site.id, chain.route),), **of
        )  # fmt: skip


def _names(passing: list[tuple[Site, Chain]]) -> str:
    """Names of sites, each once, in order."""
    return ", ".join(map(format, sorted({site.name for site, _ in passing})))


def _unproven(
    where: str, section: Stage, stages: dict[str, Stage], users: list[tuple[Site, Chain]]
) -> Iterator[Problem]:
    """Figures that a section's cover rests on and nobody stated: 0 was taken, so the cover is not proven."""
    loose = tuple(name for name in section.inside if stages[name].tolerance_us is None)
    lacking = {
        "inside": None if section.inside else "what it must cover (inside)",
        "jitter_margin_us": None if section.jitter_margin_us is not None else "the jitter margin (jitter_margin_us)",
        "least_processing_us": None if section.least_processing_us is not None else
        "the least processing time (least_processing_us)",
        "tolerance_us": f"the uncertainty of {', '.join(loose)} (tolerance_us)" if loose else None,
    }  # fmt: skip
    missing = {field: said for field, said in lacking.items() if said is not None}
    if missing and users:
        one = len(missing) == 1 and len(loose) < 2
        what = (
            f"{named(users)}: the buffer of section {section.id} is not proven to cover its path: "
            f"{'; '.join(missing.values())} {'is' if one else 'are'} not stated, and 0 us was taken"
        )
        yield Problem(
            f"{where}.{next(iter(missing))}",
            what,
            "measured or from the data sheet; 0 where it is known to be none",
            "warning",
            code="buffer-not-proven",
            touches=touches_of(users),
            stages=(section.id, *loose),
            fields=tuple(missing),
            values={"taken_us": 0.0},
            said={"stage": section.id},
        )


def _chain(network: Network, where: str, site: Site, chain: Chain) -> Iterator[Problem]:
    """Problems of one route: devices counted twice."""
    stages, touches = {s.id: s for s in network.stages}, (Touch(site.id, chain.route),)
    own = [stages[name] for name in chain.stages]
    covered = {name for stage in own for name in stage.inside}
    for j, stage in enumerate(own):
        if stage.id in covered:
            what = (
                f"site {site.name} ({chain.route}): stage {stage.id} is inside a time-stamped section "
                f"and in the chain itself: counted twice"
            )
            yield Problem(
                f"{where}.stages[{j}]", what, "name it in one of the two", code="stage-counted-twice", touches=touches,
                stages=(stage.id,),
            )  # fmt: skip
        plane = (stage.reference_plane or "").lower()
        if stage.kind == "time-stamped section" and plane.startswith(_PLANES_BEHIND_THE_MODULATOR):
            for later in own[j + 1 :]:
                if later.kind == "modulator" and later.id not in absorbed_stages(own, network.time_stamps):
                    what = (
                        f"site {site.name} ({chain.route}): section {stage.id} holds up to the {plane}, so it absorbs "
                        f"the modulator {later.id}, which the chain counts again"
                    )
                    yield Problem(
                        f"{where}.stages", what,
                        "a section that ends at the exciter input, or a chain without the modulator",
                        code="modulator-counted-twice", touches=touches, stages=(stage.id, later.id),
                        said={"plane": plane, "stage": stage.id, "modulator": later.id},
                    )  # fmt: skip


def _tree(network: Network) -> Iterator[Problem]:
    """Chains that share a stage of the same route must share everything upstream of it.

    One problem a stage and route, touching everyone who passes it: one device cannot have two latencies, so no figure
    of those behind it holds.
    """
    found: dict[tuple[str, str], list[int]] = {}
    for (i, a), (k, b) in combinations(enumerate(network.sites), 2):
        for chain_b in b.chains:
            chain_a = next((c for c in a.chains if c.route == chain_b.route), None)
            name = None if chain_a is None else _parted(chain_a.stages, chain_b.stages)
            if name is not None:
                found.setdefault((name, chain_b.route), []).extend((i, k))
    for (name, route), places in found.items():
        parted = [network.sites[n] for n in sorted(set(places))]
        behind = [(s, c) for s in network.sites for c in s.chains if c.route == route and name in c.stages]
        k, last = next((n, s) for n, s in enumerate(network.sites) if s.id == parted[1].id)
        j, chain = next((j, c) for j, c in enumerate(last.chains) if c.route == route)
        what = (
            f"sites {_and(site.name for site in parted)} ({route}) share stage {name} but reach it over different "
            f"stages, so one device would have two latencies"
        )
        yield Problem(
            f"sites[{k}].chains[{j}].stages[{chain.stages.index(name)}]", what,
            "the same stages upstream, or a stage of its own", code="stage-two-latencies", touches=touches_of(behind),
            stages=(name,),
        )  # fmt: skip


def _parted(a: tuple[str, ...], b: tuple[str, ...]) -> str | None:
    """First stage that two chains of one route share but reach over different stages."""
    return next((name for n, name in enumerate(b) if name in a and a[: a.index(name)] != b[:n]), None)


def _and(names: Iterable[str]) -> str:
    """Names in a sentence."""
    *first, last = map(format, names)
    return f"{', '.join(first)} and {last}" if first else last
