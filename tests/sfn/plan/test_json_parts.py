"""The bytes of a JSON text are counted as its tree would be, at any place where they are cut."""

import json
from typing import Any

import pytest
from hypothesis import given, strategies as st

from sfn.errors import PlanError
from sfn.plan.json_parts import JsonMost, JsonParts, parts_of, read_within

TEXTS = st.text(alphabet='a"\\,:[]{}\n\u00e9\U0001f600', max_size=8)
TREES = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | TEXTS,
    lambda inner: st.lists(inner, max_size=5) | st.dictionaries(TEXTS, inner, max_size=5),
    max_leaves=40,
)


def walked(tree: Any, found: dict[str, int], depth: int = 0) -> dict[str, int]:
    """The same figures out of the tree that the standard library reads."""
    if isinstance(tree, str):
        found["texts"] += 1
    elif isinstance(tree, list | dict):
        inside = list(tree.values()) if isinstance(tree, dict) else tree
        keys_n = len(tree) if isinstance(tree, dict) else 0
        found["objects" if isinstance(tree, dict) else "lists"] += 1
        found["keys"] += keys_n
        found["texts"] += keys_n
        found["values"] += 1 + max(0, len(inside) - 1)
        found["depth"] = max(found["depth"], depth + 1)
        for one in inside:
            walked(one, found, depth + 1)
    return found


@given(TREES, st.booleans(), st.integers(1, 7))
def test_bytes_are_counted_as_the_tree_is(tree: Any, ascii_only: bool, step: int) -> None:
    """Whatever stands within quotes, and wherever a piece ends."""
    text = json.dumps(tree, ensure_ascii=ascii_only).encode()
    parts = JsonParts()
    for begin in range(0, len(text), step):
        parts.take(text[begin : begin + step])
    expected = walked(tree, dict.fromkeys(("values", "texts", "lists", "objects", "keys", "depth"), 0))
    assert {name: getattr(parts, name) for name in expected} == expected
    assert parts_of(text) == parts


def test_what_there_is_too_much_of_is_named_and_never_taken_apart() -> None:
    """Each bound by itself; numbers in lists of two count, those in one list alone are bounded apart."""
    most = JsonMost(values=100, texts=20, lists=30, objects=10, keys=15, depth=4, loose=50)
    for text, says in (
        ("[" + "[]," * 40 + "[]]", "30 lists"),
        ("[" + "{}," * 12 + "{}]", "10 objects"),
        ('{"a":' * 3 + "[[1]]" + "}" * 3, "4 lists and objects within each other"),
        ('["a",' * 1 + '"b",' * 21 + '"c"]', "20 texts"),
        ("[" + "1," * 60 + "1]", "54 values"),
    ):
        with pytest.raises(PlanError, match=says):
            read_within(text, most, "file")
    assert read_within("[" + "[1,2]," * 15 + "[3,4]]", most, "file")[-1] == [3, 4]
