"""Typed text into the document. What is no number stays as it was typed, and the model then says what is wrong."""

import re
from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from sfn.plan.number_text import number_written
from sfn.units import unit_written
from webapp.forms.places import Leaf, leaf_at, path_of, record_shown, value_at

_WHOLE = re.compile(r"[+\-\u2212]?[\d \t\u00a0\u2009\u202f]+", re.ASCII)
GREATEST_INDEX = 100_000
_DROPPED = object()


def applied(document: Mapping[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """The document with every typed field put in its place; other names are left alone.

    Parameters
    ----------
    document : mapping
        The document that the form was made from; it is not changed.
    typed : mapping of str to str
        Field names and what stands in them. An empty field takes its key out of the document; an empty
        entry of a list of ids takes the entry out.

    Returns
    -------
    changed : dict
        May be one that the engine refuses: that is for `sfn.plan.read` to say.

    Notes
    -----
    A short name (`id`) that was changed is changed wherever the document refers to it.
    """
    changed: dict[str, Any] = deepcopy(dict(document))
    lists: set[tuple[str | int, ...]] = set()
    for name, text in typed.items():
        path = path_of(name)
        found = value_at(path)
        if found is None:
            continue
        if isinstance(path[-1], int):
            lists.add(path[:-1])
            _put_entry(changed, path, text)
        else:
            _put(changed, path, found, text)
    for path in lists:
        _close_gaps(changed, path)
    for kind in ("stages", "sites"):
        refer(changed, _renamed(document, changed, kind), kind)
    return changed


def without_place(document: Mapping[str, Any], typed: Mapping[str, str]) -> tuple[str, ...]:
    """Fields with something in them whose place a document has not: a tenth site of nine, a second field of one.

    `applied` leaves them alone, so that what was typed in them would be lost.
    """
    lost = []
    for name, text in typed.items():
        path = path_of(name)
        if text.strip() and value_at(path) is not None and not _has_place(document, path):
            lost.append(name)
    return tuple(lost)


def _has_place(document: Mapping[str, Any], path: tuple[str | int, ...]) -> bool:
    """Whether a document has the record that a path's last key stands in, or makes it when it is typed."""
    if isinstance(path[-1], int) and path[-2] == "set":
        return _holds(document, (*path[:2], "delay_fields", path[-1]))
    return all(_holds(document, path[: n + 1]) for n, piece in enumerate(path[:-1]) if isinstance(piece, int))


def _holds(document: Mapping[str, Any], path: tuple[str | int, ...]) -> bool:
    """Whether something stands at a path."""
    return _held(document, path) is not _DROPPED


def number(text: str) -> float | int | str:
    """A number as it was typed, whole ones as whole; text that is none stays text.

    Read as everywhere (`sfn.plan.number_text`): a decimal comma is understood where it can part no thousands.

    Examples
    --------
    >>> number("120 000"), number("−12.5"), number("12,5"), number("1,234")
    (120000, -12.5, 12.5, '1,234')
    """
    try:
        read = number_written(text)
    except ValueError:
        return text
    return int(read) if _WHOLE.fullmatch(text.strip()) else float(read)


def _value(found: Leaf, text: str) -> Any:
    """What a field's text means at its place."""
    stripped = text.strip()
    if found.kind == "yes or no":
        return stripped == "yes"
    if not stripped:
        return None
    if found.kind == "number":
        return number(text)
    if found.kind == "choice":
        return next((c for c in found.choices if str(c) == stripped), stripped)
    if found.kind == "long text":
        return text.replace("\r\n", "\n")
    return unit_written(stripped) if found.key == "unit" else stripped


def _put(document: dict[str, Any], path: tuple[str | int, ...], found: Leaf, text: str) -> None:
    """Set one key, or take it out; what already means the same is not touched."""
    value, key = _value(found, text), str(path[-1])
    before = _held(document, path)
    unsaid = value is None or (found.kind == "yes or no" and not found.required and value == found.default)
    if before == value and type(before) is type(value):
        return
    if isinstance(before, Mapping) and value == record_shown(before):
        return
    if isinstance(before, int | float) and isinstance(value, int | float) and before == value:
        return
    if unsaid and before is _DROPPED:
        return
    if unsaid and before is None:
        return
    holder = _holder(document, path)
    if holder is None:
        return
    if value is None:
        holder.pop(key, None)
        _prune(document, path[:-1])
    else:
        holder[key] = value


def _put_entry(document: dict[str, Any], path: tuple[str | int, ...], text: str) -> None:
    """Set one entry of a list of ids, or one number of a record by name (by the delay field's position)."""
    index, parent = path[-1], path[:-1]
    holder = _holder(document, parent)
    assert isinstance(index, int)
    if holder is None or index > GREATEST_INDEX:
        return
    if parent[-1] == "set":
        _put_setting(document, parent, holder, index, text)
        return
    key = str(parent[-1])
    entries = holder.get(key)
    entries = entries if isinstance(entries, list) else []
    if index >= len(entries) and not text.strip():
        return
    entries.extend([""] * (index + 1 - len(entries)))
    entries[index] = text.strip()
    holder[key] = entries


def _put_setting(
    document: dict[str, Any], parent: tuple[str | int, ...], holder: dict[str, Any], index: int, text: str
) -> None:
    """``sites-0-chains-1-set-0``: what the site's delay field 0 is set to on that route."""
    fields = document["sites"][parent[1]].get("delay_fields") or []
    if index >= len(fields) or not isinstance(fields[index], dict):
        return
    settings = dict(holder.get("set") or {})
    if not text.strip() and settings.get(fields[index].get("name"), "") is None:
        return  # left empty, it is still the value that nobody has read
    settings.pop(fields[index].get("name"), None)
    if text.strip():
        settings[str(fields[index].get("name"))] = number(text)
    if settings:
        holder["set"] = settings
    else:
        holder.pop("set", None)


def _holder(document: dict[str, Any], path: tuple[str | int, ...]) -> dict[str, Any] | None:
    """The record that has the last key of `path`, made where a record is missing; None beyond a list's end."""
    at: Any = document
    for piece in path[:-1]:
        if isinstance(piece, int):
            if not isinstance(at, list) or piece >= len(at):
                return None
            at = at[piece]
        else:
            if not isinstance(at, dict):
                return None
            if at.get(piece) is None:
                at[piece] = {}
            at = at[piece]
    return at if isinstance(at, dict) else None


def _held(document: Mapping[str, Any], path: tuple[str | int, ...]) -> Any:
    """What the document says at a path, or a mark that it says nothing."""
    at: Any = document
    for piece in path:
        try:
            at = at[piece]
        except (KeyError, IndexError, TypeError):
            return _DROPPED
    return at


def _prune(document: dict[str, Any], path: tuple[str | int, ...]) -> None:
    """Take out an optional record in which nothing is said any more."""
    if not path or isinstance(path[-1], int):
        return
    found = leaf_at(path)
    holder = _holder(document, path)
    if found is not None and holder is not None and not found.required and holder.get(path[-1]) == {}:
        holder.pop(path[-1])


def _close_gaps(document: dict[str, Any], path: tuple[str | int, ...]) -> None:
    """Take the emptied entries out of a list of ids."""
    entries = _held(document, path)
    if isinstance(entries, list):
        entries[:] = [entry for entry in entries if entry != ""]


def _renamed(before: Mapping[str, Any], after: Mapping[str, Any], kind: str) -> dict[str, str]:
    """Short names that were changed in place: old -> new."""
    pairs = zip(before.get(kind) or (), after.get(kind) or (), strict=False)
    return {
        old["id"]: new["id"]
        for old, new in pairs
        if isinstance(old.get("id"), str) and isinstance(new.get("id"), str) and old["id"] != new["id"]
    }


def rename(document: dict[str, Any], names: Mapping[str, str], kind: str) -> None:
    """Change short names, old -> new, and every reference to them."""
    for entry in document.get(kind) or ():
        entry["id"] = names.get(entry.get("id"), entry.get("id"))
    refer(document, names, kind)


def refer(document: dict[str, Any], names: Mapping[str, str], kind: str) -> None:
    """Let every reference follow a changed short name."""
    if not names:
        return
    for site in document.get("sites") or ():
        if kind == "sites" and site.get("fed_off_air_from") in names:
            site["fed_off_air_from"] = names[site["fed_off_air_from"]]
        for chain in site.get("chains") or () if kind == "stages" else ():
            chain["stages"] = [names.get(entry, entry) for entry in chain.get("stages") or ()]
    for stage in document.get("stages") or () if kind == "stages" else ():
        if stage.get("inside"):
            stage["inside"] = [names.get(entry, entry) for entry in stage["inside"]]
