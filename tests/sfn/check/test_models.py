"""Two devices of one model that are said to be two things, values nobody has read, and positions out of scale."""

from typing import Any

import pytest

from sfn.check.doubts import DOUBTS
from sfn.check.everything import all_problems
from sfn.check.review import review
from sfn.errors import Problem
from sfn.plan import Network
from tests.sfn.networks import example


def of(network: Network, code: str) -> list[Problem]:
    """The problems of one code."""
    return [problem for problem in all_problems(network) if problem.code == code]


def test_one_model_counts_in_one_way() -> None:
    """North's and south's exciter delays are one model, one in 0.1 us and one in 1 us: both named; alike: nothing."""

    def change(tree: dict[str, Any]) -> None:
        """The same model at two sites, its field of the same name."""
        for site in (tree["sites"][0], tree["sites"][1]):
            site["delay_fields"] = [
                {"name": "fine delay", "unit": "us", "step": 0.5, "least": 0, "greatest": 1e6, "sign": "later", "set": 0,
                 "model": "exciter E"},
            ]  # fmt: skip

    def differ(tree: dict[str, Any]) -> None:
        """The second one has other steps, under a name in other letters."""
        change(tree)
        tree["sites"][1]["delay_fields"][0] |= {"step": 1, "model": "Exciter e"}

    assert [] == of(example(change), "model-steps-differ")
    (found,) = of(example(differ), "model-steps-differ")
    north, south = (site.name for site in example().sites[:2])
    assert f"in steps of 0.5 us at {north} and in steps of 1 us at {south}" in found.what
    assert ("sites[1].delay_fields[0].step", ("north", "south")) == (found.where, found.sites)
    assert "remark" == DOUBTS[found.code].consequence


def test_one_model_has_one_tolerance() -> None:
    """What is common to a model cancels between two sites: two figures for it cannot both be right."""

    def change(tree: dict[str, Any]) -> None:
        """Two stages of one model, 0.3 and 3 us."""
        for stage, tolerance_us in zip(tree["stages"][:2], (0.3, 3.0), strict=True):
            stage |= {"tolerance_us": tolerance_us, "tolerance_kind": "model", "model": "codec C"}

    def alike(tree: dict[str, Any]) -> None:
        """Both 3 us."""
        change(tree)
        tree["stages"][0]["tolerance_us"] = 3.0

    def other(tree: dict[str, Any]) -> None:
        """Another firmware may be another figure."""
        change(tree)
        tree["stages"][0]["firmware"] = "9"

    (found,) = of(example(change), "model-tolerance-differs")
    assert (0.3, 3.0) == tuple(sorted(float(value or 0) for value in found.values.values()))
    assert "remark" == DOUBTS[found.code].consequence
    assert [] == of(example(alike), found.code)
    assert [] == of(example(other), found.code)


def test_null_in_a_routes_setting_is_a_value_that_nobody_has_read() -> None:
    """It does not fall back to the field's own value: the way back is unknown, so the sheet is a reading order."""

    def change(tree: dict[str, Any]) -> None:
        """The first field of north, on its main route."""
        name = tree["sites"][0]["delay_fields"][0]["name"]
        tree["sites"][0]["chains"][0]["set"] = {name: None}

    network = example(change)
    (found,) = of(network, "present-value-unknown")
    assert ("north",) == found.sites
    assert "withheld" == review(network, problems=all_problems(network)).of("north").state


@pytest.mark.parametrize(
    ("position", "relay", "code"),
    [
        ("36.28000, -84.19000", True, None),
        (
            "36.82000, -84.19000",
            True,
            "position-mistyped",
        ),  # two digits exchanged: 50 km, 2.7 times the scale
        ("36.92000, -84.19000", True, "position-mistyped"),
        ("36.92000, -84.19000", False, None),
        ("41.00000, -84.19000", False, "position-mistyped"),
    ],
)
def test_a_position_out_of_scale_wants_a_name(position: str, relay: bool, code: str | None) -> None:
    """North and south stand 18.7 km apart (contracts.md); a main site may stand far off, a relay may not."""

    def change(tree: dict[str, Any]) -> None:
        """The relay elsewhere, or a site with a chain of its own there."""
        tree["sites"][2]["position"] = {"text": position}
        if not relay:
            tree["sites"][2] |= {"fed_off_air_from": None, "chains": tree["sites"][1]["chains"], "offset_us": 0}

    network = example(change)
    found = of(network, "position-mistyped")
    assert [code] * bool(code) == [one.code for one in found]
    if code:
        assert "likely mistyped" in found[0].what
        assert ("gap",) == found[0].sites
        assert code in review(network, problems=all_problems(network)).of("gap").codes
        assert "sign-off" == DOUBTS[code].consequence
