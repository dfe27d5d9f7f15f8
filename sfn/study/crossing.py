"""The offset that makes two signals meet at one place, the setting that gives it, and what it leaves.

At the crossing, with both antennas' launches in force and positive later, the fill-in's offset is

    o_f = o_now + (arrival_against - arrival_fill_in) + rounding_f

where ``rounding_f`` is what the fill-in's device now launches beside its wish. For two sites that launch as planned
this is ``o_f = o_against + (travel_against - travel_fill_in)``: the difference of the path lengths times n / c.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

from sfn.chain import MAIN
from sfn.check.on_sheet import SheetField, on_sheet
from sfn.check.verdict import Verdict, verdicts
from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.reception.signals import PointSignals, Signal
from sfn.study.point import tried_signals
from sfn.study.what_if import Tried, WhatIf
from sfn.terrain.ground import Ground
from sfn.timing import DelayTable

WHOLE_US = 0.01
"""What is proposed is a whole multiple of this, 3 m of air; what is left says what that and the device cost."""


@dataclass(frozen=True, slots=True)
class Crossing:
    """Two signals at a place, and the offset with which they meet there.

    Parameters
    ----------
    lat_deg, lon_deg : float
        The place. [degrees]
    against, fill_in : Signal
        As tried, before anything is moved.
    now_us : float
        The fill-in's offset as tried. [us]
    exact_us, offset_us : float
        The offset with which both arrive together, and as it is proposed, in whole `WHOLE_US`. [us]
    left_us : float
        Fill-in minus the other at the place, once the device is set to the nearest that its steps reach. [us]
    fields : tuple of SheetField
        What the fill-in's device is then to be set to, on its main route.
    verdict : Verdict
        Whether a sheet with that may go out.
    also : tuple of str
        Names of other sites whose main setting is another then, because the common delay moves or they are fed by it.
    what : WhatIf
        What was tried, and the proposed offset with it.
    now : Tried
        The network with that in force.
    """

    lat_deg: float
    lon_deg: float
    against: Signal
    fill_in: Signal
    now_us: float
    exact_us: float
    offset_us: float
    left_us: float
    fields: tuple[SheetField, ...]
    verdict: Verdict
    also: tuple[str, ...]
    what: WhatIf
    now: Tried

    @property
    def elsewhere(self) -> bool:
        """Whether a site is tried at another place, so that the offset is of no use to the plan without that."""
        return any(lever.position for lever in self.what.levers.values())

    @property
    def before_us(self) -> float:
        """Fill-in minus the other at the place, as tried before. [us]"""
        return self.fill_in.arrival_us - self.against.arrival_us

    @property
    def travel_us(self) -> float:
        """Travel time of the other minus that of the fill-in. [us]"""
        return self.against.travel_us - self.fill_in.travel_us

    @property
    def path_m(self) -> float:
        """Length of the other's path minus that of the fill-in's. [m]"""
        return self.against.path_m - self.fill_in.path_m


def usual_pair(network: Network, found: PointSignals) -> tuple[str, str] | None:
    """Which site one would move at a place, and against which: of the two strongest the one that is not held.

    None where fewer than two signals are known. Where both may be moved it is the weaker one.
    """
    if len(found.signals) < 2:
        return None
    strongest, second = (signal.site for signal in found.signals[:2])
    held = {site.id for site in network.sites if site.offset_held}
    return (strongest, second) if second in held and strongest not in held else (second, strongest)


def crossing(
    network: Network, what: WhatIf, *, lat_deg: float, lon_deg: float, fill_in: str, against: str,
    problems_of: Callable[[Network], tuple[Problem, ...]], ground: Ground | None = None,
) -> Crossing:  # fmt: skip
    """The offset of a fill-in with which it meets another signal at a place.

    Parameters
    ----------
    network : Network
    what : WhatIf
        What is tried besides.
    lat_deg, lon_deg : float
        The crossing. [degrees]
    fill_in, against : str
        Ids of the site that is moved, and of the one that stays.
    problems_of : callable
        All that is wrong with a network, from the one check.
    ground : Ground, optional
        Terrain; a smooth earth where not given.

    Raises
    ------
    PlanError
        If a signal is not known there, both are of one site, or one moves along with the other.
    """
    found, was = tried_signals(network, what, lat_deg=lat_deg, lon_deg=lon_deg, ground=ground)
    moved, stays = _signal(network, found, "fill_in", fill_in), _signal(network, found, "against", against)
    _free(network, fill_in, against)
    sites = {site.id: site for site in was.network.sites}
    now_us, rounding_us = sites[fill_in].offset_us, was.table.row(fill_in).rounding_us
    exact_us = now_us + stays.arrival_us - moved.arrival_us + rounding_us
    offset_us = round(round(exact_us / WHOLE_US) * WHOLE_US, 9)
    then = replace(what, offsets_us={**what.offsets_us, fill_in: offset_us})
    after, now = tried_signals(network, then, lat_deg=lat_deg, lon_deg=lon_deg, ground=ground)
    arrivals = {signal.site: signal.arrival_us for signal in after.signals}
    set_now = _planned(network, then)
    judged = verdicts(set_now, problems_of(set_now), now.table)
    return Crossing(
        lat_deg, lon_deg, stays, moved, now_us, exact_us, offset_us, arrivals[fill_in] - arrivals[against],
        on_sheet(set_now, now.table, judged).get((fill_in, MAIN), ()), judged[fill_in, MAIN],
        _also(network, fill_in, was.table, now.table), then, now,
    )  # fmt: skip


def _planned(network: Network, what: WhatIf) -> Network:
    """The plan that saving the offsets would make: clocks, routes and sites not transmitting are no part of it."""
    sites = (
        site.model_copy(update={"offset_us": what.offsets_us.get(site.id, site.offset_us)}) for site in network.sites
    )
    return network.model_copy(update={"sites": tuple(sites)})


def _also(network: Network, fill_in: str, was: DelayTable, now: DelayTable) -> tuple[str, ...]:
    """Other sites whose main setting differs between two tables."""
    before = {row.site_id: [field.value for field in row.fields] for row in was.rows if row.route == MAIN}
    after = {row.site_id: [field.value for field in row.fields] for row in now.rows if row.route == MAIN}
    return tuple(
        site.name for site in network.sites if site.id != fill_in and before.get(site.id) != after.get(site.id)
    )


def _signal(network: Network, found: PointSignals, field: str, site: str) -> Signal:
    """A site's signal at the place."""
    held = next((one for one in found.signals if one.site == site), None)
    if held is None:
        here = ", ".join(one.site_name for one in found.signals) or "none"
        names = {one.id: one.name for one in network.sites}
        raise PlanError(
            [
                Problem(
                    field, f"no signal of {names.get(site, site)!r} is known at this place",
                    f"one that is: {here}", code="no-signal-there", fields=(field,), values={"site": site},
                )
            ]
        )  # fmt: skip
    return held


def _free(network: Network, fill_in: str, against: str) -> None:
    """Refuse a pair whose difference the offset cannot change."""
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    at: str | None = against
    while at is not None and at != fill_in:
        at = parents[at]
    if at is None:
        return
    names = {site.id: site.name for site in network.sites}
    what = (
        f"{names[fill_in]} cannot be moved against itself"
        if fill_in == against
        else f"{names[against]} is fed off air from {names[fill_in]} and moves along with it"
    )
    expected = "another site to move, or to hold against"
    raise PlanError([Problem("against", what, expected, code="moves-along", fields=("against",))])
