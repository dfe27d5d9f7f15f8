"""What the frame of a map cuts: what runs into its edge goes on beyond it, and every figure of it ends there."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sfn.geodesy.grid import Grid

Flags = NDArray[np.bool_]


def edges_met(mask: Flags) -> tuple[str, ...]:
    """Edges of the map that an area runs into.

    Parameters
    ----------
    mask : ndarray of bool, shape (rows, columns)
        The first row is the northernmost, the first column the westernmost.

    Returns
    -------
    edges : tuple of str
        Some of ``north``, ``east``, ``south``, ``west``, in this order.
    """
    sides = {"north": mask[0], "east": mask[:, -1], "south": mask[-1], "west": mask[:, 0]}
    return tuple(name for name, side in sides.items() if side.any())


def map_cut_says(areas: Mapping[str, Flags], grid: Grid) -> str:
    """Which areas of a map go on beyond its frame, in words; empty where none does.

    Parameters
    ----------
    areas : mapping of str to ndarray of bool, shape (M,) or (rows, columns)
        What each area is, in words, and where it lies.
    grid : Grid
    """
    met = {what: edges_met(np.reshape(mask, grid.shape)) for what, mask in areas.items()}
    cut = [f"{what} (beyond the {_listed(edges)} edge)" for what, edges in met.items() if edges]
    return f"The frame of the map cuts {_listed(cut)}: areas, people and lines end there" if cut else ""


def served_edges_say(edges: Sequence[str]) -> str:
    """Where area that is served goes on beyond the frame, in words to stand beside a map's km²; empty where nowhere."""
    return f"served area goes on beyond the {_listed(edges)} edge, and is not in these figures" if edges else ""


def contours_cut_says(names: Sequence[str]) -> str:
    """Whose contours go on beyond the frame of the map, in words; empty where none does."""
    return f"The frame of the map cuts the contour of {_listed(names)}: its area and lines end there" if names else ""


def _listed(words: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))
