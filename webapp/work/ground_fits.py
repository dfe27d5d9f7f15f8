"""Whether folders of the terrain folder can be what a form wants them for: the ground, and what stands on it."""

from collections.abc import Mapping
from typing import Any

from sfn.errors import Problem
from sfn.terrain.fits import not_cover, not_terrain, perhaps_not_cover, same_as_terrain
from webapp.work.maps import Maps


def unfit(maps: Maps, terrain: Mapping[str, Any] | None, cover: str, *, classes: bool) -> tuple[Problem, ...]:
    """Why folders cannot be the ground, and what stands on it: classes as heights, heights above the sea as cover.

    Parameters
    ----------
    maps : Maps
    terrain : mapping, optional
        A document's ``terrain``.
    cover : str
        A folder; empty for none.
    classes : bool
        Whether it is to hold classes, each with a height; else heights above ground.
    """
    named = str((terrain or {}).get("folder", ""))
    ground, above = (maps.opened(name) if name else None for name in (named, cover))
    found = () if ground is None else not_terrain(ground)
    if above is not None:
        found += not_cover(above, classes=classes)
        if ground is not None and ground.digest == above.digest:
            found += (same_as_terrain(cover),)
    return found


def odd_as_cover(maps: Maps, folder: str) -> tuple[str, ...]:
    """What speaks against a folder as heights above ground, though it proves nothing."""
    source = maps.opened(folder)
    return () if source is None else perhaps_not_cover(source)
