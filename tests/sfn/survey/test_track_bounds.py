"""A line that somebody sends is counted before it is taken apart."""

import time
import tracemalloc

import pytest

from sfn.errors import PlanError
from sfn.survey.track import track_of_bytes


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("a.gpx", b"<gpx>" + b"<a>" * 1_000_000, "within each other"),
        (
            "a.gpx",
            b"<gpx><trk><trkseg>" + b'<trkpt lat="36" lon="-84"/>' * 300_000 + b"</trkseg></trk></gpx>",
            "points",
        ),
        ("a.csv", b"lat,lon\n" + b"1,2\n" * 400_000, "lines"),
        ("a.geojson", b'{"type":"LineString","coordinates":[' + b"[-84,36]," * 700_000 + b"[-84,36]]}", "points"),
    ],
    ids=["deep", "track", "table", "line"],
)
def test_a_line_is_counted_first(name: str, content: bytes, says: str) -> None:
    """Refused in words, at once, in no more memory than the file takes."""
    tracemalloc.start()
    started = time.process_time()
    try:
        with pytest.raises(PlanError) as refused:
            track_of_bytes(content, source=name)
        spent_s, most = time.process_time() - started, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert says in refused.value.problems[0].what
    assert spent_s < 0.5
    assert most < 20_000_000
