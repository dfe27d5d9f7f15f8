"""A network with some things tried: other offsets, sites off the air, a clock that drifted, a standby route."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import Located
from sfn.plan import Network
from sfn.timing import DelayTable, delay_table

GREATEST_TRIED_US = 1_000_000.0


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is tried, by site id: offsets, clock errors (positive = late), routes in use, sites off the air. [us]"""

    offsets_us: Mapping[str, float] = field(default_factory=dict)
    clock_errors_us: Mapping[str, float] = field(default_factory=dict)
    routes: Mapping[str, str] = field(default_factory=dict)
    off_air: frozenset[str] = frozenset()

    def problems(self, network: Network) -> tuple[Problem, ...]:
        """Sites and routes that the network does not have, and figures beyond reason."""
        sites = {site.id: site for site in network.sites}
        found = []
        for key, names in (
            ("offset", self.offsets_us),
            ("clock", self.clock_errors_us),
            ("route", self.routes),
            ("off", self.off_air),
        ):
            found += [
                Problem(key, f"there is no site {name!r}", f"one of {', '.join(sites)}")
                for name in names
                if name not in sites
            ]
        for key, values in (("offset", self.offsets_us), ("clock", self.clock_errors_us)):
            found += [
                Problem(
                    key,
                    f"site {name}: {value!r} us cannot be tried",
                    f"-{GREATEST_TRIED_US:g} to {GREATEST_TRIED_US:g} us",
                )
                for name, value in values.items()
                if not abs(value) <= GREATEST_TRIED_US
            ]
        for name, route in self.routes.items():
            known = [chain.route for chain in sites[name].chains] if name in sites else []
            if name in sites and route not in known:
                found.append(Problem("route", f"site {name} has no route {route!r}", f"one of {', '.join(known)}"))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Tried:
    """A network with what was tried in force."""

    network: Network
    table: DelayTable
    launches: dict[str, float]


def tried(network: Network, what: WhatIf, *, placed: Mapping[str, Located], as_set: bool = False) -> Tried:
    """The network, its delay table and its launches with something tried.

    Parameters
    ----------
    network : Network
    what : WhatIf
    placed : mapping of site id to Located
    as_set : bool
        Launches with what is set now instead of the computed settings.

    Returns
    -------
    tried : Tried
        A route other than main launches with the *main* route's setting still in place, as after a change-over
        that nobody answered; a clock error moves its site and the sites that receive it off air.

    Raises
    ------
    PlanError
        If it names what the network does not have.
    """
    problems = what.problems(network)
    if problems:
        raise PlanError(problems)
    sites = tuple(
        site.model_copy(
            update={
                "offset_us": what.offsets_us.get(site.id, site.offset_us),
                "on_air": site.on_air and site.id not in what.off_air,
            }
        )
        for site in network.sites
    )
    # Taking a site off the air to look at the map must not move the common delay of the others.
    keeps = {site.id: site.on_air for site in network.sites}
    planned = network.model_copy(update={"sites": tuple(s.model_copy(update={"on_air": keeps[s.id]}) for s in sites)})
    table = delay_table(planned, placed=placed)
    launches = table.launches(as_set=as_set)
    moved = dict(what.clock_errors_us)
    for name, route in what.routes.items():
        jump = table.row(name, route).jump_us
        moved[name] = moved.get(name, 0.0) + (jump or 0.0)
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    for name in launches:
        at: str | None = name
        while at is not None:
            launches[name] += moved.get(at, 0.0)
            at = parents[at]
    return Tried(network.model_copy(update={"sites": sites}), table, launches)
