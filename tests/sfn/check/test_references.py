"""One time scale at all sites, and antenna cables compensated; on the check and on the Clocks page's standby table."""

import pytest

from sfn.check import all_problems
from sfn.check.references import receivers_of, references
from sfn.errors import PlanError
from sfn.plan import Network
from sfn.study.standby_routes import AskedStandby, standby_routes
from sfn.timing import delay_table
from tests.sfn.networks import example


def with_references(*given: dict | None) -> Network:
    """The example with time references of its sites, in order."""

    def change(tree: dict) -> None:
        for site, one in zip(tree["sites"], given, strict=False):
            if one is not None:
                site["time_reference"] = one

    return example(change)


def test_nothing_said_is_nothing_wrong() -> None:
    """Where no site says what it keeps, nothing is asked."""
    assert list(references(example())) == []


def test_scales_that_differ_are_an_error_at_the_site() -> None:
    """Two keep UTC, one GPS: whole seconds; the message names the site and the field."""
    network = with_references({"scale": "UTC"}, {"scale": "GPS"}, {"scale": "UTC"})
    found = [p for p in all_problems(network) if "time_reference" in p.where]
    assert [p.where for p in found] == ["sites[1].time_reference.scale"]
    assert found[0].severity == "error"
    assert network.sites[1].name in found[0].what
    assert "keeps GPS time, most sites UTC" in found[0].what


def test_a_cable_left_out_and_a_silent_site_are_warned_of() -> None:
    """200 m of cable are about 0.8 us; compensated they are nothing."""
    network = with_references({"scale": "UTC", "cable_m": 200}, {"scale": "UTC", "cable_m": 200, "entered_ns": 803.8})
    found = {p.where: p for p in references(network)}
    assert found["sites[0].time_reference.entered_ns"].severity == "warning"
    assert "sites[1].time_reference.entered_ns" not in found
    silent = [n for n, s in enumerate(network.sites) if s.time_reference is None and s.fed_off_air_from is None]
    assert all(f"sites[{n}].time_reference" in found for n in silent)
    assert receivers_of(network)[network.sites[0].id].error_us == pytest.approx(200 / 299.792458 / 0.83)


def test_standby_routes_say_jump_silence_and_data() -> None:
    """The jump is the delay table's; 1.5 Mbit/s for a month of 30.4 days is 493 GB (the facts' section 1)."""
    network = example()
    table = delay_table(network)
    found = standby_routes(table, AskedStandby(standby_detect_s=2))
    rows = {(row.site_name, row.route): row.jump_us for row in table.rows if row.route != "main"}
    assert {(one.site_name, one.route): one.jump_us for one in found} == rows
    for one in found:
        assert one.outage_s == 2.0
        assert one.always_on_bytes / 1e9 == pytest.approx(493.1, abs=0.1)
    called = standby_routes(table, AskedStandby(standby_called=True, standby_call_s=4))
    assert all(one.outage_s > 5.0 for one in called)
    with pytest.raises(PlanError, match="standby_needed_h"):
        standby_routes(table, AskedStandby(standby_needed_h=1000))
