"""Text into a `Network`, or into every problem with its place."""

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches
from itertools import chain
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from sfn.by_identity import ByIdentity
from sfn.errors import PlanError, Problem, Touch
from sfn.plan.as_saved import as_saved
from sfn.plan.document import Network
from sfn.plan.in_pieces import MOST_AT_ONCE_N, Piece, network_of, pieces
from sfn.plan.json_parts import JsonMost, JsonParts, parts_of
from sfn.plan.json_tree import MOST_KEYS_OF_ONE_N, MOST_TOLD_N, refused, sound, too_deep, tree_of
from sfn.plan.record import SiteName
from sfn.plan.references import reference_problems
from sfn.units import grouped

GREATEST_DOCUMENT_BYTES = 8_000_000
MOST_PARTS = JsonMost(values=700_000, texts=450_000, lists=160_000, objects=60_000, keys=300_000, loose=20_000)
"""Of a document: 200 sites of 30 stages with two antenna patterns a degree apart have 146,000 lists."""
_COUNTED_TOGETHER_N = 60_000
"""Characters of pieces that are counted at a time."""
_MOST_HELD_N = 1_000
"""Pieces after which a document counts as large, whatever they are."""


def read(text: str | bytes, *, own_services: str = "") -> Network:
    """The network that a document describes.

    Parameters
    ----------
    text : str or bytes
        A JSON document, ``"format": 1``.
    own_services : str
        Text of a user's own file of services that the document is read under.

    Returns
    -------
    network : Network

    Raises
    ------
    PlanError
        With every problem: not JSON (with line and column), a key given twice, an unknown key, a value that
        is missing or out of range, a reference to a stage or site that does not exist.
    """
    sent = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    _bounded(len(sent))
    parts = parts_of(sent)
    _judged(parts)
    tree = sound(sent, parts)
    if tree is None:
        tree = tree_of(text)
    if parts.values + parts.keys > MOST_AT_ONCE_N:
        return _referring(network_of(tree, pieces(tree), _told), own_services)
    return _referring(_at_once(text if isinstance(text, str) else text.decode("utf-8-sig"), tree), own_services)


def read_document(document: Mapping[str, Any], *, own_services: str = "") -> Network:
    """The network of a document in hand: out of the store, or being edited.

    Parameters
    ----------
    document : mapping
        As `json.loads` gives it.
    own_services : str
        As in `read`.

    Raises
    ------
    PlanError
        As `read`.
    """
    held, parts = list[Piece](), JsonParts()
    counted = _counted(document, parts)
    try:
        for piece in counted:
            held.append(piece)
            if parts.values + parts.keys > MOST_AT_ONCE_N or len(held) > _MOST_HELD_N:
                return _referring(network_of(document, chain(held, counted), _told), own_services)
        text = json.dumps(document)
    except RecursionError:
        raise too_deep() from None
    return _referring(_at_once(text, document), own_services)


def _counted(document: Mapping[str, Any], parts: JsonParts) -> Iterator[Piece]:
    """The pieces of a document, while `parts` counts what they are made of; ends where that is too much."""
    waiting, waiting_n, taken_n = list[bytes](), 0, 0
    for piece in pieces(document):
        waiting.append(piece.text)
        waiting_n += len(piece.text)
        if waiting_n > _COUNTED_TOGETHER_N:
            taken_n += waiting_n
            _bounded(taken_n)
            parts.take(b",".join(waiting))
            _judged(parts)
            waiting, waiting_n = [], 0
        yield piece
    _bounded(taken_n + waiting_n)
    parts.take(b",".join(waiting))
    _judged(parts)


def _at_once(text: str, tree: Any) -> Network:
    """The network that a text describes, read whole; `tree` is the same taken apart, to tell what stands where."""
    try:
        return Network.model_validate_json(text)
    except ValidationError as error:
        raise _told(error.errors(include_url=False), tree) from None


def _referring(network: Network, own_services: str) -> Network:
    """A network whose references lead somewhere, under a user's own services."""
    problems = reference_problems(network)
    if problems:
        raise PlanError(problems)
    return network.under(own_services) if own_services else network


def read_file(path: Path, *, own_services: str = "") -> Network:
    """The network in a file.

    Raises
    ------
    PlanError
        As `read`, or when the file cannot be opened.
    """
    return read(bytes_of(path), own_services=own_services)


def bytes_of(path: Path) -> bytes:
    """A document in a file, as it is.

    Raises
    ------
    PlanError
        If it cannot be opened.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        raise refused(
            "file", f"cannot be read ({error.strerror})", "a readable JSON document", code="file-unreadable"
        ) from None


def written(network: Network) -> str:
    """The document as text: the keys that were given, in the format's order, readable and stable."""
    return (
        json.dumps(as_saved(network).model_dump(mode="json", exclude_unset=True), indent=2, ensure_ascii=False) + "\n"
    )


def checksum(network: Network) -> str:
    """Eight characters that change when anything in the document changes.

    The first 8 hexadecimal digits of the SHA-256 of the canonical document (keys sorted, nothing unset), so
    that a stale sheet can be told from a current one. Of a part that does without some sites: of the whole document;
    what was reported of its settings is no part of it.
    """
    return _CHECKSUMS.get(network.today, _checksum)


_CHECKSUMS: ByIdentity[Network, str] = ByIdentity()


def _checksum(network: Network) -> str:
    """The checksum of a network as it stands today."""
    canonical = json.dumps(
        as_saved(network.whole).model_dump(mode="json", exclude_none=True), sort_keys=True, separators=(",", ":")
    )
    return hashlib.sha256(canonical.encode()).hexdigest()[:8]


def _told(errors: Sequence[Any], tree: Any) -> PlanError:
    """What is wrong, as far as anybody reads it; how much more there is stands in the last."""
    if any(error["type"] in {"json_invalid", "string_unicode"} for error in errors):
        # Python's reader takes it, no text can hold it.
        what = "contains half of a character (an escape from \\ud800 to \\udfff without its other half)"
        return refused("document", what, "whole characters", code="half-a-character")
    outermost = _outermost(errors) if len(errors) <= MOST_AT_ONCE_N else errors
    problems = [_problem(item, tree) for item in outermost[:MOST_TOLD_N]]
    if more_n := len(outermost) - len(problems):
        what, expected = f"has {grouped(more_n)} more places that cannot be used", "a network document"
        problems.append(Problem("document", what, expected, code="more-problems", values={"more": more_n}))
    return PlanError(problems)


def _bounded(bytes_n: int) -> None:
    """Refuse a longer text than any document has."""
    if bytes_n > GREATEST_DOCUMENT_BYTES:
        what, expected = f"is {grouped(bytes_n)} bytes long", f"at most {grouped(GREATEST_DOCUMENT_BYTES)}"
        raise refused("document", what, expected, code="document-too-large")


def _judged(parts: JsonParts) -> None:
    """Refuse more values and keys than a document has, before any is made a record of."""
    if parts.keys > MOST_KEYS_OF_ONE_N * (1 + parts.objects / 20):
        what = f"has {grouped(parts.keys)} keys in {grouped(parts.objects)} objects"
        raise refused("document", what, f"at most {grouped(MOST_KEYS_OF_ONE_N)} in one", code="document-too-large")
    for problem in parts.beyond(MOST_PARTS, "document"):
        raise PlanError([replace(problem, code="document-too-large")])


def _outermost(errors: Any) -> list[Any]:
    """Without the length complaints that pydantic adds for a list only because its items were refused."""
    places = [error["loc"] for error in errors]
    return [
        error
        for error in errors
        if error["type"] != "too_short" or not any(p[: len(error["loc"])] == error["loc"] != p for p in places)
    ]


def path_text(loc: tuple[str | int, ...]) -> str:
    """``("sites", 2, "step")`` as ``sites[2].step``."""
    text = ""
    for item in loc:
        text += f"[{item}]" if isinstance(item, int) else f".{item}" if text else str(item)
    return text or "document"


_A_NUMBER = "a number"


def _problem(error: Any, tree: Any) -> Problem:
    """One pydantic error in words for people."""
    loc, kind, context = _place(error["loc"]), error["type"], error.get("ctx", {})
    where, subject, whose = path_text(loc), _subject(loc, tree), _whose(loc, tree)
    if kind == "missing":
        return Problem(where, f"{subject}is missing", _described(loc) or "a value", code="key-missing", **whose)
    if kind == "extra_forbidden":
        near = get_close_matches(str(loc[-1]), _keys_at(loc[:-1]), n=1)
        hint = f"perhaps {near[0]}" if near else "remove it, or use a newer version that knows it"
        return Problem(where, f"{subject}is not a key of this format", hint, code="key-unknown", **whose)
    if kind == "value_error":
        what, _, expected = str(context["error"]).partition("; ")
        missing = {"missing": context["missing"]} if "missing" in context else {}
        return Problem(where, subject + what, expected, code="value-contradicts", values=missing, **whose)
    expected = {
        "literal_error": f"one of {context.get('expected')}",
        "greater_than_equal": f"{_number(context.get('ge'))} or more",
        "greater_than": f"more than {_number(context.get('gt'))}",
        "less_than_equal": f"{_number(context.get('le'))} or less",
        "too_short": f"at least {context.get('min_length')}",
        "too_long": f"at most {context.get('max_length')}",
        "string_too_short": "some text",
        "string_too_long": f"at most {context.get('max_length')} characters",
        "string_pattern_mismatch": f"text of the form {context.get('pattern')}",
        "float_type": _A_NUMBER,
        "float_parsing": _A_NUMBER,
    }.get(kind, str(error["msg"]).removeprefix("Input should be "))
    if expected == _A_NUMBER and isinstance(error["input"], str) and "," in error["input"]:
        expected += " with a decimal point, not a comma"
    given = json.dumps(error["input"], ensure_ascii=False, default=str)
    given = given if len(given) <= 60 else given[:57] + "..."
    described = _described(loc)
    expected += f" ({described})" if described else ""
    return Problem(where, f"{subject}cannot be {given}", expected, code="value-unusable", **whose)


def _place(loc: tuple[str | int, ...]) -> tuple[str | int, ...]:
    """A place without what pydantic adds for a key that may hold a text or a record, and for a number or a fraction."""
    if "stream_plan" not in loc:
        return loc
    at = loc.index("stream_plan")
    return (*loc[: at + 1], *loc[at + 2 : at + 3])


def _number(bound: object) -> str:
    """A bound as people write it."""
    return f"{bound:.15g}" if isinstance(bound, float) else str(bound)


def _subject(loc: tuple[str | int, ...], tree: Any) -> str:
    """The site or stage by its name, as the start of a sentence."""
    if len(loc) < 2 or loc[0] not in ("sites", "stages") or not isinstance(loc[1], int):
        return ""
    try:
        entry = tree[loc[0]][loc[1]]
        name = entry.get("name") or entry.get("id")
    except (KeyError, IndexError, AttributeError, TypeError):
        return ""
    if not isinstance(name, str):
        return ""
    return f"site {SiteName(name)}: " if loc[0] == "sites" and entry.get("name") else f"{loc[0][:-1]} {name}: "


def _whose(loc: tuple[str | int, ...], tree: Any) -> dict[str, Any]:
    """Site, stage and key that a refused place belongs to, by their ids as typed."""
    whose: dict[str, Any] = {"fields": tuple(key for key in loc[-1:] if isinstance(key, str))}
    if len(loc) > 1 and loc[0] in ("sites", "stages"):
        try:
            entry_id = tree[loc[0]][loc[1]]["id"]
        except (KeyError, IndexError, TypeError):
            return whose
        if isinstance(entry_id, str):
            whose |= {"touches": (Touch(entry_id),)} if loc[0] == "sites" else {"stages": (entry_id,)}
    return whose


def _model_at(loc: tuple[str | int, ...]) -> type[BaseModel] | None:
    """The record that stands at a place of the document."""
    model: type[BaseModel] = Network
    for key in loc:
        if isinstance(key, int):
            continue
        field = model.model_fields.get(key)
        found = _record_in(field.annotation) if field else None
        if found is None:
            return None
        model = found
    return model


def _record_in(annotation: Any) -> type[BaseModel] | None:
    """The record inside an annotation such as ``tuple[Site, ...]`` or ``Position | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _record_in(part)
        if found:
            return found
    return None


def _keys_at(loc: tuple[str | int, ...]) -> list[str]:
    """Keys that the record at a place may have."""
    model = _model_at(loc)
    return list(model.model_fields) if model else []


def _described(loc: tuple[str | int, ...]) -> str:
    """The sentence that describes a field, without its final stop."""
    names = [i for i, key in enumerate(loc) if not isinstance(key, int)]
    if not names:
        return ""
    model = _model_at(loc[: names[-1]])
    field = model.model_fields.get(str(loc[names[-1]])) if model else None
    return (field.description or "").rstrip(".") if field else ""
