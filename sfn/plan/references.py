"""References inside a document: ids that must be unique, exist, and not run in circles."""

from collections import Counter
from collections.abc import Iterator

from sfn.errors import Problem
from sfn.plan.document import Network
from sfn.units import unit_length_us


def reference_problems(network: Network) -> tuple[Problem, ...]:
    """Every reference that cannot be followed, in reading order.

    Returns
    -------
    problems : tuple of Problem
        Empty when the document holds together.
    """
    return (*_unique(network), *_stages(network), *_sites(network), *_feeds(network), *_weights(network))


def _unique(network: Network) -> Iterator[Problem]:
    """Ids given twice."""
    for key, ids in (("stages", [s.id for s in network.stages]), ("sites", [s.id for s in network.sites])):
        for name, count in Counter(ids).items():
            if count > 1:
                at = len(ids) - 1 - ids[::-1].index(name)
                yield Problem(f"{key}[{at}].id", f"{name!r} is used {count} times", "an id of its own")


def _stages(network: Network) -> Iterator[Problem]:
    """What time-stamped sections name."""
    known = {stage.id: stage for stage in network.stages}
    for i, stage in enumerate(network.stages):
        for j, name in enumerate(stage.inside):
            where = f"stages[{i}].inside[{j}]"
            if name not in known:
                yield Problem(where, f"stage {stage.id}: names {name!r}, which does not exist", "the id of a stage")
            elif known[name].kind == "time-stamped section":
                yield Problem(
                    where, f"stage {stage.id}: {name!r} is itself a time-stamped section", "the id of a plain stage"
                )


def _sites(network: Network) -> Iterator[Problem]:
    """What chains and delay fields name."""
    known = {stage.id for stage in network.stages}
    for i, site in enumerate(network.sites):
        routes = Counter(chain.route for chain in site.chains)
        if routes["main"] == 0:
            yield Problem(
                f"sites[{i}].chains", f"site {site.name}: has no main route", 'one chain with "route": "main"'
            )
        for route, count in routes.items():
            if count > 1:
                yield Problem(
                    f"sites[{i}].chains", f"site {site.name}: route {route} is given {count} times", "each route once"
                )
        names = Counter(field.name for field in site.delay_fields)
        for name, count in names.items():
            if count > 1:
                yield Problem(
                    f"sites[{i}].delay_fields",
                    f"site {site.name}: delay field {name!r} is given {count} times",
                    "each name once",
                )
        for j, field in enumerate(site.delay_fields):
            try:
                unit_length_us(field.unit)
            except ValueError as error:
                yield Problem(
                    f"sites[{i}].delay_fields[{j}].unit", f"site {site.name}: {error}", "a unit from that list"
                )
        for j, chain in enumerate(site.chains):
            for name, count in Counter(chain.stages).items():
                where = f"sites[{i}].chains[{j}].stages[{chain.stages.index(name)}]"
                if name not in known:
                    yield Problem(
                        where, f"site {site.name}: names stage {name!r}, which does not exist", "the id of a stage"
                    )
                elif count > 1:
                    yield Problem(where, f"site {site.name}: passes stage {name!r} {count} times", "each stage once")
            for name in chain.set or {}:
                if name not in names:
                    yield Problem(
                        f"sites[{i}].chains[{j}].set",
                        f"site {site.name}: sets {name!r}, which is no delay field of it",
                        f"one of {sorted(names)}",
                    )


def _feeds(network: Network) -> Iterator[Problem]:
    """Sites fed off air: the parent exists, and nobody feeds itself."""
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    for i, site in enumerate(network.sites):
        where = f"sites[{i}].fed_off_air_from"
        parent = site.fed_off_air_from
        if parent is None:
            continue
        if parent not in parents:
            yield Problem(
                where, f"site {site.name}: is fed from {parent!r}, which does not exist", "the id of another site"
            )
            continue
        seen, at = {site.id}, parent
        while at is not None and at in parents and at not in seen:
            seen.add(at)
            at = parents[at]  # type: ignore[assignment]
        if at == site.id:
            yield Problem(
                where,
                f"site {site.name}: is fed from itself, through {parent!r}",
                "a site with a chain from the studio",
            )


def _weights(network: Network) -> Iterator[Problem]:
    """Weights of places that the document's own list does not have; other lists are looked at where they are read."""
    known = network.listeners.places if network.listeners else None
    for i, weight in enumerate(network.weights or ()):
        if weight.place is None or (network.listeners and known is None):
            continue
        if weight.place not in {place.name for place in known or ()}:
            what = f"weight {weight.name}: {weight.place!r} is no place of the listeners"
            expected = "the name of one of them" if known else "listeners, or an area instead of a place"
            yield Problem(f"weights[{i}].place", what, expected)
