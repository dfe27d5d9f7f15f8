"""Runs of one route side by side."""

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.runs import Run, routes, run_of, side_by_side

METRES_PER_DEGREE = 111_319.49


def drive(setting_us: float, mark: object, *, backwards: bool = False, seed: int = 0, length_m: float = 5000.0) -> Run:
    """A winding road north, a sample about every 15 m, 5 m of position noise; `mark` of the distance."""
    rng = np.random.default_rng(seed)
    at = np.arange(0.0, length_m, 15.0) + rng.uniform(0, 10)
    if backwards:
        at = at[::-1]
    lat = 36.3 + (at + 3.0 * rng.normal(size=len(at))) / METRES_PER_DEGREE
    lon = -84.2 + (300.0 * np.sin(at / 700.0) + 3.0 * rng.normal(size=len(at))) / METRES_PER_DEGREE / np.cos(
        np.radians(36.3)
    )
    nan = np.full(len(at), np.nan)
    marks = np.array([float(mark(m)) for m in at])  # type: ignore[operator]
    return Run(setting_us, lat, lon, 60.0 - at / 500.0, marks, nan, ("",) * len(at), f"run at {setting_us:g}")


def test_the_best_setting_is_told_for_each_part() -> None:
    """-2 us is best in the south, +2 us in the north, and in the middle they are alike."""
    south = drive(-2.0, lambda m: 5 if m < 2200 else 4 if m < 2700 else 2, seed=1)
    north = drive(2.0, lambda m: 2 if m < 2200 else 4 if m < 2700 else 5, seed=2)
    found = side_by_side([north, south])

    assert (-2.0, 2.0) == found.settings_us
    assert [-2.0, None, 2.0] == [p.best_us for p in found.parts]
    # The road winds: it is a little longer than its way north.
    assert found.parts[0].to_m == pytest.approx(2400.0, abs=150.0)
    assert (2.0, 2.0) == found.lowest_mark
    assert 100.0 == pytest.approx(sum(found.best_share_pct))


def test_a_run_driven_the_other_way_lies_where_it_belongs() -> None:
    """Backwards, the marks still stand at their places."""
    there = drive(0.0, lambda m: 3, seed=1)
    back = drive(4.0, lambda m: 5 if m < 2000 else 1, backwards=True, seed=2)
    found = side_by_side([there, back])

    assert [4.0, 0.0] == [p.best_us for p in found.parts]
    np.testing.assert_allclose(found.level_dbuvm[0], found.level_dbuvm[1], atol=0.3)


def test_a_road_driven_twice_is_not_mistaken() -> None:
    """Out and back on one road: marks differ on the way out and on the way back."""

    def both(setting_us: float, out: float, home: float, seed: int) -> Run:
        one = drive(setting_us, lambda m: out, seed=seed)
        two = drive(setting_us, lambda m: home, backwards=True, seed=seed + 10)
        joined = {
            f: np.concatenate((getattr(one, f), getattr(two, f)))
            for f in ("lat_deg", "lon_deg", "level_dbuvm", "mark", "quality_db")
        }
        return Run(setting_us, **joined, remark=("",) * len(joined["mark"]))

    found = side_by_side([both(0.0, 5, 2, 1), both(3.0, 2, 5, 2)])
    half = found.distance_m[-1] / 2
    out = found.best[found.distance_m < half - 600]
    home = found.best[found.distance_m > half + 600]

    assert {0} == set(out.tolist())
    assert {1} == set(home.tolist())


def test_samples_off_the_route_are_left_out_and_counted() -> None:
    """A detour of 300 m at the end."""
    short, long = drive(0.0, lambda m: 4, seed=1), drive(2.0, lambda m: 4, seed=2, length_m=6000.0)
    lon = short.lon_deg.copy()
    lon[-10:] += 0.01
    off = Run(0.0, short.lat_deg, lon, short.level_dbuvm, short.mark, short.quality_db, short.remark, "detour.csv")
    found = side_by_side([off, long])

    assert "detour.csv" == found.problems[0].where
    assert "10 of" in found.problems[0].what


def test_quality_decides_where_marks_are_alike() -> None:
    """Equal marks, 3 dB between the qualities."""
    a, b = drive(0.0, lambda m: 4, seed=1), drive(2.0, lambda m: 4, seed=2)
    a = Run(0.0, a.lat_deg, a.lon_deg, a.level_dbuvm, a.mark, np.full(len(a.mark), 40.0), a.remark)
    b = Run(2.0, b.lat_deg, b.lon_deg, b.level_dbuvm, b.mark, np.full(len(b.mark), 43.0), b.remark)

    assert {2.0} == {p.best_us for p in side_by_side([a, b]).parts}


def test_remarks_stand_at_their_distance() -> None:
    """In the order of the route, with the setting at which they were made."""
    a, b = drive(0.0, lambda m: 4, seed=1), drive(2.0, lambda m: 4, seed=2)
    said = ["" for _ in a.remark]
    said[200], said[20] = "hiss at the bridge", "clean"
    a = Run(0.0, a.lat_deg, a.lon_deg, a.level_dbuvm, a.mark, a.quality_db, tuple(said))
    found = side_by_side([a, b])

    assert ["clean", "hiss at the bridge"] == [r.text for r in found.remarks]
    assert 20 * 15.0 == pytest.approx(found.remarks[0].distance_m, abs=60.0)


def test_csv_of_a_run_and_its_problems() -> None:
    """Empty marks are no marks; a line with a mark of 7 is left out and named; one place is no drive."""
    run = run_of("lat,lon,mark,remark\n36.3,-84.2,4,\n36.301,-84.2,,tunnel\n", source="a.csv", setting_us=2.0)

    assert (4.0, "tunnel", 2.0) == (run.mark[0], run.remark[1], run.setting_us)
    assert np.isnan(run.mark[1])
    bad = run_of("lat,lon,mark\n36.3,-84.2,7\n36.3,-84.2,3\n36.301,-84.2,4\n", source="a.csv", setting_us=2.0)
    assert [(2, "column mark: 7 is out of range; a number from 1 to 5")] == [
        (one.line, one.why) for one in bad.origin.skipped
    ]
    with pytest.raises(PlanError, match="holds one place only"):
        run_of("lat,lon\n36.3,-84.2\n", source="a.csv", setting_us=2.0)


def every(spacing_m: float, setting_us: float, mark: float, *, east_m: float = 0.0, name: str = "run") -> Run:
    """A straight road of 6 km north, a sample every so many metres."""
    at = np.arange(0.0, 6000.0, spacing_m)
    nan, lon = np.full(len(at), np.nan), -84.2 + east_m / METRES_PER_DEGREE / np.cos(np.radians(36.3))
    return Run(
        setting_us, 36.3 + at / METRES_PER_DEGREE, np.full(len(at), lon), nan, np.full(len(at), mark), nan,
        ("",) * len(at), name,
    )  # fmt: skip


@pytest.mark.parametrize("spacing_m", [30.0, 99.0, 122.0, 260.0])
def test_points_farther_apart_than_the_stretches_leave_one_answer(spacing_m: float) -> None:
    """One setting was better all the way: one part, whatever the distance of the points."""
    found = side_by_side([every(spacing_m, 0.0, 4.0), every(spacing_m * 0.9, 2.0, 2.0)])

    assert [0.0] == [part.best_us for part in found.parts]
    assert (100.0, 0.0) == found.best_share_pct
    assert np.isfinite(found.mark).all()


def test_a_gap_stays_one() -> None:
    """Where nothing was noted for a kilometre nothing is said."""
    one = every(20.0, 0.0, 4.0)
    keep = (np.arange(len(one.lat_deg)) < 100) | (np.arange(len(one.lat_deg)) > 150)
    names = ("lat_deg", "lon_deg", "level_dbuvm", "mark", "quality_db")
    holed = Run(0.0, *(getattr(one, n)[keep] for n in names), ("",) * int(keep.sum()))  # type: ignore[arg-type]
    found = side_by_side([holed, every(20.0, 2.0, 2.0)])

    assert [0.0, None, 0.0] == [part.best_us for part in found.parts]
    assert 900.0 == pytest.approx(found.parts[1].to_m - found.parts[1].from_m, abs=201.0)


def test_runs_are_of_one_route_where_their_tracks_overlap() -> None:
    """Also where points lie far apart, or one run is half as long; a road 300 m beside is another."""
    long, short = every(122.0, 0.0, 4.0), every(40.0, 2.0, 3.0, east_m=20.0)
    half = Run(4.0, *(getattr(short, n)[:75] for n in ("lat_deg", "lon_deg", "level_dbuvm", "mark", "quality_db")),
               ("",) * 75)  # type: ignore[arg-type]  # fmt: skip
    beside = every(50.0, 2.0, 3.0, east_m=300.0)

    assert [3, 1] == [len(group) for group in routes([long, short, half, beside])]


def test_one_setting_is_no_comparison() -> None:
    """At least two settings, and a route longer than a stretch."""
    with pytest.raises(ValueError, match="at least 2 settings, got 1"):
        side_by_side([drive(1.0, lambda m: 4), drive(1.0, lambda m: 4)])
    with pytest.raises(ValueError, match="longer than one stretch of 100000 m"):
        side_by_side([drive(1.0, lambda m: 4), drive(2.0, lambda m: 4)], stretch_m=1e5)
