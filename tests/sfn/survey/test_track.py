"""Lines to drive along: distances against geographiclib, every kind of file, refusals that say where."""

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from sfn.errors import PlanError
from sfn.survey.track import read_track, samples, thinned, track_of, track_of_bytes, typed_track

CORNERS = ((36.19, -84.40), (36.25, -84.33), (36.42, -84.10))


def whole_m() -> float:
    """Length of the line through the corners, by geographiclib (Karney 2013), which we did not make."""
    return sum(Geodesic.WGS84.Inverse(*a, *b)["s12"] for a, b in itertools.pairwise(CORNERS))


def test_distances_are_geodesic() -> None:
    """The length, and the place of every sample, are geographiclib's to a millimetre."""
    found = samples(track_of(CORNERS, source="test"), spacing_m=250.0)

    assert found.length_m == pytest.approx(whole_m(), abs=1e-3)
    assert found.share_m().sum() == pytest.approx(found.length_m)
    first = Geodesic.WGS84.Inverse(*CORNERS[0], *CORNERS[1])
    for k, at_m in enumerate(found.distance_m):
        leg, start_m = (0, 0.0) if at_m <= first["s12"] else (1, first["s12"])
        line = Geodesic.WGS84.InverseLine(*CORNERS[leg], *CORNERS[leg + 1]).Position(at_m - start_m)
        off_m = Geodesic.WGS84.Inverse(found.lat_deg[k], found.lon_deg[k], line["lat2"], line["lon2"])["s12"]
        assert off_m < 1e-3


def test_every_kind_of_file_is_one_line(tmp_path: Path) -> None:
    """GPX, GeoJSON, CSV and typed places give the same line."""
    rows = "".join(f"{lat},{lon}\n" for lat, lon in CORNERS)
    points = "".join(f'<trkpt lat="{lat}" lon="{lon}"/>' for lat, lon in CORNERS)
    line = {"type": "LineString", "coordinates": [[lon, lat] for lat, lon in CORNERS]}
    feature = {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": line, "properties": {}}]}
    contents = {
        "a.csv": "lat,lon\n" + rows,
        "b.gpx": f'<gpx xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>',
        "c.geojson": json.dumps(line),
        "d.json": json.dumps(feature),
        "e.csv": "\ufefflat;lon\n" + rows.replace(",", ";").replace(".", ","),
    }
    lines = [typed_track(rows)]
    for name, text in contents.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
        lines.append(read_track(tmp_path / name))
    for one in lines:
        assert list(zip(one.lat_deg, one.lon_deg, strict=True)) == [pytest.approx(c) for c in CORNERS]
    assert typed_track("36°11'24\"N 84°24'00\"W; 16N 735938.2 4014783.7").lat_deg[0] == pytest.approx(36.19)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"lat,lon\n36.1,-84\n36.x,-84\n", "line 3 column lat"),
        (b"lat,lon\n36.1,-84\n", "one place only"),
        (b"lat,long\n36.1,-84\n", "lacks the column lon"),
        (b"<gpx><trk>", "is no GPX"),
        (b'<gpx><trkpt lat="91" lon="0"/></gpx>', "point 1"),
        (b"<gpx></gpx>", "holds no points"),
        (b'{"type": "Point", "coordinates": [1, 2]}', "holds no line"),
        (b'{"type": "LineString", "coordinates": [[1, 95], [2, 3]]}', "position 1 is [1, 95]"),
        (b'{"type": "LineString", "coordinates": [[1, 2], ["x", 3]]}', "position 2 is ['x', 3]"),
        (b'{"type": "LineString"}', "no GeoJSON"),
        (b"{", "no JSON"),
        (b"\xff\xfe\x00", "begins as UTF-16 and breaks off"),
        (b"", "is empty"),
    ],
)
def test_refusals_say_what_and_where(content: bytes, says: str) -> None:
    """Whatever is sent, the answer is a sentence."""
    with pytest.raises(PlanError) as refused:
        track_of_bytes(content, source="file")
    assert says in " ".join(f"{p.where}: {p.what}" for p in refused.value.problems)


def test_typed_places_are_refused_by_their_number() -> None:
    """The second place is wrong, and is said to be."""
    with pytest.raises(PlanError) as refused:
        typed_track("36.1, -84\nsomewhere")
    assert "place 2" in refused.value.problems[0].what


def test_spacing_is_bounded() -> None:
    """Too fine for a long road is refused with what would do."""
    long = track_of([(0.0, 0.0), (30.0, 30.0)], source="test")
    with pytest.raises(PlanError, match="makes more than 20000 points"):
        samples(long, spacing_m=5.0)
    with pytest.raises(PlanError, match="cannot be 1"):
        samples(long, spacing_m=1.0)


def test_standing_still_is_no_road_and_a_gap_is_told() -> None:
    """Jitter at a light adds nothing; a tunnel of 5 km is warned of."""
    rng = np.random.default_rng(1)
    still = np.stack((36.2 + rng.normal(0, 5e-6, 200), -84.2 + rng.normal(0, 5e-6, 200)), axis=-1)
    moving = [(36.2 + k * 1e-4, -84.2) for k in range(100)]
    found = track_of([*map(tuple, still.tolist()), *moving, (36.26, -84.2)], source="drive.gpx", recorded=True)

    assert samples(found).length_m == pytest.approx(0.06 * 110_950, abs=60)
    assert "jumps 5." in found.problems[0].what
    assert thinned(np.array([]), np.array([]), least_m=5.0) == []
