"""A measured correction counts once: whatever is added to the log, and whatever is written in the notes.

What the sites really do is worked out here from the settings in their devices, not by the code under test: a launch is
the true latency plus what the delay field was set to when it was measured.
"""

import json
import math
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st
from pyproj import Geod

from sfn.errors import PlanError
from sfn.geodesy.sites import place
from sfn.plan import checksum, read
from sfn.study.corrected import corrected
from sfn.study.reconciled import Reconciled, reconciled
from sfn.survey.measurements import Measurement
from sfn.timing import delay_table

TREE: dict[str, Any] = json.loads((Path(__file__).parent.parent / "example-network.json").read_text(encoding="utf-8"))
PLACES = [(36.30, -84.22), (36.33, -84.21), (36.31, -84.18)]
FIRST = datetime.fromisoformat("2026-10-02T12:00:30+00:00")
SECOND = datetime.fromisoformat("2026-10-05T09:00:00+00:00")


def settings_of(tree: dict[str, Any]) -> dict[str, float]:
    """What a technician who goes by the plan sets. [us]"""
    return {row.site_id: row.set_us for row in delay_table(read(json.dumps(tree))).rows if row.route == "main"}


def measured(truth_us: Mapping[str, float], set_us: Mapping[str, float], when: str, n: int = 3) -> list[Measurement]:
    """South against north at some places: what an instrument would show of the true latencies and settings."""
    network = read(json.dumps(TREE))
    placed = place(network)
    plain_m = min(site.ground_m for site in network.sites)  # no terrain: receivers stand as low as the lowest site
    rows = []
    for k, (lat, lon) in enumerate(PLACES[:n]):
        arrival = {}
        for site in network.sites[:2]:
            at = placed[site.id]
            height_m = plain_m + network.receiver.height_m - site.ground_m - site.antenna_m
            path_m = math.hypot(Geod(ellps="WGS84").inv(at.lon_deg, at.lat_deg, lon, lat)[2], height_m)
            travel_us = path_m * (1 + network.refractivity_n * 1e-6) / 299.792458
            arrival[site.id] = truth_us[site.id] + set_us[site.id] + travel_us
        rows.append(
            Measurement(
                when, f"P{k}", lat, lon, "south", "north", arrival["south"] - arrival["north"], 0.05, "antenna", "ab"
            )
        )
    return rows


def truth(south_late_us: float) -> dict[str, float]:
    """True latencies: north as planned, south's exciter slower. [us]"""
    rows = {row.site_id: row for row in delay_table(read(json.dumps(TREE))).rows if row.route == "main"}
    return {"north": rows["north"].latency_us, "south": rows["south"].latency_us + south_late_us}


def answer(tree: dict[str, Any], rows: list[Measurement], *, as_set: bool = False) -> Reconciled:
    """North held."""
    return reconciled(read(json.dumps(tree)), rows, held=("north",), as_set=as_set)


def taken(
    tree: dict[str, Any], rows: list[Measurement], at: datetime = FIRST, *, as_set: bool = False
) -> dict[str, Any]:
    """South's error taken up by its exciter."""
    return corrected(tree, answer(tree, rows, as_set=as_set), stages={"south": "south-exciter"}, taken_at=at)


def exciter(tree: dict[str, Any]) -> float:
    """Latency of south's exciter. [us]"""
    found: float = next(s for s in tree["stages"] if s["id"] == "south-exciter")["latency_us"]
    return found


def as_now_set(tree: dict[str, Any]) -> dict[str, Any]:
    """The document after the technician set what it says and the office entered it."""
    made: dict[str, Any] = json.loads(json.dumps(tree))
    rows = {row.site_id: row for row in delay_table(read(json.dumps(made))).rows if row.route == "main"}
    for site in made["sites"]:
        for field, planned in zip(site["delay_fields"], rows[site["id"]].fields, strict=True):
            field["set"] = planned.value
    return made


def code(refused: pytest.ExceptionInfo[PlanError]) -> list[str]:
    """Kinds of the refusals."""
    return [p.code for p in refused.value.problems]


@given(late_us=st.floats(0.2, 50) | st.floats(-50, -0.2), more_us=st.floats(-20, 20))
@settings(max_examples=25, deadline=None)
def test_what_is_left_is_added_and_nothing_twice(late_us: float, more_us: float) -> None:
    """Two visits, the device set anew between them: the exciter ends at its true latency, however the log grows."""
    log = measured(truth(late_us), settings_of(TREE), "2026-10-01 10:00+00:00")
    first = taken(TREE, log)
    assert exciter(TREE) + late_us == pytest.approx(exciter(first), abs=2e-4)

    done = as_now_set(first)
    log += measured(truth(late_us + more_us), settings_of(done), "2026-10-04 10:00+00:00")
    both = answer(done, log[3:])
    south = both.found.sites[1].launch_error_us
    second = taken(done, log[3:], SECOND)
    # The step of the field leaves up to half of it in every launch; it is no error of the latency.
    assert south == pytest.approx(exciter(second) - exciter(done), abs=2e-4)
    assert exciter(TREE) + late_us + more_us == pytest.approx(exciter(second), abs=2e-4)


@pytest.mark.parametrize("note", ["", "reconciled by hand", None])
def test_the_same_measurements_are_refused_whatever_the_note_says(note: str | None) -> None:
    """A note is for people: edited or deleted, the correction still counts once."""
    log = measured(truth(6.2), settings_of(TREE), "2026-10-01 10:00+00:00")
    first = taken(TREE, log)
    stage = next(s for s in first["stages"] if s["id"] == "south-exciter")
    stage["note"] = note
    again = answer(first, log)

    assert 0 == pytest.approx(again.found.sites[1].launch_error_us, abs=1e-3)
    with pytest.raises(PlanError) as refused:
        corrected(first, again, stages={"south": "south-exciter"}, taken_at=SECOND)
    assert ["correction-taken-already"] == code(refused)


def test_a_line_appended_from_the_same_day_corrects_nothing_a_second_time() -> None:
    """6.2 us in the review: the whole table became new, and the whole error was taken up again."""
    log = measured(truth(6.2), settings_of(TREE), "2026-10-01 10:00+00:00", n=2)
    first = taken(TREE, log)
    late = measured(truth(6.2), settings_of(TREE), "2026-10-01 11:00+00:00")[2:]
    second = taken(first, [*log, *late], SECOND)

    assert exciter(TREE) + 6.2 == pytest.approx(exciter(first), abs=2e-4)
    assert exciter(first) == pytest.approx(exciter(second), abs=2e-4)
    with pytest.raises(PlanError) as refused:
        taken(second, [*log, *late], SECOND)
    assert ["correction-taken-already"] == code(refused)


@pytest.mark.parametrize("when", ["", "2026-10-02", "2026-10-02 11:00", "after lunch"])
def test_a_line_that_may_be_older_is_asked_about(when: str) -> None:
    """No time, a date alone, a time without its zone: nobody can tell which setting was in force."""
    log = measured(truth(6.2), settings_of(TREE), "2026-10-01 10:00+00:00", n=2)
    first = taken(TREE, log)
    more = measured(truth(6.2), settings_of(TREE), when)[2:]

    assert "time-not-sure" in [p.code for p in answer(first, [*log, *more]).problems]
    with pytest.raises(PlanError) as refused:
        taken(first, [*log, *more], SECOND)
    assert ["time-not-sure"] == code(refused)


def test_a_later_line_counts_only_when_the_new_setting_was_made() -> None:
    """Measured after the correction, while the device still stands at the old setting: not an error of 6.2 us again."""
    log = measured(truth(6.2), settings_of(TREE), "2026-10-01 10:00+00:00")
    first = taken(as_now_set(TREE), log)
    late = measured(truth(6.2), settings_of(TREE), "2026-10-03 10:00+00:00")

    with pytest.raises(PlanError) as refused:
        taken(first, late, SECOND)
    assert ["correction-not-set"] == code(refused)
    # Compared with what is set now, nothing is left of it.
    assert 0 == pytest.approx(answer(first, late, as_set=True).found.sites[1].launch_error_us, abs=1e-3)


def test_another_site_takes_up_its_error_from_the_same_table() -> None:
    """South's correction neither hides nor changes what the table says of north."""
    late = {**truth(6.2), "north": truth(0)["north"] - 1.5}
    log = measured(late, settings_of(TREE), "2026-10-01 10:00+00:00")
    south = taken(TREE, log)  # north held: all of it is put down to south
    found = reconciled(read(json.dumps(south)), log, held=("south",))

    assert 0 == pytest.approx(found.found.sites[0].launch_error_us, abs=1e-3)


def test_the_document_without_corrections_keeps_its_checksum() -> None:
    """The key is optional."""
    log = measured(truth(6.2), settings_of(TREE), "2026-10-01 10:00+00:00")

    assert read(json.dumps(TREE)).corrections is None
    assert checksum(read(json.dumps(TREE))) != checksum(read(json.dumps(taken(TREE, log))))


def test_a_time_that_is_none_is_refused() -> None:
    """The 31st of September."""
    log = measured(truth(6.2), settings_of(TREE), "2026-10-01 10:00+00:00")
    made = taken(TREE, log)
    made["corrections"][0]["taken_at"] = "2026-09-31T12:00:00Z"

    with pytest.raises(PlanError, match="is no time; as 2026-09-14T08:30:00Z"):
        read(json.dumps(made))
