"""Transmitters of other programmes: the field that ours must have beside them, place by place.

Of each the worse counts of its field at 50 % of time with the steady ratio and of that at 1 % with the tropospheric
one; of several, the worst. Ratios are the document's, else those of ITU-R BS.412 by the spacing of carriers (FM) or, on
the same channel, the C/N that the service needs (OFDM, 8-VSB: another programme is noise to it; common practice).
Levels spread over the places around, theirs too: OFDM goes by the share of them, `sfn.reception.beside`.

| symbol | name | unit |
|---|---|---|
| O, S, M | other transmitters on air, own sites on air, places | |
"""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Self

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.sites import placed_sites
from sfn.plan import Network, OtherTransmitter
from sfn.reception.aimed import aimed_beside, bearings_to, behind_antenna, masts_at, received
from sfn.reception.along import LineSignals
from sfn.reception.beside import Around, Beside, Places
from sfn.reception.coverage import Coverage
from sfn.reception.drawn import Strangers
from sfn.reception.ofdm_receivers import spread_of
from sfn.reception.other_network import on_channel, others_of, others_placed
from sfn.reception.signals import PointSignals
from sfn.systems.bs412 import protection_ratio
from sfn.systems.fm_listeners import LISTENER_SPREAD_DB
from sfn.systems.service import Service

Doubles = NDArray[np.float64]
Levels = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class Needed(Beside):
    """What our strongest signal must reach, shape (M,), NaN where none is received; and because of which transmitter.

    `by` are places in `names`, -1: none; `each_dbuvm` is what each of them asks for, shape (O, M), -inf: nothing.
    `around` is of OFDM, None for other services.
    """

    by: NDArray[np.intp]
    names: tuple[str, ...]
    each_dbuvm: Doubles
    around: Around | None = None

    def at(self, places: Places) -> Self:
        """The same of some places."""
        return replace(
            self,
            level_dbuvm=self.level_dbuvm[places],
            share=None if self.share is None else self.share[places],
            by=self.by[places],
            each_dbuvm=self.each_dbuvm[:, places],
            around=None if self.around is None else self.around.at(places),
        )

    def of(self, rows: Sequence[int], level_dbuvm: Levels) -> Self:
        """The same with some of our sites, whose levels are given, shape (rows, M)."""
        if self.around is None:
            return self
        around = self.around.of(rows)
        return replace(self, around=around, share=around.share(level_dbuvm, self.each_dbuvm))

    @property
    def strangers(self) -> Strangers | None:
        """What `sfn.reception.drawn` draws of them."""
        return None if self.around is None else self.around.strangers(self.each_dbuvm)

    def short_ratio(self, place: int, level_dbuvm: float) -> float:
        """Share of the places around where our strongest, of this median level, would fall short of what is asked.

        By `LISTENER_SPREAD_DB` between the two levels, as between two of our own sites: FM's classes go by the medians
        and do not count it.
        """
        return NormalDist().cdf((float(self.level_dbuvm[place]) - level_dbuvm) / LISTENER_SPREAD_DB)

    def name_at(self, place: int) -> str | None:
        """Name of the transmitter that asks for it at a place; None where none does."""
        return None if self.by[place] < 0 else self.names[int(self.by[place])]


def protection_ratios(other: OtherTransmitter, carried: Service) -> tuple[float, float] | None:
    """Ratios against one transmitter, steady and tropospheric; None where nothing says them. [dB]"""
    if other.steady_ratio_db is not None and other.tropospheric_ratio_db is not None:
        return other.steady_ratio_db, other.tropospheric_ratio_db
    if carried.kind == "fm":
        stereo = carried.id != "fm-mono"
        steady, rare = (
            float(protection_ratio(other.spacing_khz, stereo=stereo, interference=kind))
            for kind in ("steady", "tropospheric")
        )
        return steady, rare
    if other.spacing_khz or carried.required_cn_db is None:
        return None
    return carried.required_cn_db, carried.required_cn_db


def needed(
    listed: Sequence[OtherTransmitter], carried: Service, level_dbuvm: Levels, level_1pct_dbuvm: Levels
) -> Needed:
    """What our strongest signal must reach because of others.

    Parameters
    ----------
    listed : sequence of OtherTransmitter
        O of them.
    carried : Service
        Ours.
    level_dbuvm, level_1pct_dbuvm : ndarray, shape (O, M)
        Their levels as the receiver gets them at 50 % and 1 % of time; NaN: no signal. [dB(uV/m)]
    """
    ratios = np.array([protection_ratios(one, carried) or (-np.inf, -np.inf) for one in listed])
    with np.errstate(invalid="ignore"):
        each = np.fmax(level_dbuvm + ratios[:, :1], level_1pct_dbuvm + ratios[:, 1:])
    each = np.where(np.isfinite(each), each, -np.inf)
    by = each.argmax(axis=0)
    most = np.take_along_axis(each, by[None], axis=0)[0]
    there = np.isfinite(most)
    names = tuple(one.name for one in listed)
    return Needed(np.where(there, most, np.nan), None, np.where(there, by, -1).astype(np.intp), names, each)


def around_of(
    network: Network, of: Network, sites: Sequence[str], lat_deg: Doubles, lon_deg: Doubles, carried: Service
) -> Around | None:
    """Where places and transmitters lie, for the shares of OFDM; None for other services.

    Parameters
    ----------
    network, of : Network
        Ours, and from `others_of`.
    sites : sequence of str
        Ids of ours on air, in the order of their levels.
    lat_deg, lon_deg : ndarray, shape (M,)
        Of the places. [degrees]
    carried : Service
    """
    if carried.kind != "ofdm":
        return None
    ours, theirs = placed_sites(network).at, others_placed(of)
    every = [*(ours[one] for one in sites), *(theirs[one.id] for one in of.sites)]
    where = np.array([(at.lat_deg, at.lon_deg) for at in every]).reshape(-1, 2)
    n = len(sites)
    return Around(lat_deg, lon_deg, where[:n], where[n:], masts_at(every), spread_of(network, carried))


def _shared(found: Needed, around: Around | None, level_dbuvm: Levels, *, executor: Executor | None = None) -> Needed:
    """With the share of places in which ours reach it; `level_dbuvm` are ours as receivers get them, shape (S, M)."""
    if around is None:
        return found
    share = around.share(level_dbuvm, found.each_dbuvm, executor=executor)
    return replace(found, share=share, around=around)


def needed_on(
    network: Network,
    computed: Coverage,
    rows: NDArray[np.intp],
    carried: Service,
    *,
    executor: Executor | None = None,
) -> Needed | None:
    """The same over a grid; None where no other transmitter is listed.

    Parameters
    ----------
    network : Network
    computed : Coverage
    rows : ndarray of int
        Our sites on air, as places in the first axis: a roof antenna points at the strongest of them.
    carried : Service
        Of the network's yardstick.
    executor : concurrent.futures.Executor, optional
        Threads.
    """
    theirs, of = computed.others, others_of(network)
    if theirs is None or of is None:
        return None
    level: Levels = theirs.level_dbuvm
    rare: Levels = theirs.level_1pct_dbuvm
    if network.receiver.antenna == "roof" and len(rows):
        every = np.arange(len(theirs.sites), dtype=np.intp)
        gain_db = aimed_beside(
            network,
            computed.level_dbuvm[rows],
            bearings_to(network, computed, rows),
            bearings_to(of, theirs, every),
        )
        level, rare = level + gain_db, rare + gain_db
    found = needed(on_channel(network), carried, level, rare)
    lat_deg, lon_deg = (
        part.ravel() for part in np.meshgrid(computed.grid.lat_deg, computed.grid.lon_deg, indexing="ij")
    )
    around = around_of(network, of, [computed.sites[i] for i in rows], lat_deg, lon_deg, carried)
    return _shared(found, around, received(network, computed, rows)[0], executor=executor)


def ratios_say(other: OtherTransmitter, carried: Service) -> str:
    """The ratios against one transmitter, in words."""
    found = protection_ratios(other, carried)
    if found is None:
        return "none: it does not count"
    if np.isinf(found[0]):
        return "none asked at this spacing (ITU-R BS.412, from memory)"
    whose = "of the document" if other.steady_ratio_db is not None else "ITU-R BS.412, from memory"
    whose = whose if carried.kind == "fm" or other.steady_ratio_db is not None else "the C/N that the service needs"
    return f"{found[0]:g} / {found[1]:g} dB ({whose})"


def others_says(network: Network, carried: Service, theirs: LineSignals | Coverage | None = None) -> str:
    """What figures of reception know of other programmes, in words; `theirs`: the levels they rest on."""
    listed = on_channel(network)
    if not listed:
        return "No transmitter of another programme is listed: whether one disturbs cannot be told"
    silent = [one.name for one in listed if protection_ratios(one, carried) is None]
    own = sum(one.steady_ratio_db is not None for one in listed)
    usual = "those of ITU-R BS.412 (from memory)" if carried.kind == "fm" else "the C/N that the service needs"
    ratios = "the document's" if own == len(listed) else usual if not own else f"the document's, else {usual}"
    left = f"; not counted, without a ratio: {', '.join(silent)}" if silent else ""
    if theirs is not None and theirs.beyond_terrain:
        left += f"; over a smooth earth where the terrain does not cover the path: {', '.join(theirs.beyond_terrain)}"
    count = f"{len(listed)} transmitter{'' if len(listed) == 1 else 's'} of other programmes"
    return (
        f"{count} on air count{'s' if len(listed) == 1 else ''}, the worse of 50 % of time with the steady and 1 % "
        f"with the tropospheric ratio, each by itself; ratios are {ratios}{left}"
    )


def needed_at(network: Network, point: PointSignals, carried: Service) -> Needed | None:
    """The same at one point, shape (1,)."""
    theirs, of = point.others, others_of(network)
    if theirs is None or of is None or not point.signals:
        return None
    level, rare = theirs.level_dbuvm, theirs.level_1pct_dbuvm
    if network.receiver.antenna == "roof":
        # what the antenna took off our own signals does not change which of them it points at
        own = np.array([[signal.level_dbuvm - signal.antenna_db] for signal in point.signals])
        bearing = np.array([[(signal.bearing_deg + 180.0) % 360.0] for signal in point.signals])
        gain_db = aimed_beside(network, own, bearing, theirs.bearing_deg)
        level, rare = level + gain_db, rare + gain_db
    sites, at = [signal.site for signal in point.signals], (np.array([point.lat_deg]), np.array([point.lon_deg]))
    ours = np.array([[signal.level_dbuvm] for signal in point.signals])
    found = needed(on_channel(network), carried, level, rare)
    return _shared(found, around_of(network, of, sites, *at, carried), ours)


def needed_along(network: Network, signals: LineSignals, rows: NDArray[np.intp], carried: Service) -> Needed | None:
    """The same along a line; `rows` are our sites on air among its sites."""
    theirs, of = signals.others, others_of(network)
    if theirs is None or of is None:
        return None
    level, rare, ours = theirs.level_dbuvm, theirs.level_1pct_dbuvm, signals.level_dbuvm[rows]
    if network.receiver.antenna == "roof" and len(rows):
        gain_db = aimed_beside(network, ours, signals.bearing_deg[rows], theirs.bearing_deg)
        level, rare = level + gain_db, rare + gain_db
        ours = ours + behind_antenna(network, ours, signals.bearing_deg[rows])
    around = around_of(network, of, [signals.sites[i] for i in rows], signals.lat_deg, signals.lon_deg, carried)
    return _shared(needed(on_channel(network), carried, level, rare), around, ours)
