"""What stands on the ground, and what the ground is: cover heights, and sea, coast or inland.

Both are rasters read as the terrain is, but from the nearest sample: an edge of a wood stays an edge.

| P.1812 zone | value here | meaning |
|---|---|---|
| A2 | 0, inland | all other land |
| A1 | 1, coast | within 50 km of the sea and below 100 m |
| B | 2, sea | sea and other large water |
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.terrain.heights import HeightGrid

# The order in which P.1812's zones are counted everywhere in this project.
ZONE_VALUES: Mapping[str, int] = {"inland": 0, "coast": 1, "sea": 2}
GREATEST_COVER_M = 200.0


def class_heights(grid: HeightGrid, *, height_m: Mapping[int, float]) -> HeightGrid:
    """Cover heights from land-cover classes by a table.

    Parameters
    ----------
    grid : HeightGrid
        Class numbers, NaN where there is none.
    height_m : mapping of int to float
        Height of what covers the ground in each class, 0 to 200. [m]

    Returns
    -------
    HeightGrid
        Heights above ground, NaN where there was no class. [m]

    Raises
    ------
    PlanError
        If a class occurs that the table does not name, or a height is out of range; every one is named.
    """
    return _looked_up(grid, height_m, least=0.0, greatest=GREATEST_COVER_M, where="cover.classes", what="height")


def class_distances(grid: HeightGrid, *, distance_m: Mapping[int, float]) -> HeightGrid:
    """How far before a receiver its cover stands, from classes by a table; NaN where the table says nothing. [m]

    Parameters
    ----------
    grid : HeightGrid
        Class numbers, NaN where there is none.
    distance_m : mapping of int to float
        Of those classes whose distance is not the usual one. [m]
    """
    out = np.full(grid.height_m.shape, np.nan, dtype=np.float32)
    for number, value in distance_m.items():
        out[grid.height_m == number] = value
    return replace(grid, height_m=out)


def zone_grid(grid: HeightGrid, *, zone: Mapping[int, str]) -> HeightGrid:
    """Zone values (0 inland, 1 coast, 2 sea) from classes by a table.

    Parameters
    ----------
    grid : HeightGrid
        Class numbers, NaN where there is none.
    zone : mapping of int to {'inland', 'coast', 'sea'}
        Zone of each class.

    Raises
    ------
    PlanError
        If a class occurs that the table does not name, or a zone is none of the three.
    """
    unknown = sorted({z for z in zone.values() if z not in ZONE_VALUES})
    if unknown:
        raise PlanError(
            [
                Problem("zones.classes", f"zone {z!r} is not known", "inland, coast or sea", code="unknown-zone")
                for z in unknown
            ]
        )
    values = {number: float(ZONE_VALUES[z]) for number, z in zone.items()}
    return _looked_up(grid, values, least=0.0, greatest=2.0, where="zones.classes", what="zone")


def cover_heights(grid: HeightGrid) -> HeightGrid:
    """Cover heights of a raster that holds heights above ground already; negative ones are not known.

    Raises
    ------
    PlanError
        If most heights lie above 200 m: then the raster holds the height of the ground, or of the tops above sea level.
    """
    heights_m = np.where(grid.height_m < 0.0, np.nan, grid.height_m).astype(np.float32)
    known = heights_m[np.isfinite(heights_m)]
    median_m = float(np.median(known)) if known.size else 0.0
    if median_m > GREATEST_COVER_M:
        raise PlanError(
            [
                Problem(
                    "cover",
                    f"most cover heights lie above {GREATEST_COVER_M:g} m, the median is {median_m:.0f} m",
                    "heights of trees and buildings above the ground, not above sea level",
                    code="cover-above-sea-level",
                    values={"median_m": median_m},
                )
            ]
        )
    return replace(grid, height_m=heights_m)


def _looked_up(
    grid: HeightGrid, table: Mapping[int, float], *, least: float, greatest: float, where: str, what: str
) -> HeightGrid:
    """Every class replaced by its value."""
    problems = [
        Problem(
            where,
            f"{what} of class {number} is {value:g}",
            f"{least:g} to {greatest:g}",
            code="class-value-out-of-range",
            values={"class": float(number), "value": float(value)},
        )
        for number, value in table.items()
        if not least <= value <= greatest
    ]
    present: NDArray[np.float32] = np.unique(grid.height_m[np.isfinite(grid.height_m)])
    problems += [
        Problem(
            where,
            f"class {number:g} occurs and has no {what}",
            f"a {what} for class {number:g}",
            code="class-without-value",
            values={"class": float(number)},
        )
        for number in present.tolist()
        if number not in table
    ]
    if problems:
        raise PlanError(problems)
    out = np.full(grid.height_m.shape, np.nan, dtype=np.float32)
    for number in present.tolist():
        out[grid.height_m == number] = table[int(number)]
    return replace(grid, height_m=out)
