"""Sites that the offsets found put at a limit: further on there may be more to gain.

A site stands at a limit where it, with the sites that move along with it, has less room left than one step of its
device.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.report.numbers import us
from sfn.solve.limits import WITHIN_US, Limits
from sfn.timing import DelayTable

Doubles = NDArray[np.float64]
By = Literal["own", "move", "search", "device", "site"]
_WHY: dict[By, str] = {
    "own": "the limit that the document gives it",
    "move": "the greatest move asked for",
    "search": "the greatest offset that is looked at",
    "device": "what its delay fields reach",
    "site": "what its delay fields, its feed and {other} leave it",
}


@dataclass(frozen=True, slots=True)
class AtLimit:
    """One site at a limit.

    Parameters
    ----------
    site, site_name : str
    side : {'latest', 'earliest'}
    offset_us : float
        As planned. [us]
    room_us : float
        How much further it might still go. [us]
    by : {'own', 'move', 'search', 'device', 'site'}
        What bounds it: its limit in the document, the greatest move or offset asked for, its delay fields, or how far
        it may lie from another site.
    bounding : str
        Name of the site whose limit it is, where it moves others along, or of the other one; else its own.
    """

    site: str
    site_name: str
    side: Literal["latest", "earliest"]
    offset_us: float
    room_us: float
    by: By
    bounding: str

    @property
    def says(self) -> str:
        """In words."""
        why = _WHY[self.by].format(other=self.bounding)
        if self.by != "site" and self.bounding != self.site_name:
            why = f"{why}, of {self.bounding}, which moves along"
        which = "late" if self.side == "latest" else "early"
        return f"{self.site_name} stands as {which} as it may, {us(self.offset_us, 1, signed=True)}: {why}"


def at_limits(
    network: Network, table: DelayTable, allowed: Limits, offsets_us: Doubles, *, most_us: float,
    moved_from_us: Doubles | None = None, most_move_us: float | None = None,
) -> tuple[AtLimit, ...]:  # fmt: skip
    """Every free site that stands at a limit, in document order; at both sides where it has no room at all.

    Parameters
    ----------
    network : Network
        As the limits were made of.
    table : DelayTable
        Of the network with the offsets.
    allowed : Limits
        Of S sites.
    offsets_us : ndarray, shape (S,)
        As planned. [us]
    most_us : float
        Greatest offset that was looked at. [us]
    moved_from_us : ndarray, shape (S,), optional
        What a move counts from; the present offsets where not given. [us]
    most_move_us : float, optional
        Greatest move that was asked for. [us]
    """
    found = []
    steps = {row.site_id: row.step_us for row in table.rows if row.route == "main"}
    from_us = allowed.now_us if moved_from_us is None else moved_from_us
    for i, site in enumerate(network.sites):
        if not allowed.free[i]:
            continue
        moved = allowed.group(i)
        low, high = allowed.room(offsets_us, moved)
        step = max(steps.get(site.id, 0.0), WITHIN_US)
        for side, room in (("latest", high), ("earliest", -low)):
            if room < step - WITHIN_US:
                by, bounding = _why(
                    network, allowed, offsets_us, moved, side == "latest", from_us, most_move_us, most_us
                )
                name = network.sites[bounding].name
                offset = float(offsets_us[i])
                found.append(AtLimit(site.id, site.name, side, offset, max(room, 0.0), by, name))  # type: ignore[arg-type]
    return tuple(found)


def _why(
    network: Network, allowed: Limits, offsets_us: Doubles, moved: NDArray[np.bool_], later: bool, from_us: Doubles,
    move_us: float | None, most_us: float,
) -> tuple[By, int]:  # fmt: skip
    """What bounds a group of sites on one side, and whose it is."""
    boxes = allowed.high_us - offsets_us if later else offsets_us - allowed.low_us
    inside = np.flatnonzero(moved)
    k = int(inside[np.argmin(boxes[inside])])
    if not moved.all():
        slack = allowed.most_us - (offsets_us[:, None] - offsets_us[None, :])
        pairs = slack[np.ix_(moved, ~moved)] if later else slack[np.ix_(~moved, moved)].T
        row, column = np.unravel_index(int(np.argmin(pairs)), pairs.shape)
        if pairs[row, column] < boxes[k] - WITHIN_US:
            return "site", int(np.flatnonzero(~moved)[column])
    site = network.sites[k]
    bound, own = (allowed.high_us[k], site.greatest_offset_us) if later else (allowed.low_us[k], site.least_offset_us)
    if own is not None and abs(own - bound) < WITHIN_US:
        return "own", k
    if move_us is not None and abs(from_us[k] + (move_us if later else -move_us) - bound) < WITHIN_US:
        return "move", k
    if abs(abs(bound) - most_us) < WITHIN_US or allowed.parent[k] >= 0:
        return "search", k
    return "device", k
