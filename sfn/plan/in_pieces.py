"""A large document looked at piece by piece, so that one in which everything is wrong is refused by its first pieces.

Every error costs some hundred bytes and microseconds before anybody can count it: a few megabytes of unknown keys would
take a minute and a gigabyte.
"""

import json
from collections.abc import Callable, Iterator
from typing import Any, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from sfn.errors import PlanError, Problem
from sfn.plan.document import Network
from sfn.units import grouped

MOST_AT_ONCE_N = 20_000
"""Values and keys that are looked at together: a document of so many is read whole."""
LARGEST_PIECE_N = 50_000
"""Values and keys of one site, stage or any other part: two patterns a tenth of a degree apart have half of it."""
ENOUGH_N = 100
"""Errors after which nobody reads on."""


def in_pieces(tree: dict[str, Any], told: Callable[[list[Any], Any], PlanError]) -> None:
    """Refuse a large document by the first pieces in which much is wrong; one that passes is still to be read whole.

    Parameters
    ----------
    tree : dict
        The JSON.
    told : callable
        What the errors of pydantic are in words, with the JSON that they are of.

    Raises
    ------
    PlanError
        If there are more errors than anybody reads, or one piece alone is larger than any of a network.
    """
    found: list[Any] = []
    for loc, entry, adapter in _pieces(tree):
        text = json.dumps(entry)
        values_n = sum(map(text.count, ",[{:"))
        if values_n > LARGEST_PIECE_N:
            where = str(loc[0]) + "".join(f"[{at}]" for at in loc[1:])
            what, expected = f"has some {grouped(values_n)} values", f"{grouped(LARGEST_PIECE_N)} at most"
            raise PlanError([Problem(where, what, expected, code="document-too-large", fields=(str(loc[0]),))])
        if adapter is None:
            continue
        try:
            adapter.validate_json(text)
        except ValidationError as error:
            found += [{**one, "loc": (*loc, *one["loc"])} for one in error.errors(include_url=False)]
        if len(found) > ENOUGH_N:
            raise told(found, tree)


def _pieces(tree: dict[str, Any]) -> Iterator[tuple[tuple[str | int, ...], Any, TypeAdapter[Any] | None]]:
    """The entries of every list of records, each with its place and what it is to be; unknown keys as what none is.

    Of anything else only the size is looked at: it is read with the whole.
    """
    adapters: dict[Any, TypeAdapter[Any]] = {}
    for key, value in tree.items():
        field = Network.model_fields.get(key)
        if field is None:
            yield (), {key: None}, _NONE
            continue
        record = _record_of(field.annotation)
        if record is not None and isinstance(value, list):
            adapter = adapters.setdefault(record, TypeAdapter(record))
            yield from (((key, at), entry, adapter) for at, entry in enumerate(value))
        else:
            yield (key,), value, None


class _Nothing(BaseModel):
    """What an unknown key is held against."""

    model_config = {"extra": "forbid"}


_NONE: TypeAdapter[Any] = TypeAdapter(_Nothing)


def _record_of(annotation: Any) -> type[BaseModel] | None:
    """The record of ``tuple[Record, ...]``, also where there may be none; None for anything else."""
    if get_origin(annotation) is tuple:
        first = get_args(annotation)[0]
        return first if isinstance(first, type) and issubclass(first, BaseModel) else None
    return next((made for one in get_args(annotation) if (made := _record_of(one)) is not None), None)
