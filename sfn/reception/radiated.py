"""Levels that were computed once, as a network with other powers and antennas radiates: no path is walked again.

Whatever takes levels of a network asks here, so that none of a try are mixed with those of the plan.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem, Touch
from sfn.field.gain import bearings_on, level_change, same_path
from sfn.field.transmitter import Plane, Transmitter, transmitter
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.reception.along import Floats, LineSignals, line_signals
from sfn.reception.coverage import Coverage, received_plane, transmitters
from sfn.terrain.ground import Ground, coarsest

Levels = TypeVar("Levels", Coverage, LineSignals)


def as_radiated(network: Network, computed: Coverage) -> Coverage:
    """A map's levels as a network radiates; the map itself where that is what they were computed of.

    Parameters
    ----------
    network : Network
        With the sites of the map, at their places and heights; powers and antennas may be others.
    computed : Coverage

    Returns
    -------
    Coverage
        Levels within 0.001 dB of those computed anew: what is kept are float32 levels, and float32 angles.

    Raises
    ------
    PlanError
        If a site stands elsewhere or higher, or the frequency is another: then the levels are of another path.
    """
    changed = _changed(network, computed.radiating)
    if not changed:
        return computed
    for i in changed:
        if i not in computed.bearings:
            computed.bearings[i] = bearings_on(computed.radiating[i], computed.grid)
    return _moved(replace(computed, gains={}, retried=True), changed, computed.bearings, plane=received_plane(network))


def line_as_radiated(network: Network, signals: LineSignals) -> LineSignals:
    """The same for levels along a line; arguments and refusals as for `as_radiated`."""
    changed = _changed(network, signals.radiating)
    if not changed:
        return signals
    return _moved(signals, changed, dict(enumerate(signals.tx_bearing_deg)), plane=received_plane(network))


def line_walked(
    network: Network, signals: LineSignals, lat_deg: Floats, lon_deg: Floats, *, ground: Ground | None
) -> LineSignals:
    """Signals along a line with antennas elsewhere or higher: those sites are computed anew, the others are as kept.

    Parameters
    ----------
    network : Network
        With the sites of the line.
    signals : LineSignals
    lat_deg, lon_deg : ndarray, shape (M,)
        The places that they are of. [degrees]
    ground : Ground, optional
        What they were computed over; a smooth earth without it.

    Returns
    -------
    LineSignals
        The very record where no antenna hangs otherwise.
    """
    now = {one.id: one for one in transmitters(network, place(network))}
    elsewhere = {one.id for one in signals.radiating if one.id in now and not _hangs_alike(one, now[one.id])}
    moved = tuple(site for site in network.sites if site.id in elsewhere)
    if not moved:
        return signals
    alone = network.of_sites(moved).model_copy(update={"other_transmitters": None})
    anew = line_signals(alone, lat_deg, lon_deg, ground=ground, rx_height_m=signals.rx_height_m)
    radiating, changed = list(signals.radiating), {name: getattr(signals, name).copy() for name in _OF_SITES}
    for row, name in enumerate(anew.sites):
        at = signals.sites.index(name)
        radiating[at] = anew.radiating[row]
        for key, values in changed.items():
            values[at] = getattr(anew, key)[row]
    return replace(
        signals, radiating=tuple(radiating), averaged=coarsest(signals.averaged, anew.averaged), **changed
    )  # fmt: skip


def _hangs_alike(before: Transmitter, now: Transmitter) -> bool:
    """Whether two antennas hang at one place and height, over one plain where the earth is smooth."""
    return all(
        getattr(before, name) == getattr(now, name)
        for name in ("lat_deg", "lon_deg", "ground_m", "antenna_m", "plain_m")
    )


# What a line has of each site that place and height of its antenna bear on.
_OF_SITES = (
    "level_dbuvm", "level_1pct_dbuvm", "travel_us", "bearing_deg", "tx_bearing_deg", "tx_elevation_deg", "covered",
)  # fmt: skip


def _moved(
    kept: Levels, changed: Mapping[int, Transmitter], bearing_deg: Mapping[int, NDArray[np.floating]], *,
    plane: Plane | None,
) -> Levels:  # fmt: skip
    """Levels moved by what some of the sites radiate otherwise; bearings of the rays by the site's place. [degrees]"""
    level, rare, after = kept.level_dbuvm.copy(), kept.level_1pct_dbuvm.copy(), list(kept.radiating)
    for i, radiates in changed.items():
        change_db = level_change(
            kept.radiating[i], radiates, bearing_deg[i], kept.tx_elevation_deg[i], plane=plane
        )  # fmt: skip
        level[i] += change_db
        rare[i] += change_db
        after[i] = radiates
    return replace(kept, level_dbuvm=level, level_1pct_dbuvm=rare, radiating=tuple(after))


def _changed(network: Network, radiating: tuple[Transmitter, ...]) -> dict[int, Transmitter]:
    """What is radiated otherwise, by its place among the sites."""
    sites, placed = {site.id: site for site in network.sites}, place(network)
    found, problems = {}, []
    for i, before in enumerate(radiating):
        site = sites.get(before.id)
        if site is None:
            continue
        now = transmitter(site, network, lat_deg=placed[site.id].lat_deg, lon_deg=placed[site.id].lon_deg)
        if now == before:
            continue
        if same_path(before, now):
            found[i] = now
            continue
        problems.append(
            Problem(
                f"sites[{network.places[site.id]}]",
                f"site {site.name} stands, or radiates, otherwise than when these levels were computed",
                "levels computed anew",
                code="levels-of-another-path",
                touches=(Touch(site.id),),
            )
        )
    if problems:
        raise PlanError(problems)
    return found
