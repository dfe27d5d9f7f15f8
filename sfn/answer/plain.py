"""Records as plain data for JSON: every answer that a page shows can be had by a script too."""

import math
from collections.abc import Mapping, Set
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from pathlib import PurePath
from typing import Any

import numpy as np
from pydantic import BaseModel

from sfn.plan import Network
from sfn.systems.of_network import stamped_checksum

MOST_VALUES_N = 20_000  # of an array; larger ones are rasters, which files hold
DEEPEST_N = 24


def plain(value: Any, *, depth: int = 0) -> Any:
    """Plain data out of a record.

    Parameters
    ----------
    value : any
        Dataclasses become objects by their fields' names, which end in units; a network becomes its name and
        checksum; what a record withholds (its ``veil``, see `sfn.study.veil`) becomes null, with the reason; NaN and
        infinities become null; large arrays tell their shape only; bytes and functions null.
    depth : int
        How deep inside a record it stands.

    Examples
    --------
    >>> plain({"a_us": float("nan"), "b": (1, Decimal("2.5"))})
    {'a_us': None, 'b': [1, 2.5]}
    """
    if value is None or isinstance(value, str | bool | int) or depth > DEEPEST_N:
        return value if depth <= DEEPEST_N else None
    if isinstance(value, float | Decimal | Fraction | np.floating):
        number = float(value)
        return number if math.isfinite(number) else None
    if isinstance(value, Network):
        return {"name": value.name, "checksum": stamped_checksum(value)}
    if isinstance(value, BaseModel):
        return plain(value.model_dump(mode="json", exclude_none=True), depth=depth + 1)
    if is_dataclass(value) and not isinstance(value, type):
        made = {f.name: plain(getattr(value, f.name), depth=depth + 1) for f in fields(value)}
        veil = getattr(value, "veil", None)
        return made if veil is None else veil(made)
    if isinstance(value, Mapping):
        return {_key(key): plain(inside, depth=depth + 1) for key, inside in value.items()}
    if isinstance(value, np.ndarray):
        if value.size > MOST_VALUES_N:
            return {"shape": list(value.shape)}
        return plain(value.tolist(), depth=depth + 1)
    if isinstance(value, list | tuple | Set):
        return [plain(inside, depth=depth + 1) for inside in value]
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, Enum):
        return value.value
    return value.name if isinstance(value, PurePath) else None


def _key(key: Any) -> str:
    """A key as text; pairs with a colon between."""
    return ":".join(map(str, key)) if isinstance(key, tuple) else str(key)
