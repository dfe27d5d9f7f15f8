"""Names of fields and people within sentences: as typed where they are plainly names, in marks where they read as words."""

import json
from copy import deepcopy
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from sfn.plan import FieldName, PersonName, read
from sfn.study.change_plan import change_plan
from sfn.study.live_change import StepField
from sfn.timeline.held import Held
from sfn.timeline.present import FieldReport, Report, as_it_stands

EXAMPLE = json.loads((Path(__file__).parents[1] / "example-network.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    "name", ["exciter delay", "Delay 2", "codec", "verzögerung", "เวลา", "transmitter time offset"]
)
def test_a_plain_field_is_as_typed(name: str) -> None:
    """Small letters are usual, and so is any script."""
    assert f"set {name} to 3" == f"set {FieldName(name)} to 3"


@pytest.mark.parametrize("name", ["0 us", "3", "-", "delay: 5 ms", "all other fields", "not known", "roll back", "µs"])
def test_a_field_that_reads_as_words_is_in_marks(name: str) -> None:
    """Figures, units, stops, and words that orders are made of."""
    assert f'set "{name}" to 3' == f"set {FieldName(name)} to 3"
    assert name == FieldName(name) == str(FieldName(name)) == json.loads(json.dumps(FieldName(name)))
    assert f"{FieldName(name):<20}|" == f"{name:<20}|", "a cell of a table"


@pytest.mark.parametrize("name", ["Ada", "A. Oak", "C. Room, for B. Oak", "Ada Oak-Lind", "AE", "李雷"])
def test_a_plain_person_is_as_typed(name: str) -> None:
    """Initials keep their stops."""
    assert f"read by {name} at 9" == f"read by {PersonName(name)} at 9"


@pytest.mark.parametrize("name", ["nobody", "C. Room, for nobody", "the office", "1", "Ada, then set 5 ms", 'Ada "x"'])
def test_a_person_who_reads_as_words_is_in_marks(name: str) -> None:
    """Who is called so must not turn a sentence round."""
    assert f'read by "{name}" at 9' == f"read by {PersonName(name)} at 9"


def test_a_kept_step_names_its_field() -> None:
    """Out of the record of a change it is a field's name again."""
    kept = {"route": "main", "name": "0 us", "unit": "us", "value": 1.0, "back": 0.0}
    assert '"0 us"' == f"{StepField.of(kept).name}"


def test_a_contradiction_names_both() -> None:
    """The plan says otherwise than somebody called `nobody` reported of a field called `0 us`: both are seen as names."""
    document: dict[str, Any] = deepcopy(EXAMPLE)
    document["common_delay"] = {"mode": "fixed", "value_us": 123_000}
    site = document["sites"][0]
    field = site["delay_fields"][0]
    field["name"] = "0 us"
    now = datetime(2026, 11, 30, 1, 0, tzinfo=UTC)
    report = Report(
        site["id"], "main", {"0 us": FieldReport(7.0, field["unit"])}, Held.sure(now), now, PersonName("nobody")
    )
    network = as_it_stands(read(json.dumps(document)), [report])
    assert network.reported is not None
    said = " ".join(problem.what for problem in network.reported.problems)
    assert '"0 us"' in said
    assert '"nobody"' in said
    old = read(json.dumps(document))
    against = [p.what for p in change_plan(network, old=old).contradictions if p.code == "plan-old-value-contradicted"]
    assert against
    assert all('"0 us"' in what and '"nobody"' in what for what in against)
