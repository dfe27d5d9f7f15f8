"""What a JSON text is made of, counted in its bytes before anything is taken apart.

A value costs many times its bytes once it is read: two megabytes of empty lists are eighty, and seconds of work.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
from pydantic_core import from_json

from sfn.errors import PlanError, Problem
from sfn.units import grouped

_PIECE_BYTES = 65_536
_QUOTE, _COMMA, _COLON, _LIST, _OBJECT = (ord(mark) for mark in '",:[{')
_OPENS, _CLOSES, _CASE = _OBJECT, ord("}"), 0x20
"""With the bit `_CASE` set, [ is { and ] is }."""


@dataclass(frozen=True, slots=True)
class JsonMost:
    """The most that a JSON text of one kind has."""

    values: int
    """Commas and opening brackets: about one a value."""
    texts: int
    """Texts, keys among them."""
    lists: int
    objects: int
    keys: int
    depth: int = 40
    """Lists and objects within each other."""
    loose: int | None = None
    """Of values and of texts, those beyond twenty for each object and four for each list: a list of numbers alone."""


@dataclass(slots=True)
class JsonParts:
    """The parts of one JSON text in UTF-8, as far as it was taken; what stands within quotes is no part.

    A text that is no JSON is counted as it would be read up to the place where reading it ends.
    """

    values: int = 0
    texts: int = 0
    lists: int = 0
    objects: int = 0
    keys: int = 0
    depth: int = 0
    """The deepest so far."""
    _within: int = 0
    _open: int = 0
    _escaped: bool = False

    def take(self, piece: bytes) -> None:
        """Count a further piece of the text."""
        for begin in range(0, len(piece), _PIECE_BYTES):
            self._take(piece[begin : begin + _PIECE_BYTES])

    def _take(self, piece: bytes) -> None:
        if self._escaped:
            piece, self._escaped = b" " + piece[1:], False
        if b"\\" in piece:
            piece = piece.replace(b"\\\\", b"  ")
            self._escaped = piece.endswith(b"\\")
            piece = piece.replace(b'\\"', b"  ")
        sent = np.frombuffer(piece, np.uint8)
        within = np.bitwise_xor.accumulate((sent == _QUOTE).view(np.uint8)) ^ self._within
        self._within = int(within[-1])
        outside = sent[within == 0]  # a quote that ends a text is there, one that begins it is not
        found = np.bincount(outside, minlength=256)
        self.texts += int(found[_QUOTE])
        self.keys += int(found[_COLON])
        self.lists += int(found[_LIST])
        self.objects += int(found[_OBJECT])
        self.values += int(found[_COMMA] + found[_LIST] + found[_OBJECT])
        marks = outside | _CASE
        steps = (marks == _OPENS).astype(np.int32) - (marks == _CLOSES)
        if steps.size:
            open_n = self._open + np.cumsum(steps)
            self.depth, self._open = max(self.depth, int(open_n.max())), int(open_n[-1])

    def beyond(self, most: JsonMost, where: str) -> Iterator[Problem]:
        """What there is more of than may be."""
        for name, words in _WORDS.items():
            found, allowed = getattr(self, name), getattr(most, name)
            if most.loose is not None and name in ("values", "texts"):
                allowed = min(allowed, most.loose + 20 * self.objects + 4 * self.lists)
            if found > allowed:
                what = f"has more than {grouped(allowed)} {words}"
                values = {"most": allowed}
                yield Problem(where, what, f"{grouped(allowed)} at most", code="request-too-large", values=values)


_WORDS = {
    "values": "values",
    "texts": "texts and keys",
    "lists": "lists",
    "objects": "objects",
    "keys": "keys",
    "depth": "lists and objects within each other",
}


def parts_of(text: bytes) -> JsonParts:
    """The parts of a whole text."""
    parts = JsonParts()
    parts.take(text)
    return parts


def given_twice(items: Iterable[tuple[str, Any]]) -> list[str]:
    """Keys of one object that stand in it once more; `items` as `json.loads` hands them to its hook."""
    seen: set[str] = set()
    return [key for key, _ in items if key in seen or seen.add(key)]  # type: ignore[func-returns-value]


def taken_apart(text: bytes) -> Any:
    """What `json.loads` makes of a text, in less than half of its time; where the quicker reader says no, its answer.

    Raises
    ------
    ValueError, RecursionError
        As `json.loads`.
    """
    try:
        return from_json(text)
    except ValueError:
        return json.loads(text)


def keys_of(tree: Any, objects_n: int) -> tuple[int, int]:
    """How many keys all objects of a tree have together, and the one that has most.

    Parameters
    ----------
    tree : any
        As `json.loads` gives it.
    objects_n : int
        How many objects its text has: once they are found nobody looks through what is left, mostly lists of numbers.
    """
    found_n, together, most = 0, 0, 0
    level = [tree] if isinstance(tree, dict | list) else []
    while level:
        sizes = [len(one) for one in level if type(one) is dict]
        found_n, together, most = found_n + len(sizes), together + sum(sizes), max(most, max(sizes, default=0))
        if found_n >= objects_n:
            break
        holding: Iterable[Iterable[Any]] = (one.values() if type(one) is dict else one for one in level)
        level = [one for one in chain.from_iterable(holding) if type(one) is dict or type(one) is list]
    return together, most


def read_within(text: str | bytes, most: JsonMost, where: str) -> Any:
    """The JSON of a text, unless it is made of more than may be.

    Raises
    ------
    PlanError
        If there is more of something.
    ValueError, RecursionError
        If it is no JSON.
    """
    sent = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    problems = tuple(parts_of(sent).beyond(most, where))
    if problems:
        raise PlanError(problems)
    return json.loads(sent.decode("utf-8-sig") if isinstance(text, bytes) else text)
