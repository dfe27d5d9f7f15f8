"""Latency and tolerance of routes."""

import pytest

from sfn.chain import all_routes, difference_tolerance, outdated
from sfn.plan import Stage
from tests.sfn.networks import example


def test_worst_case_adds_and_rss_adds_squares() -> None:
    """North: 2 + 0.2 + 0.5 worst case, root of the squares else; a time-stamped section's inside adds nothing."""
    north = all_routes(example())["north", "main"]

    assert north.tolerance_us == pytest.approx(2.7)
    assert north.rss_us == pytest.approx((4 + 0.04 + 0.25) ** 0.5)


def test_assumed_stages_are_named() -> None:
    """The part of the tolerance that rests on assumed stages is told apart."""
    south = all_routes(example(lambda tree: tree["stages"][8].update(tolerance_us=0.05)))["south", "main"]

    assert south.assumed_us == pytest.approx(0.05)
    assert south.assumed_stages == ("south-feeder",)


def test_shared_stages_and_equal_models_cancel() -> None:
    """Between two sites the shared converter cancels, and so do two exciters of one model."""
    network = example(lambda tree: [tree["stages"][i].update(model="exciter A") for i in (4, 7)])
    stages = {s.id: s for s in network.stages}
    north, south = ([stages[name] for name in site.chains[0].stages] for site in network.sites[:2])

    assert difference_tolerance(north, south) == pytest.approx((0.2 + 1.0, (0.04 + 1.0) ** 0.5))


@pytest.mark.parametrize(
    ("date", "changed", "again"),
    [
        ("2026-09-14", "2026-09-13", False),
        ("2026-09-14", "2026-09-14", False),  # the figure of that day is the one after the change
        ("2026-09-14", "2026-09-15", True),
        (None, "2026-09-15", True),
        ("2026-09-14", None, False),
        (None, None, False),
    ],
)
def test_a_figure_is_outdated_by_a_later_change(date: str | None, changed: str | None, again: bool) -> None:
    """By the day: the same day is not later; a figure without a day cannot be shown to be newer."""
    assert again == outdated(Stage(id="x", kind="other", latency_us=1, source="data sheet", date=date, changed=changed))
