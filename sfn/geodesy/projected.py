"""Easting and northing in a grid: in which unit and which order they were meant.

Some grids count in feet, and some put the northing first. Numbers that were taken in the wrong unit or order lie
hundreds of kilometres off, and nearly always outside the area that the grid is made for: every reading is tried
against that area. Where one reading alone lies inside, the others cannot be meant; where several do, that is a doubt.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pyproj import CRS

from sfn.geodesy.angles import refuse
from sfn.geodesy.datum import own_degrees
from sfn.geodesy.doubt import Doubt, doubt, in_words, length_said, worth
from sfn.geodesy.line import inverse
from sfn.geodesy.zones import ordered, step_of
from sfn.plan.number_text import decimal
from sfn.units import grouped

# ``key``: the name of the field says metres, which people overlook; ``m`` and ``own``: somebody wrote the unit.
Unit = Literal["", "key", "m", "own"]

# Units this near to the metre (the German legal metre) are no other reading.
NEARLY_A_METRE_RATIO = 1e-4
_NUMBER = r"-?[0-9]+(?:[.,][0-9]+)?"
_AXIS = r"(?:e(?:ast(?:ing)?)?|n(?:orth(?:ing)?)?)"
_UNIT = r"(?:m(?:et(?:re|er)s?)?(?![a-df-mo-z])|(?:us\s*(?:survey\s*)?)?(?:feet|foot|ft)(?:\s*us)?)"
_EASTINGS = re.compile(
    rf"""\s*(?P<lead1>{_AXIS})?[\s:=]*(?P<number1>{_NUMBER})\s*(?P<unit1>{_UNIT})?\s*(?(lead1)|(?P<tail1>{_AXIS})?)
    (?:[\s,;/]+|(?<=[a-z]))
    (?P<lead2>{_AXIS})?[\s:=]*(?P<number2>{_NUMBER})\s*(?P<unit2>{_UNIT})?\s*(?(lead2)|(?P<tail2>{_AXIS})?)\s*""",
    re.VERBOSE | re.IGNORECASE,
)
EASTINGS_EXAMPLE = "letters and units beside the numbers, such as E 577274.99 m, N 69740.50 m"


@dataclass(frozen=True, slots=True)
class Eastings:
    """Easting and northing as typed, in `unit`, and whether letters say which is which."""

    numbers: tuple[float, float]
    step: float
    """What the last digit is worth, in that unit."""
    unit: Unit
    lettered: bool
    field: str = "text"


@dataclass(frozen=True, slots=True)
class _Reading:
    """One way to take the numbers: in the grid's unit, with its place on the grid's own datum."""

    words: str
    metres: bool
    swapped: bool
    xy: tuple[float, float]
    place: tuple[float, float] | None
    inside: bool


def read_eastings(text: str, *, system: CRS) -> Eastings | None:
    """Two numbers for a grid, easting first unless letters say otherwise; None where the text has not that form.

    Raises
    ------
    PlanError
        If letters or units contradict each other, or a unit is not that of the grid.
    """
    found = _EASTINGS.fullmatch(text)
    if not found:
        return None
    first, second, lettered = ordered(found, text, expected=EASTINGS_EXAMPLE)
    units = {"m" if unit.lower().startswith("m") else "own" for unit in (found["unit1"], found["unit2"]) if unit}
    if len(units) > 1:
        refuse(f"the two numbers in {text!r} are in different units", "one unit for both")
    if units == {"own"} and not counts_in_feet(system):
        refuse(f"{text!r} is in feet, but {system.name} counts in {_unit(system)[0]}s", "metres, or a grid in feet")
    numbers = (decimal(first), decimal(second))
    unit: Unit = "own" if units == {"own"} else "m" if units else ""
    return Eastings(numbers, step_of(first, second), unit, lettered)


def counts_in_feet(system: CRS) -> bool:
    """Whether a grid's axes are in one of the feet."""
    return "foot" in _unit(system)[0] or "feet" in _unit(system)[0]


def northing_first(system: CRS) -> bool:
    """Whether a grid's own order is northing, then easting."""
    return system.axis_info[0].direction.lower() in ("north", "south")


def order_says(easting: float, northing: float, *, system: CRS | None = None) -> str:
    """Which number was taken as the easting and which as the northing, in words.

    Grids that put the northing first (EPSG:2180, EPSG:3035 and others) are named as such: their own lists give the
    numbers the other way round.
    """
    said = f"{easting:.12g} was taken as the easting and {northing:.12g} as the northing"
    return f"{said}; {system.name} itself puts the northing first" if system and northing_first(system) else said


def square_says(text: str, easting_m: float, northing_m: float, *, side_m: float) -> str:
    """What a lettered reference names and where in it the site was put, in words."""
    side = f"{grouped(side_m, 'g')} m"
    return (
        f"{text.strip()} names the south-west corner of a square of {side}; its middle was taken, easting "
        f"{easting_m:.12g} and northing {northing_m:.12g}, and the side of {side} counts as its uncertainty"
    )


def taken(typed: Eastings, *, code: int, system: CRS) -> tuple[tuple[float, float], float, tuple[Doubt, ...]]:
    """Easting and northing in the unit of the grid, the step of the last digit, and what is doubtful about them.

    Returns
    -------
    xy : tuple of float
        Easting and northing, in the grid's unit.
    step_m : float
        What the last digit is worth. [m]
    doubts : tuple of Doubt

    Raises
    ------
    PlanError
        If the numbers, as they are meant by their names, lie outside the area of the grid, and taken in the other
        unit or the other order inside it: both are named.
    """
    unit_m = _unit(system)[1]
    readings = list(_readings(typed, code=code, system=system))
    chosen, unit_said = _chosen(typed, readings)
    step_m = typed.step * (1.0 if chosen.metres else unit_m)
    if not chosen.inside:
        _refuse_where_another_fits(typed, chosen, readings, system=system)
    doubts: list[Doubt] = []
    other_unit = next((r for r in readings if r.metres != chosen.metres and not r.swapped), None)
    if other_unit is not None and typed.unit in ("", "key"):
        doubts += _unit_doubt(typed, chosen, other_unit, system=system, unit_said=unit_said)
    other_order = next((r for r in readings if r.metres == chosen.metres and r.swapped), None)
    if other_order is not None and chosen.inside and other_order.inside and not typed.lettered:
        doubts += _order_doubt(typed, chosen, other_order, system=system)
    return chosen.xy, step_m, tuple(doubts)


def _unit(system: CRS) -> tuple[str, float]:
    """Name of a grid's unit, and its length. [m]"""
    axis = system.axis_info[0]
    return axis.unit_name, float(axis.unit_conversion_factor)


def _readings(typed: Eastings, *, code: int, system: CRS) -> Iterator[_Reading]:
    """Every way to take the numbers, the one by their names first."""
    name, unit_m = _unit(system)
    metric = abs(unit_m - 1.0) <= NEARLY_A_METRE_RATIO
    in_metres = (True,) if metric else (True, False) if typed.unit in ("key", "m") else (False, True)
    for metres in in_metres:
        factor = 1.0 / unit_m if metres and (typed.unit == "key" or not metric) else 1.0
        for swapped in (False, True):
            easting, northing = reversed(typed.numbers) if swapped else typed.numbers
            xy = (easting * factor, northing * factor)
            lat, lon, outside = own_degrees(code, *xy)
            words = f"as {'metres' if metres else name}" + (" with the northing first" if swapped else "")
            place = None if lat is None or lon is None else (lat, lon)
            yield _Reading(words, metres, swapped, xy, place, place is not None and not outside)


def _chosen(typed: Eastings, readings: list[_Reading]) -> tuple[_Reading, bool]:
    """The reading that counts, and whether the unit followed from the area alone."""
    plain = [r for r in readings if not r.swapped]
    if typed.unit == "" and [r.inside for r in plain].count(True) == 1:
        return next(r for r in plain if r.inside), len(plain) > 1
    return plain[0], False


def _refuse_where_another_fits(typed: Eastings, chosen: _Reading, readings: list[_Reading], *, system: CRS) -> None:
    """Say no where the numbers fit the grid only in another unit or another order."""
    other = next((r for r in readings if r.inside), None)
    if other is None:
        return
    given = ", ".join(f"{number:.12g}" for number in typed.numbers)
    there = "nowhere" if chosen.place is None else f"at {_degrees(chosen.place)}, outside the area of {system.name}"
    what = f"{given} taken {chosen.words} lies {there}; taken {other.words} it lies inside, at {_degrees(other.place)}"
    away_m = 0.0 if chosen.place is None else _apart(chosen, other)
    code = "position-axis-order" if other.swapped else "position-feet"
    if other.swapped:
        expected = f"easting first, or {EASTINGS_EXAMPLE}"
    elif typed.field == "text":
        expected = "the unit that they are in, such as 984000 ft 190000 ft"
    else:
        expected = "easting_ft and northing_ft where they are feet, else other metres"
    refuse(what, expected, field=typed.field, code=code, values={"doubt_m": away_m, "doubt_us": worth(away_m)})


def _unit_doubt(typed: Eastings, chosen: _Reading, other: _Reading, *, system: CRS, unit_said: bool) -> Iterator[Doubt]:
    """Whether feet or metres were meant."""
    name = _unit(system)[0]
    if other.place is None or chosen.place is None:
        return
    if chosen.inside and not other.inside:
        how = "fits the area of the grid only so" if unit_said else f"taken {other.words} it would lie outside its area"
        what = f"{system.name} counts in {name}; the position was taken {chosen.words}: {how}"
        said = {"system": system.name, "counts_in": name, "fits": "yes"}
        yield doubt("position-feet", typed.field, what, "the unit beside the numbers, m or ft", doubt_m=0.0, said=said)
        return
    away_m = _apart(chosen, other)
    what = (
        f"{system.name} counts in {name}; the position was taken {chosen.words}, {other.words} it would lie at "
        f"{_degrees(other.place)}, {in_words(away_m)} away"
    )
    expected = "a text with the unit beside each number, m or ft, or easting_ft and northing_ft"
    said = {"system": system.name, "counts_in": name, "at": _degrees(other.place), **length_said(away_m)}
    yield doubt("position-feet", typed.field, what, expected, doubt_m=away_m, said=said)


def _order_doubt(typed: Eastings, chosen: _Reading, other: _Reading, *, system: CRS) -> Iterator[Doubt]:
    """Whether easting and northing were exchanged, in a grid that itself puts the northing first."""
    if not northing_first(system):
        return
    away_m = _apart(chosen, other)
    what = (
        f"{system.name} puts the northing first; {chosen.xy[0]:.12g} was taken as the easting, the other way round it "
        f"would lie at {_degrees(other.place)}, {in_words(away_m)} away, inside the same area"
    )
    easting, northing = typed.numbers
    expected = f"a text with letters, such as E {easting:.12g} N {northing:.12g}"
    said = {"system": system.name, "easting": f"{chosen.xy[0]:.12g}", "at": _degrees(other.place)}
    said |= {"wanted_text": f"E {easting:.12g} N {northing:.12g}", **length_said(away_m)}
    yield doubt("position-axis-order", typed.field, what, expected, doubt_m=away_m, said=said)


def _apart(a: _Reading, b: _Reading) -> float:
    """Distance between two readings; 0 where one of them lies nowhere. [m]"""
    if a.place is None or b.place is None:
        return 0.0
    return float(inverse(*a.place, *b.place)[0])


def _degrees(place: tuple[float, float] | None) -> str:
    """A place to four decimals."""
    return "nowhere" if place is None else f"{place[0]:.4f}, {place[1]:.4f}"
