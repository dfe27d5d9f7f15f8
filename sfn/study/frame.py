"""What the frame of a map cuts: what runs into its edge goes on beyond it, and every figure of it ends there."""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.grid import Grid

Flags = NDArray[np.bool_]


def edges_met(mask: Flags, known: Flags | None = None) -> tuple[str, ...]:
    """Edges of the map that an area runs into, or of what is known of the map.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        The first row is the northernmost, the first column the westernmost.
    known : ndarray of bool, optional
        Where terrain covers the map. Where it ends before the frame does, its last pixels are the edge: beyond them
        an area goes on just as it does beyond the frame. None: everywhere.

    Returns
    -------
    edges : tuple of str
        Some of ``north``, ``east``, ``south``, ``west``, in this order.
    """
    there = np.ones(mask.shape, dtype=np.bool_) if known is None else known
    # Each turned so that the edge is the first row; argmax finds the first pixel that is known.
    turned = {"north": (0, 1), "east": (1, -1), "south": (0, -1), "west": (1, 1)}
    met = []
    for name, (axis, way) in turned.items():
        inwards, area = (np.moveaxis(flags, axis, 0)[::way] for flags in (there, mask & there))
        outermost = np.argmax(inwards, axis=0)
        if area[outermost, np.arange(area.shape[1])].any():
            met.append(name)
    return tuple(met)


def map_cut_says(areas: Mapping[str, Flags], grid: Grid, known: Flags | None = None) -> str:
    """Which areas of a map go on beyond its frame, in words; empty where none does.

    Parameters
    ----------
    areas : mapping of str to ndarray of bool, shape (M,) or (rows, columns)
        What each area is, in words, and where it lies.
    grid : Grid
    known : ndarray of bool, optional
        As in `edges_met`, one of these shapes.
    """
    there = None if known is None else np.reshape(known, grid.shape)
    met = {what: edges_met(np.reshape(mask, grid.shape), there) for what, mask in areas.items()}
    cut = [f"{what} (beyond the {_listed(edges)} edge)" for what, edges in met.items() if edges]
    frame = (
        "The frame of the map" if there is None or there.all() else "The frame of the map, or the end of its terrain,"
    )
    return f"{frame} cuts {_listed(cut)}: areas, people and lines end there" if cut else ""


def spoken_pct(spoken_km2: float, shown_km2: float) -> float:
    """Part of a map that its figures speak of, cut to a tenth, so that a remainder never reads as 100 %. [%]

    >>> spoken_pct(8129.8, 8162.2), spoken_pct(99_999.0, 100_000.0), spoken_pct(59_543.1, 59_543.1)
    (99.6, 99.9, 100.0)
    """
    return 100.0 if shown_km2 - spoken_km2 <= 0.5 else math.floor(1000.0 * spoken_km2 / shown_km2) / 10.0


def served_edges_say(edges: Sequence[str]) -> str:
    """Where area that is served goes on beyond the frame, in words to stand beside a map's km²; empty where nowhere."""
    return f"served area goes on beyond the {_listed(edges)} edge, and is not in these figures" if edges else ""


def contours_cut_says(names: Sequence[str]) -> str:
    """Whose contours go on beyond the frame of the map, in words; empty where none does."""
    return f"The frame of the map cuts the contour of {_listed(names)}: its area and lines end there" if names else ""


def _listed(words: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
