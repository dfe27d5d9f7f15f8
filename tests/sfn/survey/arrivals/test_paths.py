"""Paths found in recordings made at RF: told apart, told as one, or refused; `tests/bench/bench_arrivals.py` has 300."""

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.arrivals.paths import Paths, paths
from tests.sfn.survey.arrivals import made_at_rf as made


def found(reference: np.ndarray, heard: np.ndarray, **options: float) -> Paths:
    """The paths of a synthetic recording; full scale of the reference was taken down to 0.7."""
    rates = {"reference_rate_hz": made.REFERENCE_HZ, "rate_hz": made.RATE_HZ}
    return paths(reference, heard, deviation_hz=made.DEVIATION_HZ / 0.7, search_us=2000.0, **rates, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "second", [(5.0, -6.0, 1.0), (60.0, -18.0, 2.0), (-3.0, -1.0, 4.0)], ids=lambda s: f"{s[0]:g} us {s[1]:g} dB"
)
def test_two_paths_are_parted_with_intervals_that_hold(second: tuple[float, float, float]) -> None:
    """Delays of both, the level of the second, carrier and deviation; the carrier's phase does not matter."""
    answer = found(*made.recorded([(100.0, 0.0, 0.0), (100.0 + second[0], second[1], second[2])]))

    by_level = sorted(answer.paths, key=lambda p: -p.level_db)
    assert 2 == len(by_level)
    for path, truth_us in zip(by_level, (100.0, 100.0 + second[0]), strict=True):
        assert path.parted
        assert abs(path.delay_us - truth_us) < 1.96 * path.uncertainty_us
        assert path.uncertainty_us < 0.4
    assert second[1] == pytest.approx(by_level[1].level_db, abs=0.2)
    assert 700.0 == pytest.approx(answer.carrier_hz, abs=20.0)
    assert 1.01 * made.DEVIATION_HZ / 0.7 == pytest.approx(answer.deviation_hz, rel=1e-3)


def test_levels_of_speech_hold_without_what_does_not_show() -> None:
    """1.8 us apart, in speech: neither the pair nor a path far away is off by more than what noise and delays explain."""
    truth = [(0.0, 0.0, 0.0), (1.8, -10.4, -2.72), (64.2, -11.8, 1.0)]
    reference, heard = made.recorded(truth, seed=2, seconds=0.6, snr_db=40.0, factor=1.0, speech=True)
    answer = found(reference, heard)

    assert len(truth) == len(answer.paths)
    for path, (us, db, _) in zip(answer.paths, truth, strict=True):
        assert path.parted
        assert abs(path.delay_us - us) < 1.96 * path.uncertainty_us
        sure_db = 1.96 * (path.level_uncertainty_db**2 - path.level_hidden_db**2) ** 0.5
        assert abs(path.level_db - db) <= sure_db < 1.0
    assert 0.0 == answer.paths[0].level_uncertainty_db


def test_one_path_is_one() -> None:
    """Nothing is listed beside it, and it stands within a hundredth of a microsecond."""
    answer = found(*made.recorded([(-40.0, 0.0, 1.0)], seed=2))

    assert 1 == len(answer.paths)
    assert -40.0 == pytest.approx(answer.paths[0].delay_us, abs=0.01)
    assert 0.0 < answer.resolution_us[0] < 1.0 < answer.resolution_us[2] < 4.0


def test_paths_closer_than_the_resolution_are_never_sure_and_wrong() -> None:
    """0.2 us apart: one path or several that are not parted, and the interval holds one of both."""
    answer = found(*made.recorded([(0.0, 0.0, 0.0), (0.2, -3.0, 2.0)], seed=3))

    assert 1 == len(answer.paths)
    path = answer.paths[0]
    reach_us = 1.96 * path.uncertainty_us
    assert any(abs(path.delay_us - truth_us) < reach_us for truth_us in (0.0, 0.2))
    assert path.resolution_us > 0.2


def test_a_recording_of_something_else_is_refused() -> None:
    """Another programme of the same kind: refused in words."""
    reference, _ = made.recorded([(0.0, 0.0, 0.0)], seed=4)
    _, heard = made.recorded([(0.0, 0.0, 0.0)], seed=5)
    with pytest.raises(PlanError) as refused:
        found(reference, heard)

    assert refused.value.problems[0].code in ("no-common-signal", "reference-explains-little", "delay-jumps")


@pytest.mark.parametrize("lost", [1, 26, 1000])
def test_lost_samples_are_told(lost: int) -> None:
    """4 us to 4 ms missing in the middle: no delay holds for the whole recording."""
    reference, heard = made.recorded([(0.0, 0.0, 0.0)], seed=6)
    middle = len(heard) // 2
    slipped = np.concatenate((heard[:middle], heard[middle + lost :]))
    with pytest.raises(PlanError) as refused:
        found(reference, slipped)

    assert refused.value.problems[0].code in ("delay-jumps", "levels-change", "reference-explains-little")


def test_a_stretch_that_is_left_out_is_told() -> None:
    """A third of a millisecond lost near the end: the rest answers, and says what it did without."""
    reference, heard = made.recorded([(0.0, 0.0, 1.0)], seed=3, seconds=1.0, snr_db=40.0)
    cut = int(0.9 * len(heard))
    answer = found(reference, np.concatenate((heard[:cut], heard[cut + 84 :])))

    assert abs(answer.paths[0].delay_us) < 1.96 * answer.paths[0].uncertainty_us
    assert ["stretches-left-out"] == [p.code for p in answer.problems]
    assert "of 12 stretches" in answer.problems[0].what
