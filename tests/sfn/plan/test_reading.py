"""The document is read whole or refused with every problem in its place."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, strategies as st

from sfn.errors import PlanError
from sfn.plan import checksum, read, read_document, written

EXAMPLE = (Path(__file__).parents[1] / "example-network.json").read_text(encoding="utf-8")


def refusals(document: Any) -> list[str]:
    """The problems of a document, one line each."""
    with pytest.raises(PlanError) as caught:
        read(document if isinstance(document, str | bytes) else json.dumps(document))
    return [problem.line("F") for problem in caught.value.problems]


def changed(path: list[str | int], value: Any) -> Any:
    """The example with one value changed, or removed where the value is `...`."""
    tree = json.loads(EXAMPLE)
    at = tree
    for key in path[:-1]:
        at = at[key]
    if value is ...:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return tree


def test_the_example_is_read_and_written_unchanged() -> None:
    """Writing what was read gives the same document."""
    assert json.loads(EXAMPLE) == json.loads(written(read(EXAMPLE)))


def test_the_checksum_changes_with_a_digit_and_not_with_order() -> None:
    """The checksum tells revisions apart and does not depend on the order of keys."""
    backwards = json.dumps(dict(reversed(json.loads(EXAMPLE).items())))

    assert checksum(read(EXAMPLE)) == checksum(read(backwards))
    assert checksum(read(EXAMPLE)) != checksum(read(json.dumps(changed(["sites", 1, "offset_us"], -12.6))))
    # Sheets out in the field carry it: keys that later versions add must not change it while they are not given.
    assert checksum(read(EXAMPLE)) == "ff5d8bf5"


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (["format"], 2, "format: cannot be 2; one of 1"),
        (["sites", 1, "delay_fields", 0, "stepp"], 2, "sites[1].delay_fields[0].stepp: site South ridge: is not a key of this format; perhaps step"),
        (["terrain"], {"source": "dem"}, "terrain.source: cannot be \"dem\"; one of 'ridge' (ridge: the demos' terrain, 36.16-36.446 N, 84.078-84.414 W; files of your own go by the key \"folder\")"),
        (["sites", 2, "ground_m"], ..., "sites[2].ground_m: site Gap: is missing"),
        (["stages", 0, "latency_us"], -3, "stages[0].latency_us: stage studio-converter: cannot be -3; 0 or more"),
        (["sites", 0, "erp_kw", "h"], "3", 'sites[0].erp_kw.h: site North ridge: cannot be "3"; a number'),
        (["sites", 0, "erp_kw", "h"], "1,5", 'sites[0].erp_kw.h: site North ridge: cannot be "1,5"; a number with a decimal point, not a comma'),
        (["sites", 0, "offset_us"], 1e9, "sites[0].offset_us: site North ridge: cannot be 1000000000.0; 60000000 or less"),
        (["sites", 0, "on_air"], 1, "sites[0].on_air: site North ridge: cannot be 1"),
        (["common_delay"], {"mode": "fixed"}, "common_delay: a fixed common delay takes value_us and no margin_us"),
        (["stages", 5, "velocity_factor"], ..., "stages[5]: stage north-feeder: velocity_factor is missing"),
        (["stages", 5, "latency_us"], 3, "stages[5]: stage north-feeder: latency_us and length_m and velocity_factor both give"),
        (["stages", 0, "date"], ..., "stages[0]: stage studio-converter: date is missing for a measured latency"),
        (["sites", 0, "chains", 0, "stages", 1], "nort", "sites[0].chains[0].stages[1]: site North ridge: names stage 'nort', which does not exist"),
        (["sites", 2, "fed_off_air_from"], "gap", "sites[2].fed_off_air_from: site Gap: is fed from itself"),
        (["sites", 2, "fed_off_air_from"], "east", "sites[2].fed_off_air_from: site Gap: is fed from 'east', which does not exist"),
        (["sites", 1, "id"], "north", "sites[1].id: 'north' is used 2 times"),
        (["sites", 1, "delay_fields", 0, "unit"], "parsec", "sites[1].delay_fields[0].unit: site South ridge: unit of a delay field must be"),
        (["sites", 0, "position"], {"crs": "EPSG:4326"}, "sites[0].position: site North ridge: a position is either text"),
        (["sites"], [], "sites: cannot be []; at least 1"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_named_with_its_place(path: list[str | int], value: Any, said: str) -> None:
    """Each refusal says where, what, and what would be right."""
    lines = refusals(changed(path, value))

    assert any(line.startswith(f"F: {said}") for line in lines), lines


def test_all_problems_are_told_at_once() -> None:
    """Nothing stops at the first problem."""
    tree = changed(["sites", 0, "ground_m"], "high")
    tree["stages"][0]["latency_us"] = -1
    del tree["service"]

    assert len(refusals(tree)) == 3


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"format": 1, "format": 1}', "F: format: is given twice"),
        ('{"format": NaN}', "F: document: contains NaN"),
        ("[1]", "F: document: is a list, not an object"),
        ("{", "F: line 1, column 2: is not JSON"),
        (b"\xff\xfe", "F: document: is not UTF-8 text"),
        ("[" * 100_000, "F: document: has more than 40 lists and objects within each other"),
        ('{"format": ' + "9" * 5000 + "}", "F: document: contains a number that is too long"),
    ],
)
def test_what_is_no_document_is_refused_in_words(text: str | bytes, said: str) -> None:
    """Text that is not a JSON object is refused with the place."""
    assert refusals(text)[0].startswith(said)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(), lambda c: st.lists(c) | st.dictionaries(st.text(), c)
    )
)
def test_nothing_gives_a_traceback(tree: Any) -> None:
    """Any JSON value whatever is answered with problems."""
    assert refusals(json.dumps(tree))


@given(
    st.sampled_from([["name"], ["sites", 0, "name"], ["sites", 1], ["stages"], ["frequency_mhz"], ["nonsense"]]),
    st.one_of(
        st.just(...), st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False, allow_infinity=False),
        st.text(max_size=5), st.lists(st.integers(), max_size=2), st.dictionaries(st.text(max_size=3), st.none(), max_size=2),
    ),
)  # fmt: skip
def test_a_document_in_hand_is_read_as_its_text(path: list[str | int], value: Any) -> None:
    """The same network or the same problems, whether it comes as text, as bytes or taken apart."""
    if value is ... and path == ["nonsense"]:
        value = 1
    tree = changed(path, value)
    text = json.dumps(tree)
    found = []
    for read_it in (lambda: read(text), lambda: read(text.encode()), lambda: read_document(tree)):
        try:
            found.append((read_it(), ()))
        except PlanError as refused:
            found.append((None, refused.problems))
    assert found[0] == found[1] == found[2]


@pytest.mark.parametrize("text", ['{"format": 1, "name": "\\ud800"}', '{"format": 1, "name": "\ud800"}'])
def test_half_a_character_is_named(text: str) -> None:
    """JSON readers take an escape without its other half; nothing that is printed or kept can hold it."""
    with pytest.raises(PlanError) as caught:
        read(text)
    assert [one.code for one in caught.value.problems] == ["half-a-character"]
    caught.value.problems[0].line("F").encode()
