"""What can be read and yet cannot be right; and what looks like it and is right."""

from datetime import date

import pytest

from sfn.check import all_problems
from sfn.errors import Problem
from tests.sfn.check.test_touches import FEEDER, SLOW, Change, added, at, chain, network, routes, stage

TODAY = date(2026, 11, 29)


def found(change: Change, code: str) -> list[Problem]:
    """Problems of one kind after a change."""
    return [p for p in all_problems(network(change), today=TODAY) if p.code == code]


@pytest.mark.parametrize(
    ("frequency_mhz", "service", "perhaps"),
    [
        (983.0, "fm-stereo", "perhaps 98.3 MHz"),
        (98.3e-3 * 10, "fm-stereo", "perhaps 98.3 MHz"),
        (98.3, "dvb-t2-32k-19/128-pp2-8mhz", None),
        (2275.36, "dab-mode-1", "perhaps 227.536 MHz"),
        (108.5, "fm-mono", None),
    ],
)
def test_a_frequency_of_another_service_is_questioned(frequency_mhz: float, service: str, perhaps: str | None) -> None:
    """983 MHz is no FM, 98.3 no DVB-T2; a lost decimal point is named where it explains it."""
    (problem,) = found(lambda tree: tree.update(frequency_mhz=frequency_mhz, service=service), "frequency-outside-band")

    assert ("perhaps" in problem.expected) == (perhaps is not None)
    assert perhaps is None or problem.expected.endswith(perhaps)


@pytest.mark.parametrize(
    ("frequency_mhz", "service"),
    [(87.5, "fm-stereo"), (108.0, "fm-stereo"), (70.0, "fm-mono"), (225.648, "dab-mode-1"), (1452.96, "dab-mode-2"),
     (474.0, "dvb-t-8k-1/4-8mhz"), (177.5, "dvb-t2-32k-19/128-pp2-7mhz"), (57.0, "8-vsb"), (0.999, "drm-mode-b")],
)  # fmt: skip
def test_usual_frequencies_are_not_questioned(frequency_mhz: float, service: str) -> None:
    """Edges of the bands belong to them."""
    assert not found(lambda tree: tree.update(frequency_mhz=frequency_mhz, service=service), "frequency-outside-band")


def test_days_are_of_the_calendar_and_not_to_come() -> None:
    """Tomorrow is today in the east; the day after is to come; 29 February is in 2024, not in 2026."""
    for day, wrong in (("2026-11-30", False), ("2026-12-01", True), ("2024-02-29", False), ("2026-02-29", True)):
        assert bool(found(stage("gap-mod", date=day), "date-impossible")) == wrong, day


def test_combiners_and_a_links_own_feeders_stand_where_they_may() -> None:
    """Behind the feeder stand filters; a microwave link has feeders; a relay's receiving antenna has one."""
    filter_stage = {"id": "combiner", "kind": "filter", "latency_us": 1.0}
    behind = added(FEEDER, added(filter_stage, chain("gap", "enc", "gap-release", "gap-mod", "feeder", "combiner")))
    link = {"id": "link", "kind": "microwave", "path_km": 20.0, "equipment_us": 10.0}
    beside = added(FEEDER, added(link, chain("gap", "enc", "feeder", "link", "gap-mod")))
    relay = added(FEEDER, chain("gap.2.x", "feeder", "gap.2.x-mod"))
    for change in (behind, beside, relay):
        assert not found(change, "stage-after-feeder")


def test_a_standby_of_its_own_is_not_called_doubled() -> None:
    """Another link instead of the main one; a link before the fork that both pass."""
    own = added(SLOW, routes("gap.2", ["slow"]))
    assert not found(own, "route-doubled")


def test_a_standby_that_alone_makes_all_wait_is_named_with_the_figures() -> None:
    """100 encoder + 3000 link + 100 modulator against 100 + 1000 + 100 elsewhere; not where the delay is fixed."""
    change = added(SLOW, routes("gap.2", ["slow"]))
    (problem,) = found(change, "route-forces-common-delay")
    assert problem.values == {"with_us": 3200.0, "without_us": 1200.0}
    assert problem.routes == ("standby",)

    fixed = {"mode": "fixed", "value_us": 5000.0}
    assert not found(lambda tree: (change(tree), tree.update(common_delay=fixed)), "route-forces-common-delay")


def test_limits_hold_at_their_edges() -> None:
    """An offset on its limit lies within; a tolerance equal to the latency is not above it."""
    assert not found(at("gap", offset_us=10, least_offset_us=10, greatest_offset_us=10), "offset-outside-limits")
    assert not found(stage("gap-mod", tolerance_us=100.0), "tolerance-above-latency")
