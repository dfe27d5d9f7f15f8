"""Which sites are set together: those that change, and those of which nobody knows whether they must."""

import json
from pathlib import Path
from typing import Any

import pytest

from sfn.check import all_problems
from sfn.check.verdict import release_of, verdicts
from sfn.plan import Network, read
from sfn.timing import delay_table

EXAMPLE = Path(__file__).parents[1] / "example-network.json"


def settled(sign: str = "later") -> Network:
    """The example with every field at what the table asks for, but that of the south, and the south's sign."""
    document: dict[str, Any] = json.loads(EXAMPLE.read_text(encoding="utf-8"))
    rows = {row.site_id: row for row in delay_table(read(json.dumps(document))).rows}
    for site in document["sites"]:
        for field, made in zip(site["delay_fields"], rows[site["id"]].fields, strict=True):
            field["set"] = made.value
    document["sites"][1]["delay_fields"][0]["sign"] = sign
    document["sites"][0]["delay_fields"][0]["set"] += 1.0
    return read(json.dumps(document))


@pytest.mark.parametrize(("sign", "members"), [("later", {"north"}), ("unknown", {"north", "south"})])
def test_a_site_of_unknown_sign_is_of_the_release_though_its_value_stays(sign: str, members: set[str]) -> None:
    """Its launch may have to move: the north, which changes, waits for it."""
    network = settled(sign)
    table = delay_table(network)
    row = table.row("south")
    found = verdicts(network, all_problems(network), table)

    assert all(made.value == made.before for made in row.fields)
    assert (row.change_us is None) == (sign == "unknown")
    assert members <= set(release_of(network, table))
    assert ("south" in release_of(network, table)) == (sign == "unknown")
    assert ("release-withheld" in found["north", "main"].codes) == (sign == "unknown")


@pytest.mark.parametrize(("own", "moves"), [(None, False), ({"fine": 10}, True)])
def test_a_first_try_whose_fields_a_standby_shares_moves_by_its_fields(
    own: dict[str, float] | None, moves: bool
) -> None:
    """The total stands already, split otherwise: kept, unless a standby is worked out beside the table's split."""

    def built(coarse: float, fine: float) -> Network:
        document: dict[str, Any] = json.loads(EXAMPLE.read_text(encoding="utf-8"))
        south = document["sites"][1]
        same = {"sign": "later", "insertion_us": 0, "least": 0}
        south["delay_fields"] = [
            {"name": "coarse", "unit": "ms", "step": 1, "greatest": 500, "set": coarse, **same},
            {"name": "fine", "unit": "us", "step": 0.5, "greatest": 5000, "set": fine, **same},
        ]
        for stage in document["stages"]:
            if stage["id"] in south["chains"][0]["stages"]:
                stage.update(source="assumed", tolerance_us=40)
        south["chains"].append({"route": "standby", "stages": list(south["chains"][0]["stages"])})
        if own is not None:
            south["chains"][1]["set"] = own
        return read(json.dumps(document))

    made = {one.name: one.value for one in delay_table(built(0, 0)).row("south").fields}
    network = built(made["coarse"] - 1, made["fine"] + 1000)
    assert delay_table(network).row("south").change_us == 0
    assert ("south" in release_of(network, delay_table(network))) == moves
