"""Drive-test logs from CSV and GPX, and stretches of road."""

from pathlib import Path

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.drive_log import DriveLog, log_of, read_log, stretches

SITES = ("main", "fill")
GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1" xmlns:m="urn:example:levels"><trk><trkseg>
<trkpt lat="36.30" lon="-84.20"><extensions><m:level_dbuvm>62.5</m:level_dbuvm><m:site>main</m:site></extensions></trkpt>
<trkpt lat="36.31" lon="-84.20"><cmt>58,25 dBuV/m</cmt></trkpt>
<trkpt lat="36.32" lon="-84.20"><name>55</name></trkpt>
</trkseg></trk></gpx>
"""


def test_csv_with_and_without_sites() -> None:
    """The column site is optional; "all" and nothing mean the same."""
    plain = log_of("lat,lon,level_dbuvm\n36.3,-84.2,62.5\n", source="a.csv", sites=SITES)
    told = log_of(
        "lat,lon,level_dbuvm,site\n36.3,-84.2,62.5,main\n36.3,-84.2,60,all\n36.3,-84.2,61,\n",
        source="a.csv",
        sites=SITES,
    )

    assert (62.5, ("",)) == (plain.level_dbuvm[0], plain.site)
    assert ("main", "", "") == told.site


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("36.3,-84.2,weak,main", "a.csv line 2 column level_dbuvm: 'weak' is no number"),
        ("36.3,-84.2,60,west", "a.csv line 2 column site: 'west' is not known; one of main, fill, all"),
        ("36.3,-284.2,60,main", "a.csv line 2 column lon: -284.2 is out of range"),
    ],
)
def test_csv_problems_name_line_and_column(line: str, words: str) -> None:
    """File, line, column, and what would be right."""
    with pytest.raises(PlanError) as refused:
        log_of(f"lat,lon,level_dbuvm,site\n{line}\n", source="a.csv", sites=SITES)

    assert words in str(refused.value)


def test_gpx_points_hold_levels_in_several_ways(tmp_path: Path) -> None:
    """An element of their own, a comment with its unit, a bare number as name."""
    path = tmp_path / "night.gpx"
    path.write_text(GPX, encoding="utf-8")
    log = read_log(path, sites=SITES)

    assert [62.5, 58.25, 55.0] == log.level_dbuvm.tolist()
    assert [36.30, 36.31, 36.32] == log.lat_deg.tolist()
    assert ("main", "", "") == log.site


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("58,25 dBuV/m", "good", "point 2: its level is 'good'"),
        ("<cmt>58,25 dBuV/m</cmt>", "", "point 2: has no level"),
        ('lat="36.31"', 'lat="136.31"', "point 2: stands at 136.31,-84.2: the latitude 136.31 is beyond 90 degrees"),
        ('lat="36.31" ', "", "point 2: has no position"),
        (">main<", ">west<", "point 1: its site is 'west', which is not known"),
    ],
)
def test_gpx_problems_name_the_point(tmp_path: Path, old: str, new: str, words: str) -> None:
    """Which point is left out, and what is wrong with it."""
    path = tmp_path / "night.gpx"
    path.write_text(GPX.replace(old, new, 1), encoding="utf-8")
    log = read_log(path, sites=SITES)

    assert 2 == len(log)
    assert [words] == [f"point {one.line}: {one.why}" for one in log.origin.skipped]
    assert ["log-lines-skipped"] == [p.code for p in log.origin.problems]


@pytest.mark.parametrize(("old", "new"), [("</gpx>", ""), ("<trk>", "<!DOCTYPE x><trk>")])
def test_what_is_no_gpx_is_refused(tmp_path: Path, old: str, new: str) -> None:
    """Not a point of it can be told."""
    path = tmp_path / "night.gpx"
    path.write_text(GPX.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PlanError, match="is no GPX that can be read"):
        read_log(path, sites=SITES)


def test_entities_are_not_expanded(tmp_path: Path) -> None:
    """A file from strangers that defines entities is refused."""
    path = tmp_path / "bomb.gpx"
    path.write_text('<!DOCTYPE gpx [<!ENTITY a "1">]>' + GPX.split("?>", 1)[1], encoding="utf-8")
    with pytest.raises(PlanError, match="is no GPX that can be read"):
        read_log(path, sites=SITES)


def test_stretches_take_the_median_and_do_not_mix_sites() -> None:
    """Ten samples a hundred metres, one outlier; standing still adds no stretch; a new site begins a new one."""
    lat = 36.3 + np.arange(40) * 10.0 / 111_000.0
    lat = np.concatenate((lat, np.full(50, lat[-1])))
    level = np.full(90, 60.0)
    level[5] = 120.0
    log = DriveLog(lat, np.full(90, -84.2), level, ("main",) * 25 + ("",) * 65)
    found = stretches(log, stretch_m=100.0)

    assert {60.0} == set(found.level_dbuvm.tolist())
    assert 5 == len(found)
    assert ("main", "main", "main", "", "") == found.site
    with pytest.raises(ValueError, match="stretch_m must be more than 0 m"):
        stretches(log, stretch_m=0.0)
