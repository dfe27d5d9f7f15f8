"""The window of maps is continuous in level: no signal is unseen when it is placed and charged afterwards.

Expected values come from the lists themselves: where every arrival lies in one guard interval of a receiver that follows
all of it, the useful power is the sum of all powers and nothing interferes.
"""

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st
from numpy.typing import NDArray

from sfn.reception.drawn import Spread, drawn_coverage
from sfn.systems.ofdm import of_strategy, ofdm_answer
from sfn.systems.ofdm_map import ofdm_map
from sfn.systems.ofdm_window import Placing
from sfn.systems.service import service

T2 = "dvb-t2-32k-19/128-pp2-8mhz"
SERVICES = (T2, "dvb-t-8k-1/4-8mhz", "dab-mode-1", "atsc3-16k-gi1024-sp6_2-6mhz")
NOISE_DBUVM, RARE_DB = 25.0, 30.0
STEP_DB, MOST_DB, SWAP_DB = 0.5, 1.0, 0.1

Floats = NDArray[np.float64]


def cni_db(levels: Floats, arrivals: Floats, service_id: str, rare: Floats | None = None) -> tuple[float, float]:
    """C/(N+I) of the default of maps: of the list form and of the compiled one. [dB]"""
    of = service(service_id)
    answer = ofdm_answer(levels, arrivals, of, levels_1pct=rare, noise_dbuvm=NOISE_DBUVM)
    compiled = ofdm_map(
        levels[:, None],
        arrivals[:, None],
        of,
        level_1pct_dbuvm=None if rare is None else rare[:, None],
        noise_dbuvm=NOISE_DBUVM,
    )
    return float(of_strategy(answer, "quasi-optimal")["cni_db"]), float(compiled.cni_db[0])


def alone_db(levels: Floats) -> float:
    """All powers over the noise: what nothing but noise disturbs. [dB]"""
    return float(10 * np.log10(np.sum(10 ** (levels / 10)))) - NOISE_DBUVM


@pytest.mark.parametrize("down_db", [10.0, 29.5, 30.2, 41.2, 60.0, 74.0, 76.0, 90.0])
def test_an_echo_in_the_guard_interval_hurts_at_no_level(down_db: float) -> None:
    """T2, guard interval 532 us, echo at 400 us, its 1 % level 30 dB above its median: C/(N+I) is the sum over noise."""
    levels = np.array([75.0, 75.0 - down_db])
    for found in cni_db(levels, np.array([0.0, 400.0]), T2, levels + np.array([0.0, RARE_DB])):
        assert found == pytest.approx(alone_db(levels), abs=0.01)


def test_a_weak_late_signal_with_a_strong_hundredth_of_time_is_kept_in_the_window() -> None:
    """77.4 dBuV/m and, 421 us later, 36.2 at 50 % and 66.4 at 1 % of time: nothing interferes, and the drawn share
    of places served is whole.
    """
    levels, rare, arrivals = np.array([77.4, 36.2]), np.array([77.4, 66.4]), np.array([0.0, 421.0])
    for found in cni_db(levels, arrivals, T2, rare):
        assert found == pytest.approx(77.4 - NOISE_DBUVM, abs=0.01)
    share = drawn_coverage(
        levels[:, None],
        arrivals[:, None],
        service(T2),
        level_1pct_dbuvm=rare[:, None],
        noise_dbuvm=NOISE_DBUVM,
        placing=Placing(),
        spread=Spread(5.5),
    )
    assert share[0] == pytest.approx(1.0, abs=0.001)


@st.composite
def inside(draw: st.DrawFn) -> tuple[Floats, Floats, Floats, str]:
    """Two to six arrivals inside the guard interval, levels at 50 % and 1 % of time, and a service."""
    service_id = draw(st.sampled_from(SERVICES))
    guard_us = float(service(service_id).guard_us or 0.0)
    count = draw(st.integers(2, 6))
    levels = draw(st.lists(st.floats(20.0, 90.0), min_size=count, max_size=count))
    parts = draw(st.lists(st.floats(0.0, 1.0), min_size=count, max_size=count))
    above = draw(st.lists(st.floats(0.0, RARE_DB), min_size=count, max_size=count))
    return np.array(levels), np.array(levels) + above, np.array(parts) * guard_us * 0.999, service_id


@settings(deadline=None, max_examples=80)
@given(inside(), st.data())
def test_no_step_in_level_inside_the_guard_interval(
    drawn: tuple[Floats, Floats, Floats, str], data: st.DataObject
) -> None:
    """Half a decibel of one signal's level, both of its levels, moves C/(N+I) by no more than 1 dB."""
    levels, rare, arrivals, service_id = drawn
    which = data.draw(st.integers(0, levels.size - 1))
    step = np.where(np.arange(levels.size) == which, STEP_DB, 0.0)
    before, after = (cni_db(levels + d, arrivals, service_id, rare + d) for d in (0.0 * step, step))
    assert before[0] == pytest.approx(before[1], abs=0.002)
    for one, other in zip(before, after, strict=True):
        assert abs(one - other) <= MOST_DB


@settings(deadline=None, max_examples=60)
@given(inside(), st.data())
def test_swapping_nearly_equal_arrivals_changes_little(
    drawn: tuple[Floats, Floats, Floats, str], data: st.DataObject
) -> None:
    """The levels of two arrivals 0.1 dB apart change places: C/(N+I) moves by less than 1 dB."""
    levels, _, arrivals, service_id = drawn
    i, j = data.draw(st.permutations(range(levels.size)))[:2]
    levels[j] = levels[i] - SWAP_DB
    swapped = levels.copy()
    swapped[[i, j]] = swapped[[j, i]]
    for one, other in zip(cni_db(levels, arrivals, service_id), cni_db(swapped, arrivals, service_id), strict=True):
        assert abs(one - other) < MOST_DB
