"""What a try changes at one place, term by term: level and arrival of each signal, and what they make of reception.

| symbol | name | unit |
|---|---|---|
| dE | `SignalChange.level_db` = power + transmitting antenna + receiving antenna | dB |
| dt | `SignalChange.arrival_us` = launch + travel | us |
| | launch = common delay + offset + clock + the rest | us |
"""

from dataclasses import dataclass, replace

from sfn.plan import Network, Site
from sfn.reception.coverage import received_plane
from sfn.reception.point import PointQuality
from sfn.reception.signals import PointSignals, Signal
from sfn.study.point import Judged, judged, tried_signals
from sfn.study.what_if import Tried, WhatIf
from sfn.terrain.ground import Ground
from sfn.units import erp_dbw

NOTHING_DB, NOTHING_US = 5e-4, 5e-5
"""What counts as no change: less than pages show."""


@dataclass(frozen=True, slots=True)
class SignalChange:
    """One site's signal at the place before and now; None where there is none. Changes are now minus before.

    Parameters
    ----------
    power_db, transmitting_db, receiving_db : float or None
        Of the level: the e.r.p. in the received plane; what the site's antenna sends this way (pattern, azimuth, tilts,
        and with `other_path` the height that it stands at); the receiving antenna, which may turn to another site.
        Their sum is the change of the level. None where there is no signal before or now. [dB]
    common_us, offset_us, clock_us, rest_us : float or None
        Of the launch: the network's common delay, the site's own offset, its tried clock error, and what follows from
        steps and ends of its delay fields, from routes and from what feeds it. Their sum is the launch's change. [us]
    other_path : bool
        Whether height or position are otherwise, so that the way to the place is.
    """

    site: str
    site_name: str
    before: Signal | None
    now: Signal | None
    power_db: float | None
    transmitting_db: float | None
    receiving_db: float | None
    common_us: float | None
    offset_us: float | None
    clock_us: float | None
    rest_us: float | None
    other_path: bool

    @property
    def level_db(self) -> float | None:
        """Change of the level. [dB]"""
        return None if self.before is None or self.now is None else self.now.level_dbuvm - self.before.level_dbuvm

    @property
    def launch_us(self) -> float | None:
        """Change of the launch. [us]"""
        return None if self.before is None or self.now is None else self.now.launch_us - self.before.launch_us

    @property
    def travel_us(self) -> float | None:
        """Change of the travel time, where the antenna stands elsewhere or higher. [us]"""
        return None if self.before is None or self.now is None else self.now.travel_us - self.before.travel_us

    @property
    def arrival_us(self) -> float | None:
        """Change of the arrival. [us]"""
        return None if self.before is None or self.now is None else self.now.arrival_us - self.before.arrival_us

    @property
    def is_none(self) -> bool:
        """Whether level, arrival, and both against the strongest stay, to what pages show."""
        if self.before is None or self.now is None:
            return False
        levels = (self.level_db, self.now.level_difference_db - self.before.level_difference_db)
        times = (self.arrival_us, self.now.delay_difference_us - self.before.delay_difference_us)
        return all(abs(one or 0.0) < NOTHING_DB for one in levels) and all(
            abs(one or 0.0) < NOTHING_US for one in times
        )


@dataclass(frozen=True, slots=True)
class PlaceChanged:
    """A place before a try and with it."""

    against: str
    """What it is held against, in words."""
    signals: tuple[SignalChange, ...]
    """Those that change, the strongest now first; those that are gone last."""
    unchanged: tuple[str, ...]
    """Names of sites whose signals stay as they are."""
    before: PointQuality | None
    """What the signals make of reception before; None without signals."""
    now: PointQuality | None
    silent: tuple[str, ...]
    """Names of sites that radiate before and do not as tried, or the other way: no signal is there for that."""
    strongest_before: str
    """Name of the strongest site; empty without signals."""
    strongest_now: str


def place_changed(network: Network, tries: WhatIf, found: Judged, now: Tried, *, ground: Ground | None) -> PlaceChanged:
    """What a try changes at the place where it was looked at.

    Parameters
    ----------
    network : Network
    tries : WhatIf
        What is tried. In a planned state with something tried besides, it is held against that state, else against
        today's plan.
    found : Judged
        The place with it.
    now : Tried
        The network with it.
    ground : Ground, optional
        Terrain; a smooth earth where not given.

    Raises
    ------
    PlanError
        As `sfn.study.point.tried_signals`.
    """
    in_state = network.state.name if network.state is not None and now.beyond_state else ""
    today = network if in_state else network.today
    plan = WhatIf()
    at = found.point
    signals, planned = tried_signals(
        today, plan, lat_deg=at.lat_deg, lon_deg=at.lon_deg, rx_height_m=at.rx_height_m, ground=ground
    )
    before = judged(planned.network, signals, planned.table)
    changes = signal_changes(signals, found.point, planned, now, tries)
    there, after = planned.network.transmitting, now.network.transmitting
    return PlaceChanged(
        f"the planned state {in_state}" if in_state else "the plan as it is saved",
        tuple(change for change in changes if not change.is_none),
        tuple(change.site_name for change in changes if change.is_none),
        before.quality,
        found.quality,
        tuple(site.name for site in now.network.sites if (site.id in there) != (site.id in after)),
        *(next((s.site_name for s in held.point.signals), "") for held in (before, found)),
    )


def signal_changes(
    before: PointSignals, after: PointSignals, planned: Tried, now: Tried, tries: WhatIf
) -> tuple[SignalChange, ...]:
    """Every signal that is there before or after, also where nothing changes.

    Parameters
    ----------
    before, after : PointSignals
        Of one place.
    planned, now : Tried
        The networks that they are of.
    tries : WhatIf
        What leads from one to the other.
    """
    one, other = ({s.site: s for s in held.signals} for held in (before, after))
    return tuple(
        _change(name, one.get(name), other.get(name), planned, now, tries) for name in dict.fromkeys([*other, *one])
    )


def _change(
    name: str, before: Signal | None, now: Signal | None, planned: Tried, tries: Tried, what: WhatIf
) -> SignalChange:
    """One site's."""
    was, will = (next(s for s in held.network.sites if s.id == name) for held in (planned, tries))
    there = before or now
    assert there is not None
    nothing = SignalChange(
        name, there.site_name, before, now, None, None, None, None, None, None, None, _elsewhere(was, will)
    )
    level_db, launch_us = nothing.level_db, nothing.launch_us
    if before is None or now is None or level_db is None or launch_us is None:
        return nothing
    power_db = _erp_dbw(will, tries.network) - _erp_dbw(was, planned.network)
    receiving_db = now.antenna_db - before.antenna_db
    common_us = tries.table.common_delay_us - planned.table.common_delay_us
    offset_us, clock_us = will.offset_us - was.offset_us, what.clock_errors_us.get(name, 0.0)
    return replace(
        nothing,
        power_db=power_db,
        receiving_db=receiving_db,
        transmitting_db=level_db - power_db - receiving_db,
        common_us=common_us,
        offset_us=offset_us,
        clock_us=clock_us,
        rest_us=launch_us - common_us - offset_us - clock_us,
    )


def _elsewhere(was: Site, will: Site) -> bool:
    """Whether the antenna stands elsewhere, or at another height."""
    return (was.antenna_m, was.ground_m, was.position) != (will.antenna_m, will.ground_m, will.position)


def _erp_dbw(site: Site, network: Network) -> float:
    """E.r.p. in the plane that is received: the receiver's, or where none is stated the stronger of the site's."""
    plane = received_plane(network)
    kw = max(site.erp_kw.h, site.erp_kw.v) if plane is None else site.erp_kw.v if plane == "v" else site.erp_kw.h
    return erp_dbw(kw)
