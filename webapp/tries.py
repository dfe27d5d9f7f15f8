"""What a page tries: offsets, clock errors, routes and sites off air out of an address or a form."""

import copy
from typing import Annotated, Any

from fastapi import Depends, Query

from sfn.answer.what_if import WhatIf
from sfn.errors import PlanError, Problem

Listed = Annotated[list[str], Query(default_factory=list)]


def tries(offset: Listed, clock: Listed, route: Listed, off: Listed) -> WhatIf:
    """``offset=south:-12.5``, ``clock=gap:3``, ``route=south:standby``, ``off=north``; each any number of times."""
    return WhatIf(_numbers("offset", offset), _numbers("clock", clock), dict(_pairs("route", route)), frozenset(off))


TriesDep = Annotated[WhatIf, Depends(tries)]


def area_of(bounds: str, pixel_m: str) -> tuple[tuple[float, float, float, float] | None, float | None]:
    """Bounds and pixel as an address has them; None for the usual ones.

    Raises
    ------
    PlanError
        If they are not numbers.
    """
    pixel = None if not pixel_m.strip() else _number("pixel_m", pixel_m)
    if not bounds.strip():
        return None, pixel
    parts = [_number("bounds", part) for part in bounds.split(",")]
    if len(parts) != 4:
        raise PlanError([Problem("bounds", f"cannot be {bounds!r}", "south,west,north,east in degrees")])
    return (parts[0], parts[1], parts[2], parts[3]), pixel


def changed_document(document: dict[str, Any], form: dict[str, str]) -> dict[str, Any]:
    """The document with the offsets of a form's ``offset-SITE`` fields; fields left empty change nothing."""
    made = copy.deepcopy(document)
    for site in made["sites"]:
        typed = form.get(f"offset-{site['id']}", "").strip()
        if typed:
            site["offset_us"] = _number(f"offset-{site['id']}", typed)
    return made


def _pairs(name: str, values: list[str]) -> list[tuple[str, str]]:
    """``site:value`` texts."""
    made = []
    for text in values:
        site, colon, value = text.rpartition(":")
        if not colon:
            raise PlanError([Problem(name, f"cannot be {text!r}", "SITE:VALUE")])
        made.append((site, value))
    return made


def _numbers(name: str, values: list[str]) -> dict[str, float]:
    """``site:number`` texts."""
    return {site: _number(name, value) for site, value in _pairs(name, values)}


def _number(name: str, text: str) -> float:
    """A finite number, with a comma or a true minus where people write them."""
    try:
        value = float(text.strip().replace("−", "-").replace(",", "."))
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e12:
        raise PlanError([Problem(name, f"cannot be {text!r}", "a number")])
    return value


def height_of(text: str) -> float | None:
    """A receiving antenna's height as typed; None where nothing is.

    Raises
    ------
    PlanError
        If it is no height of a receiving antenna.
    """
    if not text.strip():
        return None
    height = _number("rx_height_m", text)
    if not 1 <= height <= 3000:
        raise PlanError([Problem("rx_height_m", f"cannot be {text!r}", "1 to 3000 m above ground")])
    return height


def number_of(name: str, text: str) -> float | None:
    """A number as typed; None where nothing is.

    Raises
    ------
    PlanError
        If it is none.
    """
    return _number(name, text) if text.strip() else None


def percentages_of(text: str) -> tuple[float, ...]:
    """Percentages of time as typed, blanks or semicolons or commas between; empty where nothing is.

    Raises
    ------
    PlanError
        If one is not from 1 to 50, or there are more than ten.
    """
    found = tuple(_number("time_pct", part) for part in text.replace(";", " ").replace(",", " ").split())
    if len(found) > 10 or not all(1 <= one <= 50 for one in found):
        raise PlanError([Problem("time_pct", f"cannot be {text!r}", "up to ten numbers from 1 to 50 %")])
    return found
