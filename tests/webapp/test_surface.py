"""Nothing that a script relies on goes: addresses, operations, form names, options, keys of answers."""

import json

import pytest

from tests import surface


@pytest.fixture(scope="module")
def kept() -> dict[str, object]:
    """What was there."""
    found: dict[str, object] = json.loads(surface.FILE.read_text("utf-8"))
    return found


@pytest.mark.parametrize("part", ["commands", "answers", "web"])
def test_all_that_was_there_is_there(part: str, kept: dict[str, object]) -> None:
    """Added to freely, never taken from (contracts)."""
    now = getattr(surface, part)()
    before = {name: kept[name] for name in ("operations", "forms", "browser", "keys")} if part == "web" else kept[part]
    assert not list(surface.missing(before, now))


def test_a_key_that_goes_is_noticed() -> None:
    """At any depth; what is new is not."""
    before = {"a": ["x", "y"], "b": {"c": "GET /1"}}
    assert list(surface.missing(before, {"a": ["x", "z"], "b": {"c": "GET /2"}, "d": []})) == [
        ": a: y",
        ": b: c: was GET /1, is GET /2",
    ]
    assert not list(surface.missing(before, {**before, "more": 1}))
    assert surface.joined(before, {"a": ["z"], "b": {"d": "GET /3"}}) == {
        "a": ["x", "y", "z"],
        "b": {"c": "GET /1", "d": "GET /3"},
    }
