"""Sites that cannot be read, in random networks: the others keep every figure, and the fault is named."""

import json
from copy import deepcopy
from typing import Any

from hypothesis import given, settings, strategies as st

from sfn.answer.delays import document
from sfn.plan import read
from sfn.study.delays import delays
from tests.sfn.networks import EXAMPLE_PATH

EXAMPLE: dict[str, Any] = json.loads(EXAMPLE_PATH.read_text(encoding="utf-8"))
ROW_KEYS = ("latency_us", "added_us", "set_us", "rounding_us", "launch_us", "now_us", "change_us", "fields", "jump_us")


def grown(parents: list[int]) -> dict[str, Any]:
    """The example's north and south, and a chain of relays: each fed by the site at the given place."""
    tree = deepcopy(EXAMPLE)
    relay = tree["sites"].pop()
    for n, parent in enumerate(parents):
        site = deepcopy(relay)
        site.update(
            id=f"relay-{n}",
            name=f"Relay {n}",
            fed_off_air_from=tree["sites"][parent]["id"],
            position={"text": f"36.{28 + n}00, -84.{19 + n}000"},
            offset_us=60.0 * (n + 1),
        )
        tree["sites"].append(site)
    return tree


@settings(max_examples=30)
@given(st.data())
def test_the_others_keep_every_figure(data: st.DataObject) -> None:
    """A site is missing just when it, or one that feeds it, cannot be worked out; all else is equal to the last digit."""
    count = data.draw(st.integers(1, 4))
    parents = [data.draw(st.integers(0, n + 1)) for n in range(count)]
    tree = grown(parents)
    whole = document(delays(read(json.dumps(tree))))
    faults = data.draw(
        st.dictionaries(st.integers(0, count + 1), st.sampled_from(["unit", "position"]), min_size=1, max_size=3)
    )
    broken = deepcopy(tree)
    for at, fault in faults.items():
        if fault == "unit":
            broken["sites"][at]["delay_fields"][0]["unit"] = "unknown"
        else:
            broken["sites"][at]["position"] = {"text": "over there"}
    answer = document(delays(read(json.dumps(broken))))

    # An unknown unit takes the site's own delay; a position, the path from the parent and to every child.
    gone: dict[str, bool] = {}
    for at, site in enumerate(tree["sites"]):
        fed = None if at < 2 else parents[at - 2]
        lost = faults.get(at) == "unit"
        if fed is not None:
            lost |= gone[tree["sites"][fed]["id"]] or "position" in (faults.get(at), faults.get(fed))
        gone[site["id"]] = lost

    assert {one["id"] for one in answer["missing"]} == {name for name, lost in gone.items() if lost}
    assert all(tree["sites"].index(next(s for s in tree["sites"] if s["id"] == one["whose"])) in faults
               for one in answer["missing"])  # fmt: skip
    before = {(row["id"], row["route"]): row for row in whole["sites"]}
    for row in answer["sites"]:
        assert [row[key] for key in ROW_KEYS] == [before[row["id"], row["route"]][key] for key in ROW_KEYS]
    assert answer["common_delay_us"] == whole["common_delay_us"]
    placed = {site["id"] for at, site in enumerate(tree["sites"]) if faults.get(at) != "position"}
    there = {name for name, lost in gone.items() if not lost} & placed
    pairs = {(pair["a"], pair["b"]): pair for pair in whole["pairs"]}
    assert answer["pairs"] == [pair for key, pair in pairs.items() if set(key) <= there]
    named = {site for problem in answer["problems"] for site in problem["sites"] if problem["severity"] == "error"}
    assert {tree["sites"][at]["id"] for at in faults} | {name for name, lost in gone.items() if lost} <= named
