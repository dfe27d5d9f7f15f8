"""References inside a document: ids that must be unique, exist, and not run in circles."""

from collections import Counter
from collections.abc import Iterator

from sfn.errors import Problem, Touch
from sfn.plan.document import Chain, Network, Site
from sfn.units import unit_length_us


def reference_problems(network: Network) -> tuple[Problem, ...]:
    """Every reference that cannot be followed, in reading order.

    Returns
    -------
    problems : tuple of Problem
        Empty when the document holds together.
    """
    return (
        *_unique(network), *_stages(network), *_sites(network), *_feeds(network), *_weights(network),
        *_planned(network), *_may_change(network),
    )  # fmt: skip


def _unique(network: Network) -> Iterator[Problem]:
    """Ids given twice."""
    for key, ids in (("stages", [s.id for s in network.stages]), ("sites", [s.id for s in network.sites])):
        for name, count in Counter(ids).items():
            if count > 1:
                at = len(ids) - 1 - ids[::-1].index(name)
                of = {"stages": (name,)} if key == "stages" else {"touches": (Touch(name),)}
                what = f"{name!r} is used {count} times"
                yield Problem(f"{key}[{at}].id", what, "an id of its own", code="id-duplicate", **of)


def _stages(network: Network) -> Iterator[Problem]:
    """What time-stamped sections name."""
    known = {stage.id: stage for stage in network.stages}
    for i, stage in enumerate(network.stages):
        for j, name in enumerate(stage.inside):
            where, stages = f"stages[{i}].inside[{j}]", (stage.id, name)
            if name not in known:
                what = f"stage {stage.id}: names {name!r}, which does not exist"
                yield Problem(where, what, "the id of a stage", code="stage-unknown", stages=stages)
            elif known[name].kind == "time-stamped section":
                what = f"stage {stage.id}: {name!r} is itself a time-stamped section"
                yield Problem(where, what, "the id of a plain stage", code="section-in-section", stages=stages)


def _planned(network: Network) -> Iterator[Problem]:
    """What planned states name."""
    sites = {site.id: site for site in network.sites}
    seen: set[str] = set()
    for i, state in enumerate(network.planned or ()):
        where, name = f"planned[{i}]", state.name.strip().casefold()
        if name in seen:
            yield Problem(f"{where}.name", f"{state.name!r} is used twice", "a name of its own", code="name-duplicate")
        seen.add(name)
        changed: set[str] = set()
        for j, change in enumerate(state.changes):
            at, said = f"{where}.changes[{j}]", f"planned state {state.name}"
            site = sites.get(change.site)
            if site is None:
                what = f"{said}: there is no site {change.site!r}"
                yield Problem(f"{at}.site", what, f"one of {', '.join(sites)}", code="unknown-site")
                continue
            touches = (Touch(site.id),)
            if change.site in changed:
                what = f"{said}: site {site.name} is changed twice"
                yield Problem(f"{at}.site", what, "one line a site", code="id-duplicate", touches=touches)
            changed.add(change.site)
            routes = [chain.route for chain in site.chains]
            if change.route is not None and change.route not in routes:
                what, expected = (
                    f"{said}: site {site.name} has no route {change.route!r}",
                    f"one of {', '.join(routes)}",
                )
                yield Problem(f"{at}.route", what, expected, code="unknown-route", touches=touches)


def _sites(network: Network) -> Iterator[Problem]:
    """What chains and delay fields name."""
    known = {stage.id for stage in network.stages}
    for i, site in enumerate(network.sites):
        yield from _routes(i, site)
        yield from _fields(i, site)
        names = {field.name for field in site.delay_fields}
        for j, chain in enumerate(site.chains):
            yield from _passed(i, site, j, chain, known)
            for name in chain.set or {}:
                if name not in names:
                    what = f"site {site.name}: sets {name!r}, which is no delay field of it"
                    yield Problem(
                        f"sites[{i}].chains[{j}].set", what, f"one of {sorted(names)}", code="field-unknown",
                        touches=(Touch(site.id, chain.route),), fields=(name,),
                    )  # fmt: skip


def _routes(index: int, site: Site) -> Iterator[Problem]:
    """One chain a route, one of them main."""
    where, routes = f"sites[{index}].chains", Counter(chain.route for chain in site.chains)
    if routes["main"] == 0:
        what, expected = f"site {site.name}: has no main route", 'one chain with "route": "main"'
        yield Problem(where, what, expected, code="route-main-missing", touches=(Touch(site.id),))
    for route, count in routes.items():
        if count > 1:
            what = f"site {site.name}: route {route} is given {count} times"
            yield Problem(where, what, "each route once", code="route-duplicate", touches=(Touch(site.id, route),))


def _fields(index: int, site: Site) -> Iterator[Problem]:
    """Delay fields named once, in a unit that is known."""
    touches = (Touch(site.id),)
    for name, count in Counter(field.name for field in site.delay_fields).items():
        if count > 1:
            what = f"site {site.name}: delay field {name!r} is given {count} times"
            where = f"sites[{index}].delay_fields"
            yield Problem(where, what, "each name once", code="field-duplicate", touches=touches, fields=(name,))
    for j, field in enumerate(site.delay_fields):
        if field.unit == "unknown":
            continue  # readable, and nothing is set on it
        try:
            unit_length_us(field.unit)
        except ValueError as error:
            where, what = f"sites[{index}].delay_fields[{j}].unit", f"site {site.name}: {error}"
            expected = "a unit from that list"
            yield Problem(where, what, expected, code="unit-unknown", touches=touches, fields=(field.name,))


def _passed(index: int, site: Site, number: int, chain: Chain, known: set[str]) -> Iterator[Problem]:
    """Stages of one chain: each exists, and is passed once."""
    touches = (Touch(site.id, chain.route),)
    for name, count in Counter(chain.stages).items():
        where = f"sites[{index}].chains[{number}].stages[{chain.stages.index(name)}]"
        if name not in known:
            what = f"site {site.name}: names stage {name!r}, which does not exist"
            yield Problem(where, what, "the id of a stage", code="stage-unknown", touches=touches, stages=(name,))
        elif count > 1:
            what = f"site {site.name}: passes stage {name!r} {count} times"
            yield Problem(where, what, "each stage once", code="stage-repeated", touches=touches, stages=(name,))


def _feeds(network: Network) -> Iterator[Problem]:
    """Sites fed off air: the parent exists, and nobody feeds itself."""
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    for i, site in enumerate(network.sites):
        where, key = f"sites[{i}].fed_off_air_from", ("fed_off_air_from",)
        parent = site.fed_off_air_from
        if parent is None:
            continue
        if parent not in parents:
            what = f"site {site.name}: is fed from {parent!r}, which does not exist"
            expected = "the id of another site"
            yield Problem(where, what, expected, code="parent-unknown", touches=(Touch(site.id),), fields=key)
            continue
        seen, at = {site.id: True}, parent
        while at is not None and at in parents and at not in seen:
            seen[at] = True
            at = parents[at]  # type: ignore[assignment]
        if at == site.id:
            what = f"site {site.name}: is fed from itself, through {parent!r}"
            yield Problem(
                where, what, "a site with a chain from the studio", code="parent-loop",
                touches=tuple(Touch(name) for name in seen), fields=key,
            )  # fmt: skip


def _weights(network: Network) -> Iterator[Problem]:
    """Weights of places that the document's own list does not have; other lists are looked at where they are read."""
    known = network.listeners.places if network.listeners else None
    for i, weight in enumerate(network.weights or ()):
        if weight.place is None or (network.listeners and known is None):
            continue
        if weight.place not in {place.name for place in known or ()}:
            what = f"weight {weight.name}: {weight.place!r} is no place of the listeners"
            expected = "the name of one of them" if known else "listeners, or an area instead of a place"
            yield Problem(f"weights[{i}].place", what, expected, code="place-unknown", fields=("place",))


def _may_change(network: Network) -> Iterator[Problem]:
    """Sites that lines of what may change, and licences, name."""
    may = network.may_change
    if may is None:
        return
    known, seen = [site.id for site in network.sites], Counter[str | None]()
    for i, line in enumerate(may.lines):
        where = f"may_change.lines[{i}]"
        for j, name in enumerate(line.sites or ()):
            yield from _known(f"{where}.sites[{j}]", name, known)
        for j, name in enumerate(line.patterns or ()):
            yield from () if name == "-" else _known(f"{where}.patterns[{j}]", name, known, more=", or -")
        for whose in line.sites or (None,):
            if seen[whose]:
                what = f"site {whose} stands in two lines" if whose else "two lines are for all other sites"
                yield Problem(where, what, "each site in one line", code="id-duplicate")
            seen[whose] += 1
    for i, licence in enumerate(may.licences):
        for j, name in enumerate(licence.sites or ()):
            yield from _known(f"may_change.licences[{i}].sites[{j}]", name, known)


def _known(where: str, name: str, known: list[str], *, more: str = "") -> Iterator[Problem]:
    """A site that the network does not have."""
    if name not in known:
        what = f"there is no site {name!r}"
        yield Problem(where, what, f"one of {', '.join(known)}{more}", code="unknown-site", values={"site": name})
