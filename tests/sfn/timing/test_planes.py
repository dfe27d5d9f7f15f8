"""What a technician should read at each reference plane."""

import pytest

from sfn.timing import delay_table
from sfn.timing.planes import plane_times
from tests.sfn.networks import example


def test_the_antenna_lies_behind_the_exciter_by_the_feeder() -> None:
    """South: the exciter's output is passed 45 m of feeder before the antenna."""
    row = delay_table(example()).row("south")
    exciter, antenna = plane_times(row)

    assert ("exciter output", "antenna") == (exciter.plane, antenna.plane)
    assert antenna.passes_us == row.launch_us
    assert antenna.passes_us - exciter.passes_us == pytest.approx(45 / (299.792458 * 0.83))


def test_the_reading_against_the_pulse_wraps_at_a_second() -> None:
    """A launch beyond a second reads what is left of it."""
    network = example(lambda tree: tree.update(common_delay={"mode": "fixed", "value_us": 1_200_000}))
    time = plane_times(delay_table(network).row("north"))[-1]

    assert time.passes_us == pytest.approx(1_200_000, abs=0.5)
    assert time.after_second_us == pytest.approx(time.passes_us - 1_000_000)
