"""What stands at a place of the document: its kind, its default, its words. Read off the model, once for all forms."""

import json
import re
import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from sfn.errors import Problem
from sfn.plan import Network
from sfn.plan.stream_plan import StreamPlan
from sfn.stream.plan_text import text_of

Kind = Literal[
    "text", "long text", "number", "yes or no", "choice", "record", "records", "id", "ids", "by name", "other"
]
LONG_TEXTS = ("note", "notes", "mutes")  # keys that get an area instead of a line
_UNITS = {"us": "µs", "dBuV/m": "dBµV/m", "degrees": "°"}


@dataclass(frozen=True, slots=True)
class Leaf:
    """One key of the document, as forms need it."""

    key: str
    kind: Kind
    model: type[BaseModel] | None
    """Of a record, or of the entries of a list of records."""
    choices: tuple[str | int, ...]
    required: bool
    default: Any
    help: str
    unit: str


def leaf(model: type[BaseModel], key: str) -> Leaf | None:
    """What a record has under a key, or None when it has no such key."""
    info = model.model_fields.get(key)
    if info is None:
        return None
    kind, inner, choices = _kind(info.annotation)
    if kind == "text" and key in LONG_TEXTS:
        kind = "long text"
    sentence, unit = _sentence_and_unit(info.description or "")
    required = info.is_required()
    return Leaf(
        key=key,
        kind=kind,
        model=inner,
        choices=choices,
        required=required,
        default=None if required else info.get_default(call_default_factory=True),
        help=sentence,
        unit=unit,
    )


def leaf_at(path: tuple[str | int, ...], model: type[BaseModel] = Network) -> Leaf | None:
    """What stands at a path of the document, or None when nothing a form can hold stands there."""
    found: Leaf | None = None
    for piece in path:
        if isinstance(piece, int):
            if found is None or found.kind not in ("records", "ids", "by name"):
                return None
            if found.kind in ("ids", "by name"):
                kind: Kind = "text" if found.kind == "ids" else "number"
                return Leaf(str(piece), kind, None, (), False, None, "", "")
            continue
        inside = model if found is None else found.model
        found = leaf(inside, piece) if inside is not None else None
        if found is None:
            return None
    return found


def value_at(path: tuple[str | int, ...]) -> Leaf | None:
    """What stands at a path that one field of a form can fill; None where nothing does, or a record or list stands."""
    found = leaf_at(path)
    return None if found is None or found.kind in ("record", "records", "ids", "by name", "other") else found


def misshapen(document: Any) -> tuple[Problem, ...]:
    """Where a document is not even built like one (a number where a list must stand), so that no form can show it."""
    return tuple(_misshapen(document, Network, ())) if isinstance(document, dict) else (_shape((), "a JSON object"),)


def path_of(name: str) -> tuple[str | int, ...]:
    """The path that a field's name spells: ``stages-2-latency_us`` -> ``("stages", 2, "latency_us")``."""
    return tuple(int(piece) if piece.isascii() and piece.isdigit() else piece for piece in name.split("-"))


def name_of(path: tuple[str | int, ...]) -> str:
    """The field name of a path."""
    return "-".join(str(piece) for piece in path)


def _misshapen(record: dict[str, Any], model: type[BaseModel], path: tuple[str | int, ...]) -> Iterator[Problem]:
    for key, value in record.items():
        found, at = leaf(model, key), (*path, key)
        if found is None or value is None:
            continue
        if found.kind in ("record", "by name") and not isinstance(value, dict):
            yield _shape(at, "a JSON object")
        elif found.kind in ("records", "ids") and not isinstance(value, list):
            yield _shape(at, "a JSON list")
        elif found.kind == "record" and found.model is not None:
            yield from _misshapen(value, found.model, at)
        elif found.kind == "records" and found.model is not None:
            for n, entry in enumerate(value):
                if isinstance(entry, dict):
                    yield from _misshapen(entry, found.model, (*at, n))
                else:
                    yield _shape((*at, n), "a JSON object")
        elif found.kind == "ids" and not all(isinstance(entry, str) for entry in value):
            yield _shape(at, "a JSON list of short names")


def _shape(path: tuple[str | int, ...], expected: str) -> Problem:
    where = "".join(f"[{p}]" if isinstance(p, int) else f".{p}" for p in path).removeprefix(".")
    return Problem(where or "document", "cannot be shown in a form", expected, code="document-not-for-forms")


def _kind(annotation: Any) -> tuple[Kind, type[BaseModel] | None, tuple[Any, ...]]:
    """The kind of a key, the model of its record or records, its choices."""
    annotation = _bare(annotation)
    origin, inside = get_origin(annotation), get_args(annotation)
    if annotation is bool:
        return "yes or no", None, ()
    if origin is Literal:
        return "choice", None, inside
    if annotation in (float, int):
        return "number", None, ()
    if annotation is str or (origin in (Union, types.UnionType) and any(_bare(part) is str for part in inside)):
        return "text", None, ()  # a record that may also be written as text is shown as that text
    if _is_record(annotation):
        return "record", annotation, ()
    if origin is tuple and inside[1:] == (Ellipsis,):
        entry = _bare(inside[0])
        if _is_record(entry):
            return "records", entry, ()
        if entry is str:
            return "ids", None, ()
    if origin is dict and inside[:1] == (str,) and _bare(inside[1]) is float:
        return "by name", None, ()
    return "other", None, ()


def _is_record(annotation: Any) -> bool:
    return isinstance(annotation, type) and issubclass(annotation, BaseModel)


def _bare(annotation: Any) -> Any:
    """The annotation without ``| None`` and ``Annotated``."""
    while True:
        if get_origin(annotation) is Annotated:
            annotation = get_args(annotation)[0]
        elif get_origin(annotation) in (Union, types.UnionType):
            given = [part for part in get_args(annotation) if part is not type(None)]
            if len(given) != 1:
                return annotation
            annotation = given[0]
        else:
            return annotation


def _sentence_and_unit(description: str) -> tuple[str, str]:
    """``Feeder length. [m]`` -> the sentence and the unit."""
    description = description.replace("`", "")
    sentence, bracket, unit = description.rpartition(" [")
    if not bracket or not unit.endswith("]"):
        return " ".join(description.split()), ""
    unit = unit.removesuffix("]")
    return " ".join(sentence.split()), _UNITS.get(unit, unit)


def record_shown(value: Mapping[str, Any]) -> str:
    """A record in the one line of a field that may hold text as well: a stage's stream plan."""
    try:
        return text_of(StreamPlan.model_validate_json(json.dumps(value)))
    except ValidationError:
        return json.dumps(value, ensure_ascii=False)


def anchor(path: str) -> str:
    """A document path as an element's id: ``sites[2].offset_us`` -> ``sites-2-offset_us``."""
    return re.sub(r"[\[\].]+", "-", path).strip("-")
