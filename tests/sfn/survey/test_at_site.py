"""What to do with a reading: keep, repeat, roll back, and by when."""

import pytest

from sfn.survey.at_site import MOST_READINGS_N, SLIP, UNREAD, Does, Settings, advice, advice_table, key_of

# Settings, readings, agreeing: from the order on the sheet, three readings with a restart between (common practice).
CASES: list[tuple[Settings, int, int, Does]] = [
    ("none", 0, 0, "set"),
    ("planned", 0, 0, "read"),
    ("planned", 1, 1, "keep"),
    ("planned", 3, 3, "keep"),
    ("planned", 1, 0, "repeat"),
    ("planned", 2, 1, "repeat"),
    ("planned", 2, 0, "roll back"),
    ("planned", 3, 2, "roll back"),
    ("none", 5, 5, "keep"),
    ("part", 0, 0, "set"),
    ("part", 2, 2, "repeat"),
    ("part", 2, 1, "roll back"),
    ("other", 0, 0, "set"),
    ("other", 3, 3, "repeat"),
    ("other", 1, 0, "roll back"),
    ("back", 0, 0, "gone back"),
    ("back", 2, 0, "gone back"),
]


@pytest.mark.parametrize(("settings", "readings_n", "agreeing_n", "does"), CASES)
def test_what_to_do(settings: Settings, readings_n: int, agreeing_n: int, does: Does) -> None:
    """One sentence for each case, and the deadline wherever it says to roll back."""
    found = advice(settings, readings_n=readings_n, agreeing_n=agreeing_n, deadline="03:30 local")

    assert does == found.does
    assert ("by 03:30 local" in found.text) == (does == "roll back" or (settings, readings_n) == ("other", 0))


def test_without_a_deadline_or_an_old_value_it_says_so() -> None:
    """Nobody invents a time, nor a value to go back to."""
    assert "at once, no deadline" in advice("none", readings_n=2, agreeing_n=0, deadline="").text
    unknown = advice("none", readings_n=2, agreeing_n=0, deadline="", can_go_back=False)
    assert "the old value is not known" in unknown.text


def test_the_table_has_every_case() -> None:
    """Whatever is typed is looked up, and says what the rule says."""
    table = advice_table(deadline="04:00", can_go_back=True)

    assert table[SLIP].does == "repeat"
    assert table[UNREAD].word == "Cannot be read"
    assert 2 + 6 * sum(n + 1 for n in range(MOST_READINGS_N + 1)) == len(table)
    for settings, readings_n, agreeing_n, does in CASES:
        assert does == table[key_of(settings, readings_n, agreeing_n)].does


def test_more_cannot_agree_than_were_read() -> None:
    """A fault of the caller, in words."""
    with pytest.raises(ValueError, match="got 2 of 1"):
        advice("none", readings_n=1, agreeing_n=2, deadline="")


# While a change is taken back 'planned' are the old values, and 'back' is what is taken back.
BACK: list[tuple[Settings, int, int, Does]] = [
    ("none", 0, 0, "set"),
    ("planned", 0, 0, "gone back"),
    ("planned", 3, 3, "gone back"),
    ("none", 1, 0, "repeat"),
    ("planned", 2, 1, "repeat"),
    ("planned", 2, 0, "call"),
    ("back", 0, 0, "roll back"),
    ("back", 3, 3, "roll back"),
    ("other", 0, 0, "roll back"),
    ("other", 2, 2, "repeat"),
]


@pytest.mark.parametrize(("settings", "readings_n", "agreeing_n", "does"), BACK)
def test_what_to_do_while_a_change_is_taken_back(
    settings: Settings, readings_n: int, agreeing_n: int, does: Does
) -> None:
    """Nothing speaks of the plan, nor of setting it; what was sent is not to be sent again."""
    found = advice(settings, readings_n=readings_n, agreeing_n=agreeing_n, deadline="03:30", going_back=True)

    assert does == found.does
    assert "the plan" not in found.text
    assert does != "gone back" or "Send it" not in found.after
    assert (
        found
        == advice_table(deadline="03:30", can_go_back=True, going_back=True)[key_of(settings, readings_n, agreeing_n)]
    )
