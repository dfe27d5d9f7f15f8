"""Numbers as people write them: read where one reading is possible, refused in words where two are."""

import pytest

from sfn.plan.number_text import Marks, decimal, marks_of, number_in, number_written
from tests.number_texts import NO_NUMBER, READ, TWO_WAYS

COMMAS, BOTH = Marks(comma=True), Marks(comma=True, point=True)


@pytest.mark.parametrize(
    ("text", "marks", "value"),
    [
        *((text, None, value) for text, value in READ.items()),
        ("1,234", COMMAS, 1.234),
        ("12.5", COMMAS, 12.5),
        ("12.5", BOTH, 12.5),
    ],
)
def test_one_reading(text: str, marks: Marks | None, value: float) -> None:
    """What can mean one thing is that."""
    assert value == float(number_written(text, *([marks] if marks else [])))


@pytest.mark.parametrize(
    ("text", "marks", "ways"),
    [
        *((text, None, ways) for text, ways in TWO_WAYS.items()),
        ("1.234", COMMAS, "1.234 or 1234"),
        ("1,234", BOTH, "1.234 or 1234"),
        ("1.234", BOTH, "1.234 or 1234"),
    ],
)
def test_two_readings_are_refused(text: str, marks: Marks | None, ways: str) -> None:
    """A factor of a thousand is not for us to guess; both are named."""
    with pytest.raises(ValueError, match=f"can be {ways}: write thousands without a mark"):
        number_written(text, *([marks] if marks else []))


@pytest.mark.parametrize("text", NO_NUMBER)
def test_what_is_no_number(text: str) -> None:
    """Refused at once, also what exact arithmetic would never finish."""
    with pytest.raises(ValueError, match="is no number"):
        number_written(text)


def test_marks_of_a_table_and_ranges() -> None:
    """A cell that can be read two ways says nothing of its table; a number out of range is named as typed."""
    assert Marks() == marks_of(["1,234", "9.999", "P7", "2026-10-01", "5"])
    assert BOTH == marks_of(["36,28", "0.05"])
    with pytest.raises(ValueError, match="−95,5 is out of range"):
        number_in("−95,5", least=-90, greatest=90)


@pytest.mark.parametrize(("text", "value"), [*READ.items(), ("1,234", 1.234), ("-382,700", -382.7)])
def test_where_the_mark_is_decimal_whatever_stands_before_it(text: str, value: float) -> None:
    """A coordinate, a level or a pattern's cell: three decimals behind a comma are decimals."""
    assert value == decimal(text)


@pytest.mark.parametrize("text", NO_NUMBER)
def test_what_is_no_decimal(text: str) -> None:
    """The same is refused as elsewhere."""
    with pytest.raises(ValueError, match="is no number"):
        decimal(text)
