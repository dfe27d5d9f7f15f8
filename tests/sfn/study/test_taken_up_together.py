"""However often measurements of unchanged settings are sent, the latency is what all of them say together.

The truth is a simulated pair of devices: a true latency, and the settings that stood in it when it was measured. What
is expected is worked out here by the mean of distinct readings; with no site held, half of it is put down to each.
"""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.plan import read
from sfn.study.corrected import corrected
from sfn.study.reconciled import reconciled
from sfn.survey.measurements import Measurement
from tests.sfn.study.test_taken_up import TREE, as_now_set, exciter, measured, settings_of, truth

NOW = datetime.fromisoformat("2026-11-02T12:00:00+00:00")
NOTHING_NEW = ["correction-taken-already"]


def sent(
    tree: dict[str, Any], rows: list[Measurement], *, held: bool, as_set: bool, at: datetime = NOW
) -> dict[str, Any]:
    """The document after a table was sent and south's error taken up; as it was where nothing was new."""
    answer = reconciled(read(json.dumps(tree)), rows, held=("north",) if held else (), as_set=as_set)
    try:
        return corrected(tree, answer, stages={"south": "south-exciter"}, taken_at=at)
    except PlanError as refused:
        if [p.code for p in refused.problems] != NOTHING_NEW:
            raise
        return tree


def respelled(m: Measurement, how: int) -> Measurement:
    """The same measurement, written down by somebody else."""
    return (
        m,
        replace(m, point=m.point + "'", by="cd"),
        replace(m, when=m.when.replace("+00:00", "Z")),
        replace(m, when=m.when.replace("10:00+00:00", "12:00:01+02:00")),
        replace(
            m, site=m.reference_site, reference_site=m.site, delay_difference_us=-m.delay_difference_us, point="again"
        ),
    )[how]


@given(
    noise_us=st.lists(st.floats(-1, 1), min_size=3, max_size=6),
    sends=st.lists(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 4)), min_size=1, max_size=6), max_size=5),
    held=st.booleans(),
    as_set=st.booleans(),
)
@settings(max_examples=30, deadline=None)
def test_any_number_of_sends_gives_the_mean_of_all(
    noise_us: list[float], sends: list[list[tuple[int, int]]], held: bool, as_set: bool
) -> None:
    """Sent again, renamed, respelled, turned round, in parts, with new ones among them."""
    start = as_now_set(TREE)
    rows = []
    for k, error_us in enumerate(noise_us):
        one = measured(truth(3.0), settings_of(TREE), f"2026-10-{k + 1:02d} 10:00+00:00", n=1)[0]
        rows.append(replace(one, delay_difference_us=round(one.delay_difference_us + error_us, 4)))
    tree, seen = start, set()
    for n, send in enumerate([*sends, [(k, 0) for k in range(len(rows))]]):
        chosen = [(k % len(rows), how) for k, how in send]
        seen |= {k for k, _ in chosen}
        table = [respelled(rows[k], how) for k, how in chosen]
        tree = sent(tree, table, held=held, as_set=as_set, at=NOW + timedelta(minutes=n))
        mean_us = 3.0 + sum(noise_us[k] for k in seen) / len(seen)
        assert exciter(start) + mean_us * (1 if held else 0.5) == pytest.approx(exciter(tree), abs=5e-4)
    assert 1 == len(tree["corrections"])


@pytest.mark.parametrize("held", [True, False])
def test_measured_after_the_correction_with_nothing_set_anew_refines_it(held: bool) -> None:
    """The devices stand where they stood: 3.0 and 3.4 us are 3.2 us, not 3.0 and 0.4 more."""
    start = as_now_set(TREE)
    first = sent(start, measured(truth(3.0), settings_of(TREE), "2026-10-01 10:00Z"), held=held, as_set=True)
    late = measured(truth(3.4), settings_of(TREE), "2026-12-01 10:00Z")
    second = sent(first, late, held=held, as_set=True, at=NOW + timedelta(days=40))
    other = next(s for s in second["sites"] if s["id"] == "gap")
    other["delay_fields"][0]["set"] += 20  # another site is set anew: nothing to these two
    again = measured(truth(3.2), settings_of(TREE), "2026-12-14 10:00Z")
    third = sent(second, again, held=held, as_set=True, at=NOW + timedelta(days=50))

    for tree in (second, third):
        assert exciter(start) + 3.2 * (1 if held else 0.5) == pytest.approx(exciter(tree), abs=5e-4)


def test_set_anew_what_is_left_counts_by_itself() -> None:
    """0.2 us left after the new setting: just that is added, with the whole old log in the table or without."""
    log = measured(truth(3.0), settings_of(TREE), "2026-10-01 10:00Z")
    done = as_now_set(sent(as_now_set(TREE), log, held=True, as_set=False))
    late = measured(truth(3.2), settings_of(done), "2026-12-01 10:00Z")
    later = NOW + timedelta(days=40)

    for table in (late, [*log, *late]):
        second = sent(done, table, held=True, as_set=False, at=later)
        assert exciter(done) + 0.2 == pytest.approx(exciter(second), abs=2e-4)
        assert second == sent(second, [*log, *late], held=True, as_set=True, at=later)
        assert second == sent(second, log, held=True, as_set=True, at=later)
    told = reconciled(read(json.dumps(done)), [*log, *late, late[0]], held=("north",)).problems
    assert {"measurement-superseded", "measurement-repeated"} <= {p.code for p in told}


def test_a_straggler_of_the_old_settings_joins_those_of_its_time() -> None:
    """Set anew but not measured since: a forgotten line of that day is one of four, not one by itself."""
    log = measured(truth(3.0), settings_of(TREE), "2026-10-01 10:00Z")
    done = as_now_set(sent(as_now_set(TREE), log, held=False, as_set=False))
    forgotten = measured(truth(3.4), settings_of(TREE), "2026-10-01 11:00Z", n=1)
    second = sent(done, forgotten, held=False, as_set=False)

    assert exciter(TREE) + 3.1 / 2 == pytest.approx(exciter(second), abs=5e-4)


def test_a_document_that_kept_marks_alone_asks_for_the_whole_table() -> None:
    """Written before measurements were kept: one line cannot be put to those that it belongs to."""
    log = measured(truth(3.0), settings_of(TREE), "2026-10-01 10:00Z")
    first = sent(as_now_set(TREE), log, held=True, as_set=False)
    del first["corrections"][0]["measured"]
    forgotten = measured(truth(3.4), settings_of(TREE), "2026-10-01 11:00Z", n=1)
    with pytest.raises(PlanError) as refused:
        corrected(
            first,
            reconciled(read(json.dumps(first)), forgotten, held=("north",)),
            stages={"south": "south-exciter"},
            taken_at=NOW,
        )
    assert ["earlier-measurements-missing"] == [p.code for p in refused.value.problems]
    both = sent(first, [*log, *forgotten], held=True, as_set=False)
    assert exciter(TREE) + 3.1 == pytest.approx(exciter(both), abs=5e-4)
