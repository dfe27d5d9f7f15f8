"""Problems of chains: dry buffers, delays that wander, waveforms that differ, devices counted twice."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations

from sfn.chain import outdated, stage_latency
from sfn.errors import Problem
from sfn.plan import Chain, Network, Site, Stage
from sfn.units import exact

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
    return (*found, *_tree(network))


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


def _stage(
    network: Network, index: int, stage: Stage, users: list[tuple[Site, Chain]], *, covered: bool
) -> Iterator[Problem]:
    """Problems of one stage, named with the sites they reach; `covered` by a time-stamped section or not."""
    where = f"stages[{index}]"
    if not users:
        yield Problem(where, f"stage {stage.id} belongs to no chain", "a chain that names it, or remove it", "warning")
        return
    if stage.kind == "time-stamped section":
        yield from _dry(network, where, stage, users)
    if stage.adapts and any(stage.id in chain.stages for _, chain in users):
        what = f"{named(users)}: stage {stage.id} adapts its delay, so the launch time wanders with the network"
        expected = "a fixed delay, or put it inside a time-stamped section, which absorbs the variation"
        yield Problem(f"{where}.adapts", what, expected)
    if stage.shapes_waveform and not stage.identical:
        yield from _waveform(network, where, stage, users)
    if stage.tolerance_us is None and not covered:
        yield Problem(
            f"{where}.tolerance_us",
            f"stage {stage.id} states no tolerance and counts as exact",
            "how far its latency may be off, in us",
            "warning",
        )
    if outdated(stage):
        known = f"from {stage.date}" if stage.date else "without a date"
        yield Problem(
            f"{where}.date",
            f"{named(users)}: firmware or mode of stage {stage.id} changed on {stage.changed}, its figure is {known}",
            "a measurement after the change",
            "warning",
        )
    if stage.source is None:
        yield Problem(
            f"{where}.source",
            f"stage {stage.id} does not say how its latency is known and counts as assumed",
            "measured, data sheet, assumed or computed",
            "warning",
        )
    elif stage.source == "assumed":
        yield Problem(
            f"{where}.source",
            f"{named(users)}: the latency of stage {stage.id} is only assumed",
            "a measured figure, or one from the data sheet",
            "warning",
        )


def _dry(network: Network, where: str, stage: Stage, users: list[tuple[Site, Chain]]) -> Iterator[Problem]:
    """A time-stamped section whose release delay does not cover its worst path."""
    stages = {s.id: s for s in network.stages}
    release_us = stage.release_delay_us or 0.0
    needed = exact(stage.jitter_margin_us or 0.0) + exact(stage.least_processing_us or 0.0)
    for name in stage.inside:
        latency = stage_latency(stages[name], refractivity_n=network.refractivity_n)
        needed += Fraction(latency) + exact(stages[name].tolerance_us or 0.0)
    needed_us = float(needed)
    if needed > exact(release_us):
        what = (
            f"{named(users)} runs dry: section {stage.id} needs {needed_us:,.10g} us for its worst path, margin and "
            f"processing, but releases after {release_us:,.10g} us, {needed_us - release_us:,.10g} us too soon"
        )
        yield Problem(f"{where}.release_delay_us", what, f"{needed_us:,.10g} us or more")
    wrap_s = network.time_stamps.wrap_s if network.time_stamps else None
    if wrap_s is not None and release_us >= wrap_s * 1e6:
        what = (
            f"{named(users)}: section {stage.id} releases {release_us:,.10g} us after its stamp, "
            f"but stamps repeat after {wrap_s:g} s"
        )
        yield Problem(f"{where}.release_delay_us", what, f"less than {wrap_s * 1e6:g} us, or absolute time stamps")


def _waveform(network: Network, where: str, stage: Stage, users: list[tuple[Site, Chain]]) -> Iterator[Problem]:
    """Waveform-changing processing that not all sites share."""
    routes = {chain.route for _, chain in users}
    using = {(site.id, chain.route) for site, chain in users}
    missing = sorted(
        {
            site.name
            for site in network.sites
            if site.fed_off_air_from is None
            for route in routes
            if (site.id, route) not in using
            and (any(c.route == route for c in site.chains) or (site.id, "main") not in using)
        }
    )
    if missing:
        what = (
            f"{named(users)}: stage {stage.id} changes the waveform, but not for {', '.join(missing)}: "
            "where the signals differ, no delay brings them together"
        )
        expected = (
            "one for all sites, upstream of the fork, or bit-identical and sample-locked devices (identical: true)"
        )
        yield Problem(f"{where}.shapes_waveform", what, expected)


def _chain(network: Network, where: str, site: Site, chain: Chain) -> Iterator[Problem]:
    """Problems of one route: devices counted twice."""
    stages = {s.id: s for s in network.stages}
    own = [stages[name] for name in chain.stages]
    covered = {name for stage in own for name in stage.inside}
    for j, stage in enumerate(own):
        if stage.id in covered:
            what = (
                f"site {site.name} ({chain.route}): stage {stage.id} is inside a time-stamped section "
                f"and in the chain itself: counted twice"
            )
            yield Problem(f"{where}.stages[{j}]", what, "name it in one of the two")
        plane = (stage.reference_plane or "").lower()
        if stage.kind == "time-stamped section" and plane.startswith(_PLANES_BEHIND_THE_MODULATOR):
            for later in own[j + 1 :]:
                if later.kind == "modulator":
                    what = (
                        f"site {site.name} ({chain.route}): section {stage.id} holds up to the {plane}, so it absorbs "
                        f"the modulator {later.id}, which the chain counts again"
                    )
                    yield Problem(
                        f"{where}.stages",
                        what,
                        "a section that ends at the exciter input, or a chain without the modulator",
                    )


def _tree(network: Network) -> Iterator[Problem]:
    """Chains that share a stage of the same route must share everything upstream of it."""
    for (_, a), (k, b) in combinations(enumerate(network.sites), 2):
        for j, chain_b in enumerate(b.chains):
            chain_a = next((c for c in a.chains if c.route == chain_b.route), None)
            if chain_a is None:
                continue
            shared = [name for name in chain_b.stages if name in chain_a.stages]
            for name in shared:
                before_a = chain_a.stages[: chain_a.stages.index(name)]
                before_b = chain_b.stages[: chain_b.stages.index(name)]
                if before_a != before_b:
                    what = (
                        f"sites {a.name} and {b.name} ({chain_b.route}) share stage {name} but reach it over different "
                        f"stages, so one device would have two latencies"
                    )
                    yield Problem(
                        f"sites[{k}].chains[{j}].stages[{chain_b.stages.index(name)}]",
                        what,
                        "the same stages upstream, or a stage of its own",
                    )
                    break
