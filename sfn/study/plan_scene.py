"""Levels of a network for the search for plans: what its sites radiate with a choice, and what licences allow."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sfn.field.contours import Area, inside
from sfn.field.gain import bearings_on, level_change
from sfn.field.indoors import indoor_loss_db
from sfn.field.transmitter import transmitter
from sfn.plan import Network
from sfn.plan.may_change import LicenceContour
from sfn.reception.aimed import aimed_beside, bearings_to, behind_antenna, roof_of
from sfn.reception.beside import Beside
from sfn.reception.coverage import Coverage, received_plane
from sfn.reception.other_network import on_channel, others_of
from sfn.reception.others import around_of, needed
from sfn.reception.quality import yardstick
from sfn.solve.objective import Objective
from sfn.solve.options import Choice
from sfn.solve.scene import Heard, Scene
from sfn.study.lever_try import levered
from sfn.study.plan_levers import SiteLevers

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]
Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Licence:
    """Areas that some sites, each by itself, must not reach out of at a field strength; no sites: every one."""

    name: str
    level_dbuvm: float
    areas: tuple[Area, ...]
    sites: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class Overstepped:
    """A licence's contour that a site reaches out of as it is planned already."""

    site: str
    licence: str
    outside_km2: float


def licence_of(line: LicenceContour) -> Licence:
    """A licence's contour out of a document."""
    ring = np.array([(lon, lat) for lat, lon in (*line.area, line.area[0])])
    return Licence(line.name, line.level_dbuvm, (Area(ring),), frozenset(line.sites) if line.sites else None)


class Radiated:
    """By how much levels over a map move with each choice, and whether licences hold with it."""

    def __init__(
        self, network: Network, computed: Coverage, levers: Sequence[SiteLevers], licences: Sequence[Licence]
    ) -> None:
        self.network, self.computed, self.levers, self.licences = network, computed, levers, licences
        self.plane, self.indoors_db = received_plane(network), np.float32(indoor_loss_db(network))
        self._outside = [~inside(one.areas, computed.grid).ravel() & computed.covered for one in licences]
        self._allowed: dict[tuple[int, Choice], bool] = {}

    def change_db(self, i: int, choice: Choice, places: Places) -> Singles:
        """As `Scene.change_db`; places are pixels."""
        one = self.levers[i]
        if not one.on_air(choice):
            return np.full(places.size, np.nan, dtype=np.float32)
        before = self.computed.radiating[i]
        now = transmitter(
            levered(one.site, one.lever(choice), self.network), self.network, lat_deg=before.lat_deg,
            lon_deg=before.lon_deg,
        )  # fmt: skip
        if now == before:
            return np.zeros(places.size, dtype=np.float32)
        held = self.computed.bearings
        if i not in held:
            held[i] = bearings_on(before, self.computed.grid)
        rises = self.computed.tx_elevation_deg[i][places]
        return level_change(before, now, held[i][places], rises, plane=self.plane)

    def licensed(self, i: int, choice: Choice) -> bool:
        """Whether a site reaches out of no licence's contour where it does not as planned."""
        if not self.licences:
            return True
        if (i, choice) not in self._allowed:
            self._allowed[i, choice] = all(self._keeps(i, choice, k) for k in range(len(self.licences)))
        return self._allowed[i, choice]

    def _binds(self, i: int, k: int) -> bool:
        """Whether a licence is about a site."""
        sites = self.licences[k].sites
        return sites is None or self.levers[i].site.id in sites

    def _keeps(self, i: int, choice: Choice, k: int) -> bool:
        """One licence."""
        if not self._binds(i, k):
            return True
        at = np.flatnonzero(self._outside[k])
        outdoors, limit = self.computed.level_dbuvm[i][at] + self.indoors_db, self.licences[k].level_dbuvm
        was = (outdoors >= limit) & self.levers[i].site.on_air
        return not bool((~was & (outdoors + self.change_db(i, choice, at) >= limit)).any())

    def overstepped(self) -> tuple[Overstepped, ...]:
        """What the plan as it is does not keep."""
        area_km2, found = self.computed.area_km2(), []
        for k, licence in enumerate(self.licences):
            for i, one in enumerate(self.levers):
                if one.site.on_air and self._binds(i, k):
                    over = self._outside[k] & (self.computed.level_dbuvm[i] + self.indoors_db >= licence.level_dbuvm)
                    if over.any():
                        found.append(Overstepped(one.site.id, licence.name, float(area_km2[over].sum())))
        return tuple(found)


def network_scene(network: Network, radiated: Radiated, what: Objective) -> Scene:
    """The places of a map that count, with levels as the search takes them.

    Parameters
    ----------
    network : Network
    radiated : Radiated
        Over the levels of this network.
    what : Objective
        Of the same: weights and yardstick.
    """
    computed, levers = radiated.computed, radiated.levers
    place = np.flatnonzero((what.weight > 0) & computed.covered)
    level, rare = computed.level_dbuvm[:, place], computed.level_1pct_dbuvm[:, place]
    silent = frozenset(i for i, one in enumerate(levers) if not one.site.on_air)
    return Scene(
        computed.sites, what.unit, level, rare, computed.travel_us[:, place], what.weight[place], place, what.yard,
        network.frequency_mhz, radiated.change_db, silent, heard_by(network, computed),
    )  # fmt: skip


def heard_by(network: Network, computed: Coverage) -> Heard | None:
    """Roof antennas and stations with other programmes, at some pixels; None where there are neither."""
    theirs, of, roof = computed.others, others_of(network), roof_of(network) is not None
    if not roof and (theirs is None or of is None):
        return None
    carried, listed = yardstick(network).carried, on_channel(network)
    every = np.arange(len(computed.sites), dtype=np.intp)
    ours_deg = bearings_to(network, computed, every) if roof else None
    beside = None if theirs is None or of is None else (theirs.level_dbuvm, theirs.level_1pct_dbuvm)
    theirs_deg = None
    if roof and theirs is not None and of is not None:
        theirs_deg = bearings_to(of, theirs, np.arange(len(theirs.sites), dtype=np.intp))

    lat_deg, lon_deg = (
        part.ravel() for part in np.meshgrid(computed.grid.lat_deg, computed.grid.lon_deg, indexing="ij")
    )
    around = None if of is None else around_of(network, of, computed.sites, lat_deg, lon_deg, carried)

    def heard(level: Singles, rare: Singles, places: Places) -> tuple[Singles, Singles, Beside | None]:
        """Levels as receivers get them, and what the strongest must reach."""
        other, bare = None, level
        if ours_deg is not None:
            gain_db = behind_antenna(network, level, ours_deg[:, places]).astype(np.float32)
            level, rare = level + gain_db, rare + gain_db
        if beside is not None:
            at: NDArray[np.floating] = beside[0][:, places]
            rarely: NDArray[np.floating] = beside[1][:, places]
            if ours_deg is not None and theirs_deg is not None:
                off_db = aimed_beside(network, bare, ours_deg[:, places], theirs_deg[:, places])
                at, rarely = at + off_db, rarely + off_db
            asked = needed(listed, carried, at, rarely)
            other = asked if around is None else replace(asked, share=around.at(places).share(level, asked.each_dbuvm))
        return level, rare, other

    return heard
