"""The JSON tree of a document's text: what JSON readers usually let pass is refused."""

import json
from typing import Any

from pydantic_core import from_json

from sfn.errors import PlanError, Problem
from sfn.plan.json_parts import JsonParts, given_twice, keys_of
from sfn.units import grouped

MOST_KEYS_OF_ONE_N = 2_000
MOST_TOLD_N = 100


def sound(sent: bytes, parts: JsonParts) -> dict[str, Any] | None:
    """The JSON tree of a text that `tree_of` has nothing against, in half of its time; None leaves the text to it."""
    try:
        tree = from_json(sent, allow_inf_nan=False)
    except ValueError:
        return None
    found_n, most_n = keys_of(tree, parts.objects)
    return tree if isinstance(tree, dict) and found_n == parts.keys and most_n <= MOST_KEYS_OF_ONE_N else None


def tree_of(text: str | bytes) -> Any:
    """The JSON tree; refuses what JSON readers usually let pass, and says what and where."""
    twice: list[str] = []

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        """An object, remembering keys given twice."""
        if len(items) > MOST_KEYS_OF_ONE_N:
            what = f"has an object of {grouped(len(items))} keys"
            expected = f"at most {grouped(MOST_KEYS_OF_ONE_N)} in one"
            raise refused("document", what, expected, code="document-too-large")
        held = dict(items)
        if len(held) < len(items):
            twice.extend(given_twice(items))
        return held

    def constant(name: str) -> Any:
        """NaN and infinities are not JSON."""
        raise refused(
            "document",
            f"contains {name}, which is not a number in JSON",
            "a finite number or null",
            code="not-a-json-number",
        )

    try:
        decoded = text.decode("utf-8-sig") if isinstance(text, bytes) else text
        tree = json.loads(decoded, object_pairs_hook=pairs, parse_constant=constant)
    except UnicodeDecodeError as error:
        raise refused(
            "document", f"is not UTF-8 text (byte {error.start})", "a JSON document in UTF-8", code="not-text"
        ) from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise refused(where, f"is not JSON: {error.msg}", "a JSON document", code="not-json") from None
    except RecursionError:
        raise too_deep() from None
    except ValueError:
        raise refused(
            "document", "contains a number that is too long to read", "fewer digits", code="number-too-long"
        ) from None
    if not isinstance(tree, dict):
        raise refused(
            "document", f"is a {type(tree).__name__}, not an object", '{"format": 1, ...}', code="not-an-object"
        )
    if names := list(dict.fromkeys(twice)):
        problems = [
            Problem(
                key, "is given twice in one object", "one value for each key", code="key-given-twice", fields=(key,)
            )
            for key in names[:MOST_TOLD_N]
        ]
        if more_n := len(names) - len(problems):
            what = f"has {grouped(more_n)} more keys that are given twice"
            problems.append(
                Problem("document", what, "one value for each key", code="more-problems", values={"more": more_n})
            )
        raise PlanError(problems)
    return tree


def too_deep() -> PlanError:
    """More lists and objects within each other than can be read."""
    return refused("document", "is nested too deeply", "a network document", code="nested-too-deeply")


def refused(where: str, what: str, expected: str, *, code: str) -> PlanError:
    """One thing that keeps the whole from being read."""
    return PlanError([Problem(where, what, expected, code=code)])
