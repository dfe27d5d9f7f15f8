"""A buffer whose cover rests on figures that nobody stated wants a sign-off that names them."""

import json
from typing import Any

import pytest

from sfn.check import all_problems
from sfn.check.doubts import DOUBTS
from sfn.check.verdict import verdicts
from sfn.plan import read
from sfn.timing import delay_table
from tests.sfn.networks import EXAMPLE_PATH, example


def with_section(**changes: Any) -> Any:
    """The plain demo, with its first section or what that covers changed; None takes a key away."""
    tree: dict[str, Any] = json.loads(
        (EXAMPLE_PATH.parents[2] / "demo_sites" / "dab_plain.json").read_text(encoding="utf-8")
    )
    tree.pop("listeners", None)
    stages = {stage["id"]: stage for stage in tree["stages"]}
    for key, value in changes.items():
        stage = stages["heath-network" if key == "tolerance_us" else "heath-release"]
        stage[key] = value
        if value is None:
            del stage[key]
    return read(json.dumps(tree))


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({"inside": []}, ("inside",)),
        ({"jitter_margin_us": None}, ("jitter_margin_us",)),
        ({"least_processing_us": None}, ("least_processing_us",)),
        ({"tolerance_us": None}, ("tolerance_us",)),
        ({"inside": [], "jitter_margin_us": None}, ("inside", "jitter_margin_us")),
    ],
)
def test_a_figure_that_is_not_stated_is_named_and_signed_for(changes: dict[str, Any], fields: tuple[str, ...]) -> None:
    """With the stage, the site and that 0 was taken; the other sites stay as they were."""
    network = with_section(**changes)
    problems = all_problems(network)
    (found,) = [problem for problem in problems if problem.code == "buffer-not-proven"]

    assert (found.sites, found.stages[0], found.fields) == (("heath",), "heath-release", fields)
    assert all(field in found.what for field in fields)
    assert "0 us was taken" in found.what
    assert DOUBTS[found.code].consequence == "sign-off"
    told = verdicts(network, problems, delay_table(network))
    assert "buffer-not-proven" in told["heath", "main"].codes
    assert "buffer-not-proven" not in told["lake", "main"].codes


def test_a_stated_nought_is_a_figure() -> None:
    """0 us that somebody wrote down is not the same as nothing."""
    codes = [p.code for p in all_problems(with_section(jitter_margin_us=0, least_processing_us=0, tolerance_us=0))]
    assert "buffer-not-proven" not in codes
    assert "buffer-not-proven" not in [p.code for p in all_problems(with_section())]


def test_a_relay_is_signed_for_with_its_parent() -> None:
    """Gap launches as much too late as North, which feeds it: whose doubt it is stands with it; South has none."""

    def unstated(tree: dict[str, Any]) -> None:
        """Nobody says how far the network of North varies."""
        (section,) = [stage for stage in tree["stages"] if stage["id"] == "north-release"]
        del section["jitter_margin_us"]

    network = example(unstated)
    found = verdicts(network, all_problems(network), delay_table(network))
    whose = {
        site: {(r.whose, r.consequence) for r in found[site, "main"].reasons if r.code == "buffer-not-proven"}
        for site in ("north", "gap", "south")
    }
    assert whose == {"north": {("north", "sign-off")}, "gap": {("north", "sign-off")}, "south": set()}
    (reason,) = [r for r in found["gap", "main"].reasons if r.code == "buffer-not-proven"]
    assert reason.problem.touching("gap", "main")
