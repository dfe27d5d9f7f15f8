"""What a search says of itself on the way and at its end."""

from pathlib import Path

import pytest

from sfn.geodesy.grid import grid_for
from sfn.library.opened import load_demo
from sfn.library.search import optimise
from sfn.reception.class_says import class_says
from sfn.reception.listeners import listeners
from sfn.reception.quality import yardstick
from tests.sfn.networks import example


def test_a_search_says_what_served_means_and_how_far_it_is() -> None:
    """FM: rule, listeners and programme stand in document and words; levels and search are told as they go."""
    told: list[str] = []
    plan = load_demo("fm_ridge")

    def tell(what: str, done: int, total: int) -> None:
        assert 0 <= done <= total
        told.append(what)

    found = optimise(plan, budget_s=0.5, pixel_m=2000.0, progress=tell)
    rests_on = found.document["rests_on"]
    assert rests_on[:-1] == list(class_says(plan.readable, yardstick(plan.readable)).lines)
    assert rests_on[-1].startswith("FM quality of")
    assert set(rests_on) <= set(found.says)
    assert found.document["classes_by"] == "quick estimate"
    assert {"what else would help", *(site.name for site in plan.readable.sites)} & set(told)
    assert len(set(told)) > 3


@pytest.mark.parametrize(("pixel_m", "hangs"), [(1000.0, True), (70.0, False)])
def test_small_discs_on_large_pixels_are_named(pixel_m: float, hangs: bool) -> None:
    """A village of 300 people fills a disc of 0.3 km: less than a pixel of a kilometre, more than four of 70 m."""
    village = {"name": "Village", "lat": 36.30, "lon": -84.20, "people": 300}
    network = example(lambda tree: tree.update(listeners={"places": [village]}))
    grid = grid_for((36.29, -84.21, 36.31, -84.19), pixel_m=pixel_m)
    assert ("0.3 km in radius" in listeners(network, grid, folder=Path()).said) == hangs
