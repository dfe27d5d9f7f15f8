"""Answers as tables and arrays, where pandas and xarray are installed (the extra ``frames``)."""

import importlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any


def frame(rows: Iterable[Mapping[str, Any]], *, says: Sequence[str], problems: Sequence[Mapping[str, Any]]) -> Any:
    """A `pandas.DataFrame` of rows; in its ``attrs`` what they rest on, and the problems.

    Raises
    ------
    ModuleNotFoundError
        If pandas is not installed.
    """
    made = _module("pandas", "to_frame()").DataFrame(list(rows))
    made.attrs = {"says": list(says), "problems": list(problems)}
    return made


def xarray() -> Any:
    """The module xarray.

    Raises
    ------
    ModuleNotFoundError
        If it is not installed.
    """
    return _module("xarray", "to_xarray()")


def _module(name: str, method: str) -> Any:
    try:
        return importlib.import_module(name)
    except ModuleNotFoundError:
        raise ModuleNotFoundError(
            f"{method} needs {name}, which is not installed: pip install 'sfn-delays[frames]'", name=name
        ) from None
