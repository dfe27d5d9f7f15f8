"""A large document read piece by piece: one in which much is wrong is refused by its first pieces.

Every error costs some hundred bytes and microseconds before anybody can count it: a few megabytes of unknown keys would
take a minute and a gigabyte. Read as one text, a list of two numbers costs hundreds of bytes beside what is made of it.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError, create_model
from pydantic_core import to_json

from sfn.errors import PlanError, Problem
from sfn.plan.document import Network
from sfn.plan.record import Record
from sfn.units import grouped

MOST_AT_ONCE_N = 20_000
"""Values and keys that are looked at together: a document of so many is read whole."""
LARGEST_PIECE_N = 50_000
"""Values and keys of one site, stage or any other part: two patterns a tenth of a degree apart have half of it."""
ENOUGH_N = 100
"""Errors after which nobody reads on."""


@dataclass(frozen=True, slots=True)
class Piece:
    """An entry of a list of records, or anything else that stands at the top of a document."""

    key: str
    at: int | None
    """Which entry of the list."""
    text: bytes
    """The JSON."""


def pieces(tree: Mapping[str, Any]) -> Iterator[Piece]:
    """A document in the order of its records' keys; of an unknown key only the name.

    Raises
    ------
    PlanError
        If a list has more entries than any network, or one piece alone is larger than any.
    """
    for key, field in Network.model_fields.items():
        value = tree.get(key, ...)
        record = _record_of(field.annotation)
        if record is not None and isinstance(value, list) and value:
            most = _most_of(field.metadata) or _most_of(get_args(field.annotation))
            if most is not None and len(value) > most:
                raise _too_large(key, f"has {grouped(len(value))} entries", most, key)
            for at, entry in enumerate(value):
                yield _piece(key, at, entry)
        elif value is not ...:
            yield _piece(key, None, value)
    yield from (Piece(key, None, b"null") for key in tree if key not in Network.model_fields)


def network_of(tree: Mapping[str, Any], parts: Iterable[Piece], told: Callable[[list[Any], Any], PlanError]) -> Network:
    """The network of a large document, made of its pieces.

    Parameters
    ----------
    tree : mapping
        The JSON.
    parts : iterable of Piece
        Its pieces.
    told : callable
        What the errors of pydantic are in words, with the JSON that they are of.

    Raises
    ------
    PlanError
        With the errors of all pieces, or as soon as there are more than anybody reads.
    """
    found: list[Any] = []
    made: dict[str, Any] = {}
    for piece in parts:
        record = None if piece.at is None else _entry(piece.key)
        try:
            if record is not None:
                made.setdefault(piece.key, []).append(record.validate_json(piece.text))
            else:
                alone = _alone(piece.key).model_validate_json(b"{%s:%s}" % (_text(piece.key), piece.text))
                made[piece.key] = getattr(alone, piece.key)
        except ValidationError as error:
            before = () if piece.at is None else (piece.key, piece.at)
            found += [{**one, "loc": (*before, *one["loc"])} for one in error.errors(include_url=False)]
        if len(found) > ENOUGH_N:
            raise told(found, tree)
    for key, field in Network.model_fields.items():
        if field.is_required() and key not in tree:
            found.append({"type": "missing", "loc": (key,), "input": None, "msg": ""})
    if found:
        raise told(found, tree)
    try:
        return Network.model_validate({k: tuple(v) if isinstance(v, list) else v for k, v in made.items()})
    except ValidationError as error:
        raise told(list(error.errors(include_url=False)), tree) from None


def _piece(key: str, at: int | None, value: Any) -> Piece:
    """A piece, unless it is too large."""
    text = _text(value)
    if len(text) > LARGEST_PIECE_N and (values_n := sum(map(text.count, b",[{:"))) > LARGEST_PIECE_N:
        where = key if at is None else f"{key}[{at}]"
        raise _too_large(where, f"has some {grouped(values_n)} values", LARGEST_PIECE_N, key)
    return Piece(key, at, text)


def _text(value: Any) -> bytes:
    """The JSON of a value; where the quicker writer says no (half of a character, great depth), as Python writes it."""
    try:
        return to_json(value)
    except ValueError:
        return json.dumps(value).encode()


def _too_large(where: str, what: str, most: int, key: str) -> PlanError:
    expected = f"{grouped(most)} at most"
    return PlanError([Problem(where, what, expected, code="document-too-large", fields=(key,))])


@cache
def _entry(key: str) -> TypeAdapter[Any] | None:
    """What an entry of a list is read as."""
    record = _record_of(Network.model_fields[key].annotation)
    return None if record is None else TypeAdapter(record)


@cache
def _alone(key: str) -> type[Record]:
    """A record of one key of a document alone; of an unknown key, a record that has none."""
    field = Network.model_fields.get(key)
    if field is None:
        return _Nothing
    made: type[Record] = create_model(f"Only_{key}", __base__=Record, **{key: (field.annotation, field)})  # type: ignore[call-overload]
    return made


class _Nothing(Record):
    """What an unknown key is held against."""


def _record_of(annotation: Any) -> type[BaseModel] | None:
    """The record of ``tuple[Record, ...]``, also where there may be none; None for anything else."""
    if get_origin(annotation) is tuple:
        first = get_args(annotation)[0]
        return first if isinstance(first, type) and issubclass(first, BaseModel) else None
    return next((made for one in get_args(annotation) if (made := _record_of(one)) is not None), None)


def _most_of(annotations: Iterable[Any]) -> int | None:
    """The most entries that a list may have, among what is annotated; None where nothing says."""
    for one in annotations:
        most = getattr(one, "max_length", None)
        if most is None:
            most = _most_of(getattr(one, "metadata", ()) or getattr(one, "__metadata__", ()))
        if isinstance(most, int):
            return most
    return None
