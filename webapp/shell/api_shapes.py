"""What each page and action answers under ``/api/pages``, for the schema: read off its handler, so that it cannot lag.

A handler names the records that it fills; what a record becomes is `sfn.answer.shape`'s to say. A test holds answers of
the application to it.
"""

import inspect
from collections.abc import Callable, Iterator
from types import CodeType, FunctionType
from typing import Any

from sfn.answer.shape import Schema, Shapes
from webapp.shell.context import Context

SHAPES = Shapes()
GROUPS = ("front", "describe", "feed", "timing", "coverage", "on_air", "prove")
"""Folders of pages."""
PROBLEM: Schema = {
    "type": "object",
    "properties": {
        "code": {"type": "string", "description": "stable, in English words with hyphens"},
        "where": {"type": "string", "description": "the place in the document, form or file"},
        "what": {"type": "string"},
        "expected": {"type": "string"},
        "severity": {"enum": ["error", "warning"]},
    },
    "required": ["code", "where", "what", "expected", "severity"],
}
PROBLEMS: Schema = {
    "type": "object",
    "properties": {"problems": {"type": "array", "items": {"$ref": f"{SHAPES.where}PlanProblem"}}},
    "required": ["problems"],
}
NEXT: Schema = {
    "type": "object",
    "description": "done; where to look now, and what is wrong with what was saved",
    "properties": {"next": {"type": "string"}, **PROBLEMS["properties"]},
    "required": ["next"],
}
JOB: Schema = {
    "type": "object",
    "description": "work that goes on: ask url again until it is finished, then result_api",
    "properties": {
        **{name: {"type": "string"} for name in ("id", "title", "state", "phase", "url", "cancel_url")},
        **{name: {"type": ["number", "null"]} for name in ("done", "total")},
        **{name: {"type": ["string", "null"]} for name in ("result_url", "result_api")},
        "parts": {"type": "array"},
        **PROBLEMS["properties"],
    },
    "required": ["id", "state", "url"],
}
FILES = {
    "csv": "text/csv",
    "geojson": "application/geo+json",
    "json": "application/json",
    "jsonl": "application/jsonl",
    "pdf": "application/pdf",
    "png": "image/png",
    "svg": "image/svg+xml",
    "toml": "application/toml",
    "wav": "audio/wav",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
}
_BINARY: Schema = {"type": "string", "format": "binary"}


def shared() -> dict[str, Schema]:
    """What references lead to."""
    return {**SHAPES.described, "PlanProblem": PROBLEM, "Next": NEXT, "FollowedJob": JOB, "Refusal": PROBLEMS}


def responses(endpoint: Callable[..., Any], path: str) -> dict[str, Any]:
    """The answers of a handler: what it gives, and how it says no."""
    ending = path.rpartition("/")[2].partition(".")[2]
    kind = FILES.get(ending, "*/*")
    if ending and kind != "application/json":
        content: dict[str, Any] = {kind: {"schema": _BINARY}}
    else:
        content = {"application/json": {"schema": _any_of(list(_given(endpoint)))}}
    refused = [{"$ref": f"{SHAPES.where}Refusal"}, *(SHAPES.of(record) for record in records_of(endpoint))]
    why = "refused: what is wrong and where, or the page that shows it beside what was typed"
    return {
        "200": {"description": "the answer", "content": content},
        "4XX": {"description": why, "content": {"application/json": {"schema": _any_of(refused)}}},
    }


def _given(endpoint: Callable[..., Any]) -> Iterator[Schema]:
    """What a handler may answer with."""
    names = {name for function in _functions(endpoint) for name in _names(function)}
    yield from (SHAPES.of(record) for record in records_of(endpoint))
    if names & {"RedirectResponse", "saved", "answer_conflict"}:
        yield {"$ref": f"{SHAPES.where}Next"}
    if "as_json" in names and "JSONResponse" in names:
        yield {"$ref": f"{SHAPES.where}FollowedJob"}
    elif "JSONResponse" in names:
        yield {"type": "object"}


def _any_of(schemas: list[Schema]) -> Schema:
    """One of several."""
    return schemas[0] if len(schemas) == 1 else {"anyOf": schemas} if schemas else {"type": "object"}


def records_of(endpoint: Callable[..., Any]) -> list[type[Context]]:
    """The records of pages that a handler and the helpers it calls fill, by name."""
    found = {
        value.__name__: value
        for function in _functions(endpoint)
        for name in _names(function)
        if isinstance(value := function.__globals__.get(name), type) and issubclass(value, Context)
        if hasattr(value, "TEMPLATE")
    }
    return [found[name] for name in sorted(found)]


def _functions(endpoint: Callable[..., Any]) -> list[FunctionType]:
    """A handler and the helpers of pages that it calls, and they call."""
    seen: list[FunctionType] = []
    todo = [inspect.unwrap(endpoint)]
    while todo:
        function = todo.pop()
        if not isinstance(function, FunctionType) or function in seen:
            continue
        seen.append(function)
        named = (function.__globals__.get(name) for name in sorted(_names(function)))
        todo += [one for one in named if isinstance(one, FunctionType) and _of_a_page(one)]
    return seen


def _of_a_page(function: FunctionType) -> bool:
    """Whether a function stands in the room of a page."""
    return function.__module__.split(".")[:2] in [["webapp", group] for group in GROUPS]


def _names(function: FunctionType) -> set[str]:
    """Every name that a function's code uses, functions inside it included."""
    names: set[str] = set()
    todo = [function.__code__]
    while todo:
        code = todo.pop()
        names |= set(code.co_names)
        todo += [inner for inner in code.co_consts if isinstance(inner, CodeType)]
    return names
