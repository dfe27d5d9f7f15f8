"""Every site that is fed off air: what it hears at its receiving antenna, and whether it hears itself.

The receiving antenna is a place like any other: field strengths come from `sfn.field`, the receiving antenna's pattern
from `sfn.systems.receiving_antenna`. What is typed in the site's `off_air` goes before what can be worked out.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import log10

import numpy as np

from sfn.chain import all_routes
from sfn.errors import Problem, Touch
from sfn.geodesy.line import inverse
from sfn.geodesy.position import Located
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network, OffAir, Site
from sfn.reception.signals import Signal, signals_at
from sfn.reception.significance import criteria
from sfn.stream.off_air import (
    RANGES,
    Parent,
    Repeater,
    estimated_isolation_db,
    parent_heard,
    repeater_problems,
    wavelength_m,
)
from sfn.systems.of_network import service_of
from sfn.systems.receiving_antenna import RoofAntenna, relative_gain_db, roof_antenna
from sfn.systems.service import Service
from sfn.terrain.ground import Ground
from sfn.timing import delay_table

NOT_GIVEN = OffAir()


@dataclass(frozen=True, slots=True)
class Heard:
    """One site at the receiving antenna.

    Parameters
    ----------
    site, site_name : str
    ground_m, bearing_deg, off_axis_deg : float
        Distance, bearing from the receiving antenna, angle from where that points. [m, degrees]
    level_dbuvm, level_1pct_dbuvm : float
        Field strength, median and exceeded for 1 % of time. [dBuV/m]
    discrimination_db : float
        What the antenna takes away in that direction. [dB]
    difference_db, difference_1pct_db : float
        Behind the antenna against the parent's median, the measured one where it was typed. [dB]
    launch_error_us : float
        How much later the site would launch if it followed this one instead of its parent. [us]
    """

    site: str
    site_name: str
    ground_m: float
    bearing_deg: float
    off_axis_deg: float
    level_dbuvm: float
    level_1pct_dbuvm: float
    discrimination_db: float
    difference_db: float
    difference_1pct_db: float
    launch_error_us: float


@dataclass(frozen=True, slots=True)
class FedOffAir:
    """A site fed off air.

    Parameters
    ----------
    index : int
        Its place in the document.
    site : Site
    parent_name : str
    height_m : float
        Receiving antenna above ground. [m]
    antenna : str
        Whose curve the receiving antenna is given.
    heard : tuple of Heard
        The parent first, then the others, strongest behind the antenna first.
    received_typed : bool
        The parent's field strength was measured and typed.
    processing_us : float
        From receiving to transmitting antenna, by the main chain. [us]
    repeater : Repeater or None
        None while something is missing, or the parent is not heard.
    isolation_estimated : bool
        From the separation of the antennas alone.
    missing : tuple of str
        Keys of `sfn.plan.OffAir` that are needed and not given.
    parent : Parent or None
        How surely the parent is heard, at medians, by its measured field where that was typed; None where it is not.
    smooth : bool
        No terrain was used.
    problems : tuple of Problem
    """

    index: int
    site: Site
    parent_name: str
    height_m: float
    antenna: str
    heard: tuple[Heard, ...]
    received_typed: bool
    processing_us: float
    repeater: Repeater | None
    isolation_estimated: bool
    missing: tuple[str, ...]
    parent: Parent | None
    smooth: bool
    problems: tuple[Problem, ...]

    @property
    def given(self) -> OffAir:
        """What is typed of it."""
        return self.site.off_air or NOT_GIVEN


def fed_off_air(network: Network, *, ground: Ground | None = None) -> tuple[FedOffAir, ...]:
    """Every site that is fed off air, in document order.

    Parameters
    ----------
    network : Network
    ground : Ground, optional
        Terrain; a smooth earth where not given.

    Raises
    ------
    PlanError
        If the service cannot be used.
    """
    children = [(i, site) for i, site in enumerate(network.sites) if site.fed_off_air_from is not None]
    if not children:
        return ()
    placed, carried = placed_sites(network).at, service_of(network)
    launches = delay_table(network, placed=placed).known_launches()
    routes = all_routes(network)
    # A site that cannot be placed is nobody's doubt but its own and that of those it feeds: the others are looked at.
    sound = tuple(site for site in network.sites if site.id in placed and site.id in launches)
    network = network.model_copy(update={"sites": sound})
    made = []
    for i, site in children:
        if site not in sound:
            continue
        route = next((c.route for c in site.chains if c.route == "main"), site.chains[0].route)
        own_us = float(routes[site.id, route].exact_us)
        made.append(_site(network, i, site, carried, placed, launches, ground, own_us))
    return tuple(made)


def _site(
    network: Network,
    index: int,
    site: Site,
    carried: Service,
    placed: Mapping[str, Located],
    launches: Mapping[str, float],
    ground: Ground | None,
    own_us: float,
) -> FedOffAir:
    """One site: signals at its receiving antenna, then its loop, then what is wrong."""
    given, parent_id = site.off_air or NOT_GIVEN, str(site.fed_off_air_from)
    height_m = given.receiving_height_m or site.antenna_m
    others = tuple(s for s in network.sites if s.id not in _behind(network, site.id))
    at = placed[site.id]
    point = signals_at(
        network.of_sites(others), launches, lat_deg=at.lat_deg, lon_deg=at.lon_deg, placed=placed,
        counts=criteria(network, carried), ground=ground, rx_height_m=height_m,
        rx_ground_m=site.ground_m if ground is None or ground.terrain is None else None,
    )  # fmt: skip
    antenna, name = _antenna(network, given)
    received = given.received_dbuvm
    heard = _heard(point.signals, parent_id, at, placed, given, antenna)
    parent_name = next(s.name for s in network.sites if s.id == parent_id)
    surely = None
    parent_at = placed[parent_id]
    to_parent = float(inverse(at.lat_deg, at.lon_deg, parent_at.lat_deg, parent_at.lon_deg)[1])
    lost_db = _taken_db(_off_axis_deg(to_parent, given.receiving_bearing_deg, to_parent), antenna)
    if heard and heard[0].site == parent_id:
        levels = {h.site: h.level_dbuvm for h in heard}
        taken = {h.site: h.discrimination_db for h in heard}
        if received is not None:  # what was measured, not what is predicted, is what the relay follows
            levels[parent_id] = received
        surely = parent_heard(levels, parent=parent_id, discrimination_db=taken)
        names = {h.site: h.site_name for h in heard}
        surely = replace(surely, strongest_other=names.get(surely.strongest_other or ""))
    if received is None and surely is not None:
        received = heard[0].level_dbuvm
    repeater, estimated, missing, refused = _repeater(network, site, given, received, own_us, lost_db=lost_db)
    where = f"sites[{index}]"
    problems = [_placed(p, where, site) for p in refused]
    if surely is None and given.received_dbuvm is None:
        on_air = any(s.id == parent_id and s.on_air for s in network.sites)
        why = "no field strength is known on the way from it" if on_air else "it is not transmitting"
        what = f"site {site.name}: its parent {parent_name} is not heard: {why}"
        problems.append(
            Problem(
                f"{where}.fed_off_air_from",
                what,
                "a parent on air, in reach",
                "error",
                code="relay-parent-not-heard",
                touches=(Touch(site.id),),
                stages=(),
                fields=("fed_off_air_from",),
                said={"parent_site": parent_id, "silent_site": None if on_air else parent_id},
            )
        )
    if repeater is not None:
        problems += [
            _placed(p, where, site)
            for p in repeater_problems(
                repeater, margin_db=given.margin_db, echo_us=given.echo_us, guard_us=carried.guard_us,
                tolerance_us=carried.tolerance_us,
            )
        ]  # fmt: skip
    if surely is not None:
        least, greatest, _ = RANGES["received_dbuvm"]  # a parent on the same mast is heard stronger than any figure
        level_dbuvm = min(max(received if received is not None else heard[0].level_dbuvm, least), greatest)
        any_repeater = repeater or Repeater(level_dbuvm, network.frequency_mhz, 0.0, 0.0, 200.0)
        problems += [
            _placed(p, where, site)
            for p in repeater_problems(
                any_repeater, margin_db=0.0, heard=surely, parent_margin_db=given.parent_margin_db
            )
            if p.fields == ("parent",)
        ]
    return FedOffAir(
        index, site, parent_name, height_m, name, heard, given.received_dbuvm is not None, own_us, repeater,
        estimated, missing, surely, point.smooth, tuple(problems),
    )  # fmt: skip


def _behind(network: Network, site_id: str) -> set[str]:
    """A site and all that hear it, directly or not: none of them can be its source."""
    found = {site_id}
    while more := {s.id for s in network.sites if s.fed_off_air_from in found} - found:
        found |= more
    return found


def _antenna(network: Network, given: OffAir) -> tuple[RoofAntenna | None, str]:
    """The receiving antenna's curve and whose it is."""
    try:
        known = roof_antenna(network.frequency_mhz)
    except ValueError:
        return None, "no Recommendation covers this frequency: alike from all sides"
    if given.front_to_back_db is None:
        return known, f"{known.name}, {known.discrimination_db:g} dB from behind"
    typed = replace(known, discrimination_db=given.front_to_back_db)
    return typed, f"{known.name}, but {given.front_to_back_db:g} dB from behind as typed"


def _off_axis_deg(bearing_deg: float, aim_deg: float | None, to_parent_deg: float) -> float:
    """Angle between a direction and the receiving antenna's, 0 to 180; at the parent where nothing is typed."""
    return abs((bearing_deg - (to_parent_deg if aim_deg is None else aim_deg) + 180) % 360 - 180)


def _taken_db(off_axis_deg: float, antenna: RoofAntenna | None) -> float:
    """What the receiving antenna takes away in a direction. [dB]"""
    return 0.0 if antenna is None else abs(float(relative_gain_db(off_axis_deg, antenna=antenna)))


def _heard(
    signals: tuple[Signal, ...],
    parent_id: str,
    at: Located,
    placed: Mapping[str, Located],
    given: OffAir,
    antenna: RoofAntenna | None,
) -> tuple[Heard, ...]:
    """Every site behind the receiving antenna: the parent first, where it is heard, then by level."""
    bearings = {
        s.site: float(inverse(at.lat_deg, at.lon_deg, placed[s.site].lat_deg, placed[s.site].lon_deg)[1])
        for s in signals
    }
    source = next((s for s in signals if s.site == parent_id), None)
    home = placed[parent_id]
    to_parent = float(inverse(at.lat_deg, at.lon_deg, home.lat_deg, home.lon_deg)[1])
    aim = given.receiving_bearing_deg
    off_axis = {site: _off_axis_deg(bearing, aim, to_parent) for site, bearing in bearings.items()}
    taken = {site: _taken_db(angle, antenna) for site, angle in off_axis.items()}
    measured_more_db = (
        0.0 if source is None or given.received_dbuvm is None else (given.received_dbuvm - source.level_dbuvm)
    )
    wanted = np.nan if source is None else source.level_dbuvm + measured_more_db - taken[parent_id]
    first_us = np.nan if source is None else source.arrival_us
    rows = [
        Heard(
            s.site, s.site_name, s.ground_m, bearings[s.site], off_axis[s.site], s.level_dbuvm, s.level_1pct_dbuvm,
            taken[s.site], s.level_dbuvm + more_db - taken[s.site] - wanted,
            s.level_1pct_dbuvm + more_db - taken[s.site] - wanted, s.arrival_us - first_us,
        )
        for s in signals
        for more_db in (measured_more_db if s.site == parent_id else 0.0,)
    ]  # fmt: skip
    return tuple(sorted(rows, key=lambda h: (h.site != parent_id, h.discrimination_db - h.level_dbuvm)))


def _repeater(
    network: Network, site: Site, given: OffAir, received_dbuvm: float | None, own_us: float, *, lost_db: float
) -> tuple[Repeater | None, bool, tuple[str, ...], list[Problem]]:
    """The loop, whether its isolation is an estimate, what is missing for it, and what cannot be.

    A field strength is that of the place; towards a parent that it does not point at, the receiving antenna has
    `lost_db` less gain.
    """
    needed = {
        "receiving_gain_dbd": given.receiving_gain_dbd,
        "transmitting_gain_dbd": given.transmitting_gain_dbd,
        "isolation_db": given.isolation_db if given.isolation_db is not None else given.separation_m,
    }
    missing = tuple(key for key, value in needed.items() if value is None)
    if given.isolation_db is None and given.separation_m is not None and given.separation_direction is None:
        missing += ("separation_direction",)
    erp_kw = site.erp_kw.h + site.erp_kw.v
    if missing or received_dbuvm is None or erp_kw <= 0:
        return None, False, missing, []
    assert given.receiving_gain_dbd is not None
    assert given.transmitting_gain_dbd is not None
    estimated = given.isolation_db is None
    try:
        isolation_db = given.isolation_db
        if isolation_db is None:
            assert given.separation_m is not None
            isolation_db = estimated_isolation_db(
                given.separation_m,
                frequency_mhz=network.frequency_mhz,
                side_by_side=given.separation_direction == "side by side",
                gains_dbd=given.receiving_gain_dbd + given.transmitting_gain_dbd,
            )
    except ValueError as refused:
        expected = "a separation of a wavelength or more, or the measured isolation"
        near = {"apart_said": f"{given.separation_m:g} m", "wave_said": f"{wavelength_m(network.frequency_mhz):.2f} m"}
        return None, True, (), [_beyond("separation_m", str(refused), expected, near)]
    figures = {
        "received_dbuvm": received_dbuvm, "frequency_mhz": network.frequency_mhz,
        "receiving_gain_dbd": given.receiving_gain_dbd - lost_db,
        "output_dbw": 30 + 10 * log10(erp_kw) - given.transmitting_gain_dbd, "isolation_db": isolation_db,
        "cancelled_db": given.cancelled_db, "window_us": given.window_us, "processing_us": own_us,
    }  # fmt: skip
    beyond = [
        _beyond(
            name,
            f"{name} is {figures[name]:.6g} {unit}",
            f"{least:g} to {greatest:g} {unit}",
            {"figure": f"{figures[name]:.6g} {unit}", "least": f"{least:g}", "greatest": f"{greatest:g} {unit}"},
        )
        for name, (least, greatest, unit) in RANGES.items()
        if not least <= figures[name] <= greatest
    ]
    return None if beyond else Repeater(**figures), estimated, (), beyond


def _beyond(name: str, what: str, expected: str, said: Mapping[str, str]) -> Problem:
    """A figure that no repeater has."""
    return Problem(
        f"repeater.{name}", what, expected, "error", code="relay-figure-impossible", fields=(name,), said=said
    )


# Where figures of a repeater stand that are no keys of `off_air`.
_PLACES = {"parent": "fed_off_air_from", "processing_us": "chains", "output_dbw": "erp_kw"}


def _placed(problem: Problem, where: str, site: Site) -> Problem:
    """A problem of a repeater at its place in the document, with the site."""
    key = _PLACES.get(problem.fields[0], f"off_air.{problem.fields[0]}")
    return replace(
        problem,
        where=f"{where}.{key}",
        what=f"site {site.name}: {problem.what}",
        touches=(Touch(site.id),),
        fields=(key,),
    )
