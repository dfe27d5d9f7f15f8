"""Which runs are of one route, recomputed by brute force: every metre of the shorter track against every segment."""

import math
from itertools import pairwise

import numpy as np
from hypothesis import assume, given, settings, strategies as st

from sfn.survey.runs import Run, routes

# The mean sphere: what the plane of a drive of some kilometres is drawn on (the tool has its own constant).
METRES_PER_DEGREE_M = math.pi * 6_371_008.8 / 180
LAT_DEG, LON_DEG = 47.0, 11.0
OFF_M, SHARE = 60.0, 0.5


def run(points_m: list[tuple[float, float]]) -> Run:
    """A run of places given in metres east and north."""
    east, north = np.array(points_m, dtype=float).T
    lon = LON_DEG + east / METRES_PER_DEGREE_M / math.cos(math.radians(LAT_DEG))
    none = np.full(len(east), math.nan)
    return Run(0.0, LAT_DEG + north / METRES_PER_DEGREE_M, lon, none, none, none, ("",) * len(east))


def metres(points: list[tuple[float, float]]) -> np.ndarray:
    """A place every metre of a track, shape (N, 2)."""
    found = []
    for (ax, ay), (bx, by) in pairwise(points):
        n = max(1, round(math.hypot(bx - ax, by - ay)))
        found += [(ax + (bx - ax) * k / n, ay + (by - ay) * k / n) for k in range(n)]
    return np.array([*found, points[-1]])


def away_m(places: np.ndarray, points: list[tuple[float, float]]) -> np.ndarray:
    """From each place to the nearest point of a track's segments."""
    best = np.full(len(places), math.inf)
    for one, other in pairwise(points):
        a, d = np.array(one), np.array(other) - np.array(one)
        t = np.clip((places - a) @ d / (d @ d), 0.0, 1.0)
        best = np.minimum(best, np.hypot(*(places - a - t[:, None] * d).T))
    return best


@settings(max_examples=30)
@given(
    spacing_m=st.sampled_from([20.0, 60.0, 122.0, 300.0]), shared=st.integers(0, 12), own=st.integers(1, 12),
    aside_m=st.one_of(st.floats(0, 55), st.floats(66, 400)), turned=st.booleans(),
)  # fmt: skip
def test_half_of_the_shorter_track_within_sixty_metres_is_one_route(
    spacing_m: float, shared: int, own: int, aside_m: float, turned: bool
) -> None:
    """A drive of 3 km with a bend, and one that goes beside it for a while and then leaves; either way round."""
    first = [(spacing_m * k, 30.0 * math.sin(spacing_m * k / 400)) for k in range(int(3000 / spacing_m) + 1)]
    second = [(120.0 * k, 30.0 * math.sin(120.0 * k / 400) + aside_m) for k in range(shared + 1)]
    x, y = second[-1]
    second += [(x + 20.0 * k, y + 150.0 * k) for k in range(1, own + 1)]
    long, short = sorted((metres(first), metres(second)), key=len, reverse=True)
    whole = first if len(metres(first)) == len(long) else second
    off_m = away_m(short, whole)
    # At the edges of half and of 60 m both answers are right.
    shares = [float(np.mean(off_m <= OFF_M + more)) for more in (-4.0, 0.0, 4.0)]
    assume(all(abs(share - SHARE) > 0.06 and (share > SHARE) == (shares[1] > SHARE) for share in shares))
    found = routes([run(first), run(second[::-1] if turned else second)])
    assert len(found) == (1 if shares[1] > SHARE else 2)
