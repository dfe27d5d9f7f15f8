"""The delay table: the common delay, and every site in feed order; its records stand in `row`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from sfn.chain import MAIN, RouteLatency, all_routes, spread
from sfn.errors import PlanError
from sfn.geodesy.position import Located
from sfn.geodesy.sites import path_between, placed_sites
from sfn.plan import Chain, Network, Site, Stage
from sfn.systems.of_network import service_of
from sfn.timing.device import field_limits, finest_step, present_total, present_values
from sfn.timing.failover import fed_from, jump
from sfn.timing.missing import Missing, missing_sites, units_known
from sfn.timing.problems import Needs, Says, site_problems
from sfn.timing.reachable import Reachable, Wishes, reachable
from sfn.timing.row import Alternative, DelayRow, DelayTable, Term
from sfn.timing.setting import FieldSetting, Split, split, split_beside, staying
from sfn.timing.tolerated import tolerated_error
from sfn.units import exact, grouped, written

WITHIN_US = 1e-9  # what binary fractions may add to an exact half step


@dataclass(frozen=True, slots=True)
class _Launch:
    """Launch of a site's main route, exactly, and how far it may be off."""

    computed: Fraction
    as_set: Fraction | None
    passed: tuple[Stage, ...]
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
        From `sfn.geodesy.sites.placed_sites`, where the caller has it already.

    Returns
    -------
    table : DelayTable
        Rows in document order, one a route. ``added_us = common_delay_us + offset_us - latency_us`` in every
        row; for a site fed off air the latency is its parent's launch, the path and its own stages. A site that
        cannot be worked out has no row and stands in `missing`: one with a field of unknown unit, and of those fed off
        air one that cannot be placed or whose parent is missing.

    Notes
    -----
    The automatic common delay is the greatest, over all sites on air that have a chain from the studio and all
    their routes, of ``latency - offset + least the fields can do``, plus the margin; it is not rounded. Sites without a
    row count too, so that it does not move when they are mended, a field of unknown unit as adding nothing.
    """
    whole = network.whole  # sites that are left out wait for nobody, but they are waited for
    routes, places = all_routes(whole), network.places
    needs = _needs(whole, routes)
    chosen = network.common_delay
    common = needs.least_common + exact(chosen.margin_us or 0.0) if chosen.value_us is None else exact(chosen.value_us)
    if placed is None:
        placed = placed_sites(network).at if any(site.fed_off_air_from for site in network.sites) else {}
    made = _walk(network, common, routes=routes, placed=placed)
    bad = any(_far_off(row, made.tolerated_us) for rows in made.rows.values() for row in rows if row.on_air)
    least = needs.least_common if chosen.value_us is not None else common
    found = reachable(_wishes(made, routes), common=common, least_common=least) if bad else None
    if found is not None and not _helps(network, found, routes=routes, placed=placed):
        found = None
    says = Says(
        common, needs, made.tolerated_us, _tolerance(network), found, {site.id: site.name for site in network.sites}
    )
    return DelayTable(
        network.name,
        float(common),
        float(needs.least_common),
        needs.forced_by,
        tuple(row for site in network.sites if site.id in made.rows for row in made.rows[site.id]),
        tuple(
            problem
            for site in network.sites
            for problem in site_problems(
                places[site.id], site, made.rows.get(site.id, ()), made.missing.get(site.id), says
            )
        ),
        tuple(made.missing[site.id] for site in network.sites if site.id in made.missing),
        found,
    )


def _helps(
    network: Network,
    offer: Reachable,
    *,
    routes: Mapping[tuple[str, str], RouteLatency],
    placed: Mapping[str, Located],
) -> bool:
    """Whether an offer, taken up, brings every site on air as near as is tolerated."""
    sites = tuple(
        site.model_copy(update={"offset_us": offer.offsets.get(site.id, site.offset_us)}) for site in network.sites
    )
    tried = network.model_copy(update={"sites": sites})
    made = _walk(tried, exact(offer.common_delay_us), routes=routes, placed=placed)
    return not any(_far_off(row, made.tolerated_us) for rows in made.rows.values() for row in rows if row.on_air)


@dataclass(frozen=True, slots=True)
class _Walked:
    """Every site in feed order: its rows or why it has none, and its path from its parent."""

    order: tuple[Site, ...]
    rows: dict[str, tuple[DelayRow, ...]]
    missing: dict[str, Missing]
    paths_us: dict[str, Fraction]
    tolerated_us: float | None


def _walk(
    network: Network, common: Fraction, *, routes: Mapping[tuple[str, str], RouteLatency], placed: Mapping[str, Located]
) -> _Walked:
    """The rows of all sites that can be worked out, parents first."""
    sites = {site.id: site for site in network.sites}
    below = fed_from(network)
    order = tuple(feed_order(network))
    made = _Walked(order, {}, missing_sites(network, order, placed), {}, _tolerated(network))
    launches: dict[str, _Launch] = {}
    for site in made.order:
        if site.id in made.missing:
            continue
        parent = sites[site.fed_off_air_from] if site.fed_off_air_from else None
        path_us = (
            exact(path_between(parent, site, placed=placed, refractivity_n=network.refractivity_n).travel_us)
            if parent
            else Fraction(0)
        )
        feed = (parent.name, launches[parent.id], path_us) if parent else None
        found = _site_rows(site, common, routes=routes, feed=feed, below=below[site.id], tolerated=made.tolerated_us)
        launches[site.id], made.rows[site.id], made.paths_us[site.id] = found.launch, found.rows, path_us
    return made


def _tolerated(network: Network) -> float | None:
    """The launch error that may stay; None where the service is not known, which the check says."""
    try:
        return tolerated_error(network)
    except PlanError:
        return None


def _tolerance(network: Network) -> float | None:
    """The delay difference that the service bears; None where it is not known, which the check says."""
    try:
        return service_of(network).tolerance_us
    except PlanError:
        return None


def _far_off(row: DelayRow, tolerated_us: float | None) -> bool:
    """Whether whole steps leave more than they should."""
    most = row.step_us / 2 if tolerated_us is None else min(row.step_us / 2, tolerated_us)
    return abs(row.rounding_us) > most + WITHIN_US


def _wishes(made: _Walked, routes: Mapping[tuple[str, str], RouteLatency]) -> tuple[Wishes, ...]:
    """The sites on air as the search for what is reachable sees them; without a delay field there is no choice."""
    found = []
    for site in made.order:
        rows = made.rows.get(site.id)
        if rows is None or not site.on_air or not site.delay_fields:
            continue
        half = finest_step(site.delay_fields) / 2
        within = half if made.tolerated_us is None else min(half, exact(made.tolerated_us))
        own = {row.route: Fraction(routes[site.id, row.route].exact_us) for row in rows}
        left = max(abs(exact(row.rounding_us)) for row in rows)
        found.append(Wishes(site, own, site.fed_off_air_from, made.paths_us[site.id], within, left))
    return tuple(found)


def _needs(network: Network, routes: Mapping[tuple[str, str], RouteLatency]) -> Needs:
    """The least common delay that every studio-fed site on air of a whole document can meet, and who forces it."""
    demands = common_demands(network, routes)
    forcing = max(demands, key=lambda key: demands[key])
    names = {site.id: site.name for site in network.sites}
    return Needs(demands[forcing], forcing, names[forcing[0]])


def common_demands(network: Network, routes: Mapping[tuple[str, str], RouteLatency]) -> dict[tuple[str, str], Fraction]:
    """Least common delay that each route of each site fed from the studio can meet, by site and route. [us]

    Sites not transmitting do not count, unless none is on air.
    """
    fed = [site for site in network.sites if site.fed_off_air_from is None]
    counted = [site for site in fed if site.on_air] or fed
    return {
        (site.id, chain.route): Fraction(routes[site.id, chain.route].exact_us)
        - exact(site.offset_us)
        + field_limits([field for field in site.delay_fields if units_known(field)])[0]
        for site in counted
        for chain in site.chains
    }


def awaited(network: Network) -> float | None:
    """Least common delay that the sites need which a part of a document does without; None where there are none. [us]

    An automatic common delay is never shorter, whatever offsets the others have.
    """
    whole = network.whole
    there = {site.id for site in network.sites}
    demands = common_demands(whole, all_routes(whole)) if network.left_out else {}
    gone = [float(demand) for (site, _), demand in demands.items() if site not in there]
    return max(gone, default=None)


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
    below: tuple[str, ...],
    tolerated: float | None,
) -> _SiteRows:
    """The rows of one site; `feed` is the parent's name, launch and path for a site fed off air."""
    chains = sorted(site.chains, key=lambda chain: chain.route != MAIN)
    latencies = {chain.route: _latency(routes[site.id, chain.route], feed) for chain in chains}
    slowest = max(latency for latency, _ in latencies.values())
    least, greatest = field_limits(site.delay_fields)
    rows: dict[str, DelayRow] = {}
    launch: _Launch | None = None
    main: tuple[FieldSetting, ...] = ()
    for chain in chains:
        latency, latency_as_set = latencies[chain.route]
        own = routes[site.id, chain.route]
        added = common + exact(site.offset_us) - latency
        values = present_values(site, chain)
        is_main = chain.route == MAIN
        held = {} if is_main else _held(chain, main)
        found = (
            split_beside(added, site.delay_fields, held=held, now=values)
            if held
            else split(added, site.delay_fields, now=values)
        )
        free = [field for field in site.delay_fields if field.name not in held]
        total, now = found.total, present_total(site, chain)
        main = found.settings if is_main else main
        later_by = latency - latencies[MAIN][0]
        jumps = (
            None if is_main else float(jump(chain, site.delay_fields, later_by=later_by, main=main, own=found.settings))
        )
        least_offset = latency + least - common if feed else None
        inherited = feed[1] if feed else None
        passed = (*(inherited.passed if inherited else ()), *own.counted)
        off = spread(passed)
        here = _Launch(
            latency + total,
            None if latency_as_set is None or now is None else latency_as_set + now,
            passed,
            off.worst_us,
            off.rss_us,
            off.assumed_us,
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
            fields=found.settings,
            set_us=float(total),
            rounding_us=float(total - added),
            launch_us=float(here.computed),
            now_us=None if now is None else float(now),
            launch_now_us=None if here.as_set is None else float(here.as_set),
            change_us=None if now is None else float(total - now),
            headroom_us=sum(one.headroom_us for one in found.settings) if held else float(greatest - total),
            coarse_headroom_us=_coarse_headroom(site, found.settings),
            jump_us=jumps,
            jumps={} if jumps is None else dict.fromkeys(below, jumps),
            pad_us=float(slowest - latency),
            step_us=float(finest_step(free)),
            alternative=None if held else _alternative(site, added, values, found, tolerated),
            proven=found.proven,
            own=own,
            feed=_feed_terms(feed),
        )
    assert launch is not None
    return _SiteRows(tuple(rows[chain.route] for chain in site.chains), launch)


def _held(chain: Chain, main: Sequence[FieldSetting]) -> dict[str, FieldSetting]:
    """Fields that stay as the main route has them: those that a route with settings of its own does not name."""
    return {one.name: one for one in main if one.name not in chain.set} if chain.set else {}


def _latency(own: RouteLatency, feed: tuple[str, _Launch, Fraction] | None) -> tuple[Fraction, Fraction | None]:
    """Latency from the reference instant, with the computed settings and with those set now upstream."""
    stages = Fraction(own.exact_us)
    if feed is None:
        return stages, stages
    _, parent, path_us = feed
    as_set = None if parent.as_set is None else parent.as_set + path_us + stages
    return parent.computed + path_us + stages, as_set


def _alternative(
    site: Site, added: Fraction, values: Mapping[str, float | None], found: Split, tolerated_us: float | None
) -> Alternative | None:
    """Settings that leave coarse fields as they stand, where the nearest ones turn them and little is left."""
    turned = [one for one in found.settings if one.change]
    if tolerated_us is None or len(site.delay_fields) < 2 or not turned:
        return None
    other = staying(added, site.delay_fields, now=values, within=exact(tolerated_us))
    if other is None or {one.name for one in other.settings if one.change} >= {one.name for one in turned}:
        return None
    kept = ", ".join(f"{one.name} at {one.value:.12g} {one.unit}" for one in other.settings if one.change == 0.0)
    left_us = float(other.total - added)
    words = (
        f"{kept} may stay as set now: {grouped(left_us, '+.4f')} us are left then instead of "
        f"{grouped(float(found.total - added), '+.4f')} us; "
        f"tolerated are {written(tolerated_us, 4)} us"
    )
    return Alternative(other.settings, float(other.total), left_us, words)


def _coarse_headroom(site: Site, settings: tuple[FieldSetting, ...]) -> float:
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
