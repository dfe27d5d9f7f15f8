"""Echoes at a point of the example network."""

from pathlib import Path

import numpy as np
import pytest

from sfn.plan import read_file
from sfn.plan.sheets import read_sheet
from sfn.study.echoes import HEAD, echoes
from sfn.study.point import point_signals
from sfn.survey.measurements import understood

NETWORK = read_file(Path(__file__).parent.parent / "example-network.json")
AT = {"lat_deg": 36.30, "lon_deg": -84.22}


def test_echoes_become_rows_for_reconcile() -> None:
    """A response made of the plan's own arrivals: every site is found, and the rows are read back."""
    heard = point_signals(NETWORK, **AT).signals
    delay = np.array([s.arrival_us for s in heard]) - 122_000.0
    level = np.array([s.level_dbuvm for s in heard]) - 70.0
    found = echoes(NETWORK, delay, level, **AT, launch_uncertainty_us=1.0, uncertainty_us=0.2)
    text = ",".join(HEAD) + "\n" + "\n".join(found.rows) + "\n"
    rows = understood(
        read_sheet(text.encode(), source="echo.csv"), {i: i for i in ("north", "south", "gap")}
    ).measurements
    expected = {s.site: s.arrival_us - heard[0].arrival_us for s in heard[1:]}

    assert {s.site for s in heard} == {e.site for e in found.response.echoes}
    assert {heard[0].site} == {m.reference_site for m in rows}
    assert 1 == len({m.response for m in rows})
    assert [(pytest.approx(0.2 * 2**0.5, rel=1e-3), 0.2)] * len(rows) == [
        (m.uncertainty_us, m.shared_uncertainty_us) for m in rows
    ]
    assert expected == pytest.approx({m.site: m.delay_difference_us for m in rows}, abs=1e-3)


def test_lines_that_are_not_used_are_counted() -> None:
    """One 30 dB down is noise, one 0.4 us beside a stronger is part of it; the rest are echoes."""
    heard = point_signals(NETWORK, **AT).signals
    delay = np.array([s.arrival_us for s in heard])
    level = np.array([s.level_dbuvm for s in heard])
    more = echoes(
        NETWORK, np.append(delay, [delay[0] + 0.4, delay[0] + 300.0]), np.append(level, [level[0] - 3, level[0] - 30]),
        **AT, launch_uncertainty_us=1.0, uncertainty_us=0.2,
    )  # fmt: skip
    assert (1, 1) == (more.weak_n, more.beside_n)
    assert len(heard) == len(more.response.echoes)
