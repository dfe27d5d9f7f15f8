"""Failures out of a network's chains."""

import json
from pathlib import Path

import pytest

from sfn.plan import read
from sfn.study.failures import CLOCKS, failure_table, without_clock_row
from sfn.timing import delay_table

EXAMPLE = Path(__file__).parents[1] / "example-network.json"


def table(document, **holdover_h):
    """Outcomes of each failure by site: state, and launch error."""
    network = read(json.dumps(document))
    rows = failure_table(network, delay_table(network), tolerance_us=5.0, holdover_h=holdover_h)
    return {f: {o.site: o for o in row.outcomes} for row in rows for f in row.failures}, rows


@pytest.fixture
def document():
    """The example with a standby route for the north, 40 ms slower than its section."""
    made = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    made["stages"].append({"id": "north-radio", "kind": "other", "latency_us": 160_000, "source": "assumed"})
    chain = ["studio-converter", "north-radio", "north-exciter", "north-feeder"]
    made["sites"][0]["chains"].append({"route": "standby", "stages": chain})
    return made


def test_a_standby_with_the_main_setting_is_out_of_step(document):
    """When the north's network fails it jumps by 40 ms, and the fill-in that hears it with it."""
    outcomes, rows = table(document, north=20.0)
    after = outcomes["north-wan"]

    assert 40_000 == pytest.approx(after["North ridge"].launch_error_us)
    assert after["Gap"].launch_error_us == pytest.approx(40_000)
    assert ("out of step", "out of step", "in step") == tuple(
        after[name].state for name in ("North ridge", "Gap", "South ridge")
    )
    assert "north-wan" in rows[0].failures


def test_what_all_share_silences_all(document):
    """The converter upstream of every fork; the north's feeder silences its fill-in too, whatever the route."""
    outcomes, _ = table(document, north=20.0)

    assert {"off air"} == {o.state for o in outcomes["studio-converter"].values()}
    assert ("off air", "in step") == tuple(outcomes["north-feeder"][n].state for n in ("Gap", "South ridge"))


def test_clocks_begin_holdover_where_time_stamps_rest_on_them(document):
    """The north holds 20 h and its fill-in with it; a microwave without time stamps needs no clock."""
    outcomes, _ = table(document, north=20.0)
    after = outcomes[CLOCKS]

    assert ("in step for a time", 20.0) == (after["North ridge"].state, after["North ridge"].for_h)
    assert ("in step for a time", "in step") == (after["Gap"].state, after["South ridge"].state)


def test_every_site_has_a_row_for_its_reference_or_a_reason(document):
    """Each site on the air stands in one of the two, never in both; one off the air is said to be that."""
    document["sites"][2]["on_air"] = False
    _, rows = table(document, north=20.0)
    named = {f for row in rows for f in row.failures if f.startswith("the reference clock of ")}
    reasons = without_clock_row(read(json.dumps(document)))

    for site in document["sites"]:
        told = [
            reason for reason in reasons if reason.startswith((f"{site['name']} is", f"no route of {site['name']}"))
        ]
        assert len(told) == (0 if f"the reference clock of {site['name']}" in named else 1)
    assert any("is not transmitting: nothing that fails there is heard" in reason for reason in reasons)


def test_equal_effects_share_a_row():
    """Every stage of the south alone, and the south itself, have one row."""
    _, rows = table(json.loads(EXAMPLE.read_text(encoding="utf-8")))
    (south,) = [row for row in rows if "south-link" in row.failures]

    assert {"South ridge", "south-link", "south-exciter", "south-feeder"} == set(south.failures)
    assert len({row.outcomes for row in rows}) == len(rows)


@pytest.mark.parametrize(
    ("joint", "said"),
    [
        ("", "taken as independent: nothing common was measured or typed"),
        ("&joint_loss_pct=0.04", "40 % of what the first loses is lost on both"),
    ],
)
def test_a_second_path_fails_only_together(document, joint, said):
    """A stream on two paths: neither one silences the north; both at once do, and their common share is named."""
    for stage in document["stages"]:
        if stage["id"] == "north-release":
            stage["stream_plan"] = f"second_path=yes&loss_pct=0.1&burst_packets=4{joint}"
    del document["sites"][0]["chains"][1]
    outcomes, _ = table(document, north=20.0)
    (both,) = (failure for failure in outcomes if failure.startswith("both paths of north-release at once"))

    assert said in both
    assert "off air" == outcomes[both]["North ridge"].state
    assert not any(failure == "north-wan" for failure in outcomes)
    assert "off air" == outcomes["north-release"]["North ridge"].state


def test_a_shared_stage_moves_every_site_behind_it_each_with_its_own_preset(document):
    """Two sites behind one hub: the one whose device keeps a preset stays in step, the other jumps by its chain."""
    document["stages"].append({"id": "hub", "kind": "network", "latency_us": 10, "source": "assumed"})
    document["stages"].append({"id": "south-radio", "kind": "other", "latency_us": 14_100, "source": "assumed"})
    north, south = document["sites"][:2]
    for site in (north, south):
        main = site["chains"][0]["stages"]
        site["chains"][0]["stages"] = [main[0], "hub", *main[1:]]
    other = ["studio-converter", "south-radio", *south["chains"][0]["stages"][-2:]]
    south["chains"].append({"route": "standby", "stages": other})
    north["chains"][1]["set"] = {field["name"]: 0 for field in north["delay_fields"]}
    outcomes, _ = table(document, north=20.0)
    after = outcomes["hub"]

    assert after["North ridge"].state == "in step"
    assert abs(after["North ridge"].launch_error_us) <= 1.0  # what the steps of its own preset leave
    assert after["Gap"].state == "in step"
    # 14,100 us of radio instead of 10 us of hub and the 31.5 km link with 14,000 us: length n / c by hand
    link_us = 31_500 * 1.000315 / 299.792458 + 14_000
    assert after["South ridge"].launch_error_us == pytest.approx(14_100 - 10 - link_us, abs=1e-6)
    assert after["South ridge"].state == "out of step"
