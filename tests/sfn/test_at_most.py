"""Of many problems the first are told, and how many more there are: no reader of files cuts them in silence."""

import re
from pathlib import Path

import pytest

from sfn.errors import MOST_PROBLEMS, PlanError, Problem, at_most
from sfn.plan.json_tree import tree_of
from sfn.survey.gpx import gpx_points
from sfn.survey.track import typed_track

SFN = Path(__file__).parents[2] / "sfn"


@pytest.mark.parametrize("n", [0, 1, 20, 21, 22, 500])
def test_as_many_as_there_are_are_counted(n: int) -> None:
    """Told and said to be more, together all of them; warnings stay warnings."""
    every = [Problem(f"line {k}", "is wrong", "right", "warning", code="x") for k in range(n)]
    told = at_most(iter(every), source="file")
    more_n = int(told[-1].values["more"] or 0) if n > MOST_PROBLEMS else 0

    assert told[: min(n, MOST_PROBLEMS)] == every[:MOST_PROBLEMS]
    assert min(n, MOST_PROBLEMS) + more_n == n
    assert all(one.severity == "warning" for one in told)


def test_points_places_and_keys_beyond_those_told_are_counted() -> None:
    """Thirty bad points of a GPX file, thirty bad places of a line, a hundred and thirty keys given twice."""
    points = "".join(f'<trkpt lat="95" lon="{k}"/>' for k in range(30))
    gpx = f'<gpx xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode()
    twice = ", ".join(f'"k{k}": 1, "k{k}": 2' for k in range(130))
    for read, more_n, told_n in (
        (lambda: gpx_points(gpx, source="a.gpx"), 10, 20),
        (lambda: typed_track("\n".join(["nowhere"] * 30)), 10, 20),
        (lambda: tree_of(f"{{{twice}}}"), 30, 100),
    ):
        with pytest.raises(PlanError) as caught:
            read()
        *told, last = caught.value.problems
        assert (len(told), last.code, last.values["more"]) == (told_n, "more-problems", more_n)


def test_nobody_cuts_what_is_wrong_in_silence() -> None:
    """A list of problems is never cut where it is raised: `at_most` says how many more there are."""
    cut = re.compile(r"PlanError\(\s*\w+\[:|(?:problems|wrong|noted)\[:")
    for path in [*SFN.rglob("*.py"), *(SFN.parent / "webapp").rglob("*.py")]:
        assert not cut.search(path.read_text(encoding="utf-8")), f"{path.name} cuts problems without saying so"
