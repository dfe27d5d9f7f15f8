"""A slip of 150 ms in one main route is seen: who is slowest, who comes next, and how much longer all wait."""

from typing import Any

import pytest

from sfn.check import all_problems
from sfn.check.doubts import DOUBTS
from sfn.errors import Problem
from sfn.timing import delay_table
from tests.sfn.networks import example


def named(change: Any, code: str) -> list[Problem]:
    """What is found of one kind."""
    return [problem for problem in all_problems(example(change)) if problem.code == code]


def level(tree: dict[str, Any], *, south_more_us: float) -> None:
    """North without its release, some 23 ms, and the south with one more stage."""
    tree["sites"][0]["chains"][0]["stages"][1] = "north-wan"
    if south_more_us:
        more = {
            "id": "south-wan",
            "kind": "network",
            "latency_us": south_more_us,
            "tolerance_us": 1,
            "source": "data sheet",
        }
        tree["stages"].append(more)
        tree["sites"][1]["chains"][0]["stages"].insert(1, "south-wan")


@pytest.mark.parametrize("slip_us", [0, 5_000, 150_000])
def test_one_main_route_far_slower_than_all_others_is_said(slip_us: float) -> None:
    """Pencil: north 850 + 21 000 + 1 250 + 0.4549; south 16 205.2866 and the slip, its offset of -12.5 added."""
    found = named(lambda tree: level(tree, south_more_us=slip_us), "main-forces-common-delay")
    north_us, south_us = 23_100.4549, 16_205.2866 + 12.5 + slip_us
    slowest, second = (("south", south_us), ("north", north_us))[:: 1 if south_us > north_us else -1]
    raises_us = slowest[1] - second[1]
    if raises_us <= 0.1 * second[1]:
        assert not found
        return
    (one,) = found
    assert (one.sites, one.routes, one.values["next_site"]) == ((slowest[0],), ("main",), second[0])
    assert one.values["raises_us"] == pytest.approx(raises_us, abs=1e-3)
    assert DOUBTS[one.code].consequence == "remark"
    tables = [
        delay_table(example(lambda tree, us=us: level(tree, south_more_us=us))).common_delay_us for us in (slip_us, 0)
    ]
    if slip_us == 150_000:  # what all wait longer for it
        assert tables[0] - tables[1] == pytest.approx(one.values["raises_us"], abs=1e-3)


def test_two_networks_of_one_site_in_series_are_said_with_what_they_take() -> None:
    """A network shared with others and one of its own are usual; two of its own are not."""

    def two(tree: dict[str, Any], *, shared: bool) -> None:
        level(tree, south_more_us=150_000)
        tree["stages"].append({"id": "hub", "kind": "network", "latency_us": 9_000, "tolerance_us": 1})
        for site in tree["sites"][: 2 if shared else 0]:
            site["chains"][0]["stages"].insert(1, "hub")
        if not shared:
            tree["sites"][1]["chains"][0]["stages"].insert(1, "hub")

    assert not [p for p in named(lambda tree: two(tree, shared=True), "links-in-series") if "hub" in p.stages]
    (found,) = [p for p in named(lambda tree: two(tree, shared=False), "links-in-series") if "hub" in p.stages]
    assert (found.sites, set(found.stages)) == (("south",), {"hub", "south-wan"})
    assert found.values["together_us"] == pytest.approx(159_000)
