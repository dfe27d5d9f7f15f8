"""Reconciled launch errors, and the plan corrected by them."""

import copy
import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sfn.answer.reconciled import document, residual_places
from sfn.errors import PlanError
from sfn.plan import read
from sfn.study.corrected import correctable_stages, corrected
from sfn.study.reconciled import Reconciled, reconciled
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


def test_contradicting_measurements_widen_the_stage(answer: Reconciled) -> None:
    """Each second row 2 us off: what is written into the stage is as wide as they scatter, and says against what."""
    rows = [
        replace(r.measurement, delay_difference_us=r.measurement.delay_difference_us + 2.0 * (k % 2))
        for k, r in enumerate(answer.found.residuals)
    ]
    found = reconciled(NETWORK, rows, held=("north",))
    at = datetime.fromisoformat("2026-10-02T12:00:30+00:00")
    stage = next(
        s
        for s in corrected(TREE, found, stages={"south": "south-exciter"}, taken_at=at)["stages"]
        if s["id"] == "south-exciter"
    )
    # By hand: south - north, gap - north, gap - south, twice, each second 2 us more, 0.05 us claimed.
    a = np.array([[1, 0], [0, 1], [-1, 1]] * 2)
    y = np.array([2.2, -0.6 + 2, -2.8, 2.2 + 2, -0.6, -2.8 + 2])
    x, left, *_ = np.linalg.lstsq(a, y)
    scale = np.sqrt(left[0] / 0.05**2 / 4)
    sigma_us = scale * 0.05 * np.sqrt(np.linalg.inv(a.T @ a)[0, 0])

    assert scale == pytest.approx(found.found.growth_ratio)
    assert 1.96 * sigma_us == pytest.approx(stage["tolerance_us"], abs=1e-3)
    assert f"{x[0]:+.3f} us against north, held, standard uncertainty {sigma_us:.3f} us" in stage["note"]


def test_without_a_held_site_the_note_says_against_what() -> None:
    """The mean of the whole group."""
    at = datetime.fromisoformat("2026-10-02T12:00:30+00:00")
    changed = corrected(TREE, answer_of(()), stages={"south": "south-exciter"}, taken_at=at)

    assert "against the mean of north, south, gap, none held" in next(
        s["note"] for s in changed["stages"] if s["id"] == "south-exciter"
    )


def test_a_relay_that_nothing_ties_to_its_parent_is_refused() -> None:
    """South and gap measured against each other only, north not with them: a held site in one group is not enough."""
    tree = copy.deepcopy(TREE)
    tree["sites"].append({**copy.deepcopy(tree["sites"][1]), "id": "west", "name": "West"})
    network = read(json.dumps(tree))
    rows = [
        Measurement("t", "P", 36.30, -84.22, a, b, 5.0, 0.05, "antenna", "ab")
        for a, b in (("gap", "south"), ("north", "west"))
    ]
    found = reconciled(network, rows, held=("south",))
    with pytest.raises(PlanError, match="no measurement ties it to north, which feeds it"):
        corrected(tree, found, stages={"gap": "gap-repeater"}, taken_at=datetime.fromisoformat("2026-10-02T12:00Z"))


def test_both_signs_of_a_residual_say_which_they_are(answer: Reconciled) -> None:
    """In JSON and GeoJSON what is left over is measured minus adjusted, the older key its negative."""
    rows = [r.measurement for r in answer.found.residuals]
    rows[0] = replace(rows[0], delay_difference_us=rows[0].delay_difference_us + 3.0)
    found = reconciled(NETWORK, rows, held=("north",))
    told = document(found)["residuals"][0]
    place = residual_places(found)["features"][0]["properties"]

    # South against north 3 us too long, checked by five others: most of it is left over, with its sign.
    assert 1.0 < told["left_over_us"] < 3.0
    assert -told["left_over_us"] == told["residual_us"] == place["residual_us"]
    assert told["left_over_us"] == place["left_over_us"]
    assert "left_over_us: measured minus adjusted; residual_us" in place["residual_sign"]


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
