"""Echoes of an impulse response to sites."""

import numpy as np
import pytest

from sfn.errors import PlanError
from sfn.survey.impulse import assign, peaks, response_of

SITES = ("north", "south", "gap", "hill")
ARRIVAL_US = np.array([1000.0, 1042.0, 1015.0, 1110.0])
LEVEL_DBUVM = np.array([72.0, 65.0, 58.0, 55.0])


def given(delay_us: list[float], level_db: list[float], **options: float) -> object:
    """Assign with launches known to 1 us."""
    options = {"launch_uncertainty_us": 1.0} | options
    return assign(delay_us, level_db=level_db, sites=SITES, arrival_us=ARRIVAL_US, level_dbuvm=LEVEL_DBUVM, **options)  # type: ignore[arg-type]


def test_echoes_find_their_sites_whatever_origin_and_gain() -> None:
    """The receiver's zero is 1000.5 us early and its level 60 dB down; order does not matter."""
    found = given([41.8, -0.5, 110.2, 14.6], [5.0, 12.0, -6.0, -1.0])

    assert ("south", "north", "hill", "gap") == tuple(e.site for e in found.echoes)
    assert not any(e.ambiguous for e in found.echoes)
    assert -1000.4 == pytest.approx(found.origin_us, abs=0.5)
    assert -60.0 == pytest.approx(found.gain_db, abs=1.0)
    assert () == found.unheard


def test_differences_are_ready_to_be_reconciled() -> None:
    """Delay differences against the strongest echo, with the measured delays."""
    found = given([41.8, -0.5, 14.6], [5.0, 12.0, -1.0])

    rows = {(a, b): d for a, b, d in found.differences()}
    assert {("south", "north"): 42.3, ("gap", "north"): 15.1} == pytest.approx(rows)
    assert ("hill",) == found.unheard


def test_a_reflection_belongs_to_no_site() -> None:
    """An echo 70 us behind the first, where no site is due."""
    found = given([0.0, 42.0, 15.0, 110.0, 70.0], [12.0, 5.0, -2.0, -5.0, 2.0])

    assert found.echoes[4].site is None
    assert ("north", "south", "gap", "hill") == tuple(e.site for e in found.echoes[:4])


def test_two_sites_due_at_the_same_time_are_ambiguous() -> None:
    """Arrivals 0.5 us and levels 1 dB apart cannot be told from one echo: both are named."""
    found = assign(
        [0.0, 42.2], level_db=[0.0, -7.0], sites=("north", "south", "hill"), arrival_us=[1000.0, 1042.0, 1042.5],
        level_dbuvm=[72.0, 65.0, 64.0], launch_uncertainty_us=1.0
    )  # fmt: skip

    assert not found.echoes[0].ambiguous
    assert found.echoes[1].ambiguous
    assert {"south", "hill"} == {found.echoes[1].site, *found.echoes[1].alternatives}
    assert () == found.differences()


def test_levels_decide_between_echoes_at_equal_spacing() -> None:
    """Two echoes 42 us apart could be laid either way round; levels 30 dB apart decide."""
    found = assign(
        [0.0, 0.6], level_db=[-30.0, 0.0], sites=("near", "far"), arrival_us=[100.0, 100.3], level_dbuvm=[80.0, 50.0],
        launch_uncertainty_us=1.0,
    )  # fmt: skip

    assert ("far", "near") == tuple(e.site for e in found.echoes)
    assert not found.echoes[0].ambiguous


def test_a_single_echo_may_be_any_site() -> None:
    """With origin and gain unknown one echo says nothing: all others are alternatives."""
    (echo,) = given([3.0], [0.0]).echoes

    assert 3 <= len(echo.alternatives)


def test_a_launch_error_shows_in_what_is_left() -> None:
    """Gap 6 us late stays gap when launches may be 5 us off, and its lateness stands out against the others."""
    found = given([0.0, 42.0, 21.0, 110.0], [12.0, 5.0, -2.0, -5.0], launch_uncertainty_us=5.0)
    off = {e.site: e.arrival_off_us for e in found.echoes}

    assert "gap" == found.echoes[2].site
    assert 6.0 == pytest.approx(off["gap"] - off["north"])


def test_peaks_of_a_sampled_response() -> None:
    """Two peaks with their flanks give two echoes; noise 30 dB down gives none."""
    delay = np.arange(0.0, 100.0, 0.5)
    level = -40.0 + 0 * delay
    for at, top in ((20.0, 0.0), (60.0, -10.0)):
        level = np.maximum(level, top - 20.0 * np.abs(delay - at))

    assert [20.0, 60.0] == delay[peaks(delay, level_db=level, apart_us=2.5)].tolist()


def test_sites_not_covered_take_no_part() -> None:
    """NaN level: the site is neither given an echo nor missed."""
    found = assign(
        [0.0, 42.0], level_db=[0.0, -7.0], sites=SITES[:3], arrival_us=ARRIVAL_US[:3],
        level_dbuvm=[72.0, 65.0, np.nan], launch_uncertainty_us=1.0
    )  # fmt: skip

    assert () == found.unheard
    none = assign(
        [1.0], level_db=[0.0], sites=("a",), arrival_us=[1.0], level_dbuvm=[np.nan], launch_uncertainty_us=1.0
    )
    assert none.echoes[0].site is None


def test_csv_and_its_problems() -> None:
    """Columns delay_us,level_db; a bad cell is named by file, line and column."""
    delay, level = response_of("delay_us,level_db\n0,-3\n12.5,-20.5\n", source="echo.csv")

    assert ([0.0, 12.5], [-3.0, -20.5]) == (delay.tolist(), level.tolist())
    with pytest.raises(PlanError, match=r"echo\.csv line 2 column level_db: 'strong' is no number"):
        response_of("delay_us,level_db\n0,strong\n", source="echo.csv")


def test_nonsense_is_refused() -> None:
    """Too many echoes, no uncertainty."""
    with pytest.raises(ValueError, match="1 to 40 echoes, got 41"):
        given([0.0] * 41, [0.0] * 41)
    with pytest.raises(ValueError, match="launch_uncertainty_us must be more than 0, got 0"):
        given([0.0], [0.0], launch_uncertainty_us=0.0)
