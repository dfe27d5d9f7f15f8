"""Sites fed off air in a search for plans: which their parent takes along, and which still hear it and are stable.

While it is searched, a choice of one site is held against every relay with all other sites as planned: levels at the
receiving antenna move by what the site radiates otherwise towards the pixel where the relay stands. Each plan of the
answer is then looked at as its document would be (`sfn.reception.off_air`), all its changes together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from sfn.errors import Problem
from sfn.plan import Network
from sfn.reception.off_air import FedOffAir, fed_off_air
from sfn.solve.options import Choice
from sfn.stream.off_air import RANGES, Repeater, parent_heard, repeater_problems
from sfn.study.plan_levers import SiteLevers
from sfn.study.plan_scene import Places, Radiated
from sfn.terrain.ground import Ground

Cost = float  # in the unit of the costs
Weight = float  # people or km2
# Nothing is lost with these that was not lost before: a figure that nobody typed stays missing.
_ASKED = frozenset({
    "relay-oscillates", "relay-low-margin", "relay-wrong-parent", "relay-parent-weak", "relay-parent-not-heard",
    "relay-figure-impossible",
})  # fmt: skip


def silent_behind(network: Network) -> frozenset[str]:
    """Relays that the document has on air behind a parent, or its parent, that is not: they transmit nothing."""
    return frozenset(site.id for site in network.sites if site.on_air) - network.transmitting


def without_silent(network: Network, silent: frozenset[str]) -> Network:
    """The same with these sites not transmitting."""
    if not silent:
        return network
    sites = tuple(s.model_copy(update={"on_air": False}) if s.id in silent else s for s in network.sites)
    return network.model_copy(update={"sites": sites})


@dataclass(frozen=True, slots=True)
class RelayLost:
    """A plan that was left out: what it costs and gains, and what a relay would lose by it."""

    cost: Cost
    gain: Weight
    problem: Problem


class Relays:
    """Every relay on air of a network, with what it hears as planned.

    Parameters
    ----------
    network : Network
        As planned, relays behind a parent that is not transmitting do not either.
    levers : sequence of SiteLevers
    radiated : Radiated
    ground : Ground, optional
        What levels were computed over; a smooth earth without it.
    """

    def __init__(
        self, network: Network, levers: Sequence[SiteLevers], radiated: Radiated, *, ground: Ground | None
    ) -> None:
        self.network, self.levers, self.radiated, self.ground = network, levers, radiated, ground
        self._index = {site.id: i for i, site in enumerate(network.sites)}
        relays = {site.id for site in network.sites if site.fed_off_air_from and site.on_air}
        may_come = {one.site.id for one in levers if "on_air" in one.fields and not one.site.on_air}
        every = network.model_copy(
            update={
                "sites": tuple(s.model_copy(update={"on_air": True}) if s.id in may_come else s for s in network.sites)
            }
        )
        found = fed_off_air(every, ground=ground) if relays else ()
        self._relays = tuple(one for one in found if one.site.id in relays)
        self._pixel = {one.site.id: self._pixel_of(one.site.id) for one in self._relays}
        self._before = {one.site.id: self._codes(one, None, ()) for one in self._relays}
        self._kept: dict[tuple[int, Choice], bool] = {}
        self._as_planned = self._typed_of(network) if relays else {}

    def heard(self, i: int, choice: Choice) -> bool:
        """Whether with one site's choice, all else as planned, every relay is as well off as it was."""
        if not self._relays or not any(choice):
            return True
        if (i, choice) not in self._kept:
            self._kept[i, choice] = all(
                self._codes(one, i, choice) <= self._before[one.site.id] for one in self._relays
            )
        return self._kept[i, choice]

    def lost(self, planned: Network) -> tuple[Problem, ...]:
        """What relays lose with a plan, as its document would have it; measured fields move with the predicted ones."""
        if not self._relays:
            return ()
        after = self._typed_of(self._shifted(planned))
        return tuple(
            problem
            for one, problems in after.items()
            for code, problem in problems.items()
            if code not in self._as_planned.get(one, {})
        )

    def _pixel_of(self, site_id: str) -> Places:
        """The pixel where a relay stands, shape (1,)."""
        grid = self.radiated.computed.grid
        at = self.radiated.computed.radiating[self._index[site_id]]
        row, column = grid.pixels_of(np.array([at.lat_deg]), np.array([at.lon_deg]))
        return np.asarray(np.clip(row * grid.columns_n + column, 0, grid.pixels_n - 1), dtype=np.intp)

    def _codes(self, one: FedOffAir, i: int | None, choice: Choice) -> frozenset[str]:
        """What is wrong at a relay with one site's choice; None: as planned."""
        radiates = {site.id: site.on_air for site in self.network.sites}
        levels = {h.site: h.level_dbuvm for h in one.heard}
        parent = str(one.site.fed_off_air_from)
        if one.received_typed and parent in levels and one.given.received_dbuvm is not None:
            levels[parent] = one.given.received_dbuvm
        output_db = 0.0
        if i is not None:
            site, on_air = self.network.sites[i], self.levers[i].on_air(choice)
            radiates[site.id] = on_air
            if site.id == one.site.id:
                if not on_air:
                    return frozenset()
                lever = self.levers[i].lever(choice)
                output_db = float(lever.power_db or 0.0)
            elif site.id in levels and on_air and site.on_air:
                moved = float(self.radiated.change_db(i, choice, self._pixel[one.site.id])[0])
                levels[site.id] += moved if np.isfinite(moved) else 0.0
        levels = {name: level for name, level in levels.items() if radiates.get(name)}
        if parent not in levels:
            return frozenset({"relay-parent-not-heard"})
        taken = {h.site: h.discrimination_db for h in one.heard}
        return frozenset(self._problems(one, levels, taken, output_db))

    def _problems(
        self, one: FedOffAir, levels: Mapping[str, float], taken: Mapping[str, float], output_db: float
    ) -> list[str]:
        """Codes of the check of relays, for given levels and a given change of output."""
        parent = str(one.site.fed_off_air_from)
        surely = parent_heard(levels, parent=parent, discrimination_db=taken)
        least, greatest, _ = RANGES["received_dbuvm"]
        received = min(max(levels[parent], least), greatest)
        plain = Repeater(received, self.network.frequency_mhz, 0.0, 0.0, 200.0)
        found = repeater_problems(plain, margin_db=0.0, heard=surely, parent_margin_db=one.given.parent_margin_db)
        if one.repeater is not None:
            try:
                now = replace(one.repeater, received_dbuvm=received, output_dbw=one.repeater.output_dbw + output_db)
            except ValueError:
                return ["relay-figure-impossible"]
            found += repeater_problems(now, margin_db=one.given.margin_db)
        return [problem.code for problem in found if problem.code in _ASKED]

    def _shifted(self, planned: Network) -> Network:
        """A plan's network whose measured fields at relays move by as much as the predicted ones."""
        typed = {s.id: s for s in planned.sites if s.off_air is not None and s.off_air.received_dbuvm is not None}
        if not typed:
            return planned
        was, now = (
            {one.site.id: one.heard[0].level_dbuvm for one in fed_off_air(net, ground=self.ground) if _parent(one)}
            for net in (self.network, planned)
        )
        least, greatest, _ = RANGES["received_dbuvm"]
        sites = []
        for site in planned.sites:
            if site.id in typed and site.id in was and site.id in now:
                assert site.off_air is not None
                assert site.off_air.received_dbuvm is not None
                level = min(max(site.off_air.received_dbuvm + now[site.id] - was[site.id], least), greatest)
                site = site.model_copy(update={"off_air": site.off_air.model_copy(update={"received_dbuvm": level})})
            sites.append(site)
        return planned.model_copy(update={"sites": tuple(sites)})

    def _typed_of(self, network: Network) -> dict[str, dict[str, Problem]]:
        """What is wrong at the relays of a document, by code."""
        on_air = {site.id for site in network.sites if site.on_air}
        return {
            one.site.id: {p.code: p for p in one.problems if p.code in _ASKED}
            for one in fed_off_air(network, ground=self.ground)
            if one.site.id in on_air
        }


def _parent(one: FedOffAir) -> bool:
    """Whether a relay's parent has a predicted level."""
    return bool(one.heard) and one.heard[0].site == one.site.fed_off_air_from
