"""A standby route whose processing differs from the main routes is in doubt, and nobody else is."""

from collections.abc import Callable
from typing import Any

import pytest

from sfn.check import all_problems
from sfn.check.review import Review, review
from tests.sfn.networks import example


def with_standby(*stages: str, shaping: bool = True, identical: bool = False) -> Callable[[dict[str, Any]], None]:
    """South gets a standby over stages of its own; the studio converter, which all pass, shapes the waveform."""

    def change(tree: dict[str, Any]) -> None:
        tree["stages"][0] |= {"shapes_waveform": shaping, "identical": identical}
        known = {"tolerance_us": 0.1, "tolerance_kind": "unit", "source": "measured", "date": "2026-05-02"}
        tree["stages"] += [
            {"id": "spare", "kind": "microwave", "path_km": 31.5, "equipment_us": 14_200, **known},
            {"id": "leveller", "kind": "processing", "latency_us": 850, "shapes_waveform": True, **known},
        ]
        own = tree["sites"][1]["chains"][0]["stages"]
        tree["sites"][1]["chains"].append({"route": "standby", "stages": [*stages, *own[2:]]})

    return change


def reviewed(change: Callable[[dict[str, Any]], None]) -> Review:
    """The example, checked and judged."""
    network = example(change)
    return review(network, problems=all_problems(network))


@pytest.mark.parametrize("stages", [("spare",), ("studio-converter", "spare", "leveller"), ("leveller", "spare")])
def test_a_standby_that_is_shaped_otherwise_than_main_wants_its_change_over_inhibited(stages: tuple[str, ...]) -> None:
    """By-passing the processor of all, or passing one of its own: main goes out with a name, the standby not."""
    found = reviewed(with_standby(*stages))
    standby, main = found.of("south", "standby"), found.of("south")

    assert standby.state == "withheld"
    assert "waveform-differs" in standby.codes
    assert main.state == "sign-off"
    assert "standby-faulty" in main.codes
    assert any("inhibit the change-over" in reason.problem.expected for reason in main.because("sign-off"))
    for other in ("north", "gap"):
        assert found.of(other).state != "withheld"
        assert not {"waveform-differs", "standby-faulty", "slowest-withheld"} & set(found.of(other).codes)
    row = next(row for row in found.table.rows if (row.site_id, row.route) == ("south", "standby"))
    assert row.jump_us is not None


@pytest.mark.parametrize(
    ("stages", "shaping", "identical"),
    [(("studio-converter", "spare"), True, False), (("spare",), False, False), (("spare",), True, True)],
)
def test_a_standby_that_is_shaped_like_main_is_sound(stages: tuple[str, ...], shaping: bool, identical: bool) -> None:
    """Over the same processor, without any, or where its copies are bit-identical."""
    found = reviewed(with_standby(*stages, shaping=shaping, identical=identical))

    assert "waveform-differs" not in found.of("south", "standby").codes
    assert "standby-faulty" not in found.of("south").codes


def test_a_slow_standby_that_differs_withholds_nobody_who_waits_for_it() -> None:
    """Its delay is known: only what it carries is another signal."""

    def slow(tree: dict[str, Any]) -> None:
        with_standby("spare")(tree)
        tree["stages"][-2]["equipment_us"] = 900_000

    found = reviewed(slow)

    assert found.table.forced_by == ("south", "standby")
    assert {site: found.of(site).state for site in ("north", "south", "gap")} == dict.fromkeys(
        ("north", "south", "gap"), "sign-off"
    )


def test_main_routes_that_differ_withhold_both() -> None:
    """A processor of one's own on main: as ever."""

    def own(tree: dict[str, Any]) -> None:
        with_standby("studio-converter", "spare")(tree)
        tree["sites"][1]["chains"][0]["stages"].insert(1, "leveller")

    found = reviewed(own)

    assert found.of("south").state == found.of("north").state == "withheld"


@pytest.mark.parametrize("passes", ["south", "north"])
@pytest.mark.parametrize("on_air", [True, False])
def test_a_site_that_does_not_transmit_differs_alone(passes: str, on_air: bool) -> None:
    """One processor of its own at the south, or at the north only: on the air both differ, else the south alone."""

    def change(tree: dict[str, Any]) -> None:
        known = {"tolerance_us": 0.1, "tolerance_kind": "unit", "source": "measured", "date": "2026-05-02"}
        tree["stages"].append(
            {"id": "leveller", "kind": "processing", "latency_us": 850, "shapes_waveform": True, **known}
        )
        sites = {site["id"]: site for site in tree["sites"]}
        sites[passes]["chains"][0]["stages"].insert(1, "leveller")
        sites["south"]["on_air"] = on_air

    network = example(change)
    found = [problem for problem in all_problems(network) if problem.code == "waveform-differs"]
    differing = {"north", "south"} if on_air else {"south"}
    assert differing == {site for problem in found for site in problem.sites}
    judged = review(network, problems=all_problems(network))
    told = {
        site.id for site in network.sites
        if any(r.code == "waveform-differs" and r.whose == site.id for r in judged.of(site.id).because("withheld"))
    }  # fmt: skip
    assert told == differing
    if not on_air:
        assert judged.of("north").state != "withheld"
