"""Transmitters of other programmes: the field that ours must have beside them, place by place.

Of each the worse counts of its field at 50 % of time with the steady ratio and of that at 1 % with the tropospheric
one; of several, the worst. Ratios are the document's, else those of ITU-R BS.412 by the spacing of carriers (FM) or, on
the same channel, the C/N that the service needs (OFDM, 8-VSB: another programme is noise to it; common practice).

| symbol | name | unit |
|---|---|---|
| O, S, M | other transmitters on air, own sites on air, places | |
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network, OtherTransmitter
from sfn.reception.aimed import aimed_beside, bearings_to
from sfn.reception.along import LineSignals
from sfn.reception.coverage import Coverage
from sfn.reception.other_network import on_channel, others_of
from sfn.reception.signals import PointSignals
from sfn.systems.bs412 import protection_ratio
from sfn.systems.service import Service

Doubles = NDArray[np.float64]
Levels = NDArray[np.floating]


@dataclass(frozen=True, slots=True)
class Needed:
    """What our strongest signal must reach, shape (M,), NaN where none is received; and because of which transmitter.

    `by` are places in `names`, -1: none.
    """

    level_dbuvm: Doubles
    by: NDArray[np.intp]
    names: tuple[str, ...]

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
    return Needed(
        np.where(there, most, np.nan), np.where(there, by, -1).astype(np.intp), tuple(one.name for one in listed)
    )


def needed_on(network: Network, computed: Coverage, rows: NDArray[np.intp], carried: Service) -> Needed | None:
    """The same over a grid; None where no other transmitter is listed.

    Parameters
    ----------
    network : Network
    computed : Coverage
    rows : ndarray of int
        Our sites on air, as places in the first axis: a roof antenna points at the strongest of them.
    carried : Service
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
    return needed(on_channel(network), carried, level, rare)


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
        f"{count} on the air count{'s' if len(listed) == 1 else ''}, the worse of 50 % of time with the steady and 1 % "
        f"with the tropospheric ratio, each by itself; ratios are {ratios}{left}"
    )


def needed_at(network: Network, point: PointSignals, carried: Service) -> Needed | None:
    """The same at one point, shape (1,)."""
    theirs = point.others
    if theirs is None or not point.signals:
        return None
    level, rare = theirs.level_dbuvm, theirs.level_1pct_dbuvm
    if network.receiver.antenna == "roof":
        # what the antenna took off our own signals does not change which of them it points at
        own = np.array([[signal.level_dbuvm - signal.antenna_db] for signal in point.signals])
        bearing = np.array([[(signal.bearing_deg + 180.0) % 360.0] for signal in point.signals])
        gain_db = aimed_beside(network, own, bearing, theirs.bearing_deg)
        level, rare = level + gain_db, rare + gain_db
    return needed(on_channel(network), carried, level, rare)


def needed_along(network: Network, signals: LineSignals, rows: NDArray[np.intp], carried: Service) -> Needed | None:
    """The same along a line; `rows` are our sites on air among its sites."""
    theirs = signals.others
    if theirs is None:
        return None
    level, rare = theirs.level_dbuvm, theirs.level_1pct_dbuvm
    if network.receiver.antenna == "roof" and len(rows):
        gain_db = aimed_beside(network, signals.level_dbuvm[rows], signals.bearing_deg[rows], theirs.bearing_deg)
        level, rare = level + gain_db, rare + gain_db
    return needed(on_channel(network), carried, level, rare)
