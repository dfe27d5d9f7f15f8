"""Transmitters of other programmes as a table: there and back, and a line that cannot be used is named."""

import pytest

from sfn.errors import PlanError
from sfn.study.other_table import others_csv, understood_others
from tests.sfn.networks import example

TABLE = (
    "name;latitude;longitude;ground (ft);agl;erp h (w);spacing (mhz);steady_ratio_db;tropospheric_ratio_db\n"
    "Far station;36,5;-83,95;1000;100;50000;0,2;;\nNear;36,4;-84,0;300;30;100;0;40;32\n"
)


def test_a_table_goes_there_and_back() -> None:
    """Units are read, names become ids, and what is written is read as the same list; a pattern stays with its id."""
    found = understood_others(TABLE.encode(), source="table")
    first = found.entries[0]
    assert (first["id"], first["spacing_khz"], first["erp_kw"]) == ("far-station", 200.0, {"h": 50.0, "v": 0.0})
    assert first["ground_m"] == pytest.approx(304.8)
    first["antenna"] = {"horizontal": [[0.0, 0.0], [180.0, 20.0]]}
    network = example(lambda tree: tree.update(other_transmitters=list(found.entries)))
    again = understood_others(
        others_csv(network.other_transmitters).encode(), source="table", before=list(found.entries)
    )
    other = example(lambda tree: tree.update(other_transmitters=list(again.entries)))
    assert other.other_transmitters == network.other_transmitters


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("36,5;-83,95", ";"), "has no position"),
        (("50000", ""), "radiates nothing"),
        (("40;32", "40;"), "one ratio of two"),
        (("Near;", "Far station;"), "2 times"),
        (("name;", "what;"), "has what"),
        (("100;50000", "2000;50000"), "2000"),
    ],
)
def test_what_cannot_be_used_is_named(change: tuple[str, str], said: str) -> None:
    """Nothing is taken of a table with a wrong line."""
    with pytest.raises(PlanError, match=said):
        understood_others(TABLE.replace(*change, 1).encode(), source="table")
