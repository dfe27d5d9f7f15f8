"""Which area a figure of people counts over, in words: two figures are held side by side only where both say so."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import rasterio

from sfn.geodesy.extent import extent_says
from sfn.geodesy.grid import Grid
from sfn.plan import Place
from sfn.units import grouped

# A file of more cells is not added up whole for one sentence.
MOST_ADDED_N = 4_000_000
# Sums in single precision, and points of discs, are off by less.
SAME_PEOPLE = 0.5


def frame_counted_says(grid: Grid, people: float) -> str:
    """How many people a map counts, and over which area, as the end of a sentence.

    Parameters
    ----------
    grid : Grid
    people : float
        Within its frame.
    """
    return f"; {grouped(people, '.0f')} people within the frame of this map, {extent_says(grid.bounds_deg)}"


def list_counted_says(places: Sequence[Place], grid: Grid, people: float) -> str:
    """The same beside all people of a list of places.

    Parameters
    ----------
    places : sequence of Place
    grid : Grid
    people : float
        Within its frame.
    """
    return frame_counted_says(grid, people) + _beyond(people, sum(place.people for place in places), "the list has")


def raster_counted_says(path: Path, grid: Grid, people: float) -> str:
    """The same beside all people of a raster, and the area that it has them on.

    Parameters
    ----------
    path : Path
        A GeoTIFF with a coordinate system; one of more than `MOST_ADDED_N` cells is not added up.
    grid : Grid
    people : float
        Within its frame.
    """
    with rasterio.open(path, driver="GTiff") as source:
        if source.width * source.height > MOST_ADDED_N:
            return f"{frame_counted_says(grid, people)}; all of the file was not added up"
        read = source.read(1, masked=True).astype(np.float64).filled(0.0)
        west, south, east, north = source.bounds
        over = f" on {extent_says((south, west, north, east))}" if source.crs.is_geographic else ""
    whole = float(read[np.isfinite(read) & (read > 0.0)].sum())
    return frame_counted_says(grid, people) + _beyond(people, whole, f"all of the file{over} has")


def _beyond(people: float, whole: float, has: str) -> str:
    """How many of a source's people live beyond the frame."""
    left = whole - people
    if left < SAME_PEOPLE:
        return f"; {has} as many"
    return f"; {has} {grouped(whole, '.0f')}, of whom {grouped(left, '.0f')} live beyond that frame"
