"""Numbers that are no place on the globe are refused in words."""

import math

import pytest
from hypothesis import given, strategies as st

from sfn.errors import PlanError
from sfn.geodesy.position import on_globe


@given(st.floats(), st.floats())
def test_what_is_on_the_globe_comes_back_and_nothing_else(lat_deg: float, lon_deg: float) -> None:
    """Exactly the pairs within 90 and 180 degrees come back; every other number is named."""
    wrong = [not -90 <= lat_deg <= 90, not -180 <= lon_deg <= 180]
    if not any(wrong):
        assert (lat_deg, lon_deg) == on_globe(lat_deg, lon_deg)
        return
    with pytest.raises(PlanError) as refused:
        on_globe(lat_deg, lon_deg, where="--at")

    assert sum(wrong) == len(refused.value.problems)
    assert all(p.where == "--at" and p.code and p.expected for p in refused.value.problems)
    assert all(math.isfinite(v) for p in refused.value.problems for v in p.values.values() if isinstance(v, float))


@pytest.mark.parametrize(
    ("lat_deg", "lon_deg", "code", "words", "right"),
    [
        (91.0, 10.0, "latitude-beyond-90", "the latitude 91 is beyond 90", "was longitude written first?"),
        (36.0, 1e9, "longitude-beyond-180", "the longitude 1000000000 is beyond 180", "from -180 to 180 degrees"),
        (36.0, 275.75, "longitude-beyond-180", "the longitude 275.75", "275.75 is written -84.25"),
        (math.nan, 10.0, "latitude-not-a-number", "the latitude nan is not a number", "from -90 to 90 degrees"),
        (36.0, -math.inf, "longitude-not-a-number", "the longitude -inf is not a number", "from -180 to 180"),
    ],
)
def test_each_number_off_the_globe_is_named_with_what_would_be_right(
    lat_deg: float, lon_deg: float, code: str, words: str, right: str
) -> None:
    """The kind of problem is data; the words say which number and what was probably meant."""
    with pytest.raises(PlanError) as refused:
        on_globe(lat_deg, lon_deg)

    (problem,) = refused.value.problems
    assert code == problem.code
    assert words in problem.what
    assert right in problem.expected
