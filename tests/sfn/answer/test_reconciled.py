"""Reconciled launch errors, and the plan corrected by them."""

import json
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sfn.answer.reconciled import Reconciled, correctable_stages, corrected, reconciled
from sfn.errors import PlanError
from sfn.plan import read
from sfn.survey.measurements import Measurement
from sfn.survey.prediction import planned_differences
from sfn.timing import delay_table

FILE = Path(__file__).parent.parent / "example-network.json"
TREE: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
NETWORK = read(json.dumps(TREE))
ERRORS_US = {"north": 1.0, "south": 3.2, "gap": 0.4}


def answer_of(held: tuple[str, ...]) -> Reconciled:
    """Six exact measurements of the errors above."""
    bare = [
        Measurement("t", f"P{k}", lat, lon, a, b, 0.0, 0.05, "antenna", "ab")
        for k, (lat, lon) in enumerate([(36.30, -84.22), (36.33, -84.21)])
        for a, b in (("south", "north"), ("gap", "north"), ("gap", "south"))
    ]
    values = planned_differences(NETWORK, bare)
    measurements = [
        Measurement("t", m.point, m.lat_deg, m.lon_deg, m.site, m.reference_site,
                    float(v) + ERRORS_US[m.site] - ERRORS_US[m.reference_site], 0.05, "antenna", "ab")
        for m, v in zip(bare, values, strict=True)
    ]  # fmt: skip
    return reconciled(NETWORK, measurements, held=held)


@pytest.fixture
def answer() -> Reconciled:
    """North held at nought: south is 2.2 us late, gap 0.6 us early."""
    return answer_of(("north",))


def test_own_stages_nearest_the_antenna_may_be_corrected() -> None:
    """Not the studio's converter, which is shared, nor feeders, whose length gives their latency."""
    assert ("north-exciter",) == correctable_stages(NETWORK, "north")[:1]
    assert ("south-exciter",) == correctable_stages(NETWORK, "south")
    assert ("gap-repeater",) == correctable_stages(NETWORK, "gap")


def test_the_corrected_plan_launches_as_planned(answer: Reconciled) -> None:
    """South's exciter turns out 2.2 us slower: its added delay falls by that, its planned launch stays."""
    changed = corrected(
        TREE, answer, stages={"south": "south-exciter"}, taken_at=datetime.fromisoformat("2026-10-02T12:00:30+00:00")
    )
    stage = next(s for s in changed["stages"] if s["id"] == "south-exciter")
    before, after = delay_table(NETWORK).row("south"), delay_table(read(json.dumps(changed))).row("south")

    assert (1252.2, "measured", "2026-10-02") == (stage["latency_us"], stage["source"], stage["date"])
    assert "reconciled 2026-10-02: +2.200 us" in stage["note"]
    assert (
        stage["tolerance_us"] >= 1.96 * next(s.uncertainty_us for s in answer.found.sites if s.site == "south") - 1e-4
    )
    assert before.added_us - 2.2 == pytest.approx(after.added_us, abs=1e-6)
    assert 1250 == next(s for s in TREE["stages"] if s["id"] == "south-exciter")["latency_us"]


def test_a_child_takes_only_what_its_parent_does_not_explain() -> None:
    """With south held north is 2.2 us early and gap, fed off air from north, 2.8: 0.6 of it are its own."""
    found = answer_of(("south",))
    changed = corrected(
        TREE,
        found,
        stages={"gap": "gap-repeater", "north": "north-exciter"},
        taken_at=datetime.fromisoformat("2026-10-02T12:00:30+00:00"),
    )
    latency = {s["id"]: s.get("latency_us") for s in changed["stages"]}

    assert -2.8 == pytest.approx(found.found.sites[2].launch_error_us)
    assert 6.9 == pytest.approx(latency["gap-repeater"])
    assert 1247.8 == pytest.approx(latency["north-exciter"])


def test_what_cannot_be_corrected_is_refused(answer: Reconciled) -> None:
    """A shared stage, an unknown site."""
    with pytest.raises(PlanError, match="cannot correct 'studio-converter'; one of south-exciter"):
        corrected(
            TREE,
            answer,
            stages={"south": "studio-converter"},
            taken_at=datetime.fromisoformat("2026-10-02T12:00:30+00:00"),
        )
    with pytest.raises(PlanError, match="has no launch error"):
        corrected(TREE, answer, stages={"west": "x"}, taken_at=datetime.fromisoformat("2026-10-02T12:00:30+00:00"))


def test_an_unknown_held_site_is_refused() -> None:
    """The sites that exist are listed."""
    with pytest.raises(PlanError, match="there is no site west; one of north, south, gap"):
        answer_of(("west",))


def test_exact_measurements_leave_nothing(answer: Reconciled) -> None:
    """All residuals are nought."""
    np.testing.assert_allclose([r.residual_us for r in answer.found.residuals], 0.0, atol=1e-9)
