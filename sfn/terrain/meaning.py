"""Whether a raster's numbers are codes of classes or heights, as far as the file itself lets it be seen.

| seen in the file | taken for |
|---|---|
| it says so (this program's own tag), or has a table of colours | codes, for sure |
| 8 bits, few numbers, gaps between them that a surface would fill; no unit | codes, for sure |
| the same in more bits, or though somebody named a unit | perhaps codes |

A surface that is looked at in many places passes through every whole metre between its lowest and its highest; a list
of classes leaves out what it does not name (engineering judgement; no source).
"""

from dataclasses import dataclass

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.enums import ColorInterp

HOLDS_TAG, CLASSES = "VALUES", "classes"
# More different values than this are no list of classes that leaves gaps; CORINE's has 44.
MOST_CODES_N = 60
# More different values than this are heights, not classes.
MOST_CLASSES_N = 128
# A mask, or zones: so few different values that they need no gaps between them.
MASK_N = 4
# Samples that must have been seen before a gap means anything, at all and to each whole metre of the relief.
LEAST_SEEN_N, SEEN_TO_A_METRE_N = 1000, 4
# Where fewer of the whole numbers between the least and the greatest occur, there are gaps.
FILLED_RATIO = 0.6
SHOWN_N = 6


@dataclass(frozen=True, slots=True)
class Meaning:
    """Why a raster's numbers are codes of classes, in words.

    Parameters
    ----------
    surely, perhaps : str
        Empty where they are not so for sure, or nothing speaks for it.
    could : bool
        Whether they could be: whole numbers, `MOST_CLASSES_N` different ones at most.
    """

    surely: str = ""
    perhaps: str = ""
    could: bool = False


def could_be_classes(values: NDArray[np.float32]) -> bool:
    """Whether the different values of a raster can be classes: whole numbers, `MOST_CLASSES_N` at most."""
    return values.size <= MOST_CLASSES_N and bool(np.all(values == np.round(values)))


def meaning(source: rasterio.DatasetReader, seen: NDArray[np.float32], *, unit: str) -> Meaning:
    """What the numbers of a raster mean.

    Parameters
    ----------
    source : rasterio.DatasetReader
        An open raster.
    seen : ndarray of float32
        Samples that were looked at, as the file has them; voids NaN.
    unit : {'', 'file', 'told'}
        Whether a unit of heights is named, by the file itself or by who sent it.
    """
    if source.tags().get(HOLDS_TAG) == CLASSES:
        return Meaning(surely="the file says that they are classes", could=True)
    if _coloured(source):
        return Meaning(surely="the file has a table of colours, one for each number", could=True)
    values = np.unique(seen[np.isfinite(seen)])
    could = could_be_classes(values)
    if unit == "file" or values.size < 2 or not could:
        return Meaning(could=could)
    span = float(values[-1] - values[0]) + 1.0
    known_n = int(np.count_nonzero(np.isfinite(seen)))
    if known_n < max(LEAST_SEEN_N, min(SEEN_TO_A_METRE_N * span, seen.size)):
        return Meaning(could=True)
    gaps = values.size <= MOST_CODES_N and values.size < FILLED_RATIO * span
    if not gaps and values.size > MASK_N:
        return Meaning(could=True)
    named = ", ".join(f"{value:g}" for value in values[:SHOWN_N]) + (" …" if values.size > SHOWN_N else "")
    why = f"only {values.size} different whole numbers occur ({named})" + (", with gaps between them" if gaps else "")
    if source.dtypes[0] == "uint8" and not unit:
        return Meaning(surely=f"{why}, in 8 bits and without a unit", could=True)
    return Meaning(perhaps=why, could=True)


def _coloured(source: rasterio.DatasetReader) -> bool:
    """Whether a table of colours, other than shades of grey, belongs to the numbers."""
    if source.colorinterp[0] != ColorInterp.palette:
        return False
    try:
        colours = source.colormap(1).values()
    except ValueError:
        return False
    return any(not red == green == blue for red, green, blue, _ in colours)
