"""Three sites whose pairwise wishes contradict each other: what least squares makes of the misclosure.

Constructed example, worked out by pencil: A (0, 0), B (60, 0), C (30, 50) km on a plane; points (33, 0) for A and B,
(14, 22) for A and C, (46, 24) for B and C; N = 315.
"""

from collections.abc import Callable

import numpy as np

from sfn.survey.adjustment import adjust
from sfn.units import SPEED_OF_LIGHT_M_PER_US, refractive_index

SOURCE = "constructed loop of three, by pencil"
SITES_KM = np.array([(0.0, 0.0), (60.0, 0.0), (30.0, 50.0)])
PAIRS = ((1, 0, (33.0, 0.0)), (2, 0, (14.0, 22.0)), (2, 1, (46.0, 24.0)))


def wishes_us() -> list[float]:
    """Offset of the first site of each pair minus that of the second for equal arrival at the pair's point."""
    us_per_km = 1000.0 * refractive_index(315.0) / SPEED_OF_LIGHT_M_PER_US
    return [float(us_per_km * (np.hypot(*(SITES_KM[j] - at)) - np.hypot(*(SITES_KM[i] - at)))) for i, j, at in PAIRS]


def test_what_is_left_of_a_contradiction(published: Callable[..., None]) -> None:
    """Wishes, misclosure, adjusted offsets, and the same third of the misclosure left at every point."""
    wishes = wishes_us()
    for name, ours, theirs in zip(("B - A", "C - A", "C - B"), wishes, (20.020, -20.595, -9.155), strict=True):
        published(f"wish {name}", ours, theirs, tolerance=1e-3, unit="us", source=SOURCE)
    misclosure = abs(wishes[0] + wishes[2] - wishes[1])
    published("misclosure of the loop", misclosure, 31.460, tolerance=1e-3, unit="us", source=SOURCE)
    found = adjust(
        [i for i, _, _ in PAIRS], [j for _, j, _ in PAIRS], difference_us=wishes, uncertainty_us=[1.0] * 3, sites_n=3
    )
    offsets = found.value_us - found.value_us.min()
    for name, ours, theirs in zip("ABC", offsets, (10.108, 19.642, 0.0), strict=True):
        published(f"offset of {name}", float(ours), theirs, tolerance=1e-3, unit="us", source=SOURCE)
    for residual in np.abs(found.residual_us):
        published("left at a point", float(residual), 10.487, tolerance=1e-3, unit="us", source=SOURCE)
