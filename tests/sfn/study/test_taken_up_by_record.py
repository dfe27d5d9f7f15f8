"""Measurements that are records: whatever is added, set and taken up in whichever order, no correction counts twice.

The truth is a simulated pair of devices, as in `test_taken_up`: a true latency, and the setting that stood in each when
it was measured. Reports tell the settings; each row keeps what stood at its time. What is expected is worked out here.
"""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.plan import Network, read
from sfn.study.corrected import corrected
from sfn.study.reconciled import reconciled
from sfn.survey.in_force import in_force
from sfn.survey.measurements import Measurement
from sfn.timeline.held import Held
from sfn.timeline.present import FieldReport, Report, as_it_stands
from sfn.timing import delay_table
from tests.sfn.study.test_taken_up import TREE, exciter, measured, settings_of, truth

START = datetime(2026, 10, 1, 8, tzinfo=UTC)


class Field:
    """Two sites in the field, and the office that only sees what is sent."""

    def __init__(self, late_us: float) -> None:
        self.tree: dict[str, Any] = json.loads(json.dumps(TREE))
        self.truth = truth(late_us)
        self.at = START
        self.reports: list[Report] = []
        self.rows: list[Measurement] = []
        self.set_us: dict[str, float] = {}
        self.set()

    @property
    def network(self) -> Network:
        """The plan beside what was reported."""
        return as_it_stands(read(json.dumps(self.tree)), self.reports)

    def set(self) -> None:
        """A technician sets both devices as the plan says, and reports it."""
        self.at += timedelta(hours=1)
        for site_id in ("north", "south"):
            row = delay_table(self.network).row(site_id)
            fields = {one.name: FieldReport(one.value, one.unit) for one in row.fields}
            self.reports.append(Report(site_id, "main", fields, Held.sure(self.at), self.at, "AE"))
        self.set_us = settings_of(self.tree)

    def measure(self, error_us: float) -> None:
        """One more line in the log; it keeps what stood when it was added."""
        self.at += timedelta(hours=1)
        one = measured(self.truth, self.set_us, f"{self.at:%Y-%m-%dT%H:%MZ}", n=1)[0]
        one = replace(one, delay_difference_us=one.delay_difference_us + error_us)
        self.rows.append(self.known([one])[0])

    def known(self, rows: list[Measurement]) -> list[Measurement]:
        """The same with the settings in force at their times."""
        network = self.network
        found = in_force(network, delay_table(network), rows)
        assert not any(one.unsure for one in found)
        return [replace(m, settings_us=one.settings_us) for m, one in zip(rows, found, strict=True)]

    def take_up(self, *, held: bool = True) -> None:
        """South's launch error taken up, of all rows together; nothing new is refused."""
        self.at += timedelta(hours=1)
        answer = reconciled(self.network, self.known(self.rows), held=("north",) if held else ())
        try:
            self.tree = corrected(self.tree, answer, stages={"south": "south-exciter"}, taken_at=self.at)
        except PlanError as refused:
            if [p.code for p in refused.problems] != ["correction-taken-already"]:
                raise


STEPS = st.lists(st.one_of(st.just("set"), st.just("take up"), st.floats(-1, 1)), min_size=2, max_size=9)


@given(late_us=st.floats(-20, 20), steps=STEPS)
@settings(max_examples=20, deadline=None)
def test_in_any_order_the_latency_is_the_mean_of_all_rows(late_us: float, steps: list[str | float]) -> None:
    """Added, set, taken up in any order: after each take-up the exciter stands at what all rows together say."""
    field, errors = Field(late_us), [0.0]
    field.measure(0.0)
    for step in [*steps, "take up"]:
        if isinstance(step, float):
            field.measure(step)
            errors.append(step)
        elif step == "set":
            field.set()
        else:
            field.take_up()
            want_us = exciter(TREE) + late_us + sum(errors) / len(errors)
            assert want_us == pytest.approx(exciter(field.tree), abs=2e-3)
    before = exciter(field.tree)
    field.take_up()
    assert before == exciter(field.tree)


@given(steps=STEPS)
@settings(max_examples=10, deadline=None)
def test_with_no_site_held_half_is_put_down_to_each(steps: list[str | float]) -> None:
    """Only the difference is known: half of the mean error, however often it is taken up."""
    field, errors = Field(3.0), [0.0]
    field.measure(0.0)
    for step in [*steps, "take up", "take up"]:
        if isinstance(step, float):
            field.measure(step)
            errors.append(step)
        elif step == "set":
            field.set()
        else:
            field.take_up(held=False)
            want_us = exciter(TREE) + (3.0 + sum(errors) / len(errors)) / 2
            assert want_us == pytest.approx(exciter(field.tree), abs=2e-3)


def test_a_line_appended_is_predicted_with_what_stood_at_its_time() -> None:
    """Corrected, set anew, one line of the first day appended: it moves nothing, the 6.2 us are not there again."""
    field = Field(6.2)
    first_day = dict(field.set_us)
    field.measure(0.0)
    morning = field.at
    field.take_up()
    corrected_us = exciter(field.tree)
    assert exciter(TREE) + 6.2 == pytest.approx(corrected_us, abs=1e-3)
    field.set()
    late = measured(field.truth, first_day, f"{morning + timedelta(minutes=20):%Y-%m-%dT%H:%MZ}", n=2)[1]
    field.rows.append(late)
    network = field.network
    (found,) = in_force(network, delay_table(network), [late])
    assert found.settings_us["south"] == pytest.approx(first_day["south"], abs=1e-9)
    assert set(found.source.values()) == {"reported"}
    field.take_up()
    assert corrected_us == pytest.approx(exciter(field.tree), abs=1e-4)


def test_an_excluded_row_is_gone_from_the_correction_too() -> None:
    """The document kept a row of 40 us; excluded by name it pulls no more, restored it does again."""
    field = Field(3.0)
    field.measure(0.0)
    field.measure(40.0)
    field.take_up()
    assert exciter(TREE) + 23.0 == pytest.approx(exciter(field.tree), abs=1e-3)
    good, slip = field.known(field.rows)
    answer = reconciled(field.network, [good], held=("north",), excluded=[slip])
    field.tree = corrected(field.tree, answer, stages={"south": "south-exciter"}, taken_at=field.at)
    assert exciter(TREE) + 3.0 == pytest.approx(exciter(field.tree), abs=1e-3)
    assert [len(one["measured"]) for one in field.tree["corrections"]] == [1]
    answer = reconciled(field.network, [good, slip], held=("north",))
    field.tree = corrected(field.tree, answer, stages={"south": "south-exciter"}, taken_at=field.at)
    assert exciter(TREE) + 23.0 == pytest.approx(exciter(field.tree), abs=1e-3)


@pytest.mark.parametrize(
    ("when", "words"),
    [
        ("2026-10-01", "changed within the time"),
        ("", "changed within the time"),
        ("2026-10-01T09:30Z", ""),
        ("2026-10-01T12:30Z", "nobody knew"),
    ],
)
def test_what_nobody_can_tell_is_said(when: str, words: str) -> None:
    """A date alone on the day of a change, no time at all, and a device that was replaced: no setting is made up."""
    field = Field(3.0)
    gone = START + timedelta(hours=4)
    field.reports.append(Report("south", "main", {}, Held.sure(gone), gone, "AE", "replaced"))
    network = field.network
    (found,) = in_force(network, delay_table(network), [replace(measured(field.truth, field.set_us, when, n=1)[0])])
    assert words in found.unsure.get("south", "")
    assert bool(words) == ("south" not in found.settings_us)
