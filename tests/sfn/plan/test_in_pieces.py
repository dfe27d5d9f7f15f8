"""A large document read piece by piece is the one that is read whole, and is refused for the same."""

import copy
import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from sfn.errors import PlanError, Problem
from sfn.plan import Network, checksum, read, read_document, reading
from sfn.plan.json_parts import JsonParts, taken_apart
from tests.bench.bench_refusals import largest
from tests.sfn.plan.test_reading import EXAMPLE, changed

SMALL = [
    (["name"], ""),
    (["name"], "\ud800"),
    (["sites", 0, "name"], ...),
    (["sites", 0, "ground_m"], "high"),
    (["sites", 0, "delay_fields", 0, "least"], 3e9),
    (["sites", 1], 7),
    (["sites", 1, "id"], "north"),
    (["sites"], []),
    (["sites"], ...),
    (["sites"], {"north": {}}),
    (["stages"], None),
    (["stages"], []),
    (["stages", 2, "latency_us"], True),
    (["stages", 2, "nonsense"], 1),
    (["nonsense"], [1, 2]),
    (["receiver"], "good"),
    (["weights"], []),
    (["weights"], [{"factor": 2}]),
    (["corrections"], [1] * 3),
    (["planned"], [{"name": "later"}]),
    (["common_delay", "mode"], "fixed"),
    (["service"], 5),
    (["format"], 2),
]


def told(tree: Any, *, whole: bool) -> tuple[Network | None, list[Problem]]:
    """The network or the problems, in the order of their places."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(reading, "MOST_AT_ONCE_N", 10**9 if whole else -1)
        patched.setattr(reading, "_MOST_HELD_N", 10**9 if whole else 3)
        both = []
        for read_it in (lambda: read_document(tree), lambda: read(json.dumps(tree))):
            try:
                both.append((read_it(), []))
            except PlanError as refused:
                both.append((None, sorted(refused.problems, key=lambda one: one.where)))
    assert both[0] == both[1]
    return both[0]


@pytest.mark.parametrize(("path", "value"), SMALL)
def test_pieces_say_what_the_whole_says(path: list[str | int], value: Any) -> None:
    """Each place with each reason, and the network where nothing is wrong."""
    try:
        tree = changed(path, value)
    except KeyError:
        pytest.fail(f"{path} is no place of the example")
    assert told(tree, whole=False) == told(tree, whole=True)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.sampled_from([(path, value) for path, value in SMALL if len(path) > 1 and value is not ...]), max_size=4
    )
)
def test_several_faults_are_all_told(faults: list[tuple[list[str | int], Any]]) -> None:
    """Faults of several sites and stages together."""
    tree = json.loads(EXAMPLE)
    for path, value in faults:
        at = tree
        for key in path[:-1]:
            at = at[key] if isinstance(at, list | dict) else {}
        if isinstance(at, list | dict):
            at[path[-1]] = copy.deepcopy(value)
    assert told(tree, whole=False) == told(tree, whole=True)


def with_tuples(value: Any) -> Any:
    """A tree as a record has it, so that no reader of JSON is needed."""
    if isinstance(value, dict):
        return {key: with_tuples(one) for key, one in value.items()}
    return tuple(map(with_tuples, value)) if isinstance(value, list) else value


@given(
    st.one_of(
        st.from_regex(r"(0|[1-9][0-9]{0,6})\.[0-9]{1,30}(e-[0-9]{1,2})?", fullmatch=True),
        st.floats(0, 1e6).map(repr),
        st.sampled_from(["-0.0", "5e-324", "0.1e1", "850", "0.3", "8388608.000000001"]),
    ),
    st.text(alphabet='a\u00e9\u05d0\U0001f600\u2028"\\\x7f', max_size=8),
)
def test_no_digit_and_no_character_is_another_by_any_way(typed: str, note: str) -> None:
    """The checksum on a sheet is that of the network as Python's own reader has it, whichever reader had the text."""
    tree = json.loads(EXAMPLE)
    tree["notes"], tree["stages"][0]["latency_us"] = note, float(typed)
    plain = Network.model_validate(with_tuples(tree))
    tree["stages"][0]["latency_us"] = 0
    text = json.dumps(tree, ensure_ascii=False).replace('"latency_us": 0,', f'"latency_us": {typed},', 1).encode()
    for most in (-1, 10**9):
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(reading, "MOST_AT_ONCE_N", most)
            for network in (read(text), read(text.decode()), read_document(taken_apart(text))):
                assert repr(network.stages[0].latency_us) == repr(float(typed))
                assert (network.notes, checksum(network)) == (note, checksum(plain))


def test_the_largest_document_is_read() -> None:
    """200 sites of 30 stages with notes and sources, two patterns a degree apart; counted as it arrives."""
    tree = largest()
    text, parts = json.dumps(tree).encode(), JsonParts()
    for begin in range(0, len(text), 65_536):
        parts.take(text[begin : begin + 65_536])
        assert not list(parts.beyond(reading.MOST_PARTS, "document"))
    assert read(text) == read_document(tree) == Network.model_validate_json(text)


def test_one_fault_of_the_largest_is_named() -> None:
    """Also where only references do not lead anywhere."""
    tree = largest()
    tree["sites"][-1]["ground_m"] = "high"
    tree["sites"][3].pop("name")
    with pytest.raises(PlanError) as caught:
        read_document(tree)
    assert [(one.where, one.code) for one in caught.value.problems] == [
        ("sites[3].name", "key-missing"),
        ("sites[199].ground_m", "value-unusable"),
    ]


def test_lists_longer_than_any_are_refused_before_an_entry_is_read() -> None:
    """The number that would be accepted is said; many right entries cost nothing."""
    tree = json.loads(EXAMPLE)
    tree["stages"] = [{**tree["stages"][0], "id": f"s{i}"} for i in range(20_001)]
    with pytest.raises(PlanError) as caught:
        read_document(tree)
    [problem] = caught.value.problems
    assert problem.where == "stages"
    assert problem.expected.startswith("20")
    assert problem.code == "document-too-large"
