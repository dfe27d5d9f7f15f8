"""A pattern that contradicts itself reaches the one check, of its own site."""

import json
from pathlib import Path

from sfn.check import all_problems
from sfn.plan import read

EXAMPLE = Path(__file__).parents[1] / "example-network.json"


def test_a_pattern_with_two_values_in_one_direction_is_a_problem_of_its_site() -> None:
    """Both values, the table and the site as data; a pattern that closes is none."""
    document = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    document["sites"][1]["antenna"] = {
        "horizontal": [[0, 0], [180, 20], [360, 0]],
        "vertical_plane": {"horizontal": [[0, 0], [180, 20], [360, 12]]},
    }

    (problem,) = [p for p in all_problems(read(json.dumps(document))) if p.code == "antenna-contradicts-itself"]

    assert ("sites[1].antenna.vertical_plane.horizontal", ("south",)) == (problem.where, problem.sites)
    assert ("warning", ("vertical_plane.horizontal",)) == (problem.severity, problem.fields)
    assert (0.0, 12.0, 360.0) == tuple(problem.values[k] for k in ("loss_db", "other_loss_db", "other_angle_deg"))
