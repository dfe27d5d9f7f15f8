"""The schema of a record is what its plain data looks like: held together over random records."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from typing import Any, Literal

import numpy as np
import pytest
from hypothesis import given, strategies as st
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from sfn.answer.plain import plain
from sfn.answer.shape import Shapes


class Side(Enum):
    """Which side."""

    EARLIER = "earlier"
    LATER = "later"


@dataclass(frozen=True)
class Inner:
    """One of many."""

    name: str
    worth_us: float
    of: "Inner | None" = None


@dataclass(frozen=True)
class Veiled:
    """Keeps its setting to itself."""

    set_us: float
    shown: bool

    def veil(self, made: dict[str, Any]) -> dict[str, Any]:
        """Without the setting."""
        return made if self.shown else made | {"set_us": None, "withheld": "not fit"}


@dataclass(frozen=True)
class Outer:
    """All kinds of field."""

    inner: tuple[Inner, ...]
    by_pair: Mapping[tuple[str, str], Veiled]
    pair: tuple[str, float]
    choice: Literal["a", "b"] | None
    sides: frozenset[Side]
    exact: Fraction
    price: Decimal
    when: datetime | date
    values: np.ndarray
    said: bool
    count: int
    anything: Any


def validator(kind: type) -> Draft202012Validator:
    """What checks a record's plain data."""
    shapes = Shapes("#/$defs/")
    schema = shapes.of(kind)
    whole = {**schema, "$defs": shapes.described}
    Draft202012Validator.check_schema(whole)
    return Draft202012Validator(whole)


NUMBERS = st.floats(allow_nan=True, allow_infinity=True)
INNERS = st.builds(Inner, st.text(max_size=3), NUMBERS, st.builds(Inner, st.text(max_size=3), NUMBERS) | st.none())
OUTERS = st.builds(
    Outer,
    st.lists(INNERS, max_size=3).map(tuple),
    st.dictionaries(st.tuples(st.text(max_size=2), st.text(max_size=2)), st.builds(Veiled, NUMBERS, st.booleans())),
    st.tuples(st.text(max_size=2), NUMBERS),
    st.sampled_from(["a", "b", None]),
    st.frozensets(st.sampled_from(list(Side))),
    st.fractions(-(10**9), 10**9, max_denominator=10**6),
    st.decimals(-1e9, 1e9) | st.just(Decimal("NaN")),
    st.just(datetime(2026, 11, 1, tzinfo=UTC)) | st.just(date(2026, 11, 1)),
    st.sampled_from([np.zeros(3), np.zeros((2, 2)), np.zeros(30_000)]),
    st.booleans(),
    st.integers(),
    st.none() | st.text(max_size=2) | NUMBERS,
)
CHECKED = validator(Outer)


@given(OUTERS)
def test_what_a_record_becomes_has_its_shape(record: Outer) -> None:
    """NaN and infinities, large arrays and withheld settings included."""
    CHECKED.validate(plain(record))


@pytest.mark.parametrize(
    ("path", "wrong"),
    [("inner", [{"name": "x"}]), ("pair", ["x"]), ("choice", "c"), ("sides", ["up"]), ("said", 1), ("count", "one")],
)
def test_another_shape_is_refused(path: str, wrong: Any) -> None:
    """A key that is missing, a value of another kind."""
    record = Outer(
        (), {}, ("a", 1.0), "a", frozenset(), Fraction(1), Decimal(1), date(2026, 1, 1), np.zeros(1), True, 1, None
    )
    made = plain(record)
    CHECKED.validate(made)
    with pytest.raises(ValidationError):
        CHECKED.validate({**made, path: wrong})
    with pytest.raises(ValidationError):
        CHECKED.validate({key: value for key, value in made.items() if key != path})
