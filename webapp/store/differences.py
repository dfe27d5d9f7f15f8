"""Two documents field by field, and three of them put together.

Entries of lists are matched by their short name, route or name, not by their position:
``sites[gap].delay_fields[repeater delay].set``.
"""

import json
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

Document = Mapping[str, Any]
Path = tuple[str, ...]
MARKS = ("id", "route", "name")
ABSENT: Any = type("Absent", (), {"__repr__": lambda _self: "absent", "__deepcopy__": lambda self, _memo: self})()
ORDER = "(order)"


@dataclass(frozen=True, slots=True)
class Difference:
    """One key that differs."""

    path: Path
    old: Any
    new: Any
    """`ABSENT` where a document does not have the key."""

    @property
    def where(self) -> str:
        """The path in words."""
        return written_path(self.path)


@dataclass(frozen=True, slots=True)
class Clash:
    """One key that at least one of two savers changed."""

    path: Path
    base: Any
    mine: Any
    theirs: Any

    @property
    def where(self) -> str:
        """The path in words."""
        return written_path(self.path)

    @property
    def settled(self) -> str:
        """Whose value stands without asking: only one changed it, or both alike. Empty when one must choose."""
        if _same(self.mine, self.theirs) or _same(self.mine, self.base):
            return "theirs"
        return "mine" if _same(self.theirs, self.base) else ""


def compared(old: Document, new: Document) -> tuple[Difference, ...]:
    """Every key that differs, in the order of the documents."""
    if json.dumps(old) == json.dumps(new):
        return ()  # nearly always, and sooner than looking at every key
    found: list[Difference] = []
    _compare((), dict(old), dict(new), found)
    return tuple(found)


def clashes(base: Document, mine: Document, theirs: Document) -> tuple[Clash, ...]:
    """Every key that differs from the base in either of two documents made from it."""
    paths = [d.path for d in compared(base, mine)]
    paths += [d.path for d in compared(base, theirs) if d.path not in paths]
    # An entry that one removed and the other changed inside is one question, not many.
    whole = [p for p in paths if not any(p != q and p[: len(q)] == q for q in paths)]
    return tuple(Clash(p, value_at(base, p), value_at(mine, p), value_at(theirs, p)) for p in whole)


def merged(base: Document, mine: Document, theirs: Document, choices: Mapping[str, str]) -> dict[str, Any]:
    """`theirs`, with `mine` at every path that `choices` gives to mine, or that only mine changed."""
    result: dict[str, Any] = deepcopy(dict(theirs))
    for clash in clashes(base, mine, theirs):
        if (choices.get(clash.where) or clash.settled) == "mine":
            _put(result, clash.path, clash.mine)
    return result


def in_words(differences: tuple[Difference, ...], *, most: int = 3) -> str:
    """What a save changed, for one whose author gave no reason: ``changed sites[gap].offset_us``."""
    names = [d.where for d in differences[:most]]
    more = len(differences) - len(names)
    return "changed " + ", ".join(names) + (f" and {more} more" if more else "")


def written_path(path: Path) -> str:
    """``("sites", "[gap]", "offset_us")`` -> ``sites[gap].offset_us``."""
    return "".join(p if p.startswith(("[", " ")) else f".{p}" for p in path).removeprefix(".")


def shown(value: Any) -> str:
    """A value as a table shows it."""
    if value is ABSENT:
        return "—"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def value_at(document: Any, path: Path) -> Any:
    """What a document says at a path, or `ABSENT`."""
    at = document
    for piece in path:
        if piece == f" {ORDER}":
            return list(_keyed(at) or ())
        inside = _keyed(at) if piece.startswith("[") else at
        if not isinstance(inside, Mapping) or piece not in inside:
            return ABSENT
        at = inside[piece]
    return at


def _compare(path: Path, old: Any, new: Any, found: list[Difference]) -> None:
    if isinstance(old, Mapping) and isinstance(new, Mapping):
        for key in dict.fromkeys([*old, *new]):
            _compare((*path, key), old.get(key, ABSENT), new.get(key, ABSENT), found)
        return
    before, after = _keyed(old), _keyed(new)
    if before is not None and after is not None and (before or after):
        for key in dict.fromkeys([*before, *after]):
            _compare((*path, key), before.get(key, ABSENT), after.get(key, ABSENT), found)
        shared = [key for key in before if key in after]
        if shared != [key for key in after if key in before]:
            found.append(Difference((*path, f" {ORDER}"), list(before), list(after)))
        return
    if not _same(old, new):
        found.append(Difference(path, old, new))


def _same(old: Any, new: Any) -> bool:
    """Equal as documents: 1 and 1.0 are, 1 and true are not."""
    if old is ABSENT or new is ABSENT:
        return old is new
    return bool(old == new) and isinstance(old, bool) == isinstance(new, bool)


def _keyed(entries: Any) -> dict[str, Any] | None:
    """A list of records by what names them, in brackets; None when nothing names each of them once."""
    if not isinstance(entries, list) or not all(isinstance(e, Mapping) for e in entries):
        return None
    for mark in MARKS:
        names = [e.get(mark) for e in entries]
        if all(isinstance(n, str) and n for n in names) and len(set(names)) == len(names):
            return {f"[{n}]": e for n, e in zip(names, entries, strict=True)}
    return None


def _put(document: Any, path: Path, value: Any) -> None:
    """Set or take out what stands at a path; a path whose record is gone is left alone."""
    *above, last = path
    at = document
    for piece in above:
        inside = _keyed(at) if piece.startswith("[") else at
        if not isinstance(inside, Mapping) or piece not in inside:
            return
        at = inside[piece]
    if isinstance(at, list):
        _put_in_list(at, last, value)
    elif value is ABSENT:
        at.pop(last, None)
    else:
        at[last] = deepcopy(value)


def _put_in_list(entries: list[Any], last: str, value: Any) -> None:
    held = _keyed(entries) or {}
    if last == f" {ORDER}":
        place = {key: n for n, key in enumerate(value)}
        ordered = sorted(held, key=lambda key: place.get(key, len(place)))
        entries[:] = [held[key] for key in ordered]
    elif value is ABSENT:
        entries[:] = [entry for key, entry in held.items() if key != last]
    elif last in held:
        entries[list(held).index(last)] = deepcopy(value)
    else:
        entries.append(deepcopy(value))
