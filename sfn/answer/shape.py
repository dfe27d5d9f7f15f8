"""What `sfn.answer.plain` makes of a record, as a JSON schema: the same rules, read off the record's annotations."""

import types
from collections.abc import Mapping, Sequence, Set
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from functools import cache
from pathlib import PurePath
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

import numpy as np
from pydantic import BaseModel

from sfn.plan import Network

Schema = dict[str, Any]

NULL: Schema = {"type": "null"}
STAMPED: Schema = {
    "type": "object",
    "properties": {"name": {"type": "string"}, "checksum": {"type": "string"}},
    "required": ["name", "checksum"],
}
ARRAY: Schema = {
    "anyOf": [{"type": "array"}, {"type": "object", "properties": {"shape": {"type": "array"}}, "required": ["shape"]}],
    "description": "values, or only the shape of a raster, which files hold",
}
_PLAIN: Mapping[Any, Schema] = {
    type(None): NULL,
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
}


class Shapes:
    """Schemas of records, each described once; a record inside another is a reference.

    Parameters
    ----------
    where : str
        What references begin with.
    """

    def __init__(self, where: str = "#/components/schemas/") -> None:
        self.where = where
        self.described: dict[str, Schema] = {}
        self._names: dict[tuple[type, bool], str] = {}

    def of(self, kind: Any, *, inside_veil: bool = False) -> Schema:
        """The schema of what an annotation becomes.

        Parameters
        ----------
        kind : any
            A type, or what stands in an annotation. What says nothing of its shape may be anything.
        inside_veil : bool
            Whether it stands in a record that withholds, which may withhold of what it holds too.
        """
        if kind in _PLAIN:
            return dict(_PLAIN[kind])
        origin, inside = get_origin(kind), get_args(kind)
        if origin is Annotated:
            return self.of(inside[0], inside_veil=inside_veil)
        if origin is Literal:
            return {"enum": list(inside)}
        if origin in (Union, types.UnionType):
            return self._either([self.of(one, inside_veil=inside_veil) for one in inside])
        if isinstance(kind, TypeVar) or kind is Any or kind is object:
            return {}
        return self._of_class(origin or kind, inside, inside_veil)

    def _of_class(self, kind: Any, inside: tuple[Any, ...], inside_veil: bool) -> Schema:
        """The schema of a class, with what it is of."""
        if not isinstance(kind, type):
            return {}
        if issubclass(kind, Network):
            return dict(STAMPED)
        if issubclass(kind, BaseModel):
            return {"type": "object", "description": f"as in the network document: {_first_line(kind)}"}
        if is_dataclass(kind):
            return {"$ref": self.where + self._name(kind, inside_veil)}
        if issubclass(kind, float | Decimal | Fraction | np.floating):
            return {"type": ["number", "null"]}
        if issubclass(kind, Enum):
            return {"enum": [one.value for one in kind]}
        if issubclass(kind, datetime | date | PurePath | str):
            return {"type": "string"}
        if issubclass(kind, np.ndarray):
            return dict(ARRAY)
        if issubclass(kind, Mapping):
            values = {"additionalProperties": self.of(inside[1], inside_veil=inside_veil)} if len(inside) == 2 else {}
            return {"type": "object", **values}
        if issubclass(kind, Sequence | Set) and not issubclass(kind, bytes):
            return self._list(kind, inside, inside_veil)
        return {"description": "no data: null"} if kind.__module__ != "builtins" else {}

    def _list(self, kind: type, inside: tuple[Any, ...], inside_veil: bool) -> Schema:
        """An array: of one kind, or an entry after the other."""
        if not inside:
            return {"type": "array"}
        if issubclass(kind, tuple) and inside[-1] is not Ellipsis:
            size = len(inside)
            return {
                "type": "array",
                "prefixItems": [self.of(one) for one in inside],
                "minItems": size,
                "maxItems": size,
            }
        return {"type": "array", "items": self.of(inside[0], inside_veil=inside_veil)}

    def _name(self, kind: type, inside_veil: bool) -> str:
        """What a record is called; describes it when it is first met."""
        withholds = inside_veil or hasattr(kind, "veil")
        key = (kind, withholds)
        if key not in self._names:
            called = f"{kind.__name__}OrWithheld" if withholds else kind.__name__
            self._names[key] = f"{kind.__module__}.{called}" if called in self._names.values() else called
            self.described[self._names[key]] = {}
            self.described[self._names[key]] = self._record(kind, withholds)
        return self._names[key]

    def _record(self, kind: type, withholds: bool) -> Schema:
        """A record field by field. What may be withheld may be null, with `withheld` saying why."""
        hints = _hints(kind)
        made = {one.name: self.of(hints.get(one.name, Any), inside_veil=withholds) for one in fields(kind)}
        if withholds:
            return {
                "type": "object",
                "description": f"{_first_line(kind)} What is withheld is null, and `withheld` says why.",
                "properties": {name: self._either([schema, NULL]) for name, schema in made.items()},
            }
        return {
            "type": "object",
            "description": _first_line(kind),
            "properties": made,
            "required": list(made),
        }

    @staticmethod
    def _either(schemas: list[Schema]) -> Schema:
        """One of several; said once."""
        different = [one for i, one in enumerate(schemas) if one not in schemas[:i]]
        return different[0] if len(different) == 1 else {} if {} in different else {"anyOf": different}


@cache
def _hints(kind: type) -> Mapping[str, Any]:
    """Annotations of a record; none where one cannot be read."""
    try:
        return get_type_hints(kind, include_extras=True)
    except (NameError, TypeError):
        return {}


def _first_line(kind: type) -> str:
    """What a record is."""
    return (kind.__doc__ or "").strip().partition("\n")[0]
