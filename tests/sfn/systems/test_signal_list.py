"""Lists of signals as text: what is read, and where what is wrong stands."""

import pytest

from sfn.errors import PlanError
from sfn.systems.signal_list import read_signal_list


@pytest.mark.parametrize(
    "text",
    [
        "level_dbuvm,delay_us\n60,0\n54.5,12.5\n",
        "delay_us,level_dbuvm\r\n0,60\r\n12.5,54.5\r\n",
        "\ufeffLEVEL_DBUVM;DELAY_US\n60;0\n\n54,5;12,5\n",
        " level_dbuvm\tdelay_us \n60\t0\n54,5\t1.25e1\n",
    ],
)
def test_spreadsheets_of_all_sorts_are_read(text: str) -> None:
    """Order of columns, capitals, separators, decimal commas and empty lines make no difference."""
    signals = read_signal_list(text)

    assert signals.level_dbuvm.tolist() == [60, 54.5]
    assert signals.delay_us.tolist() == [0, 12.5]
    assert signals.level_1pct_dbuvm is None


def test_names_and_rare_levels_may_be_given() -> None:
    """The optional columns come through."""
    signals = read_signal_list("site,level_dbuvm,delay_us,level_1pct_dbuvm\nridge,60,0,62\n")

    assert signals.site == ("ridge",)
    assert signals.level_1pct_dbuvm is not None
    assert signals.level_1pct_dbuvm.tolist() == [62]


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ("", "line 1", "nothing in it"),
        ("level_dbuvm\n60\n", "line 1", "delay_us is missing"),
        ("level_dbuvm,delay_us,level_1pct\n60,0,1\n", "line 1, column level_1pct", "no column of that name"),
        ("level_dbuvm,delay_us,delay_us\n60,0,0\n", "line 1, column delay_us", "more than once"),
        ("level_dbuvm,delay_us\n60,0\n\n54,x\n", "line 4, column delay_us", "'x'"),
        ("level_dbuvm,delay_us\n,0\n", "line 2, column level_dbuvm", "''"),
        ("level_dbuvm,delay_us\nnan,0\n", "line 2, column level_dbuvm", "'nan'"),
        ("level_dbuvm,delay_us\n600,0\n", "line 2, column level_dbuvm", "600"),
        ("level_dbuvm,delay_us\n60,0,1\n", "line 2", "3 columns"),
        ("level_dbuvm,delay_us\n", "lines", "0 signals"),
    ],
)
def test_what_is_wrong_has_its_place(text: str, where: str, what: str) -> None:
    """Line and column stand in the problem, with the text as it was given."""
    with pytest.raises(PlanError) as refused:
        read_signal_list(text)

    assert refused.value.problems[0].where == where
    assert what in refused.value.problems[0].what


def test_every_problem_is_told_at_once() -> None:
    """Two faults, two problems."""
    with pytest.raises(PlanError) as refused:
        read_signal_list("level_dbuvm,delay_us\na,0\n60,b\n")

    assert [p.where for p in refused.value.problems] == ["line 2, column level_dbuvm", "line 3, column delay_us"]
