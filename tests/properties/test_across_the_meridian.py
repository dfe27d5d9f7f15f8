"""Drives across 180 degrees are what they are anywhere else: the same drive at 11 degrees east is the answer expected."""

import math
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.report.residual_map import residual_map
from sfn.survey.drive_log import DriveLog, stretches
from sfn.survey.log_about import About, Reading
from sfn.survey.log_fixes import fixes_of
from sfn.survey.log_places import judged
from sfn.survey.receiver_log import receiver_log
from sfn.survey.runs import Run, routes, side_by_side

EAST_DEG = 11.0
# A degree on the mean sphere.
DEGREE_M = math.pi * 6_371_008.8 / 180


def turned(lon_deg: float) -> float:
    """The same longitude, counted from 180 as it was from 11 degrees east, as it is written there."""
    moved = lon_deg - EAST_DEG + 180.0
    return moved - 360.0 if moved >= 180.0 else moved


def drive(lat_deg: float, points_m: list[tuple[float, float]], setting_us: float, *, across: bool) -> Run:
    """A run of places in metres east and north of where longitude is 11, or 180, degrees."""
    lon = [EAST_DEG + x / DEGREE_M / math.cos(math.radians(lat_deg)) for x, _ in points_m]
    lat = np.array([lat_deg + y / DEGREE_M for _, y in points_m])
    n, none = len(points_m), np.full(len(points_m), np.nan)
    marks = np.array([3.0 + (k % 2) * (setting_us > 0) for k in range(n)])
    return Run(setting_us, lat, np.array([turned(x) if across else x for x in lon]), none, marks, none, ("",) * n)


ROADS = st.tuples(
    st.sampled_from([-17.0, 0.0, 52.0, 65.0]), st.floats(-900, -100), st.floats(20, 110), st.floats(0, 45),
    st.floats(75, 300), st.booleans(),
)  # fmt: skip


@settings(max_examples=15)
@given(ROADS)
def test_runs_across_it_are_grouped_and_laid_as_runs_beside_it(road: tuple[float, ...]) -> None:
    """Two drives of one road and one of another beside it, at any latitude; route, stretches, marks and places alike."""
    lat, begin, step, aside, far, back = road
    first = [(begin + step * k, 0.1 * step * k) for k in range(18)]
    second = [(x + 3.0, y + aside) for x, y in first[:-1]]
    other = [(x, y + far + aside) for x, y in first]
    second = second[::-1] if back else second

    def found(across: bool) -> tuple[list[list[int]], object]:
        """Groups by number of the run, and the two of one road side by side."""
        made = [drive(lat, p, us, across=across) for p, us in ((first, 0.0), (second, 5.0), (other, 10.0))]
        groups = [[next(k for k, one in enumerate(made) if one is run) for run in group] for group in routes(made)]
        return groups, side_by_side(made[:2])

    (there, beside), (here, across) = found(False), found(True)
    assert there == here
    assert {0, 1} <= set(there[0])
    assert beside.distance_m.tolist() == pytest.approx(across.distance_m.tolist())
    np.testing.assert_array_equal(beside.mark, across.mark)
    assert [turned(x) for x in beside.lon_deg] == pytest.approx(across.lon_deg.tolist(), abs=1e-7)
    assert beside.problems == across.problems


def test_roads_far_apart_do_not_blur_each_other() -> None:
    """At 65 degrees north a degree is worth half of one at 30: 70 m apart in the east is no one road, whatever else is driven."""
    north = [[(70.0 * k, 100.0 * n) for n in range(20)] for k in (0, 1)]
    runs = [drive(65.0, points, float(k), across=False) for k, points in enumerate(north)]
    far = [drive(-30.0, north[0], 2.0, across=False), drive(-35.0, north[0], 3.0, across=False)]
    assert 2 == len(routes(runs))
    assert 4 == len(routes([*runs, *far]))
    near = [drive(65.0, [(x * 55 / 70, y) for x, y in points], 0.0, across=False) for points in north]
    assert [2, 1, 1] == [len(group) for group in routes([*near, *far])]


def test_levels_are_averaged_where_they_were_heard() -> None:
    """A stretch of 100 m across 180 degrees has its middle there, not at longitude 0."""
    lon = [turned(EAST_DEG + (k - 2.5) * 1e-4) for k in range(6)]
    log = DriveLog(np.zeros(6), np.array(lon), np.full(6, 40.0), ("a",) * 6)
    found = stretches(log, stretch_m=1000.0)
    assert [180.0] == pytest.approx(np.abs(found.lon_deg).tolist(), abs=1e-6)


def test_no_line_is_left_out_for_the_sign_of_its_longitude() -> None:
    """Half of the lines to either side: none stands far from the others."""
    lon = np.array([turned(EAST_DEG + (k - 2.5) * 1e-3) for k in range(6)])
    found, problems = judged(np.full(6, -17.0), lon, order="as-written", sites=(), source="log.csv")
    assert {} == found.wrong
    assert () == problems
    assert lon.tolist() == pytest.approx(found.lon_deg.tolist())


def test_residuals_are_drawn_as_close_as_they_are() -> None:
    """Sites to either side of 180 degrees: as wide as the same beside it."""

    def drawn(across: bool) -> object:
        """The drawing."""
        at = [(name, lat, turned(lon) if across else lon) for name, lat, lon in
              (("a", -17.0, EAST_DEG - 0.1), ("b", -17.1, EAST_DEG + 0.2))]  # fmt: skip
        return residual_map(at, [(-17.05, turned(EAST_DEG) if across else EAST_DEG, 0.4, False, "t")])

    assert drawn(False) == drawn(True)


def log(zone: str, first: datetime, count: int) -> str:
    """A log of one line in ten seconds in local time, without its zone."""
    at = [(first + timedelta(seconds=10 * k)).astimezone(ZoneInfo(zone)) for k in range(count)]
    return "\n".join(["time,site,level_dbuvm", *(f"{one:%Y-%m-%d %H:%M:%S},a,50" for one in at)])


@pytest.mark.parametrize(
    ("zone", "utc", "minutes"),
    [("Europe/Berlin", "2026-10-25T00:40", 60), ("Australia/Lord_Howe", "2026-04-04T14:40", 30)],
)
def test_a_clock_set_back_on_the_way_is_told(zone: str, utc: str, minutes: int) -> None:
    """The end of daylight saving time while it logs: refused with the line, not placed an hour of driving too early."""
    first = datetime.fromisoformat(utc + "+00:00")
    fixes = ["time,lat,lon"]
    for k in range(7200):
        fixes.append(f"{first + timedelta(seconds=k - 1800):%Y-%m-%dT%H:%M:%SZ},{47 + k * 1e-4:.6f},11.0")
    how = Reading(
        fixes=fixes_of("\n".join(fixes).encode(), source="gps.csv"), clock_ahead_s=7200.0 if minutes == 60 else 39_600.0
    )
    with pytest.raises(PlanError) as refused:
        receiver_log(log(zone, first, 240).encode(), source="night.csv", of=About(sites=("a",)), how=how)
    (problem,) = refused.value.problems
    assert "clock-set-back" == problem.code
    # 00:40 to 01:00 UTC, or 14:40 to 15:00, are 120 lines; a title stands above.
    assert f"goes back by {minutes} min at line 122" in problem.what
