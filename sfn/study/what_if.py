"""A network with some things tried: offsets, clocks, routes, sites not transmitting, power and antennas."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from sfn.chain import MAIN
from sfn.check import all_problems
from sfn.errors import PlanError, Problem, Touch
from sfn.geodesy.position import Located
from sfn.geodesy.sites import place
from sfn.plan import Network, Site
from sfn.plan.left_out import why_left_out
from sfn.report.numbers import us
from sfn.study.lever_move import grounded, move_doubts
from sfn.study.lever_says import beyond_levels, lever_doubts, lever_says
from sfn.study.lever_try import Lever, differing, lever_problems, levered, moves
from sfn.study.states import state_says
from sfn.study.window_try import WindowTry, with_window
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable, delay_table
from sfn.timing.planned_state import in_state
from sfn.timing.row import unknown_now

GREATEST_TRIED_US = 1_000_000.0


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is tried, by site id: offsets, clock errors (positive: late), routes in use, sites not transmitting. [us]"""

    offsets_us: Mapping[str, float] = field(default_factory=dict)
    clock_errors_us: Mapping[str, float] = field(default_factory=dict)
    routes: Mapping[str, str] = field(default_factory=dict)
    off_air: frozenset[str] = frozenset()
    window: WindowTry = field(default_factory=WindowTry)
    """How OFDM receivers place their window."""
    state: str = ""
    """The planned state that it is tried in; empty: as the network stands."""
    levers: Mapping[str, Lever] = field(default_factory=dict)
    """Power, direction, pattern, tilts, height and place."""

    def against(self, network: Network) -> "WhatIf":
        """Only what differs from the plan, so that an address that repeats the plan is no try."""
        network = in_state(network, self.state) if self.state else network
        sites = {site.id: site for site in network.sites}
        plan_us = {name: site.offset_us for name, site in sites.items()}
        return WhatIf(
            {name: value for name, value in self.offsets_us.items() if plan_us.get(name) != value},
            {name: value for name, value in self.clock_errors_us.items() if value != 0.0},
            {name: route for name, route in self.routes.items() if route != MAIN},
            frozenset(name for name in self.off_air if name not in sites or sites[name].on_air),
            self.window if self.window and with_window(network, self.window)[1] else WindowTry(),
            self.state,
            {
                name: kept
                for name, lever in self.levers.items()
                if (kept := differing(lever, sites[name], network) if name in sites else lever)
            },
        )

    def problems(self, network: Network) -> tuple[Problem, ...]:
        """Sites and routes that the network does not have, and figures beyond reason."""
        sites = {site.id: site for site in network.sites}
        named = {*self.offsets_us, *self.clock_errors_us, *self.routes, *self.off_air, *self.levers}
        found = [*why_left_out(network.left_out, named)]
        gone = {one.site_id for one in network.left_out}
        for key, names in (
            ("offset", self.offsets_us),
            ("clock", self.clock_errors_us),
            ("route", self.routes),
            ("off", self.off_air),
            ("lever", self.levers),
        ):
            found += [
                Problem(
                    key,
                    f"there is no site {name!r}",
                    f"one of {', '.join(sites)}",
                    code="unknown-site",
                    values={"site": name},
                )
                for name in names
                if name not in sites and name not in gone
            ]
        for key, values in (("offset", self.offsets_us), ("clock", self.clock_errors_us)):
            found += [
                Problem(
                    f"{key}-{name}",
                    f"site {name}: {value!r} us cannot be tried",
                    f"-{GREATEST_TRIED_US:g} to {GREATEST_TRIED_US:g} us",
                    code="out-of-range",
                    touches=(Touch(name),),
                    values={"tried_us": value, "most_us": GREATEST_TRIED_US},
                )
                for name, value in values.items()
                if not abs(value) <= GREATEST_TRIED_US
            ]
        for name, route in self.routes.items():
            known = [chain.route for chain in sites[name].chains] if name in sites else []
            if name in sites and route not in known:
                found.append(
                    Problem(
                        "route",
                        f"site {name} has no route {route!r}",
                        f"one of {', '.join(known)}",
                        code="unknown-route",
                        touches=(Touch(name),),
                        values={"route": route},
                    )
                )
        return (*found, *lever_problems(network, self.levers))


@dataclass(frozen=True, slots=True)
class Tried:
    """A network with what was tried in force."""

    network: Network
    table: DelayTable
    launches: dict[str, float]
    placed: Mapping[str, Located]
    """Where its sites stand: as planned, but for those that are tried elsewhere."""
    says: tuple[str, ...] = ()
    """What is tried, a sentence each, for everything that shows it; empty where it is the plan."""
    doubts: tuple[Problem, ...] = ()
    """Errors that the plan does not have: settings that could not be made, and what is wrong with a tried route."""

    @property
    def beyond_state(self) -> bool:
        """Whether something is tried besides the planned state that the network is in."""
        return len(self.says) > len(state_says(self.network))


def tried(
    network: Network, what: WhatIf, *, placed: Mapping[str, Located], as_set: bool = False, ground: Ground | None = None
) -> Tried:
    """The network, its delay table and its launches with something tried.

    Parameters
    ----------
    network : Network
    what : WhatIf
    placed : mapping of site id to Located
        As planned.
    as_set : bool
        Launches with what is set now instead of the computed settings.
    ground : Ground, optional
        Terrain that gives the height of the ground where a site is tried elsewhere and nobody typed it.

    Returns
    -------
    tried : Tried
        A route other than main launches with the *main* route's setting still in place, as after a change-over that
        nobody answered; fields that keep a setting for each route go over to that of the tried one. A clock error
        moves its site and the sites that receive it off air, which also stop transmitting with it.

    Raises
    ------
    PlanError
        If it names what the network does not have, or a site is tried where nobody knows the height of the ground.
    """
    if what.state:
        network = in_state(network, what.state)
    problems = what.problems(network)
    if problems:
        raise PlanError(problems)
    typed = what.against(network).levers
    what = replace(what, levers=grounded(network, what.levers, ground)).against(network)
    planned_routes = {one.site: one.route for one in network.state.changes if one.route} if network.state else {}
    what = replace(what, routes={**{s: r for s, r in planned_routes.items() if r and r != MAIN}, **what.routes})
    network, windows_said = with_window(network, what.window)
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    names = {site.id: site.name for site in network.sites}
    whole = {site.id: site for site in network.sites}
    silent = {site.id: _silent_above(site.id, parents, what.off_air) for site in network.sites}
    # Trying a site not transmitting to look at the map must not move the common delay of the others.
    planned = network.model_copy(
        update={
            "sites": tuple(
                levered(site, what.levers.get(site.id, Lever()), network).model_copy(
                    update={"offset_us": what.offsets_us.get(site.id, site.offset_us)}
                )
                for site in network.sites
            )
        }
    )
    moved = {site.id: site for site in planned.sites if moves(what.levers.get(site.id, Lever()), whole[site.id])}
    planned_at, placed = placed, {**placed, **place(planned.of_sites(tuple(moved.values())))}
    heard = planned.transmitting
    sites = tuple(
        site.model_copy(update={"on_air": site.id in heard and silent[site.id] is None}) for site in planned.sites
    )
    table = delay_table(planned, placed=placed)
    launches = table.launches(as_set=as_set)
    late = dict(what.clock_errors_us)
    for name, route in what.routes.items():
        late[name] = late.get(name, 0.0) + _jump(table, name, route, as_set=as_set)
    for name in launches:
        at: str | None = name
        while at is not None:
            launches[name] += late.get(at, 0.0)
            at = parents[at]
    sites_say = (text for site in network.sites for text in _sentences(site, what, table, silent, names, as_set))
    levers_say = (
        *(
            lever_says(site, what.levers[site.id], network, typed.get(site.id, Lever()))
            for site in network.sites
            if site.id in what.levers
        ),
        *(beyond_levels(network, what.levers, moved) if what.levers else ()),
    )
    says = (*state_says(network), *sites_say, *windows_said, *levers_say)
    doubts = (
        *_beyond_fields(network, table, planned_at, what),
        *_unfit_routes(network, what),
        *lever_doubts(network, what.levers, placed),
        *move_doubts(moved, placed),
    )
    return Tried(network.model_copy(update={"sites": sites}), table, launches, placed, says, doubts)


def _jump(table: DelayTable, site_id: str, route: str, *, as_set: bool) -> float:
    """Launch on a route, as a change-over finds it, minus launch on main, computed or as set now. [us]"""
    row = table.row(site_id, route)
    if as_set:
        main = table.row(site_id)
        if row.launch_now_us is None or main.launch_now_us is None:
            raise PlanError([unknown_now(row)])
        return row.launch_now_us - main.launch_now_us
    return row.jump_us or 0.0


def _beyond_fields(
    network: Network, table: DelayTable, placed: Mapping[str, Located], what: WhatIf
) -> tuple[Problem, ...]:
    """Settings that tried offsets or places put beyond what the fields can do, where the plan's are not.

    `placed` are the planned places: a relay is set for the way from where its parent stands.
    """
    elsewhere = any(lever.position is not None for lever in what.levers.values())
    wrong = [p for p in table.problems if p.severity == "error"] if what.offsets_us or elsewhere else []
    before = {p.where for p in delay_table(network, placed=placed).problems if p.severity == "error"} if wrong else {}
    return tuple(p for p in wrong if p.where not in before)


def _unfit_routes(network: Network, what: WhatIf) -> tuple[Problem, ...]:
    """Errors of the check that name a route which is tried: one that runs dry does not launch when it should."""
    if not what.routes:
        return ()
    on = {Touch(site, route) for site, route in what.routes.items()}
    return tuple(p for p in all_problems(network.whole) if p.severity == "error" and on.intersection(p.touches))


def _silent_above(name: str, parents: Mapping[str, str | None], off_air: frozenset[str]) -> str | None:
    """The site that is not transmitting and takes this one with it: itself, or one it is fed from."""
    at: str | None = name
    while at is not None and at not in off_air:
        at = parents[at]
    return at


def _sentences(
    site: Site,
    what: WhatIf,
    table: DelayTable,
    silent: Mapping[str, str | None],
    names: Mapping[str, str],
    as_set: bool,
) -> Iterator[str]:
    """What is tried at one site."""
    if site.id in what.offsets_us:
        tried_us, plan_us = (us(value, 2, signed=True) for value in (what.offsets_us[site.id], site.offset_us))
        yield f"{site.name}: offset {tried_us} instead of {plan_us}"
    if site.id in what.clock_errors_us:
        error_us = what.clock_errors_us[site.id]
        yield f"{site.name}: its clock {us(abs(error_us), 2)} {'late' if error_us > 0 else 'early'}"
    if site.id in what.routes:
        route = what.routes[site.id]
        jump_us = _jump(table, site.id, route, as_set=as_set)
        presets = next(chain.set for chain in site.chains if chain.route == route)
        which = "that route's own preset" if presets else "the main route's setting"
        yield f"{site.name}: on its {route} route with {which}, launch {us(jump_us, 2, signed=True)}"
    by = silent[site.id]
    if site.on_air and by is not None:
        yield f"{site.name}: not transmitting" + (
            "" if by == site.id else f", because {names[by]}, which feeds it, is not"
        )
