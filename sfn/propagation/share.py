"""A part of a site's sweep, for several machines to work at one site: some of its blocks of radials.

Radials, and not rows of the map: a radial is walked once, by whoever has its receivers, and what a receiver gets may
hang in its last bit on who else lies on its radial. Located and sorted are all receivers with every share; that takes
a twentieth of the time.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sfn.errors import in_range

MOST_SHARES_N = 1024


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

    def __post_init__(self) -> None:
        in_range("of_n", self.of_n, least=1, greatest=MOST_SHARES_N, unit="parts")
        in_range("part_n", self.part_n, least=0, greatest=self.of_n - 1, unit="")

    def of(self, firsts: range, starts: NDArray[np.int64], radial: NDArray[np.int32], block: int) -> tuple[range, int]:
        """Blocks of this part out of all, and how many receivers they have; fills `own`.

        Parameters
        ----------
        firsts : range
            First radials of all blocks.
        starts : ndarray, shape (radials + 1,)
            How many receivers the radials before each have.
        radial : ndarray
            Each receiver's radial; -1: none.
        block : int
            Radials of a block.
        """
        before = starts[np.append(np.asarray(firsts), len(starts) - 1)]
        # A block belongs to the part in which its first receiver lies.
        cuts = np.searchsorted(before[:-1], starts[-1] * np.array([self.part_n, self.part_n + 1]) / self.of_n)
        low, high = int(cuts[0]), len(firsts) if self.part_n == self.of_n - 1 else int(cuts[1])
        self.own = (radial >= low * block) & (radial < high * block)
        if self.part_n == 0:
            self.own |= radial < 0
        return firsts[low:high], int(before[high] - before[low])
