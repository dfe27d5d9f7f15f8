"""Chains in which stages stand in no order or stand twice, and standby routes like a copy with something added."""

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

from sfn.chain import absorbed_stages, all_routes, stage_latency
from sfn.errors import Problem, Touch
from sfn.plan import Chain, Network, Site, Stage
from sfn.timing.table import common_demands
from sfn.units import grouped

MAIN = "main"
# What takes a signal from place to place, with all that stands or falls with it.
TRANSPORT = ("packetising", "loss protection", "network", "buffer", "fibre", "microwave", "time-stamped section")
_BEFORE_THE_FEEDER = (*TRANSPORT, "encoder", "decoder", "processing", "stereo generator", "modulator")
# Links that a chain usually passes one of.
_LINKS = ("microwave", "fibre")
# A route that raises the common delay of all by more than either is looked at (engineering judgement).
RAISES_RATIO = 0.1
RAISES_US = 1000.0


def route_problems(network: Network) -> tuple[Problem, ...]:
    """Stages behind the antenna feeder, routes that look doubled, a route that alone forces the common delay.

    Parameters
    ----------
    network : Network

    Returns
    -------
    problems : tuple of Problem
        In the order of the sites.
    """
    stages = {stage.id: stage for stage in network.stages}
    found: list[Problem] = []
    for i, site in enumerate(network.sites):
        for j, chain in enumerate(site.chains):
            own = [stages[name] for name in chain.stages]
            found += _order(f"sites[{i}].chains[{j}]", site, chain, own)
            found += _doubled(f"sites[{i}].chains[{j}]", site, chain, own, stages)
            found += _modulators(f"sites[{i}].chains[{j}]", site, chain, own, network)
    return (*found, *_links_in_series(network, stages), *_networks_in_series(network, stages), *_forcing(network))


def _order(where: str, site: Site, chain: Chain, own: list[Stage]) -> Iterator[Problem]:
    """Coding, transport or modulation behind a feeder.

    A feeder leads to the antenna from which the site is heard, wherever else a cable may run: that is kind other. Only
    a site fed off air begins with one, that of its receiving antenna.
    """
    for n, stage in enumerate(own):
        receiving = site.fed_off_air_from is not None and n == 0
        if stage.kind != "feeder" or receiving:
            continue
        for later in own[n + 1 :]:
            if later.kind in _BEFORE_THE_FEEDER:
                what = (
                    f"site {site.name} ({chain.route}): {later.id} ({later.kind}) stands behind the feeder {stage.id}, "
                    "where only filters, combiners and the antenna are"
                )
                yield Problem(
                    f"{where}.stages[{own.index(later)}]", what,
                    "the order in which the signal passes them; kind other for a cable that leads to no antenna",
                    code="stage-after-feeder", touches=(Touch(site.id, chain.route),), stages=(stage.id, later.id),
                    said={"later": later.id, "later_kind": later.kind, "feeder": stage.id},
                )  # fmt: skip
        return


def _modulators(where: str, site: Site, chain: Chain, own: list[Stage], network: Network) -> Iterator[Problem]:
    """Two modulators without a decoder between, which would take the signal back to what a modulator needs."""
    absorbed = absorbed_stages(own, network.time_stamps)
    first: Stage | None = None
    for stage in own:
        if stage.kind == "decoder":
            first = None
        if stage.kind != "modulator" or stage.id in absorbed:
            continue
        if first is not None:
            what = (
                f"site {site.name} ({chain.route}): passes two modulators, {first.id} and {stage.id}: "
                "what is modulated is not modulated again, so one of their latencies is counted too much"
            )
            yield Problem(
                f"{where}.stages[{own.index(stage)}]", what,
                "the one that the antenna radiates; kind other for a device that only feeds a link",
                code="modulators-in-series", touches=(Touch(site.id, chain.route),), stages=(first.id, stage.id),
            )  # fmt: skip
        first = stage


def _links_in_series(network: Network, stages: dict[str, Stage]) -> Iterator[Problem]:
    """Two links of one kind in a chain, where no other site has that: one of them may be a copy."""
    having: dict[str, list[tuple[int, int, tuple[str, ...]]]] = {kind: [] for kind in _LINKS}
    for i, site in enumerate(network.sites):
        for j, chain in enumerate(site.chains):
            for kind in _LINKS:
                passed = tuple(name for name in chain.stages if stages[name].kind == kind)
                if len(passed) > 1:
                    having[kind].append((i, j, passed))
    for kind, found in having.items():
        if len({i for i, _, _ in found}) != 1:
            continue
        for i, j, passed in found:
            site, chain = network.sites[i], network.sites[i].chains[j]
            what = (
                f"site {site.name} ({chain.route}): passes {len(passed)} stages of kind {kind} one after the other, "
                f"{', '.join(passed)}; no other site does"
            )
            yield Problem(
                f"sites[{i}].chains[{j}].stages", what, "all of them, if the signal really passes each", "warning",
                code="links-in-series", touches=(Touch(site.id, chain.route),), stages=passed, fields=("stages",),
                said={"passed_n": len(passed), "passed_kind": kind},
            )  # fmt: skip


def _networks_in_series(network: Network, stages: dict[str, Stage]) -> Iterator[Problem]:
    """Two networks one after the other that no other site passes, without time stamps: one of them may be a copy."""
    users = Counter(name for site in network.sites for name in {n for c in site.chains for n in c.stages})
    for i, site in enumerate(network.sites):
        for j, chain in enumerate(site.chains):
            passed = tuple(name for name in chain.stages if stages[name].kind == "network" and users[name] == 1)
            if len(passed) < 2:
                continue
            latencies = {
                name: float(stage_latency(stages[name], refractivity_n=network.refractivity_n)) for name in passed
            }
            each = " and ".join(f"{name} ({grouped(took, '.10g')} us)" for name, took in latencies.items())
            what = (
                f"site {site.name} ({chain.route}): passes {len(passed)} networks of its own one after the other, "
                f"{each}: {grouped(sum(latencies.values()), '.10g')} us together"
            )
            yield Problem(
                f"sites[{i}].chains[{j}].stages", what, "all of them, if the signal really passes each", "warning",
                code="links-in-series", touches=(Touch(site.id, chain.route),), stages=passed, fields=("stages",),
                values={"together_us": sum(latencies.values())},
                said={
                    "passed_n": len(passed), "together_full_us": sum(latencies.values()),
                    "each": ", ".join(f"{name} ({grouped(took, '.10g')} us)" for name, took in latencies.items()),
                },
            )  # fmt: skip


def _doubled(where: str, site: Site, chain: Chain, own: list[Stage], stages: dict[str, Stage]) -> Iterator[Problem]:
    """A standby that passes all of the main route's transport and more; two releases at time stamps in series."""
    touches = (Touch(site.id, chain.route),)
    passed = [stage.id for stage in own if stage.kind in TRANSPORT]
    main = next(c for c in site.chains if c.route == MAIN)
    of_main = [name for name in main.stages if stages[name].kind in TRANSPORT]
    added = [name for name in passed if name not in of_main]
    if chain.route != MAIN and of_main and added and set(of_main) <= set(passed):
        what = (
            f"site {site.name} ({chain.route}): passes the whole transport of the main route "
            f"({', '.join(of_main)}) and {', '.join(added)} as well, so it adds to its delay and fails with it"
        )
        yield Problem(
            f"{where}.stages", what, f"either {', '.join(of_main)}, or {', '.join(added)}", "warning",
            code="route-doubled", touches=touches, stages=tuple(passed), fields=("stages",),
            said={"of_main": ", ".join(of_main), "added": ", ".join(added)},
        )  # fmt: skip
        return
    for first, second in pairwise(stage for stage in own if stage.kind == "time-stamped section"):
        what = (
            f"site {site.name} ({chain.route}): passes two time-stamped sections, {first.id} and {second.id}: "
            "their release delays add"
        )
        yield Problem(
            f"{where}.stages", what, "one of them, unless the signal is really released twice", "warning",
            code="route-doubled", touches=touches, stages=(first.id, second.id), fields=("stages",),
        )  # fmt: skip


def _forcing(network: Network) -> Iterator[Problem]:
    """One route that alone makes every site wait longer: a standby, or the main route of one site."""
    if network.common_delay.mode != "automatic":
        return
    needs = {key: float(value) for key, value in common_demands(network, all_routes(network)).items()}
    if len(needs) < 2:
        return
    (of, route), with_us = max(needs.items(), key=lambda one: one[1])
    names = {site.id: site.name for site in network.sites}
    # A main route is held against other sites: the standby beside it is usually as slow.
    rest = {key: value for key, value in needs.items() if (key[0] != of if route == MAIN else key != (of, route))}
    if not rest:
        return
    (next_of, next_route), without_us = max(rest.items(), key=lambda one: one[1])
    raises_us = with_us - without_us
    if raises_us <= max(RAISES_US, RAISES_RATIO * abs(without_us)):
        return
    n, site = next((n, s) for n, s in enumerate(network.sites) if s.id == of)
    j = next(j for j, c in enumerate(site.chains) if c.route == route)
    what = (
        f"site {site.name} ({route}): this route alone makes every site wait {grouped(raises_us, '.10g')} us longer, "
        f"{grouped(with_us, '.10g')} us instead of {grouped(without_us, '.10g')} us, which the next slowest needs, "
        f"{names[next_of]} ({next_route})"
    )
    main = route == MAIN
    yield Problem(
        f"sites[{n}].chains[{j}]",
        what,
        "this, if the route really takes so long; else its latencies put right"
        if main
        else "a faster standby route, or a common delay chosen with that in view",
        "warning",
        code="main-forces-common-delay" if main else "route-forces-common-delay",
        touches=(Touch(site.id, route),),
        stages=tuple(site.chains[j].stages),
        fields=(),
        values={"with_us": with_us, "without_us": without_us, "raises_us": raises_us, "next_site": next_of},
        said={
            "next_route": next_route,
            "raises_full_us": raises_us,
            "with_full_us": with_us,
            "without_full_us": without_us,
        },
    )
