"""A part of a site's sweep, for several machines to work at one site: some of its blocks of radials.

Radials, and not rows of the map: a radial is walked once, by whoever has its receivers, and what a receiver gets may
hang in its last bit on who else lies on its radial. Located are all receivers with every share, some at a time, which
takes a twentieth of the time and few bytes each; everything else is kept of the share's own alone.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sfn.errors import in_range
from sfn.propagation import radials

Floats = NDArray[np.float64]
MOST_SHARES_N = 1024
RECEIVERS_N = 1 << 18
"""Located at a time."""


@dataclass(frozen=True, slots=True)
class Whole:
    """What a share must know of all receivers.

    Parameters
    ----------
    edge_km : float
        Distance of the farthest. [km]
    receivers_n : int
    taken : ndarray of int64
        Whom the share works with: its own and those beside the site, who are looked at together.
    firsts : range
        First radials of its blocks.
    """

    edge_km: float
    receivers_n: int
    taken: NDArray[np.int64]
    firsts: range


@dataclass(slots=True)
class Share:
    """Part `part_n` (from 0) of `of_n`, alike in receivers; whoever takes it finds its receivers in `own`.

    Raises
    ------
    ValueError
        If there is no such part.
    """

    part_n: int
    of_n: int
    own: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    """Which receivers are its own, flat; those beyond the sweep's reach belong to the first part."""
    edge_km: float = 0.0
    """Distance of the farthest receiver of all parts. [km]"""

    def __post_init__(self) -> None:
        in_range("of_n", self.of_n, least=1, greatest=MOST_SHARES_N, unit="parts")
        in_range("part_n", self.part_n, least=0, greatest=self.of_n - 1, unit="")

    def take(
        self,
        lat_deg: Floats,
        lon_deg: Floats,
        *,
        located: Callable[[Floats, Floats], tuple[Floats, Floats]],
        laid: Callable[[float, int], tuple[bool, int]],
        near_km: float,
        step_km: float,
        block: int,
    ) -> Whole:
        """Find the share's receivers among all, and fill `own`.

        Parameters
        ----------
        lat_deg, lon_deg : ndarray, one shape
            All receivers. [degrees]
        located : callable(latitudes, longitudes) -> (distances in km, azimuths in radians)
        laid : callable(edge_km, receivers) -> (whether they lie between radials, how many radials)
        near_km : float
            Who is nearer is taken with every share. [km]
        step_km : float
            Of the radials' points. [km]
        block : int
            Radials of a block.
        """
        edge_km, near = 0.0, np.zeros(lat_deg.size, dtype=np.bool_)
        for rows, flat in _some(lat_deg):
            distance, _ = located(lat_deg[rows].ravel(), lon_deg[rows].ravel())
            edge_km = max(edge_km, float(np.nanmax(distance, initial=0.0)))
            near[flat] = distance < near_km
        between, count = laid(edge_km, lat_deg.size)
        of_block, blocks_n = np.empty(lat_deg.size, dtype=np.int32), -(-count // block)
        counts = np.zeros(blocks_n + 1, dtype=np.int64)
        for rows, flat in _some(lat_deg):
            distance, azimuth = located(lat_deg[rows].ravel(), lon_deg[rows].ravel())
            radial, inner = np.empty((2, distance.size), dtype=np.int32)
            radials.assign(distance, azimuth, count, 0.0 if between else 0.5, step_km, radial, inner)
            of_block[flat] = radial // block  # -1 of who has no radial stays -1
            counts += np.bincount(of_block[flat] + 1, minlength=blocks_n + 1)
        before = np.append(0, np.cumsum(counts[1:]))
        # A block belongs to the part in which its first receiver lies.
        cuts = np.searchsorted(before[:-1], before[-1] * np.array([self.part_n, self.part_n + 1]) / self.of_n)
        low, high = int(cuts[0]), blocks_n if self.part_n == self.of_n - 1 else int(cuts[1])
        self.own, self.edge_km = (of_block >= low) & (of_block < high), edge_km
        if self.part_n == 0:
            self.own |= of_block < 0
        return Whole(edge_km, lat_deg.size, np.flatnonzero(self.own | near), range(0, count, block)[low:high])


def greatest_of(lat_deg: Floats, lon_deg: Floats, sampled: Callable[..., None]) -> float:
    """The greatest of what `sampled(lat, lon, out=)` gives at all receivers; at least 0."""
    found = 0.0
    for rows, _ in _some(lat_deg):
        out = np.empty(lat_deg[rows].size)
        sampled(lat_deg[rows].ravel(), lon_deg[rows].ravel(), out=out)
        found = max(found, float(out.max(initial=0.0)))
    return found


def _some(of: Floats) -> Iterator[tuple[slice, slice]]:
    """Some rows at a time, and where they lie among all values."""
    across = max(1, of.size // max(1, len(of)))
    rows = max(1, RECEIVERS_N // across)
    for first in range(0, len(of), rows):
        yield slice(first, first + rows), slice(first * across, min(first + rows, len(of)) * across)
