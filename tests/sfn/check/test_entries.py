"""What can be read and yet cannot be right; and what looks like it and is right."""

from datetime import date

import pytest

from sfn.check import all_problems
from sfn.check.doubts import consequence_of
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


LINK = {"id": "link", "kind": "microwave", "path_km": 20.0, "equipment_us": 10.0, "source": "data sheet"}


def test_combiners_stand_behind_a_feeder_and_a_relay_has_one_in_front() -> None:
    """Behind the feeder stand filters; a relay's receiving antenna has one; a cable to a link is none."""
    filter_stage = {"id": "combiner", "kind": "filter", "latency_us": 1.0}
    behind = added(FEEDER, added(filter_stage, chain("gap", "enc", "gap-release", "gap-mod", "feeder", "combiner")))
    relay = added(FEEDER, chain("gap.2.x", "feeder", "gap.2.x-mod"))
    cable = added(LINK, added(stage_of("cable", "other"), chain("gap", "enc", "cable", "link", "gap-mod")))
    for change in (behind, relay, cable):
        assert not found(change, "stage-after-feeder")


@pytest.mark.parametrize(
    ("order", "wrong"),
    [
        (["enc", "link", "feeder", "gap-mod"], ["gap-mod"]),
        (["enc", "feeder", "link", "gap-mod"], ["link", "gap-mod"]),
        (["feeder", "gap-net", "gap-mod"], ["gap-net", "gap-mod"]),
    ],
)
def test_wherever_the_feeder_stands_only_filters_follow(order: list[str], wrong: list[str]) -> None:
    """Beside a microwave link too: a feeder leads to the antenna that is heard."""
    told = found(added(FEEDER, added(LINK, chain("gap", *order))), "stage-after-feeder")
    assert [p.stages for p in told] == [("feeder", name) for name in wrong]
    assert {p.severity for p in told} == {"error"}


def test_two_modulators_in_series_are_said_and_withhold() -> None:
    """Modulated twice; not behind a decoder."""
    second, decoder = stage_of("second", "modulator"), stage_of("dec", "decoder")
    (problem,) = found(added(second, chain("gap", "enc", "second", "gap-net", "gap-mod")), "modulators-in-series")
    assert (problem.sites, problem.stages) == (("gap",), ("second", "gap-mod"))
    assert consequence_of(problem, tolerated_us=1.0) == "withheld"
    again = added(decoder, added(second, chain("gap", "enc", "second", "gap-net", "dec", "gap-mod")))
    assert not found(again, "modulators-in-series")


def test_a_second_link_that_no_other_site_has_is_remarked() -> None:
    """On one site's main route; not where another site has two as well."""
    more = LINK | {"id": "more"}
    one = added(LINK, added(more, chain("gap", "enc", "link", "more", "gap-mod")))
    (problem,) = found(one, "links-in-series")
    assert (problem.sites, problem.stages) == (("gap",), ("link", "more"))
    assert consequence_of(problem, tolerated_us=1.0) == "remark"
    both = added(LINK | {"id": "a"}, added(LINK | {"id": "b"}, chain("gap.2", "enc", "a", "b", "gap.2-mod")))
    assert not found(lambda tree: (one(tree), both(tree)), "links-in-series")


def stage_of(name: str, kind: str) -> dict[str, object]:
    """A stage about which nothing else is to be said."""
    return {"id": name, "kind": kind, "latency_us": 100.0, "tolerance_us": 0.1, "source": "data sheet"}


def test_a_standby_of_its_own_is_not_called_doubled() -> None:
    """Another link instead of the main one; a link before the fork that both pass."""
    own = added(SLOW, routes("gap.2", ["slow"]))
    assert not found(own, "route-doubled")


def test_a_standby_that_alone_makes_all_wait_is_named_with_the_figures() -> None:
    """100 encoder + 3000 link + 100 modulator against 100 + 1000 + 100 elsewhere; not where the delay is fixed."""
    change = added(SLOW, routes("gap.2", ["slow"]))
    (problem,) = found(change, "route-forces-common-delay")
    assert {key: problem.values[key] for key in ("with_us", "without_us", "raises_us")} == {
        "with_us": 3200.0, "without_us": 1200.0, "raises_us": 2000.0,
    }  # fmt: skip
    assert problem.routes == ("standby",)

    fixed = {"mode": "fixed", "value_us": 5000.0}
    assert not found(lambda tree: (change(tree), tree.update(common_delay=fixed)), "route-forces-common-delay")


def test_limits_hold_at_their_edges() -> None:
    """An offset on its limit lies within; a tolerance equal to the latency is not above it."""
    assert not found(at("gap", offset_us=10, least_offset_us=10, greatest_offset_us=10), "offset-outside-limits")
    assert not found(stage("gap-mod", tolerance_us=100.0), "tolerance-above-latency")
