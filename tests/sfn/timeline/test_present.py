"""The present state is the latest report by what held, and sheet, change plan and delay table all read it."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import given, settings, strategies as st

from sfn.check.review import review
from sfn.plan import checksum, read
from sfn.study.change_plan import change_plan
from sfn.study.sheet import sheet
from sfn.timeline.held import held
from sfn.timeline.present import FieldReport, Report, as_it_stands

# Measured to a hundredth of a microsecond: a sheet whose figures are less sure puts the fine field mid-range.
PLAN = json.loads((Path(__file__).parents[1] / "example-network.json").read_text(encoding="utf-8"))
PLAN["stages"] = [
    stage | {"tolerance_us": 0.01, "source": "measured", "date": "2026-09-14"} for stage in PLAN["stages"]
]
NETWORK = read(json.dumps(PLAN))
START = datetime(2026, 11, 1, tzinfo=UTC)
COARSE, FINE = NETWORK.sites[1].delay_fields

# When it was pressed, how slow the telephone is, how late it is sent [min]; which field; its value in steps.
EVENT = st.tuples(
    st.integers(0, 5000), st.integers(-400, 400), st.integers(0, 3000), st.booleans(), st.integers(0, 200)
)  # fmt: skip


def sent(event: tuple[int, int, int, bool, int]) -> Report:
    """A report as the server makes it, from what a telephone with a wrong clock sends."""
    pressed, slow, late, coarse, steps = event
    own = COARSE if coarse else FINE
    true, off = START + timedelta(minutes=pressed), timedelta(minutes=slow)
    arrived = true + timedelta(minutes=late)
    when = held(arrived_at=arrived, typed_at=None, pressed_at=true - off, clock_at=arrived - off)
    return Report("south", "main", {own.name: FieldReport(steps * own.step, own.unit)}, when, arrived, "AE")


@settings(max_examples=40, deadline=None)
@given(st.lists(EVENT, max_size=7, unique_by=lambda one: one[0]), st.randoms(use_true_random=False))
def test_all_read_the_latest_report(events: list[tuple[int, int, int, bool, int]], order: object) -> None:
    """Shuffled arrivals and wrong clocks: the value pressed last is the present one everywhere; the checksum stays."""
    want = {COARSE.name: COARSE.set, FINE.name: FINE.set}
    for _, _, _, coarse, steps in sorted(events):  # by the true time, which no telephone told
        own = COARSE if coarse else FINE
        want[own.name] = steps * own.step
    shuffled = list(events)
    order.shuffle(shuffled)  # type: ignore[attr-defined]

    stands = as_it_stands(NETWORK, [sent(one) for one in shuffled])
    assert want == {own.name: own.set for own in stands.sites[1].delay_fields}
    assert checksum(NETWORK) == checksum(stands)
    reviewed = review(stands, problems=())
    (route,) = sheet(reviewed, "south").routes
    assert want == {line.name: line.back.value for line in route.fields}
    plan = change_plan(stands, reviewed=reviewed)
    for change in (one for one in plan.changes if one.site.id == "south"):
        assert want == {line.name: line.back.value for line in change.routes[0].fields}
    said = {problem.fields[0] for problem in plan.contradictions if problem.code == "plan-old-value-contradicted"}
    assert said == {own.name for own in (COARSE, FINE) if want[own.name] != own.set}


def test_the_sheet_that_was_carried_out_still_says_the_way_back() -> None:
    """Set as planned after the issue: the way back is what stood before, and a value between is told beside it."""
    coarse_us, issued = 106.0, START + timedelta(hours=1)

    def report(hours: float, value: float) -> Report:
        """One reading of the coarse field."""
        at = START + timedelta(hours=hours)
        when = held(arrived_at=at, typed_at=None, pressed_at=at, clock_at=at)
        return Report("south", "main", {COARSE.name: FieldReport(value, COARSE.unit)}, when, at, "AE")

    stands = as_it_stands(NETWORK, [report(3, coarse_us), report(2, 50.0), report(0, 3.0)])
    (route,) = sheet(review(stands, problems=()), "south", issued_at=issued).routes
    line = route.fields[0]
    assert (line.value, line.before, line.back.value) == (coarse_us, coarse_us, 3.0)
    assert [other.value for other in line.back.others] == [50.0]
    made = change_plan(stands, reviewed=review(stands, problems=()), issued_at={"south": issued}).made
    assert [(one.site.id, one.field.back.value) for one in made] == [("south", 3.0)]


def test_something_else_reported_since_the_issue_is_told_beside_what_stood_there() -> None:
    """Found so, or a slip: the sheet names both, and a report is never the way back that it is itself judged by."""
    issued = START + timedelta(hours=1)

    def report(hours: float, value: float) -> Report:
        """One reading of the coarse field."""
        at = START + timedelta(hours=hours)
        when = held(arrived_at=at, typed_at=None, pressed_at=at, clock_at=at)
        return Report("south", "main", {COARSE.name: FieldReport(value, COARSE.unit)}, when, at, "AE")

    reports = [report(0, 3.0), report(2, 106.0), report(3, 50.0)]
    stands = as_it_stands(NETWORK, reports)
    (route,) = sheet(review(stands, problems=()), "south", issued_at=issued).routes
    assert (50.0, 3.0, 3.0) == (route.fields[0].back.value, route.fields[0].back.at_issue, route.fields[0].back.before)

    # Found at the old value, or never reported before the issue: nothing contradicts.
    for told, at_issue in (([report(0, 3.0), report(3, 3.0)], None), ([report(3, COARSE.set)], None)):
        stands = as_it_stands(NETWORK, told)
        (route,) = sheet(review(stands, problems=()), "south", issued_at=issued).routes
        assert (told[-1].fields[COARSE.name].value, at_issue) == (
            route.fields[0].back.value,
            route.fields[0].back.at_issue,
        )
    stands = as_it_stands(NETWORK, [report(3, 50.0)])
    (route,) = sheet(review(stands, problems=()), "south", issued_at=issued).routes
    assert (50.0, COARSE.set) == (route.fields[0].back.value, route.fields[0].back.at_issue)


def test_a_unit_that_begins_with_a_figure_is_no_part_of_the_number() -> None:
    """1 200 100ns would be read as one number."""
    tree = json.loads(json.dumps(PLAN))
    tree["sites"][1]["delay_fields"][1] |= {"unit": "100ns", "step": 1, "greatest": 50000, "set": 1200}
    when = held(arrived_at=START, typed_at=None, pressed_at=START, clock_at=START)
    report = Report("south", "main", {FINE.name: FieldReport(5000.0, "100ns")}, when, START, "AE")
    stands = as_it_stands(read(json.dumps(tree)), [report])
    assert stands.reported is not None
    (said,) = [problem.what for problem in stands.reported.problems]
    assert "1\u202f200 steps of 100 ns now; 5\u202f000 steps of 100 ns was read there" in said


def test_a_setting_timed_to_the_minute_of_its_issue_does_not_go_back_to_itself() -> None:
    """Issued at 01:00:20, set and typed as of 01:00, arrived at 01:01: the way back is what stood before."""
    issued, arrived = START + timedelta(hours=1, seconds=20), START + timedelta(hours=1, minutes=1)
    before = held(arrived_at=START, typed_at=None, pressed_at=START, clock_at=START)
    typed = held(arrived_at=arrived, typed_at=START + timedelta(hours=1), pressed_at=None, clock_at=None)
    reports = [
        Report("south", "main", {COARSE.name: FieldReport(value, COARSE.unit)}, when, at, "AE")
        for value, when, at in ((3.0, before, START), (106.0, typed, arrived))
    ]
    stands = as_it_stands(NETWORK, reports)
    (route,) = sheet(review(stands, problems=()), "south", issued_at=issued).routes
    assert (106.0, 106.0, 3.0) == (route.fields[0].value, route.fields[0].before, route.fields[0].back.value)


def test_two_readings_whose_order_is_open_are_told() -> None:
    """A time typed by hand on a telephone three hours slow may be off either clock: the other reading may be later."""
    at = START + timedelta(hours=9)
    sure = held(arrived_at=at, typed_at=None, pressed_at=at, clock_at=at)
    arrived = START + timedelta(hours=11)
    open_ = held(
        arrived_at=arrived, typed_at=START + timedelta(hours=7), pressed_at=None,
        clock_at=arrived - timedelta(hours=3),
    )  # fmt: skip
    reports = [
        Report("south", "main", {COARSE.name: FieldReport(value, COARSE.unit)}, when, when.latest, "AE")
        for value, when in ((5.0, sure), (6.0, open_))
    ]
    stands = as_it_stands(NETWORK, reports)
    assert stands.reported is not None
    assert stands.sites[1].delay_fields[0].set == 6.0
    assert "reports-contradict" in {problem.code for problem in stands.reported.problems}
