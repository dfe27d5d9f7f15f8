"""The terrain folder: what lies in it, and taking in files that people send."""

import os
import re
import secrets
import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from sfn.errors import PlanError, Problem
from sfn.terrain.dem import Terrain, terrain_from_folder
from sfn.terrain.memory import Memory
from sfn.terrain.ridge import RIDGE, ridge
from sfn.terrain.tile import READERS, UnusableError, tile_of

FOLDER_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,59}")
FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,119}")
# Beside the folders while files arrive; not a name that a folder may have.
ARRIVING = ".arriving-"


@dataclass(frozen=True, slots=True)
class TerrainLine:
    """One terrain that a network may name."""

    value: str
    """What the form sends: ``ridge`` or ``folder NAME``."""
    name: str
    files: int
    bounds_deg: tuple[float, float, float, float] | None
    """South, west, north, east."""
    fine_m: float | None
    """Spacing of its samples."""
    problems: tuple[Problem, ...]


def terrain_lines(folder: Path, *, memory: Memory) -> tuple[TerrainLine, ...]:
    """Every terrain on offer: the ridge, then the folders by name."""
    lines = [_line(RIDGE, "the demos' ridge country", ridge())]
    held = (
        sorted(p for p in folder.iterdir() if p.is_dir() and FOLDER_NAME.fullmatch(p.name)) if folder.is_dir() else []
    )
    for place in held:
        try:
            lines.append(_line(f"folder {place.name}", place.name, terrain_from_folder(place, memory=memory)))
        except PlanError as refused:
            lines.append(TerrainLine(f"folder {place.name}", place.name, 0, None, None, refused.problems))
    return tuple(lines)


def source_of(value: str) -> dict[str, str] | None:
    """The document's ``terrain`` for what a form sends; None for a smooth earth.

    Raises
    ------
    PlanError
        If it is none of those on offer.
    """
    if value == "none":
        return None
    if value == RIDGE:
        return {"source": RIDGE}
    kind, _, name = value.partition(" ")
    if kind == "folder" and FOLDER_NAME.fullmatch(name):
        return {"folder": name}
    raise PlanError(
        [Problem("terrain", f"cannot be {value!r}", "one of those on offer", code="not-on-offer", fields=("terrain",))]
    )


def value_of(source: dict[str, str] | None) -> str:
    """What the form sends for a document's ``terrain``."""
    if not source:
        return "none"
    return RIDGE if "source" in source else f"folder {source.get('folder', '')}"


def take_files(folder: Path, name: str, files: Iterable[tuple[str, BinaryIO]]) -> int:
    """Put files into a terrain's folder; all of them, or none when one cannot be used.

    Parameters
    ----------
    folder : Path
        The program's terrain folder.
    name : str
        The terrain's name, a folder in it; made when it is not there.
    files : iterable of (name, stream)

    Returns
    -------
    count : int
        How many were taken. One of the same name is replaced.

    Raises
    ------
    PlanError
        If the name will not do, there is no file, or one of them is no terrain; every such file is named.
    """
    if not FOLDER_NAME.fullmatch(name):
        raise PlanError(
            [
                Problem(
                    "name",
                    f"cannot be {name!r}",
                    "up to 60 letters, digits, blanks, - and _",
                    code="name-unusable",
                    fields=("name",),
                )
            ]
        )
    arriving = folder / f"{ARRIVING}{secrets.token_hex(8)}"
    arriving.mkdir(parents=True)
    try:
        taken = _arrived(arriving, files)
        (folder / name).mkdir(exist_ok=True)
        for path in taken:
            os.replace(path, folder / name / path.name)
    finally:
        shutil.rmtree(arriving, ignore_errors=True)
    return len(taken)


def _arrived(arriving: Path, files: Iterable[tuple[str, BinaryIO]]) -> list[Path]:
    """The files on disk, each looked at."""
    taken, problems = [], []
    for sent, stream in files:
        file_name = Path(sent.replace("\\", "/")).name
        if not FILE_NAME.fullmatch(file_name) or Path(file_name).suffix.lower() not in READERS:
            problems.append(
                Problem(
                    "files",
                    f"{file_name or 'a file'} is not a terrain file",
                    "GeoTIFF or SRTM .hgt",
                    code="file-of-another-kind",
                    fields=("files",),
                )
            )
            continue
        path = arriving / file_name
        with path.open("wb") as out:
            shutil.copyfileobj(stream, out, 1 << 20)
        try:
            tile_of(path)
        except UnusableError as error:
            what, expected = error.args
            problems.append(
                Problem("files", f"{file_name} {what}", expected, code="terrain-file-unusable", fields=("files",))
            )
        taken.append(path)
    if problems:
        raise PlanError(problems)
    if not taken:
        raise PlanError(
            [
                Problem(
                    "files",
                    "no file was sent",
                    "one GeoTIFF or SRTM .hgt file or more",
                    code="no-file-chosen",
                    fields=("files",),
                )
            ]
        )
    return taken


def _line(value: str, name: str, terrain: Terrain) -> TerrainLine:
    """What the page says of a terrain."""
    middle_deg = sum(terrain.bounds_deg[::2]) / 2
    fine_m = min(part.step_m(middle_deg) for part in terrain.parts)
    return TerrainLine(value, name, len(terrain.tiles), terrain.bounds_deg, fine_m, ())
