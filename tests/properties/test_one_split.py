"""Sheet, delay table, its JSON and CSV, and the change plan ask for one split, and for one amount to type in.

A first try (commissioning sheet) splits the total otherwise than the delay table fills it: whoever reads only one of
them must not meet two settings.
"""

import csv
import io
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from sfn.answer.delays import document
from sfn.check.review import review
from sfn.plan import Network
from sfn.report.tables import delays_csv
from sfn.study.change_plan import change_plan
from sfn.study.delays import delays
from sfn.study.sheet import sheet
from tests.sfn.networks import example, field

_US = {"us": Fraction(1), "ms": Fraction(1000), "100ns": Fraction(1, 10)}


@st.composite
def networks(draw: st.DrawFn) -> Network:
    """One to four sites with a coarse and a fine field, some on assumed figures, some fields that take the change."""
    stages, sites = [], list[dict[str, Any]]()
    for n in range(draw(st.integers(1, 4))):
        parent = draw(st.sampled_from([None, *range(n)])) if n else None
        routes = ["main", "standby"] if draw(st.booleans()) else ["main"]
        for route in routes:
            assumed = {"source": "assumed", "tolerance_us": draw(st.sampled_from([0.1, 40]))}
            known = {"source": "measured", "date": "2026-01-02", "tolerance_us": 0.1}
            latency = 7.5 if parent is not None else draw(st.integers(0, 50_000))
            stages.append({"id": f"s{n}-{route}", "kind": "other", "latency_us": latency,
                           **draw(st.sampled_from([assumed, known]))})  # fmt: skip
        fine = draw(st.sampled_from([("us", 0.5, 5000), ("100ns", 1, 50_000)]))
        entry = draw(st.sampled_from(["absolute", "incremental"]))
        sites.append(
            {
                "id": f"s{n}", "name": f"Site {n}", "ground_m": 100, "antenna_m": 30, "erp_kw": {"h": 1.0}, "on_air": True,
                "position": {"text": f"36.{n:05d}0, -84.100000"},
                "fed_off_air_from": None if parent is None else f"s{parent}",
                "offset_us": 0 if parent is None else 60 * n,
                "delay_fields": [
                    field(name="coarse", unit="ms", step=1, least=0, greatest=500, set=draw(st.integers(0, 60))),
                    field(name="fine", unit=fine[0], step=fine[1], least=0, greatest=fine[2], entry=entry,
                          set=draw(st.integers(0, 4000))),
                ],
                "chains": [{"route": r, "stages": [f"s{n}-{r}"]} for r in routes],
            }
        )  # fmt: skip

    def build(tree: dict[str, Any]) -> None:
        """The drawn network instead of the example's."""
        tree.update(stages=stages, sites=sites)

    return example(build)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(networks())
def test_sheet_delays_and_change_plan_give_one_split(network: Network) -> None:
    """Values and amounts to enter are the same everywhere, and make the total of the delay table."""
    reviewed = review(network, problems=())
    answer = document(delays(network, problems=()))
    lines = list(csv.reader(io.StringIO(delays_csv(reviewed, revision=None))))
    of_csv = {
        (line[0], line[2]): dict(zip(lines[0], line, strict=True)) for line in lines[1 : 1 + len(answer["sites"])]
    }
    on_sheets = {
        (site.id, route.row.route): [(one.value, one.enter) for one in route.fields]
        for site in network.sites
        for route in sheet(reviewed, site.id).routes
    }
    for row in answer["sites"]:
        key = (row["id"], row["route"])
        asked = row["commissioning_fields"] or row["fields"]
        assert [(one["value"], one["enter"]) for one in asked] == on_sheets[key]
        typed = [of_csv[key][f"sheet_enter_{n}"] for n in (1, 2)]
        assert [float(of_csv[key][f"sheet_value_{n}"]) for n in (1, 2)] == [value for value, _ in on_sheets[key]]
        assert [float(one) if one else None for one in typed] == [enter for _, enter in on_sheets[key]]
        made = sum(Fraction(repr(one["value"])) * _US[one["unit"]] for one in asked)
        assert abs(made - Fraction(repr(row["set_us"]))) < Fraction(1, 10**6)
    for change in change_plan(network, reviewed=reviewed).changes:
        for route in change.routes:
            assert [(one.value, one.enter) for one in route.fields] == on_sheets[change.site.id, route.row.route]


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(networks())
def test_what_is_typed_brings_the_device_to_the_total(network: Network) -> None:
    """By hand: a field that takes the change stands at its present value and adds; else it takes the value itself."""
    for row in document(delays(network, problems=()))["sites"]:
        site = next(site for site in network.sites if site.id == row["id"])
        for one, own in zip(row["commissioning_fields"] or row["fields"], site.delay_fields, strict=True):
            left = (Fraction(repr(own.greatest)) - Fraction(repr(one["value"]))) * _US[own.unit]
            assert abs(Fraction(repr(one["headroom_us"])) - left) < Fraction(1, 10**6)
            if own.entry == "absolute":
                assert one["enter"] == one["value"]
            elif row["route"] == "main":
                assert Fraction(repr(own.set)) + Fraction(repr(one["enter"])) == Fraction(repr(one["value"]))
            else:
                assert one["enter"] is None


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(networks(), st.sampled_from([{"fine": 10}, {"coarse": 3}, {"fine": 10, "coarse": 3}]))
def test_what_a_standby_shares_with_main_is_asked_for_once(network: Network, own: dict[str, float]) -> None:
    """A field without a setting of its own on the standby stands on its sheet as it does on main's; launches add up."""
    sites = tuple(
        site.model_copy(
            update={"chains": tuple(c if c.route == "main" else c.model_copy(update={"set": own}) for c in site.chains)}
        )
        for site in network.sites
    )
    found = delays(network.model_copy(update={"sites": sites}), problems=())
    for (site, route), fields in found.on_sheet.items():
        row = found.table.row(site, route)
        asked_us = sum(Fraction(str(f.value)) * _US[f.unit] for f in fields)
        assert abs(float(asked_us) - row.set_us) < 1e-6
        if route != "main":
            main = {f.name: f.value for f in found.on_sheet[site, "main"]}
            assert all(f.value == main[f.name] for f in fields if f.name not in own)


def test_a_split_that_stands_has_its_own_room() -> None:
    """South stands at its first try, 104 ms and 2382.7 us: the exciter's room is what lies above that, by hand."""

    def stands(tree: dict[str, Any]) -> None:
        """As the sheet of a first try asked for it."""
        (south,) = [site for site in tree["sites"] if site["id"] == "south"]
        for own, value in zip(south["delay_fields"], (104, 2382.7), strict=True):
            own["set"] = value

    network = example(stands)
    (row,) = [row for row in document(delays(network, problems=()))["sites"] if row["id"] == "south"]
    (south,) = [site for site in network.sites if site.id == "south"]
    assert [one["value"] for one in row["commissioning_fields"]] == [104, 2382.7]
    for one, own in zip(row["commissioning_fields"], south.delay_fields, strict=True):
        assert one["headroom_us"] == pytest.approx((own.greatest - one["value"]) * float(_US[own.unit]), abs=1e-6)
