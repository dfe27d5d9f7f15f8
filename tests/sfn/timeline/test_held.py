"""Which side of a moment a time lies on, where only its minute or its second is known."""

from datetime import UTC, datetime, timedelta

import pytest

from sfn.timeline.held import Held, held

MINUTE = datetime(2026, 11, 20, 9, 30, tzinfo=UTC)


@pytest.mark.parametrize("second", [0.2, 1, 30, 58.9, 59, 59.2, 59.9])
def test_a_typed_minute_holds_every_moment_of_its_sixty_seconds(second: float) -> None:
    """An order at any instant of the minute, its last second too, is in doubt beside a time typed to that minute."""
    order = MINUTE + timedelta(seconds=second)
    one = held(arrived_at=order + timedelta(seconds=70), typed_at=MINUTE, pressed_at=None, clock_at=None)
    assert not one.sure_beside(order)
    assert one.follows(order)  # what arrives after the order counts as after it


@pytest.mark.parametrize(("second", "after"), [(-0.1, True), (-61, True), (60, False), (61, False)])
def test_a_typed_minute_is_sure_beside_moments_of_other_minutes(second: float, after: bool) -> None:
    """The minute before and the minute after leave no doubt."""
    order = MINUTE + timedelta(seconds=second)
    one = held(arrived_at=MINUTE + timedelta(minutes=5), typed_at=MINUTE, pressed_at=None, clock_at=None)
    assert one.sure_beside(order)
    assert one.follows(order) == after


def test_what_the_server_saw_is_sure_to_its_fraction() -> None:
    """Two instants of one second are told apart where both are known to the fraction."""
    at = MINUTE + timedelta(seconds=4.25)
    assert Held.sure(at).sure_beside(at - timedelta(milliseconds=1))
    assert Held.sure(at).sure_beside(at + timedelta(milliseconds=1))
