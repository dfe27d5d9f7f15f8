"""Reports of one field that may have held in either order."""

from datetime import UTC, datetime, timedelta

from hypothesis import given, strategies as st

from sfn.plan.reported import Reported, Stood

BEGIN = datetime(2026, 3, 1, tzinfo=UTC)
KEY = ("north", "", "codec delay")


def stood(at_s: int, before_s: int, after_s: int, value: float) -> Stood:
    """A report that held at an instant, give or take."""
    at = BEGIN + timedelta(seconds=at_s)
    ends = (at - timedelta(seconds=before_s), at + timedelta(seconds=after_s))
    return Stood(value, at, *ends, at, "N. Technician", "read")


reports = st.builds(stood, st.integers(0, 300), st.integers(0, 200), st.integers(0, 200), st.sampled_from([1.0, 2.0]))


@given(st.lists(reports, max_size=30))
def test_rivals_are_every_two_that_overlap_and_say_otherwise(made: list[Stood]) -> None:
    """As looking at every two of them finds, in their order."""
    held = tuple(sorted(made, key=lambda one: one.order))
    every = [
        (held[n], held[m])
        for n in range(len(held))
        for m in range(n)
        if held[m].latest >= held[n].earliest and held[m].value != held[n].value
    ]
    assert list(Reported({KEY: held}).rivals(KEY)) == every


def test_many_reports_are_looked_through_once() -> None:
    """20,000 instants a minute apart: each is compared with its neighbour, not with every one before (200 million)."""
    compared = 0

    class Counted(datetime):
        """An instant that counts how often it is compared."""

        def __ge__(self, other: datetime) -> bool:
            nonlocal compared
            compared += 1
            return super().__ge__(other)

    def instant(n: int) -> Counted:
        at = BEGIN + timedelta(minutes=n)
        return Counted(at.year, at.month, at.day, at.hour, at.minute, tzinfo=UTC)

    held = tuple(
        Stood(float(n % 2), at, at, at, at, "N. Technician", "read") for n in range(20_000) for at in [instant(n)]
    )
    assert Reported({KEY: held}).rivals(KEY) == ()
    assert compared < 200_000
