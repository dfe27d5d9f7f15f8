"""What files cannot be used as: heights above the sea are no ground cover, and codes of classes are no heights.

`sfn.terrain.dem` refuses classes as heights of the ground; here is what covers it.
"""

from collections.abc import Iterator
from pathlib import Path

from sfn.errors import Problem
from sfn.terrain.dem import CLASSES_EXPECTED, Terrain

# No land is covered so high by half; country above the sea is (engineering judgement).
GREATEST_MEDIAN_M, ODD_MEDIAN_M = 100.0, 40.0


def not_terrain(source: Terrain) -> tuple[Problem, ...]:
    """Why files cannot be the ground; empty where they can. `source` opened with ``blended=False``."""
    return tuple(
        Problem(
            "terrain", f"{Path(tile.path).name} holds classes, not heights of the ground: {tile.meaning.surely}",
            CLASSES_EXPECTED, code="no-heights-of-ground", fields=("terrain",),
        )
        for tile in source.tiles
        if tile.meaning.surely
    )  # fmt: skip


def not_cover(source: Terrain, *, classes: bool) -> tuple[Problem, ...]:
    """Why files cannot be what stands on the ground, each file that cannot; empty where they can.

    They hold heights above the sea, or classes where heights were asked for.

    Parameters
    ----------
    source : Terrain
        Opened with ``blended=False``.
    classes : bool
        Whether they are to be classes, each with a height; else heights above ground.
    """
    return tuple(_against(source, classes))


def same_as_terrain(folder: str) -> Problem:
    """Files that are to be the ground and what stands on it."""
    what = f"{folder} has the very files that the terrain is: heights above the sea, not above the ground"
    return Problem(
        "cover",
        what,
        "other files: classes of land cover, or heights of trees and houses",
        code=_CODE,
        fields=("cover",),
    )


def perhaps_not_cover(source: Terrain) -> tuple[str, ...]:
    """What speaks against files as heights above ground, though it does not prove anything."""
    odd = [t for t in source.tiles if t.median_m is not None and ODD_MEDIAN_M < t.median_m <= GREATEST_MEDIAN_M]
    return tuple(
        f"Half of {Path(tile.path).name} lies above {tile.median_m:.0f}: much for trees and houses. Heights above the "
        "sea are no ground cover."
        for tile in odd
        if not tile.meaning.surely
    )


def _against(source: Terrain, classes: bool) -> Iterator[Problem]:
    """What proves that files are no cover, by file."""
    for tile in source.tiles:
        name, codes = Path(tile.path).name, bool(tile.meaning.surely)
        if codes and not classes:
            what = f"{name} holds classes, not heights above ground: {tile.meaning.surely}"
            expected = "taken as classes, each with its height"
        elif codes:
            continue
        elif tile.told.surface and not classes:
            what = f"{name} holds heights of treetops and roofs above the sea, as was said when it was sent"
            expected = (
                "classes of land cover, or heights of trees and houses above the ground; where they are, send the file "
                "again as bare ground"
            )
        elif not classes and tile.median_m is not None and tile.median_m > GREATEST_MEDIAN_M:
            what = f"half of {name} lies above {tile.median_m:.0f} m: heights above the sea, not above the ground"
            expected = "classes of land cover, or heights of trees and houses above the ground"
        else:
            continue
        yield Problem("cover", what, expected, code=_CODE, fields=("cover",))


_CODE = "no-ground-cover"
