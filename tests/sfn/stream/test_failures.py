"""Which failure leaves which sites in step."""

import pytest

from sfn.stream.failures import Route, effects

CLOCK = "reference clock"


@pytest.fixture
def routes():
    """Three sites, two networks, one studio with a spare; the last site has only a local fallback."""
    both = {"clock": CLOCK}
    return [
        Route("north", "main", frozenset({"studio", "network 1", "north"}), holdover_h=20.0, **both),
        Route("north", "standby", frozenset({"studio", "network 2", "north"}), 40_000.0, holdover_h=20.0, **both),
        Route("south", "main", frozenset({"studio", "network 1", "south"}), holdover_h=2.0, **both),
        Route("south", "standby", frozenset({"studio", "network 2", "south"}), 0.2, holdover_h=2.0, **both),
        Route("gap", "main", frozenset({"studio", "network 1", "gap"}), holdover_h=None, **both),
        Route("gap", "local", frozenset({"gap"}), same_programme=False),
    ]


def test_each_failure_by_hand(routes):
    """Network 1: one jumps, one holds, one plays its own; the studio: two silent; the clock: for a time."""
    table = {e.failure: {o.site: o.state for o in e.outcomes} for e in effects(routes, tolerance_us=1.0)}

    assert {"north": "out of step", "south": "in step", "gap": "other programme"} == table["network 1"]
    assert {"north": "off air", "south": "off air", "gap": "other programme"} == table["studio"]
    assert {"north": "in step for a time", "south": "in step for a time", "gap": "in step"} == table[CLOCK]
    assert {"north": "in step", "south": "off air", "gap": "in step"} == table["south"]
    assert {"north": "in step", "south": "in step", "gap": "in step"} == table["network 2"]


def test_worst_first(routes):
    """A site out of step comes before any number of sites off air; harmless failures come last."""
    order = [e.failure for e in effects(routes, tolerance_us=1.0)]

    assert ["network 1", "studio"] == order[:2]
    assert "network 2" == order[-1]
    assert "1 out of tolerance, 1 other programme, 1 within tolerance" == effects(routes, tolerance_us=1.0)[0].in_words


def test_a_wider_tolerance_only_helps(routes):
    """What is in step within 1 us is within 100 ms; the standby that jumped 40 ms then is too."""
    narrow = {e.failure: e.counts.get("in step", 0) for e in effects(routes, tolerance_us=1.0)}
    wide = {e.failure: e.counts.get("in step", 0) for e in effects(routes, tolerance_us=100_000)}

    assert all(wide[f] >= n for f, n in narrow.items())
    assert wide["network 1"] == 2


def test_holdover_of_no_length_is_out_of_step():
    """Without holdover the loss of the clock is at once out of step; its hours are told where there are some."""
    none = Route("a", "main", frozenset({"a"}), clock=CLOCK, holdover_h=0.0)
    some = Route("b", "main", frozenset({"b"}), clock=CLOCK, holdover_h=7.5)
    (effect,) = effects([none, some], tolerance_us=1.0, failures=[CLOCK])

    assert ["out of step", "in step for a time"] == [o.state for o in effect.outcomes]
    assert 7.5 == effect.outcomes[1].for_h


def test_refusals():
    """Nothing to fail and no tolerance are refused."""
    with pytest.raises(ValueError, match="routes must hold at least one route"):
        effects([], tolerance_us=1)
    with pytest.raises(ValueError, match="tolerance_us must be from"):
        effects([Route("a", "main", frozenset())], tolerance_us=0)
