"""Whatever stands in a file that somebody brings, the answer is a value or a problem in words."""

import contextlib

from hypothesis import given, settings, strategies as st

from sfn.errors import PlanError
from sfn.plan.sheets import read_sheet
from sfn.survey.drive_log import log_of
from sfn.survey.impulse import response_of
from sfn.survey.measurements import WRITTEN, understood
from sfn.survey.runs import run_of

CELLS = st.one_of(
    st.text(max_size=12), st.floats().map(str), st.sampled_from(["north", "", "-84.2", "36,3", '"', "1e999"])
)
LINES = st.lists(st.lists(CELLS, max_size=11).map(",".join), max_size=6).map("\n".join)


@settings(max_examples=120, deadline=None)
@given(st.one_of(st.text(max_size=200), LINES), st.booleans())
def test_files_never_end_in_a_fault(text: str, headed: bool) -> None:
    """Random text, with and without the right header, in each of the four kinds of file."""
    for head, read in (
        (",".join(WRITTEN), lambda t: understood(read_sheet(t.encode(), source="f.csv"), {"north": "N", "south": "S"})),
        ("lat,lon,level_dbuvm", lambda t: log_of(t, source="f.csv", sites=("north",))),
        ("delay_us,level_db", lambda t: response_of(t, source="f.csv")),
        ("lat,lon,mark", lambda t: run_of(t, source="f.csv", setting_us=0.0)),
    ):
        with contextlib.suppress(PlanError):
            read(f"{head}\n{text}" if headed else text)
