"""The delay table: one row per site and route, in document order, every number with its arithmetic.

| symbol | name | unit |
|---|---|---|
| T_i | `latency_us` | us |
| T_0 | `common_delay_us` | us |
| o_i | `offset_us` | us |
| | `added_us`, ``T_0 + o_i - T_i``, exact | us |
| | `set_us`, what the fields then contribute | us |
| | `launch_us`, ``T_i + set_us`` | us |
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from sfn.chain import RouteLatency, all_routes
from sfn.errors import Problem
from sfn.geodesy.position import Located
from sfn.geodesy.sites import path_between, place
from sfn.plan import Chain, Network, Site
from sfn.timing.problems import Needs, row_problems
from sfn.timing.setting import FieldSetting, field_limits, finest_step, set_now, settings_for
from sfn.units import exact


@dataclass(frozen=True, slots=True)
class Term:
    """One signed term of a row's arithmetic."""

    label: str
    signed_us: float


@dataclass(frozen=True, slots=True)
class DelayRow:
    """The delays of one site on one route. Times count from the reference instant, positive = later."""

    site_id: str
    site_name: str
    route: str
    on_air: bool
    latency_us: float
    tolerance_us: float
    rss_us: float
    assumed_us: float
    assumed_stages: tuple[str, ...]
    offset_us: float
    least_offset_us: float | None
    added_us: float
    fields: tuple[FieldSetting, ...]
    set_us: float
    rounding_us: float
    launch_us: float
    now_us: float
    launch_now_us: float
    change_us: float
    headroom_us: float
    jump_us: float | None
    pad_us: float
    step_us: float
    own: RouteLatency
    feed: tuple[Term, ...]

    @property
    def latency_terms(self) -> tuple[Term, ...]:
        """The terms that make up the latency, in the order the signal passes them."""
        own = zip(self.own.stages, self.own.stage_us, strict=True)
        return (*self.feed, *(Term(stage.id, float(latency)) for stage, latency in own))


@dataclass(frozen=True, slots=True)
class DelayTable:
    """The whole delay table and what is wrong with it."""

    network: str
    common_delay_us: float
    least_common_delay_us: float
    forced_by: tuple[str, str]
    rows: tuple[DelayRow, ...]
    problems: tuple[Problem, ...]

    def row(self, site_id: str, route: str = "main") -> DelayRow:
        """The row of one site and route."""
        return next(row for row in self.rows if (row.site_id, row.route) == (site_id, route))

    def launches(self, *, as_set: bool = False) -> dict[str, float]:
        """Launch time of each site's main route, computed or as set now. [us]"""
        return {r.site_id: r.launch_now_us if as_set else r.launch_us for r in self.rows if r.route == "main"}


@dataclass(frozen=True, slots=True)
class _Launch:
    """Launch of a site's main route, exactly, and how far it may be off."""

    computed: Fraction
    as_set: Fraction
    tolerance_us: float
    rss_us: float
    assumed_us: float
    assumed_stages: tuple[str, ...]


def feed_order(network: Network) -> list[Site]:
    """Sites ordered so that a parent comes before the sites that receive it."""
    sites = {site.id: site for site in network.sites}
    ordered: dict[str, Site] = {}

    def visit(site: Site) -> None:
        """The parent first, then the site."""
        if site.id not in ordered:
            if site.fed_off_air_from is not None:
                visit(sites[site.fed_off_air_from])
            ordered[site.id] = site

    for site in network.sites:
        visit(site)
    return list(ordered.values())


def delay_table(network: Network, *, placed: Mapping[str, Located] | None = None) -> DelayTable:
    """Latency, added delay, settings and launch time of every site and route.

    Parameters
    ----------
    network : Network
        A document that was read.
    placed : mapping of site id to Located, optional
        From `sfn.geodesy.sites.place`, where the caller has it already.

    Returns
    -------
    table : DelayTable
        Rows in document order, one a route. ``added_us = common_delay_us + offset_us - latency_us`` in every
        row; for a site fed off air the latency is its parent's launch, the path and its own stages.

    Raises
    ------
    PlanError
        If the position of a site that the feeds need cannot be read.

    Notes
    -----
    The automatic common delay is the greatest, over all sites on air that have a chain from the studio and all
    their routes, of ``latency - offset + least the fields can do``, plus the margin; it is not rounded.
    """
    routes = all_routes(network)
    needs = _needs(network, routes)
    chosen = network.common_delay
    common = needs.least_common + exact(chosen.margin_us or 0.0) if chosen.value_us is None else exact(chosen.value_us)
    if placed is None:
        placed = place(network) if any(site.fed_off_air_from for site in network.sites) else {}
    launches: dict[str, _Launch] = {}
    rows: dict[tuple[str, str], DelayRow] = {}
    sites = {site.id: site for site in network.sites}
    problems: dict[str, tuple[Problem, ...]] = {}
    index = {site.id: i for i, site in enumerate(network.sites)}
    for site in feed_order(network):
        parent = sites[site.fed_off_air_from] if site.fed_off_air_from else None
        path_us = (
            exact(path_between(parent, site, placed=placed, refractivity_n=network.refractivity_n).travel_us)
            if parent
            else Fraction(0)
        )
        feed = (parent.name, launches[parent.id], path_us) if parent else None
        made = _site_rows(site, common, routes=routes, feed=feed)
        launches[site.id] = made.launch
        rows |= {(site.id, row.route): row for row in made.rows}
        problems[site.id] = row_problems(index[site.id], site, made.rows, common=common, needs=needs)
    return DelayTable(
        network.name,
        float(common),
        float(needs.least_common),
        needs.forced_by,
        tuple(rows[site.id, chain.route] for site in network.sites for chain in site.chains),
        tuple(problem for site in network.sites for problem in problems[site.id]),
    )


def _needs(network: Network, routes: Mapping[tuple[str, str], RouteLatency]) -> Needs:
    """The least common delay that every studio-fed site on air can meet, and who forces it."""
    fed = [site for site in network.sites if site.fed_off_air_from is None]
    counted = [site for site in fed if site.on_air] or fed
    demands = {
        (site.id, chain.route): Fraction(routes[site.id, chain.route].exact_us)
        - exact(site.offset_us)
        + field_limits(site.delay_fields)[0]
        for site in counted
        for chain in site.chains
    }
    forcing = max(demands, key=lambda key: demands[key])
    names = {site.id: site.name for site in network.sites}
    return Needs(demands[forcing], forcing, names[forcing[0]])


@dataclass(frozen=True, slots=True)
class _SiteRows:
    """All rows of one site and the launch of its main route."""

    rows: tuple[DelayRow, ...]
    launch: _Launch


def _site_rows(
    site: Site,
    common: Fraction,
    *,
    routes: Mapping[tuple[str, str], RouteLatency],
    feed: tuple[str, _Launch, Fraction] | None,
) -> _SiteRows:
    """The rows of one site; `feed` is the parent's name, launch and path for a site fed off air."""
    chains = sorted(site.chains, key=lambda chain: chain.route != "main")
    latencies = {chain.route: _latency(routes[site.id, chain.route], feed) for chain in chains}
    slowest = max(latency for latency, _ in latencies.values())
    main_set = Fraction(0)
    rows: dict[str, DelayRow] = {}
    launch: _Launch | None = None
    for chain in chains:
        latency, latency_as_set = latencies[chain.route]
        own = routes[site.id, chain.route]
        added = common + exact(site.offset_us) - latency
        settings, total = settings_for(added, site.delay_fields)
        now = _now(site, chain)
        is_main = chain.route == "main"
        main_set = total if is_main else main_set
        least_offset = latency + field_limits(site.delay_fields)[0] - common if feed else None
        inherited = feed[1] if feed else None
        here = _Launch(
            latency + total,
            latency_as_set + now,
            own.tolerance_us + (inherited.tolerance_us if inherited else 0.0),
            (own.rss_us**2 + (inherited.rss_us**2 if inherited else 0.0)) ** 0.5,
            own.assumed_us + (inherited.assumed_us if inherited else 0.0),
            (*(inherited.assumed_stages if inherited else ()), *own.assumed_stages),
        )
        launch = here if is_main or launch is None else launch
        rows[chain.route] = DelayRow(
            site_id=site.id,
            site_name=site.name,
            route=chain.route,
            on_air=site.on_air,
            latency_us=float(latency),
            tolerance_us=here.tolerance_us,
            rss_us=here.rss_us,
            assumed_us=here.assumed_us,
            assumed_stages=here.assumed_stages,
            offset_us=site.offset_us,
            least_offset_us=None if least_offset is None else float(least_offset),
            added_us=float(added),
            fields=settings,
            set_us=float(total),
            rounding_us=float(total - added),
            launch_us=float(here.computed),
            now_us=float(now),
            launch_now_us=float(here.as_set),
            change_us=float(total - now),
            headroom_us=_headroom(site, settings),
            jump_us=None if is_main else float(main_set - total),
            pad_us=float(slowest - latency),
            step_us=float(finest_step(site.delay_fields)),
            own=own,
            feed=_feed_terms(feed),
        )
    assert launch is not None
    return _SiteRows(tuple(rows[chain.route] for chain in site.chains), launch)


def _latency(own: RouteLatency, feed: tuple[str, _Launch, Fraction] | None) -> tuple[Fraction, Fraction]:
    """Latency from the reference instant, with the computed settings and with those set now upstream."""
    stages = Fraction(own.exact_us)
    if feed is None:
        return stages, stages
    _, parent, path_us = feed
    return parent.computed + path_us + stages, parent.as_set + path_us + stages


def _now(site: Site, chain: Chain) -> Fraction:
    """Delay that the fields contribute with what they are set to now on this route."""
    own = chain.set or {}
    return sum((set_now(field, own.get(field.name)) for field in site.delay_fields), Fraction(0))


def _headroom(site: Site, settings: tuple[FieldSetting, ...]) -> float:
    """Delay that could still be added, the finest field not counted (it only fills one coarse step)."""
    if len(settings) < 2:
        return sum(s.headroom_us for s in settings)
    finest = min(site.delay_fields, key=lambda f: finest_step([f])).name
    return sum(s.headroom_us for s in settings if s.name != finest)


def _feed_terms(feed: tuple[str, _Launch, Fraction] | None) -> tuple[Term, ...]:
    """What a site fed off air waits for before its own stages."""
    if feed is None:
        return ()
    name, parent, path_us = feed
    return (Term(f"launch of {name}", float(parent.computed)), Term(f"path from {name}", float(path_us)))
