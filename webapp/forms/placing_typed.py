"""The form of a search for the place of a new transmitter: which places, what would stand there, what is counted."""

import json
from collections.abc import Mapping
from dataclasses import dataclass

from sfn.answer.site_files import read_sites
from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.plan.number_text import number_in
from sfn.plan.sheets import SheetTable
from sfn.study.find_place import FoundPlace, NamedPlace, PlaceList
from sfn.study.how_sure import LEAST_WORLDS_N, MOST_WORLDS_N, AskedSure
from sfn.study.mast import library
from sfn.study.placing_asked import AskedMasts
from webapp.config.limits import whole_number

MASTS, HIGH = "masts", "high-ground"
# Beside what is typed, never out of a form: where a place of a list lies that is no counted town.
NEAR_FOUND = "near-found"
LABELS = {
    "masts": "Masts", "file": "File of masts", "near": "Must see", "within_km": "Within", "apart_km": "Apart",
    "most": "How many", "antenna_m": "Antenna above ground", "erp_kw": "E.r.p.", "like": "Chain and device like",
    "patterns": "Patterns", "azimuth_step_deg": "Direction steps", "most_us": "Greatest offset",
    "worlds": "Drawn worlds", "seed": "Random seed", "high_ground": "High ground", "mast": "Place",
}  # fmt: skip
"""What the page calls its fields."""
USUAL = {
    "how": MASTS, "masts": "", "near": "", "within_km": "", "apart_km": "2", "most": "10", "antenna_m": "",
    "erp_kw": "", "like": "", "azimuth_step_deg": "10", "most_us": "", "count": "people", "worlds": "40", "seed": "1",
}  # fmt: skip
# Least, greatest, unit.
BOUNDS = {
    "within_km": (0.2, 200.0, "km"),
    "apart_km": (0.2, 20.0, "km"),
    "antenna_m": (1.0, 1000.0, "m"),
    "erp_kw": (1e-6, 10_000.0, "kW"),
    "azimuth_step_deg": (1.0, 180.0, "degrees"),
    "most_us": (0.0, 10_000.0, "us"),
}


@dataclass(frozen=True, slots=True)
class AskedTyped:
    """A search as it was typed."""

    masts: AskedMasts
    patterns: tuple[str, ...]
    azimuth_step_deg: float
    most_us: float | None
    by_area: bool
    sure: AskedSure | None


def pattern_sites(network: Network) -> tuple[str, ...]:
    """Sites whose patterns may be tried: the first with each."""
    return tuple(library(network))


def usual_of(network: Network) -> dict[str, str]:
    """What the form shows before anything is typed: every pattern is tried."""
    return USUAL | {f"pattern-{site}": "yes" for site in pattern_sites(network)}


def typed_of(network: Network, form: Mapping[str, str]) -> dict[str, str]:
    """What was typed, by the form's names; boxes that are not ticked are empty."""
    names = (*USUAL, *(f"pattern-{site}" for site in pattern_sites(network)))
    return {name: form.get(name, "").strip() for name in names}


def with_table(typed: dict[str, str], content: bytes, name: str) -> dict[str, str]:
    """What was typed, with a file in the place of the masts, so that it can be seen and mended.

    Raises
    ------
    PlanError
        If it is no table.
    """
    return typed | {"how": MASTS, "masts": read_sites(content, source=name).as_csv()}


def asked_of(network: Network, typed: Mapping[str, str]) -> AskedTyped:
    """The search as typed.

    Raises
    ------
    PlanError
        With every field that cannot be used.
    """
    problems: list[Problem] = []
    numbers = {name: _number(name, typed[name], problems) for name in BOUNDS if typed[name]}
    high = typed["how"] == HIGH
    table = None if high else _table(typed["masts"], problems)
    most = _whole("most", typed["most"] or USUAL["most"], 1, 50, problems)
    worlds_n = _whole("worlds", typed["worlds"] or "0", 0, MOST_WORLDS_N, problems)
    if 0 < worlds_n < LEAST_WORLDS_N:
        what, expected = f"{worlds_n} worlds say little", f"{LEAST_WORLDS_N} to {MOST_WORLDS_N}, or 0 for none"
        problems.append(Problem("worlds", what, expected, code="out-of-range", fields=("worlds",)))
    seed = _whole("seed", typed["seed"] or "1", 0, 10**9, problems)
    if problems:
        raise PlanError(problems)
    within = numbers.get("within_km")
    masts = AskedMasts(
        table, numbers.get("antenna_m"), numbers.get("erp_kw"), typed["near"] if high else "",
        1000.0 * within if high and within is not None else None,
        1000.0 * numbers.get("apart_km", float(USUAL["apart_km"])), most, typed["like"],
        _names(typed.get(NEAR_FOUND, "")),
    )  # fmt: skip
    ticked = tuple(site for site in pattern_sites(network) if typed[f"pattern-{site}"])
    return AskedTyped(
        masts, ticked, numbers.get("azimuth_step_deg", float(USUAL["azimuth_step_deg"])), numbers.get("most_us"),
        typed["count"] == "area", None if worlds_n == 0 else AskedSure(worlds_n=worlds_n, seed=seed),
    )  # fmt: skip


def near_found(place: FoundPlace) -> dict[str, str]:
    """A place of a fetched or own list that `near` names, to stand beside what was typed: a search keeps it."""
    return {NEAR_FOUND: json.dumps([place.source, place.name, place.lat_deg, place.lon_deg])}


def _names(kept: str) -> tuple[PlaceList, ...]:
    """The same as a list of names; none where a counted town, a site or a position was typed."""
    if not kept:
        return ()
    label, name, lat_deg, lon_deg = json.loads(kept)
    return (PlaceList(label, (NamedPlace(name, lat_deg, lon_deg),)),)


def _table(text: str, problems: list[Problem]) -> SheetTable | None:
    """The masts as typed or pasted."""
    if not text:
        what = "no mast is typed, and no file chosen"
        problems.append(Problem("masts", what, "a line for each", code="nothing-to-place", fields=("masts",)))
        return None
    try:
        return read_sites(text.encode(), source="masts")
    except PlanError as error:
        problems += error.problems
        return None


def _number(name: str, text: str, problems: list[Problem]) -> float:
    """A number in its range; what is wrong goes to the others' problems."""
    least, greatest, unit = BOUNDS[name]
    try:
        return float(number_in(text, least=least, greatest=greatest))
    except ValueError as error:
        expected = f"{least:g} to {greatest:g} {unit}"
        problems.append(Problem(name, str(error), expected, code="not-a-number", fields=(name,)))
        return least


def _whole(name: str, text: str, least: int, greatest: int, problems: list[Problem]) -> int:
    """A whole number in its range."""
    number = whole_number(text)
    if number is None or not least <= number <= greatest:
        what, expected = f"{text!r} is no whole number in its range", f"a whole number, {least} to {greatest}"
        problems.append(Problem(name, what, expected, code="not-a-number", fields=(name,)))
        return least
    return number
