"""Planned states: what is otherwise, and that all else stays, in the table, at a point and on the timeline."""

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from sfn.cli import main
from sfn.errors import PlanError
from sfn.plan import checksum, read
from sfn.study.point import tried_signals
from sfn.study.states import state_says
from sfn.study.timeline import state_lines
from sfn.study.what_if import WhatIf
from sfn.timeline.revisions import Saved, revision_events
from sfn.timing import delay_table
from sfn.timing.planned_state import in_state
from tests.sfn.networks import EXAMPLE_PATH

AT = {"lat_deg": 36.28, "lon_deg": -84.22}
PHASE = {
    "name": "Phase one", "date": "2026-12-01",
    "changes": [{"site": "south", "power_db": -3.0, "offset_us": -2.5}], "note": "mast works",
}  # fmt: skip
OUT = {
    "name": "North out",
    "date": "2027-01-10",
    "until": "2027-01-12",
    "changes": [{"site": "north", "on_air": False}],
}


def document(*states: dict[str, Any]) -> dict[str, Any]:
    """The example with states."""
    tree: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
    return tree | ({"planned": list(states)} if states else {})


def network(*states: dict[str, Any]) -> Any:
    """The same as the engine reads it."""
    return read(json.dumps(document(*states)))


def test_only_what_changes_changes() -> None:
    """South launches 10 us later (-12.5 becomes -2.5), its level falls by 3 dB; no other setting moves."""
    plan = network(PHASE, OUT)
    then = in_state(plan, "phase ONE")
    today, later = delay_table(plan), delay_table(then)
    kept = [(r.site_id, r.route, r.set_us) for r in today.rows if r.site_id != "south"]
    assert kept == [(r.site_id, r.route, r.set_us) for r in later.rows if r.site_id != "south"]
    moved_us = later.row("south").launch_us - today.row("south").launch_us
    assert 10.0 == pytest.approx(moved_us, abs=0.1)
    now, _ = tried_signals(plan, WhatIf(), **AT)
    reduced, tried_then = tried_signals(then, WhatIf(state="Phase one"), **AT)
    level = {s.site: s.level_dbuvm for s in now.signals}
    for signal in reduced.signals:
        fell_db = 3.0 if signal.site == "south" else 0.0
        assert level[signal.site] - fell_db == pytest.approx(signal.level_dbuvm, abs=1e-6)
    assert state_says(then) == tried_then.says
    assert not tried_then.beyond_state
    assert checksum(plan) == checksum(then)


def test_a_site_out_takes_those_it_feeds_and_moves_nobody() -> None:
    """North is the slowest: the common delay stays today's; gap, fed by it, is silent too."""
    plan = network(OUT)
    then = in_state(plan, "North out")
    assert [False, True, False] == [site.on_air for site in then.sites]
    assert delay_table(plan).common_delay_us == pytest.approx(delay_table(then).common_delay_us)
    assert plan is in_state(then, "today")
    assert plan is in_state(plan, "")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"changes": [{"site": "west", "on_air": False}]}, "there is no site 'west'"),
        ({"changes": [{"site": "north", "route": "spare"}]}, "has no route 'spare'"),
        ({"changes": [{"site": "north"}]}, "nothing changes here"),
        ({"date": "2026-02-31"}, "is no day"),
        ({"until": "2026-01-01"}, "lies before date"),
        ({"name": "Today"}, "cannot be called today"),
    ],
)
def test_what_cannot_be_planned_is_said(change: dict[str, Any], words: str) -> None:
    """In words, with its place."""
    with pytest.raises(PlanError) as refused:
        network(PHASE | change)
    assert words in str(refused.value)
    assert "planned[0]" in refused.value.problems[0].where


def test_states_stand_on_the_timeline_at_their_day() -> None:
    """Planned, changed and dropped, each by its revision; a page marks one whose day has come."""
    saves = [
        Saved(n, datetime(2026, 11, n, tzinfo=UTC), "Ann", "why", made)
        for n, made in enumerate((network(), network(PHASE), network(PHASE, OUT), network(OUT)), start=1)
    ]
    events = [one for one in revision_events(saves) if one.kind == "planned-state"]
    assert [("Phase one", False, 2), ("North out", False, 3), ("Phase one", True, 4)] == [
        (one.values["state"], one.values["dropped"], one.values["revision"]) for one in events
    ]
    assert date(2026, 12, 1) == events[0].held.at.date()
    assert events[0].about("south")
    due = {one.state.name: one.due for one in state_lines(network(PHASE, OUT), today=date(2027, 1, 11))}
    assert {"Phase one": True, "North out": True} == due
    assert not any(one.due for one in state_lines(network(PHASE, OUT), today=date(2026, 11, 29)))


def test_commands_take_a_state(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Table and point; an unknown one is named with those there are."""
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(document(PHASE)), encoding="utf-8")
    assert 0 == main(["delays", str(path), "--state", "phase one", "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert "Phase one" == answer["state"]
    assert ["today", "Phase one"] == [one["name"] for one in answer["planned_states"]]
    assert [-2.5] == [one["offset_us"] for one in answer["sites"] if one["id"] == "south"]
    assert 0 == main(["delays", str(path), "--state", "phase one"])
    assert "PLANNED: planned state Phase one, from 2026-12-01: South" in capsys.readouterr().out
    assert 0 == main(["point", str(path), "--at", "36.28,-84.22", "--state", "phase one", "--json"])
    answer = json.loads(capsys.readouterr().out)
    assert "planned state Phase one" in json.dumps(answer)
    assert 2 == main(["delays", str(path), "--state", "phase two"])
    assert "there is no planned state 'phase two'; one of today, Phase one" in capsys.readouterr().err
