"""The ground of a network by the names of its folders, for another process or machine that has the same folders."""

from dataclasses import dataclass, replace
from pathlib import Path

from sfn.errors import PlanError, Problem
from sfn.terrain.dem import Terrain, terrain_from_folder
from sfn.terrain.ground import Ground
from sfn.terrain.memory import Memory
from sfn.terrain.ridge import ridge


@dataclass(frozen=True, slots=True)
class NamedGround:
    """A `sfn.terrain.ground.Ground` without its heights.

    Parameters
    ----------
    folders : tuple of str or None
        Of terrain, cover and zones, within the terrain folder; None: there is none; empty: the terrain that comes with
        the program.
    rest : Ground
        All that is not read out of files.
    digest : str
        Of the content: who opens it elsewhere finds the same, or is told.
    """

    folders: tuple[str | None, str | None, str | None]
    rest: Ground
    digest: str


def named(ground: Ground, *, folder: Path) -> NamedGround | None:
    """The names of a ground; None where it is not out of folders within `folder`, and cannot be opened elsewhere."""
    parts = (ground.terrain, ground.cover, ground.zones)
    folders = [_folder(part, folder) for part in parts]
    if any(name is None and part is not None for name, part in zip(folders, parts, strict=True)) or "" in folders[1:]:
        return None
    rest = replace(ground, terrain=None, cover=None, zones=None)
    return NamedGround((folders[0], folders[1], folders[2]), rest, ground.digest)


def opened(ground: NamedGround, *, folder: Path, memory: Memory | None = None) -> Ground:
    """The ground of names, out of another terrain folder.

    Raises
    ------
    PlanError
        If a folder is not there or cannot be read, or its content is another.
    """
    terrain, cover, zones = (
        None if name is None else ridge() if not name
        else terrain_from_folder(folder / name, memory=memory, blended=blended)
        for name, blended in zip(ground.folders, (True, False, False), strict=True)
    )  # fmt: skip
    found = replace(ground.rest, terrain=terrain, cover=cover, zones=zones)
    if found.digest != ground.digest:
        names = " and ".join(name for name in ground.folders if name)
        what = f"{names} in {folder} holds other terrain than where the computation was asked for"
        expected = "the same files on both: the folder of the service, mounted here"
        raise PlanError([Problem("terrain", what, expected, code="terrain-differs")])
    return found


def _folder(part: Terrain | None, folder: Path) -> str | None:
    """Where in `folder` all files of a terrain lie; empty for the ridge; None where that is nowhere."""
    if part is None:
        return None
    if not part.tiles:
        return "" if part.blended and part.digest == ridge().digest else None
    places = {Path(tile.path).resolve().parent for tile in part.tiles}
    own = folder.resolve()
    place = places.pop()
    return place.relative_to(own).as_posix() if not places and place.is_relative_to(own) and place != own else None
