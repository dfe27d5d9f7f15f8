"""The bytes of a JSON text are counted as its tree would be, at any place where they are cut."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import assume, example, given, strategies as st

from sfn.errors import PlanError
from sfn.plan.json_parts import JsonMost, JsonParts, keys_of, parts_of, read_within, taken_apart

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


def seen(reader: Callable[[bytes], Any], text: bytes) -> tuple[str, Any, int]:
    """What a reader makes of a text, every value with its type, or why it says no and where."""
    try:
        return "read", repr(reader(text)), 0
    except json.JSONDecodeError as error:
        return "refused", error.msg, error.pos
    except (ValueError, RecursionError) as error:
        return "refused", type(error), 0


NUMBERS = st.from_regex(r"-?(0|[1-9][0-9]{0,40})(\.[0-9]{1,40})?([eE][-+]?[0-9]{1,3})?", fullmatch=True)
WORDS = (
    "NaN",
    "-NaN",
    "nan",
    "Infinity",
    "-Infinity",
    "inf",
    "True",
    "",
    " 1\n",
    "\xa01",
    "1 2",
    "[1,]",
    '{"a":1,"a":2}',
)
DIGITS = ("01", "1.", ".5", "+1", "0x1", "1_0", "-0", "-0.0", "1" * 4300, "1" * 4301, "1" * 400 + "e-390")
STRINGS = (r'"\ud800"', r'"\ud83d\ude00"', r'"\x41"', '"a\tb"', '"\x7f"')
NESTED = tuple("[" * n + "]" * n for n in (199, 300, 3000))
SPELLED = st.sampled_from(WORDS + DIGITS + STRINGS + NESTED)
TEXTS_OF_JSON = st.one_of(NUMBERS, SPELLED, TREES.map(json.dumps), st.text(alphabet='0123456789.eE+-"\\u[]{},: ntrf'))


@given(
    TEXTS_OF_JSON, st.sampled_from(["", "\ufeff"]), st.sampled_from(["utf-8", "utf-16", "latin-1"]), st.integers(0, 9)
)
@example("9007199254740993", "", "utf-8", 0)
@example("2.2250738585072011e-308", "", "utf-8", 0)
@example('"\udc80"', "", "utf-8", 0)
def test_the_quicker_reader_makes_of_a_text_what_the_standard_one_does(
    text: str, begins: str, encoding: str, cut: int
) -> None:
    """Which texts are taken, every value and its type, and place and reason of a refusal; whole and cut short."""
    assume(encoding != "latin-1" or not begins)
    sent = f"{begins}{text}".encode(encoding, "surrogatepass" if encoding == "utf-8" else "replace")
    for one in (sent, sent[: len(sent) - cut], sent + b"]"):
        assert seen(taken_apart, one) == seen(json.loads, one)


@given(TREES, st.lists(st.tuples(TEXTS, TEXTS), max_size=3))
def test_keys_are_counted_as_far_as_there_are_objects(tree: Any, doubled: list[tuple[str, str]]) -> None:
    """All of a sound tree; less than the text has where an object gave one twice, with whatever stood there."""
    expected = walked(tree, dict.fromkeys(("values", "texts", "lists", "objects", "keys", "depth"), 0))
    assert keys_of(tree, expected["objects"])[0] == expected["keys"]
    keys = [key for key, _ in doubled] * 2
    text = "[" + json.dumps(tree) + ",{" + ",".join(f"{json.dumps(key)}:[{{}}]" for key in keys) + "}]"
    parts = parts_of(text.encode())
    assert (keys_of(json.loads(text), parts.objects)[0] < parts.keys) == bool(doubled)


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
