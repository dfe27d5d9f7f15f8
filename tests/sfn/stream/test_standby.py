"""Main, standby and fallback."""

import pytest

from sfn.stream.buffer import Need
from sfn.stream.standby import MONTH_S, Standby, changes, release_for

MAIN = Standby(Need("main", 9000, 3000, 50_000, 1000), 2.5)
STANDBY = Standby(Need("standby", 40_000, 20_000, 50_000, 1000), 2.5, always_on=False, detect_s=0.5, call_s=3.0)


def test_one_release_covers_both():
    """111 ms for the standby decides; then nothing jumps."""
    release = release_for([MAIN, STANDBY], margin_us=500, step_us=1000)
    (change,) = changes([MAIN, STANDBY], release_us=release.release_us, on_demand_h=4)

    assert ("standby", 112_000.0) == (release.decided_by, release.release_us)
    assert 0.0 == change.jump_us
    assert change.problem is None


def test_a_release_for_the_main_route_alone_makes_the_standby_jump():
    """63 ms: the standby needs 111, comes 48 ms late, and the text says by how much more it must be."""
    (change,) = changes([MAIN, STANDBY], release_us=63_000, on_demand_h=4)

    assert 48_000 == change.jump_us
    assert change.problem is not None
    assert "buffer underrun: it needs 111000 us, the release delay is 63000" == change.problem.what
    assert "a release delay at least 48000 us longer, for every route" == change.problem.expected


def test_outage_and_data_by_hand():
    """Called: noticed, called, filled; data of 4 h against a month of 2.5 Mbit/s."""
    (change,) = changes([MAIN, STANDBY], release_us=112_000, on_demand_h=4)

    assert 0.5 + 3.0 + 0.112 == pytest.approx(change.outage_s)
    assert 2.5e6 / 8 * 4 * 3600 == change.on_demand_bytes
    assert 2.5e6 / 8 * MONTH_S == change.always_on_bytes


def test_a_standby_without_time_stamps_jumps_by_its_latency():
    """Its launch time is its latency, whatever the release delay; that is a warning."""
    plain = Standby(Need("satellite", 260_000, 0), 1.0, time_stamped=False)
    (change,) = changes([MAIN, plain], release_us=63_000, on_demand_h=0)

    assert 197_000 == change.jump_us
    assert change.problem is not None
    assert "warning" == change.problem.severity
    assert 0.0 == change.outage_s


def test_refusals():
    """One route, too many hours, nothing time-stamped: refused by name."""
    with pytest.raises(ValueError, match="routes must be from 2"):
        changes([MAIN], release_us=1, on_demand_h=0)
    with pytest.raises(ValueError, match="on_demand_h must be from 0"):
        changes([MAIN, STANDBY], release_us=1, on_demand_h=800)
    with pytest.raises(ValueError, match="at least one that is time-stamped"):
        release_for([Standby(Need("a", 1, 1), 1.0, time_stamped=False)])
    with pytest.raises(ValueError, match="call_s must be from 0"):
        Standby(Need("a", 1, 1), 1.0, call_s=-1)
